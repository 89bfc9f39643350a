"""Written locking of real size: a station of many routes, its notebook written out."""

from __future__ import annotations

import re

import pytest
from cpu_time import within
from sound_layouts import checked, compiled

from bellcrank.compilation import Sound
from bellcrank.machine.wording import rule_text
from bellcrank.proof.moving.examine import Examiner
from bellcrank.proof.moving.induction import Prover
from bellcrank.proof.moving.solving import Solving
from bellcrank.proof.repair.missing_rules import missing_rules
from bellcrank.proof.repair.spare_rules import spare_rules
from bellcrank.running.packed import Packed

EVERY = (
    "every route needs its positions",
    "every route needs its sections clear",
    "every drive needs its section clear",
)


def terminus(roads: int) -> str:
    """Two lines that come by two double slips to two bays and two ladders of so many
    roads each."""
    lines = [
        f"points X1, X2, {', '.join(f'{side}{i}' for side in 'PQ' for i in range(1, roads))}",
        "double slip S1, S2 with one drive",
        "run edge WEST1 - A1 - >W1 - X1.toe",
        "run edge WEST2 - A2 - >W2 - X2.toe",
        "run X1.straight - S1.a1",
        "run X1.diverging - S2.a1",
        "run X2.straight - S2.b1",
        "run X2.diverging - S1.b1",
        "run S1.a2 - P1.toe",
        "run S1.b2 - <M1 - BAY1 - stop",
        "run S2.b2 - Q1.toe",
        "run S2.a2 - <M2 - BAY2 - stop",
    ]
    for side, name in (("P", "U"), ("Q", "V")):
        for i in range(1, roads):
            lines.append(f"run {side}{i}.straight - <{name}{i} - {name}T{i} - stop")
            beyond = f"{side}{i + 1}.toe" if i + 1 < roads else f"<{name}{roads} - {name}T - stop"
            lines.append(f"run {side}{i}.diverging - {beyond}")
    return "\n".join(lines) + "\n"


def written(*rules: str) -> str:
    return "locking written {\n" + "".join(f"  {rule}\n" for rule in rules) + "}\n"


def pairs(c: Sound) -> list[str]:
    """The rules that keep apart all routes that conflict."""
    return [f"{one} locks {other}" for one, other in c.table.conflicts]


def test_whole_routes_that_lock_each_other_keep_their_sections_held_to_the_end() -> None:
    track = terminus(3)
    c = compiled(track + written(*pairs(compiled(track)), *EVERY))
    packed = Packed(c.machine)
    induction = Prover(Examiner(packed), Solving("z3")).run(range(packed.stated))
    assert not induction.failed


def opposed(c: Sound, one: str, other: str) -> bool:
    """Whether two routes need a drive in two positions."""
    mine, theirs = c.table.routes[one].demands, c.table.routes[other].demands
    return any(theirs.get(drive, position) != position for drive, position in mine.items())


@pytest.mark.bench
def test_two_thousand_rules_written_out_one_by_one_are_thinned_out_and_mended_in_seconds() -> None:
    track = terminus(7)
    bare = compiled(track)
    needs = [
        f"{route.name} needs {what}"
        for route in bare.table.routes.values()
        for what in (*map(" ".join, route.demands.items()), *(f"{s} clear" for s in route.sections))
    ]
    locks = pairs(bare)
    kept = {
        lock
        for lock, pair in zip(locks, bare.table.conflicts, strict=True)
        if not opposed(bare, *pair)
    }
    c = checked(track + written(*locks, *needs, EVERY[2]))
    assert c.proved and len(locks) + len(needs) > 2_000
    with within(20):
        found = spare_rules(c.program, c.layout, c.table, c.locking)
    assert {rule_text(rule) for rule in found.rules} == {*locks, EVERY[2]} - kept
    assert found.complete
    forgotten = {*needs[:: len(needs) // 10][:10]}
    lacking = compiled(track + written(*locks, *(n for n in needs if n not in forgotten), EVERY[2]))
    with within(20):
        repair = missing_rules(lacking.layout, lacking.table, lacking.locking)
    assert repair.mends and repair.smallest


@pytest.mark.bench
def test_three_thousand_rules_of_128_routes_are_checked_mended_and_thinned_out_in_seconds() -> None:
    # Two stations of 64 routes each.
    track = "".join(re.sub(r"\b([A-Z])", rf"{name}\1", terminus(7)) for name in "MN")
    bare = compiled(track)
    rules = pairs(bare)
    needed = [
        rule
        for rule, pair in zip(rules, bare.table.conflicts, strict=True)
        if not opposed(bare, *pair)
    ]
    assert len(bare.table.routes) == 128 and len(rules) > 3_000
    with within(20):
        c = checked(track + written(*rules, *EVERY))
    assert c.proved
    with within(50):
        found = spare_rules(c.program, c.layout, c.table, c.locking)
    # What opposite positions keep apart can go, and one line about the drives.
    assert {rule_text(rule) for rule in found.rules} == {*rules, EVERY[2]} - {*needed}
    assert found.complete
    forgotten = set(needed[:: len(needed) // 10][:10])
    with within(50):
        lacking = compiled(
            track + written(*(rule for rule in rules if rule not in forgotten), *EVERY)
        )
        repair = missing_rules(lacking.layout, lacking.table, lacking.locking)
    assert repair.mends and repair.smallest
    assert {rule_text(missing.rule) for missing in repair.rules} <= forgotten
