"""What was shown of the machine alone, taken over for controller and railway: the verdicts are
those of the proof that takes over nothing, and of a look at every state."""

from __future__ import annotations

import os
import tomllib
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from by_hand import without_hands
from fault_layouts import SMALL
from in_campaigns import in_campaigns
from machine_faults import Fault, faults
from random_railways import random_railway

from bellcrank.compilation import Sound, compile_file, compile_text
from bellcrank.controller.following import following
from bellcrank.proof.controlled import prove_controlled, proved_by_following
from bellcrank.proof.moving.moving_proof import (
    Effort,
    Moving,
    Shown,
    TakenOver,
    prove_and_keep,
)
from bellcrank.proof.verdict import MovingVerdict
from bellcrank.running.state_search import Explorer, violated

EXAMPLES = Path(__file__).parents[2] / "examples"

CORPUS = Path(__file__).parents[1] / "corpus"

SOUND_EXAMPLES = ["four-track-station", "hand-worked-branch", "harbour-terminus", "turning-loop"]

POINTS = """
    layout "Two roads" on two rails
    points P
    run edge W - A - >H - P.toe
    run P.straight - <S1 - T1 - stop
    run P.diverging - <S2 - T2 - stop
    drive P detected
"""

BY_INDUCTION = Effort(search=0)

MOST_STATES = 60_000


RAILWAYS = int(os.environ.get("BELLCRANK_FOLLOWED", "40"))
"""Random railways that are tried in a campaign; of 200 and more on, all of the corpus as well.
Else a quarter of it, of its smaller layouts."""

EVERYTHING = RAILWAYS >= 200

MOST_ROUTES = 60 if EVERYTHING else 20
"""Of a layout of the corpus that is tried."""


def sound(text: str) -> Sound:
    c = compile_text(text)
    assert isinstance(c, Sound), c.diagnostics
    return c


def small(name: str) -> Sound:
    return sound(f'layout "Small" on two rails\n{SMALL[name]}')


def shown_of(c: Sound) -> Shown:
    verdict, shown = prove_and_keep(c.machine, BY_INDUCTION)
    assert verdict.outcome == "proved"
    assert shown.clauses
    return shown


def outcomes(verdict: MovingVerdict) -> dict[str, str]:
    return {r.name: r.outcome for r in verdict.results}


@pytest.mark.parametrize(
    "name",
    in_campaigns(SOUND_EXAMPLES, lambda name: name in ("four-track-station", "harbour-terminus")),
)
def test_a_sound_example_is_proved_by_following_with_fewer_obligations(name: str) -> None:
    c = compile_file(EXAMPLES / f"{name}.crank")
    assert isinstance(c, Sound)
    taken = proved_by_following(c.control, c.composed, shown_of(c), BY_INDUCTION)
    plain = prove_controlled(c.control, c.composed, BY_INDUCTION)
    assert taken is not None
    assert outcomes(taken).items() <= outcomes(plain).items()
    assert taken.obligations < plain.obligations * 3 / 4


@pytest.mark.parametrize("name", ["points", "single line", "line of two", "overlap"])
def test_what_is_taken_over_is_so_in_every_state_with_the_controller(name: str) -> None:
    c = small(name)
    machine = without_hands(c.composed)
    shown = shown_of(c)
    assert proved_by_following(c.control, machine, shown, BY_INDUCTION) is not None
    explorer = Explorer(machine, machine.events)
    holds = explorer.test(shown.clauses)
    found = explorer.search({"lost": lambda state: not holds(state)}, MOST_STATES)
    assert found.complete
    assert not found.runs


def came_of(found: Fault, c: Sound, shown: Shown) -> Counter[str]:
    """What came of a fault in the controller: taken over and proved, or left to the plain proof."""
    taken = proved_by_following(c.control, found.machine, shown, BY_INDUCTION)
    explorer = Explorer(found.machine, found.machine.events)
    seen = explorer.search(violated(explorer, found.machine), MOST_STATES)
    assert not (taken is not None and seen.runs), found
    if seen.runs:
        return Counter(("unsafe",))
    return Counter(("proved",) if taken is not None else ("left",))


