"""The moving proof against looking at every state, on random small layouts."""

from __future__ import annotations

from collections import Counter, defaultdict

import pytest
from random_layouts import RandomLayout, random_layout, shown

from bellcrank.diagnostics import has_errors
from bellcrank.layout.build import build_layout
from bellcrank.machine.build import build_machine
from bellcrank.machine.model import PROPERTIES, Machine, after, holds, possible
from bellcrank.machine.rules import build_locking
from bellcrank.proof.moving import Effort, prove_moving
from bellcrank.proof.story import Story
from bellcrank.proof.verdict import MovingResult
from bellcrank.rehearsal.search import Explorer, Found, violated
from bellcrank.routes.derive import build_routes
from bellcrank.syntax.load import load_text

BLOCK = 100
SEEDS = range(0, 1_600, BLOCK)
"""Each block of seeds gives some layouts with few states."""

LAYOUTS = (17, 14, 23, 27, 20, 18, 17, 20, 34, 20, 21, 23, 19, 15, 19, 16)
"""How many, for each block."""

FEW_STATES = 2_600
MANY_STATES = 30_000

MOST_VARIABLES = 32
"""Layouts with more seldom have few enough states, and are not tried."""


def machine_of(layout: RandomLayout) -> Machine | None:
    """The machine of a layout without errors, made without proving anything."""
    program, found = load_text(layout.text, f"random-{layout.seed}.crank")
    track, more = build_layout(program)
    if has_errors(found + more):
        return None
    table, of_routes = build_routes(program, track)
    locking, of_locking = build_locking(program, track, table)
    if has_errors(of_routes + of_locking):
        return None
    machine = build_machine(track, table, locking)
    return machine if len(machine.variables) <= MOST_VARIABLES else None


def every_state(machine: Machine, most: int) -> tuple[Explorer, Found] | None:
    """All states, and the shortest run to a violation of each property; None if too many."""
    explorer = Explorer(machine)
    whole = explorer.search({}, most)
    if not whole.complete:
        return None
    found = explorer.search(violated(explorer, machine), most)
    found.seen = whole.seen
    return explorer, found


def check(machine: Machine, explorer: Explorer, found: Found) -> Counter[str]:
    """Every property is proved if no state violates it, and else refuted by a story."""
    seen: Counter[str] = Counter()
    verdict = prove_moving(machine, Effort(search=MANY_STATES))
    stated = {i.of for i in machine.invariants}
    for result in verdict.results:
        run = found.runs.get(result.name)
        if result.name == "rest" and run is None:
            # No clause is false. Yet tails may wait for each other in a ring for ever.
            outcome = "proved" if comes_to_rest(explorer, found) else "refuted"
            assert result.outcome == outcome, result
            seen[f"rest {outcome}"] += 1
        elif result.name in stated:
            assert result.outcome == ("proved" if run is None else "refuted"), result
            seen[result.outcome] += 1
            seen[f"{result.name.split()[0]} {result.outcome}"] += 1
            if run is not None:
                assert result.story is not None
                assert len(result.story.steps) == len(run), result.name
                assert_replays(machine, result.story)
    for result in verdict.results:
        if result.name not in stated and result.name not in PROPERTIES:
            check_wish(machine, explorer, found, result)
            seen[f"wish {result.outcome}"] += 1
    return seen


def assert_replays(machine: Machine, story: Story) -> None:
    """A story happens as it is told, and only its end violates the property."""
    by_name = {event.name: event for event in machine.events}
    own = [i for i in machine.invariants if i.of == story.of]
    state = machine.start()
    for drive, position in story.start:
        assert position in machine.variables[f"drive {drive}"].initial
        state[f"drive {drive}"] = position
    for step in story.steps:
        assert all(holds(i.clause, state) for i in own)
        assert possible(by_name[step.event], state), step.event
        assert step.sentence == by_name[step.event].text
        state = after(by_name[step.event], state)
    assert story.ending in {i.sentence for i in own if not holds(i.clause, state)}


def comes_to_rest(explorer: Explorer, found: Found) -> bool:
    """Whether from every state one can be come to in which no route is set."""
    routes = [
        explorer.place[name]
        for name, variable in explorer.machine.variables.items()
        if variable.kind == "route"
    ]
    before = defaultdict(list)
    for state in found.seen:
        for _, following in explorer.successors(state):
            before[following].append(state)
    queue = [state for state in found.seen if not any(state[i] for i in routes)]
    leads = set(queue)
    for state in queue:
        new = [earlier for earlier in before[state] if earlier not in leads]
        leads.update(new)
        queue += dict.fromkeys(new)
    return len(leads) == len(found.seen)


def check_wish(machine: Machine, explorer: Explorer, found: Found, result: MovingResult) -> None:
    """What is shown can be, and what is refuted cannot."""
    alone = result.name == "routes"
    wishes = [w for w in machine.wishes if (len(w.routes) == 1 if alone else w.text == result.name)]
    can = []
    for wish in wishes:
        off = []
        for route in wish.routes:
            (clears,) = (e for e in machine.events if e.name == f"signal clears {route}")
            (signal,) = clears.updates
            place = explorer.place[signal]
            off.append((place, explorer.values[place][route]))
        can.append(any(all(s[i] == value for i, value in off) for s in found.seen))
    assert result.outcome == ("shown" if all(can) else "refuted"), result


@pytest.mark.parametrize("first", SEEDS)
def test_every_property_of_a_small_layout_is_what_its_states_say(first: int) -> None:
    seen: Counter[str] = Counter()
    for seed in range(first, first + BLOCK):
        layout = random_layout(seed)
        machine = machine_of(layout)
        states = None if machine is None else every_state(machine, FEW_STATES)
        if machine is not None and states is not None:
            with shown(layout):
                seen += check(machine, *states)
            seen["layouts"] += 1
    # Neither answer is rare, so a constant one would be found out.
    assert seen["layouts"] >= LAYOUTS[first // BLOCK], seen
    assert seen["proved"] >= 10 and seen["refuted"] >= 1, seen


def test_over_three_hundred_layouts_are_tried() -> None:
    assert sum(LAYOUTS) > 300


def test_every_property_of_a_layout_with_more_states_is_what_they_say() -> None:
    seen: Counter[str] = Counter()
    for seed in range(60):
        layout = random_layout(seed)
        machine = machine_of(layout)
        if machine is None or Explorer(machine).search({}, FEW_STATES).complete:
            continue
        states = every_state(machine, MANY_STATES)
        if states is not None:
            with shown(layout):
                seen += check(machine, *states)
            seen["layouts"] += 1
            seen["written"] += layout.written
    assert seen["layouts"] >= 3, seen
    assert seen["proved"] >= 10 and seen["refuted"] >= 1, seen
