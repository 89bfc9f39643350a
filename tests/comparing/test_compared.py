"""Two texts of a layout: what is told to be different is, and nothing else is."""

from __future__ import annotations

import random
from itertools import combinations

import pytest
from random_layouts import valid_layouts
from sound_layouts import compiled

import bellcrank
from bellcrank import Sound
from bellcrank.comparing.compared import compared
from bellcrank.comparing.differences import Comparison
from bellcrank.proof.standing.standing_check import which_can_stand

YARD = """
layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
numbering from decoder 1
decoder kind quad { outputs 4  switches 9 }
decoder K1 quad at 1
decoder K2 quad at 5
drive P = K1.1  coil 200 ms
signal W = K1.2
signal S = K2.1
signal D = K2.2
expect W to B never with W to C
"""


def change(*replacements: tuple[str, str], old: str = YARD) -> Comparison:
    new = old
    for before, now in replacements:
        assert before in new
        new = new.replace(before, now)
    return compared(compiled(old), compiled(new))


def said(comparison: Comparison) -> list[str]:
    return [task.text for task in comparison.tasks if task.kind != "test"]


def to_test(comparison: Comparison) -> list[str]:
    return [f"{task.thing} {task.name}" for task in comparison.tasks if task.kind == "test"]


def test_of_an_assumption_about_other_things_only_these_are_told() -> None:
    yard = YARD.replace("expect W to B never with W to C\n", "")
    more = yard.replace("D - C - stop", "D - C - >Z - Q.toe").replace("points P\n", "points P, Q\n")
    more += "run Q.straight - <E1 - E - stop\nrun Q.diverging - <F1 - F - stop\ndrive Q by hand\n"
    more += "signal Z = K2.3\nsignal E1 = K2.4\nsignal F1 = K1.3\n"
    there = compared(compiled(yard), compiled(more)).assumptions
    back = compared(compiled(more), compiled(yard)).assumptions
    assert ("drives arrive in time: now also for Q", "changed") in [
        (line.text, line.change) for line in there
    ]
    assert ("drives arrive in time: no longer for Q", "changed") in [
        (line.text, line.change) for line in back
    ]
    assert not any("lies right when its time is up" in line.text for line in (*there, *back))


def test_an_assumption_that_is_new_or_gone_is_told_in_full() -> None:
    (line,) = change(("coil 200 ms", "coil 200 ms  detected")).assumptions
    assert line.change == "gone"
    assert line.text == "a drive that does not report lies right when its time is up (P)"


def test_remarks_and_the_order_of_lines_make_no_difference() -> None:
    turned = YARD.replace(
        "signal S = K2.1\nsignal D = K2.2\n", "signal D = K2.2\nsignal S = K2.1\n"
    )
    assert compared(compiled(YARD), compiled(f"# a remark\n{turned}")).same


def test_a_decoder_with_another_address_has_other_switches_and_label() -> None:
    found = change(("decoder K1 quad at 1", "decoder K1 quad at 9"))
    assert (
        said(found)
        == [
            "on K1 set switch 2 on and switch 1 off (address 9)",
            "print the label of K1 again",
        ]
        or said(found)[-1] == "print the label of K1 again"
    )
    assert said(found)[0].startswith("on K1 set ") and said(found)[0].endswith("(address 9)")
    assert to_test(found)[:2] == ["drive P", "signal W"]
    assert "signal S" not in to_test(found)
    things = {c.thing for c in found.commands}
    assert things == {"drive P", "signal W"}
    assert all(c.before != c.now for c in found.commands)


def test_what_is_moved_to_another_output_is_wired_and_tested_again() -> None:
    found = change(("signal S = K2.1", "signal S = K2.4"))
    assert said(found) == [
        "wire signal S: stop on K2.4 red and proceed on K2.4 green (before on K2.1)",
        "print the label of K2 again",
    ]
    assert to_test(found) == ["signal S", "route S to WEST"]


def test_a_new_decoder_is_fitted_and_one_that_is_gone_taken_out() -> None:
    found = change(("decoder K2 quad at 5", "decoder K3 quad at 5"), ("K2.", "K3."))
    assert said(found)[0] == "take out decoder K2"
    assert said(found)[1].startswith("fit decoder K3; set switch")
    assert "print the label of K3" in said(found), "there was none before"


def test_a_signal_that_is_gone_takes_its_routes_along() -> None:
    bare = YARD.replace("<D - ", "").replace("signal D = K2.2\n", "")
    found = compared(compiled(YARD), compiled(bare))
    assert [(r.route, r.change) for r in found.routes] == [("D to WEST", "gone")]


def test_a_route_that_leads_otherwise_says_how() -> None:
    other = YARD.replace("P.straight - <S - B", "P.straight - <S - E - B")
    found = compared(compiled(YARD), compiled(other))
    assert ("W to B", "changed") in [(r.route, r.change) for r in found.routes]
    [changed] = [r for r in found.routes if r.route == "W to B"]
    assert changed.what == ("it leads over P, E and B now",)


def test_points_laid_the_other_way_round_are_told_once_by_what_each_route_needs() -> None:
    found = change(
        ("P.straight", "P.other"), ("P.diverging", "P.straight"), ("P.other", "P.diverging")
    )
    assert {r.route: r.what for r in found.routes} == {
        "W to B": ("it needs P diverging in place of straight now",),
        "W to C": ("it needs P straight in place of diverging now",),
        "S to WEST": ("it needs P diverging in place of straight now",),
        "D to WEST": ("it needs P straight in place of diverging now",),
    }


