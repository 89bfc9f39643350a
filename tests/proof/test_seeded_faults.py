"""Faults put into sound locking, one at a time, as evidence that the check checks.

Seeding faults to see whether a checker of interlockings finds them: Celebi and
Kaymakci, "Verifying the accuracy of interlocking tables", Journal of Modern
Transportation, 2016. Whether a fault does harm is decided by trying everything.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import pytest
from brute_force import Rules, find
from drawn_layouts import DRAWN, names_of
from in_campaigns import in_campaigns
from plain_table import PlainRoute, Table, find_routes
from random_layouts import shown, valid_layouts

import bellcrank
from bellcrank.machine.locking import Locking
from bellcrank.proof.standing.standing_check import check_standing


def faults(locking: Locking, table: Table) -> Iterator[tuple[str, Locking]]:
    """The locking with each lock dropped, each need dropped, each need turned over."""
    for n, lock in enumerate(locking.locks):
        rest = locking.locks[:n] + locking.locks[n + 1 :]
        yield f"dropped: {lock.first} locks {lock.second}", replace(locking, locks=rest)
    for n, need in enumerate(locking.needs):
        before, after = locking.needs[:n], locking.needs[n + 1 :]
        words = f"{need.route} needs {need.drive} {need.position}"
        yield f"dropped: {words}", replace(locking, needs=before + after)
        for position in table.drives()[need.drive]:
            if position != need.position:
                wrong = replace(need, position=position)
                changed = replace(locking, needs=(*before, wrong, *after))
                yield f"turned over: {words}", changed


def as_rules(locking: Locking, names: list[str]) -> Rules:
    number = {name: index for index, name in enumerate(names)}
    return Rules(
        [(number[n.route], n.drive, n.position) for n in locking.needs],
        [(number[k.first], number[k.second], dict(k.when)) for k in locking.locks],
        [(number[n.route], number[n.other]) for n in locking.needs_set],
    )


def seed_each_fault(
    compilation: bellcrank.Sound, routes: list[PlainRoute], table: Table
) -> Counter[str]:
    """Check every fault; count the harmful and the harmless ones by kind."""
    names = names_of(routes, compilation.table)
    sound = replace(compilation.locking, expectations=())
    seen: Counter[str] = Counter()
    for fault, locking in faults(sound, table):
        found = find(routes, table.drives(), as_rules(locking, names))
        verdict = check_standing(compilation.layout, compilation.table, locking)
        assert verdict.outcome == ("refuted" if found.unsafe else "proved"), fault
        refuted = {p.name for p in verdict.properties if p.outcome == "refuted"}
        assert refuted == found.refuted, fault
        assert bool(verdict.hazards) == bool(found.unsafe), fault
        if fault.startswith("dropped: ") and found.unsafe:
            # The rule that was dropped is the one that is said to be missing.
            assert [h.missing for h in verdict.hazards] == [fault.removeprefix("dropped: ")]
        kind = "lock" if " locks " in fault else "need"
        harm = "harmful" if found.unsafe else "harmless"
        seen[f"{fault.split(':')[0]} {kind}, {harm}"] += 1
    return seen


@pytest.mark.parametrize("name", in_campaigns(DRAWN, lambda name: name in ("throat", "harbour")))
def test_each_single_fault_in_a_drawn_layout_is_found_if_it_does_harm(name: str) -> None:
    drawn = DRAWN[name]
    seen = seed_each_fault(bellcrank.compile(drawn.text), find_routes(drawn.table), drawn.table)
    assert seen["dropped lock, harmful"] >= 3
    # Many locks say again what opposed drives say already.
    assert seen["dropped lock, harmless"] >= 3
    # A route whose drive may lie anyhow is unsafe at once, whatever else holds.
    assert seen["dropped need, harmless"] == 0
    assert seen["dropped need, harmful"] >= 10
    assert seen["turned over need, harmless"] == 0


@pytest.mark.campaign
def test_each_single_fault_in_random_layouts_is_found_if_it_does_harm() -> None:
    seen: Counter[str] = Counter()
    layouts = 0
    for layout, compilation in valid_layouts(range(200, 214)):
        if layout.written or layout.rules.needs_set:
            continue
        with shown(layout):
            seen += seed_each_fault(compilation, layout.routes, layout.table)
        layouts += 1
    assert layouts >= 3
    assert seen["dropped lock, harmful"] >= 10
    assert seen["dropped need, harmful"] >= 10