@pytest.mark.parametrize("every", [60, pytest.param(2, marks=pytest.mark.campaign)])
def test_a_fault_in_controller_or_railway_is_never_proved_away(every: int) -> None:
    c = small("single line")
    shown = shown_of(c)
    counts: Counter[str] = Counter()
    for number, fault in enumerate(faults(without_hands(c.composed))):
        if number % every == 0:
            counts += came_of(fault, c, shown)
    assert counts["unsafe"] >= max(1, 40 // every)
    assert counts["proved"] >= max(1, 40 // every)


def test_a_premise_is_lost_with_the_clause_that_it_was_shown_with() -> None:
    """That a section reported clear is clear is what a request rests on; where any report of it may
    come while a train is there, that clause is lost, some rounds after the request was asked of."""
    c = small("single line")
    fault = next(
        f
        for f in faults(without_hands(c.composed))
        if f.kind == "reported clear: a clause dropped" and "track A" in f.what
    )
    assert came_of(fault, c, shown_of(c)) == Counter(("unsafe",))


def test_a_reaction_that_changes_something_else_does_not_follow() -> None:
    c = sound(POINTS)
    assert following(c.control, c.composed, c.machine) is not None
    first, *others = c.composed.events
    assert first.kind == "request"
    held = next(name for name in first.updates if name.startswith("held"))
    less = replace(first, updates={n: u for n, u in first.updates.items() if n != held})
    changed = replace(c.composed, events=(less, *others))
    assert following(c.control, changed, c.machine) is None


def test_a_train_that_does_more_than_in_the_machine_alone_does_not_follow() -> None:
    c = sound(POINTS)
    place, comes_in = next((n, e) for n, e in enumerate(c.composed.events) if e.kind == "comes in")
    events = list(c.composed.events)
    events[place] = replace(comes_in, guard=comes_in.guard[1:])
    assert following(c.control, replace(c.composed, events=tuple(events)), c.machine) is None


def test_a_railway_that_begins_otherwise_does_not_follow() -> None:
    c = sound(POINTS)
    name, variable = next((n, v) for n, v in c.machine.variables.items() if v.kind == "track")
    begins = replace(variable, initial=variable.values)
    changed = replace(c.composed, variables={**c.composed.variables, name: begins})
    assert following(c.control, changed, c.machine) is None


def test_a_reaction_with_a_guard_too_weak_is_found_by_what_is_asked_of_it() -> None:
    """What it changes is as it should be, but it may happen where the machine's may not."""
    c = sound(POINTS)
    shown = shown_of(c)
    first, *others = c.composed.events
    weak = replace(first, guard=first.guard[:1])
    changed = replace(c.composed, events=(weak, *others))
    found = following(c.control, changed, c.machine)
    assert found is not None
    moving = Moving(found.machine, BY_INDUCTION, lambda _: None, TakenOver(shown, found.asked))
    moving.verdict()
    assert not moving.followed()
    assert proved_by_following(c.control, changed, shown, BY_INDUCTION) is None


def test_of_what_is_not_inductive_nothing_is_taken_over() -> None:
    """A clause of which it is only claimed that it was shown of the machine alone is not found out
    here: so what is handed on comes from a finished induction, or is nothing."""
    c = sound(POINTS)
    _, stopped = prove_and_keep(c.machine, Effort(seconds=0))
    assert not stopped.clauses


def test_a_recheck_confirms_what_is_asked_of_the_controller() -> None:
    pytest.importorskip("cvc5")
    c = sound(POINTS)
    effort = Effort(search=0, recheck=True)
    taken = proved_by_following(c.control, c.composed, shown_of(c), effort)
    assert taken is not None
    assert not taken.disagreement
    assert len(taken.solvers) == 2
    asked = [q for q in taken.questions if getattr(q.example.when, "kind", "") == "follows"]
    assert asked


def test_what_is_asked_of_a_reaction_is_written_with_its_own_words() -> None:
    c = sound(POINTS)
    found = following(c.control, c.composed, c.machine)
    assert found is not None
    asking = [found.machine.events[number] for number in found.asked]
    assert {e.kind for e in asking} == {"follows"}
    assert not any(e.updates for e in asking)
    assert any("asks for H to T1; before that" in e.text for e in asking)


def judge(c: Sound) -> str:
    """What came of both proofs of a railway of which the machine alone is proved by induction."""
    verdict, shown = prove_and_keep(c.machine, BY_INDUCTION)
    if verdict.outcome != "proved":
        return "not proved alone"
    taken = proved_by_following(c.control, c.composed, shown, BY_INDUCTION)
    plain = prove_controlled(c.control, c.composed, BY_INDUCTION)
    if taken is None:
        return f"{plain.outcome} without"
    assert plain.outcome == "proved"
    assert outcomes(taken).items() <= outcomes(plain).items()
    return "proved by following"


@pytest.mark.parametrize(
    "seeds",
    [
        range(7, 10),
        *(
            pytest.param(range(n, n + 8), marks=pytest.mark.campaign, id=f"from {n}")
            for n in range(500, 500 + RAILWAYS, 8)
        ),
    ],
)
def test_a_random_railway_is_proved_by_following_just_where_it_is_proved(seeds: range) -> None:
    """Drawn by lot, with every feature of the language among them."""
    counts: Counter[str] = Counter()
    for seed in seeds:
        c = compile_text(random_railway(seed), f"railway-{seed}.crank")
        if isinstance(c, Sound):
            counts[judge(c)] += 1
    assert counts["proved by following"] >= len(seeds) // 4
    assert counts["proved without"] <= 1


def sound_corpus() -> list[str]:
    rows = tomllib.loads((CORPUS / "expected.toml").read_text(encoding="utf-8"))
    return [
        n for n, row in rows.items() if row["verdict"] == "proved" and row["routes"] <= MOST_ROUTES
    ]


@pytest.mark.campaign
@pytest.mark.parametrize("share", range(0, 16, 1 if EVERYTHING else 4))
def test_a_sound_layout_of_the_corpus_is_proved_by_following(share: int) -> None:
    counts: Counter[str] = Counter()
    for name in sound_corpus()[share::16]:
        c = compile_file(CORPUS / name)
        assert isinstance(c, Sound)
        counts[judge(c)] += 1
    assert set(counts) <= {"proved by following", "proved without", "not proved alone"}
    assert counts["proved by following"] >= 2
    assert counts["proved without"] + counts["not proved alone"] <= 1