def test_a_drive_that_a_route_does_not_need_any_more_is_told() -> None:
    siding = "run P.straight - Q.toe\nrun Q.diverging - <E - EE - stop\ndrive Q by hand\n"
    double = YARD.replace("points P\n", "points P, Q\n")
    double = double.replace("run P.straight - <S", f"{siding}run Q.straight - <S")
    found = compared(compiled(double), compiled(YARD))
    [changed] = [r for r in found.routes if r.route == "W to B"]
    assert changed.what == ("it leads over P and B now", "it does not need Q any more")


def test_an_expectation_that_is_gone_is_told() -> None:
    found = change(("expect W to B never with W to C\n", ""))
    assert [(e.text, e.change) for e in found.expectations] == [
        ("expect W to B never with W to C", "gone")
    ]
    assert found.tasks == found.commands == ()


def test_a_pair_that_written_rules_keep_apart_no_more_is_told_with_the_rule() -> None:
    written = (
        "locking written {\n  W to B needs P straight\n  W to C needs P diverging\n"
        "  S to WEST needs P straight\n  D to WEST needs P diverging\n"
        "  W to B locks S to WEST\n}\n"
    )
    text = YARD + written
    found = change(("  W to B locks S to WEST\n", ""), old=text)
    [pair] = found.pairs
    assert (pair.routes, pair.now) == (("W to B", "S to WEST"), True)
    assert pair.because.startswith("a written rule keeps them apart: W to B locks S to WEST")
    [back] = compared(
        compiled(text.replace("  W to B locks S to WEST\n", "")), compiled(text)
    ).pairs
    assert (back.routes, back.now) == (("W to B", "S to WEST"), False)


def changed_somewhere(text: str, rng: random.Random) -> Sound | None:
    """The layout with one line gone, or one word put for another of its line; None if it has errors
    then."""
    lines = text.splitlines()
    at = rng.randrange(1, len(lines))
    words = lines[at].split(" ")
    if rng.random() < 0.5 or len(words) < 3:
        del lines[at]
    else:
        one, other = rng.sample(range(len(words)), 2)
        words[one], words[other] = words[other], words[one]
        lines[at] = " ".join(words)
    made = bellcrank.compile("\n".join(lines) + "\n")
    return made if isinstance(made, Sound) else None


@pytest.mark.parametrize(
    "seeds",
    [range(6), pytest.param(range(6, 60), marks=pytest.mark.campaign)],
    ids=["few", "many"],
)
def test_on_random_layouts_and_changes_it_is_what_a_look_at_every_pair_shows(seeds: range) -> None:
    rng = random.Random(seeds.start)
    tried = different = 0
    for layout, old in valid_layouts(seeds):
        news = (changed_somewhere(layout.text, rng) for _ in range(12))
        new = next((c for c in news if c is not None), None)
        if new is None:
            continue
        tried += 1
        found = compared(old, new)
        before, now = old.table.routes, new.table.routes
        told = {r.route: r.change for r in found.routes if r.change != "changed"}
        gone = dict.fromkeys(before.keys() - now.keys(), "gone")
        assert told == gone | dict.fromkeys(now.keys() - before.keys(), "new")
        every = list(combinations([n for n in now if n in before], 2))
        sides = [which_can_stand(c.layout, c.table, c.locking, every) for c in (old, new)]
        decided = zip(every, *sides, strict=True)
        other = {pair: is_ for pair, was, is_ in decided if was != is_}
        assert {p.routes: p.now for p in found.pairs} == other
        different += bool(other or told)
    assert tried >= 0.6 * len(seeds) and different >= tried // 8


LEFT_OPEN = YARD.replace("signal W = K1.2", "signal W = quad").replace("K2.1", "quad")


def test_a_number_that_is_left_open_and_chosen_otherwise_is_told_by_what_bears_it() -> None:
    """A line above the others takes the output that was theirs."""
    new = ("signal W = quad", "output LAMPS = quad\nsignal W = quad")
    found = change(new, old=LEFT_OPEN)
    assert found.moved == ("W", "S")
    assert "wire signal W: stop on K1.3 red and proceed on K1.3 green (before on K1.2)" in (
        said(found)
    )
    below = ("expect W to B", "output LAMPS = quad\nexpect W to B")
    assert change(below, old=LEFT_OPEN).moved == ()
    assert change(("signal S = K2.1", "signal S = K2.4")).moved == ()
    assert change(("signal S = quad", "signal S = K1.4"), old=LEFT_OPEN).moved == ()


def test_an_address_that_is_left_open_and_chosen_otherwise_is_told() -> None:
    old = YARD.replace("quad at 5", "quad")
    assert change(("quad at 1", "quad at 5"), old=old).moved == ("K2",)
    assert change(("quad at 5", "quad at 9")).moved == ()


def test_a_detector_input_that_is_chosen_otherwise_is_told() -> None:
    old = YARD + "detector kind octo { inputs 8 }\ndetector B1 octo at 1\nreport B = octo\n"
    found = change(("report B = octo", "report A = octo\nreport B = octo"), old=old)
    assert found.moved == ("B",)


def test_wires_of_what_is_gone_come_off() -> None:
    found = change(
        ("run P.diverging - <D - C - stop", "run P.diverging - C - stop"), ("signal D = K2.2\n", "")
    )
    assert "take the wires of signal D off K2.2" in said(found)
