"""What the machine grants and releases, step by step beside the simulated railway.

A run of the machine is played on the railway at the same time. In every state that it comes
to, a request is granted by the one if and only if it is by the other, which holds each written
rule against the state; and a signal clears, a route is cancelled, and a section released, in
their order, in both or in neither. Whether anything unsafe would follow plays no part in it.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator

import pytest
from element_properties import wrong
from element_simulator import Simulator
from element_state import Act, State
from in_campaigns import in_campaigns
from machine_and_simulator import NotRetoldError, Retelling, Twice, twice
from random_railways import random_railway

from bellcrank.machine.machine_model import Event, after, possible

ASKED = ("request", "cancel", "signal clears", "section released", "released by time")

OFTEN = {
    "cancel": 0.3,
    "turns back": 0.3,
    "put down": 0.5,
    "tail leaves": 2.0,
    "request": 1.5,
    "stands": 0.05,
    "taken off": 0.3,
    "uncoupled": 0.05,
}
"""How often kinds of events are chosen, where it is not once."""


def side_by_side(both: Twice, seed: int, steps: int) -> Iterator[tuple[dict[str, str], State]]:
    """The states of a random run, of the machine and of the railway."""
    rng = random.Random(seed)
    machine, rail = both.machine, both.railway
    simulator = Simulator(rail, most_trains=99, by_hand=both.by_hand)
    retelling = Retelling(both, simulator)
    lies = {drive: rng.choice(positions) for drive, positions in rail.drives.items()}
    state = machine.start() | {f"drive {drive}": p for drive, p in lies.items()}
    here = simulator.start(lies)
    for _ in range(steps):
        yield state, here
        choices = [e for e in machine.events if e.kind != "meets" and possible(e, state)]
        weights = [OFTEN.get(e.kind, 1.0) for e in choices]
        if not choices or any(wrong(simulator, here)):
            return
        event = rng.choices(choices, weights)[0]
        for then in retelling.step(here, event):
            here = then
        state = after(event, state)
        if here.accident is not None:
            return


def act_of(event: Event, both: Twice) -> Act:
    """The act of the railway that an event is; of those that are asked about."""
    number = both.number_of[event.route or ""]
    return Act(event.kind, number, event.of if event.kind == "section released" else "")


def disagreements(both: Twice, seed: int, steps: int, seen: Counter[str]) -> Iterator[str]:
    """Events that may happen on one side alone, in the states of a run."""
    simulator = Simulator(both.railway, most_trains=99, by_hand=both.by_hand)
    asked = [(e, act_of(e, both)) for e in both.machine.events if e.kind in ASKED]
    cancels = {e.route for e, _ in asked if e.kind == "cancel"}
    try:
        for state, here in side_by_side(both, seed, steps):
            may_cancel: set[str | None] = set()
            for event, act in asked:
                may = possible(event, state)
                if event.kind == "cancel":
                    may_cancel |= {event.route} if may else set()
                    continue
                granted = simulator.possible(here, act)
                seen[f"{event.kind} {may}"] += 1
                # Derived locking asks more than the rules of the track: where a train may be
                # on its way in, track is to be clear.
                stricter = both.railway.derived and event.kind in ("request", "signal clears")
                if may != granted and not (stricter and granted):
                    yield f"{event.name}: machine {may}, railway {granted}"
            for route in cancels:
                granted = simulator.possible(here, Act("cancel", both.number_of[route or ""]))
                seen[f"cancel {granted}"] += 1
                if granted != (route in may_cancel):
                    yield f"cancel {route}: railway {granted}"
    except NotRetoldError as error:
        yield str(error)


def assert_honoured(both: Twice, seeds: range, steps: int = 150) -> Counter[str]:
    seen: Counter[str] = Counter()
    for seed in seeds:
        for found in disagreements(both, seed, steps, seen):
            pytest.fail(f"run {seed}: {found}\n{both.text}")
    return seen


def layout(text: str) -> Twice:
    both = twice(text)
    assert both is not None
    return both


LINE = """
run edge WEST - A - >H - B - C - D - E - >J - F - edge EAST
"""


@pytest.mark.parametrize("locking", ["", "locking written {\n  H to J needs D clear\n}\n"])
def test_sections_are_released_in_the_order_in_which_the_train_left_them(locking: str) -> None:
    both = layout(LINE + locking + "release section by section\n")
    seen = assert_honoured(both, range(10))
    assert seen["section released True"] > 20
    number = both.number_of["H to J"]
    sections = both.railway.routes[number].sections
    kept = set()
    for seed in range(10):
        for state, _ in side_by_side(both, seed, 150):
            held = tuple(s for s in sections if state[f"held {s}"] == "H to J")
            # Nothing is let go before what lies behind it.
            assert held == sections[len(sections) - len(held) :]
            kept.add(len(held))
    assert kept == {0, 1, 2, 3, 4}


TWO_WAYS = """
points P, Q
run edge WEST - A - >H - P.toe
run P.straight - M - Q.straight
run P.diverging - N - Q.diverging
run Q.toe - B - >S - C - edge EAST
locking written {{
  {rules}
}}
release section by section
"""


@pytest.mark.parametrize(
    "rules",
    [
        "H to S via M locks H to S via N",
        "only one of H to S via N, H to S via M",
        "H to S via N locks H to S via M\n  every route needs its positions",
    ],
)
def test_a_locked_route_waits_for_the_last_section_on_which_the_two_meet(rules: str) -> None:
    both = layout(TWO_WAYS.format(rules=rules))
    seen = assert_honoured(both, range(16))
    assert seen["request True"] > 100
    one, other = "H to S via M", "H to S via N"
    waited = 0
    for seed in range(16):
        for state, _ in side_by_side(both, seed, 150):
            behind = state["held P"] != one and state["held Q"] == one
            if behind and state[f"route {other}"] == "idle":
                # It has let go of P, where they meet first, and not of Q, where they meet last.
                request = next(e for e in both.machine.events if e.name == f"request {other}")
                assert not possible(request, state)
                waited += 1
    assert waited > 10


def test_a_route_with_an_overlap_meets_another_there_too_and_keeps_it_until_it_is_released() -> (
    None
):
    both = layout("""
        fixed diamond X1, X2
        run edge WEST - A - >H - X1.a1
        run X1.a2 - B - >J - X2.a1
        run X2.a2 - C - edge EAST
        run edge NORTH - D - >K - X1.b1
        run X1.b2 - E - X2.b1
        run X2.b2 - F - edge SOUTH
        overlap J = X2
        locking written {
          every route needs its sections clear
          K to SOUTH locks H to J, J to EAST
        }
        release section by section
    """)
    assert_honoured(both, range(16))
    waited: Counter[str] = Counter()
    asked = {e.name: e for e in both.machine.events if e.kind == "request"}
    for seed in range(16):
        for state, _ in side_by_side(both, seed, 120):
            # It has let go of X1, where the routes meet first, but not of the overlap.
            behind = state["held X1"] == "not held" and state["held X2"] == "K to SOUTH"
            if behind and state["route H to J"] == "idle":
                assert not possible(asked["request H to J"], state)
                waited["until the overlap is let go"] += 1
            # The other way round: it has an overlap until it is released altogether.
            under_way = state["route H to J"] == "train at 2" and state["held X1"] == "not held"
            if under_way and state["route K to SOUTH"] == "idle":
                assert not possible(asked["request K to SOUTH"], state)
                waited["until it is released"] += 1
    assert min(waited.values()) > 5
    assert len(waited) == 2


def test_routes_that_meet_in_a_drive_alone_wait_until_its_section_is_released() -> None:
    both = layout("""
        points PA, PB
        coupled PA, PB
        run edge WEST - A - >HA - PA.toe
        run PA.straight - A2 - A3 - edge EAST
        run PA.diverging - K - edge YARD
        run edge NORTH - B - >HB - PB.toe
        run PB.straight - B2 - edge SOUTH
        run PB.diverging - L - edge QUAY
        locking written {
          every route needs its positions
          every route needs its sections clear
          only one of HA to EAST, HA to YARD
          only one of HB to SOUTH, HB to QUAY
          HA to EAST locks HB to QUAY
        }
        release section by section
    """)
    assert_honoured(both, range(16))
    one = "HA to EAST"
    request = next(e for e in both.machine.events if e.name == "request HB to QUAY")
    let = Counter()
    for seed in range(16):
        for state, _ in side_by_side(both, seed, 150):
            if state[f"route {one}"] != "idle" and state["route HB to QUAY"] == "idle":
                let[state["held PA"] == one, possible(request, state)] += 1
    # Then it may be granted, though it need not be: other rules count as well.
    assert let[True, True] == 0
    assert min(let[True, False], let[False, True]) > 10


def test_a_section_that_another_route_has_taken_over_is_not_released_by_that() -> None:
    both = layout("""
        points P, Q
        run edge WEST - A - >H - P.toe
        run P.straight - B - >J - Q.straight
        run P.diverging - D - Q.diverging
        run Q.toe - C - edge EAST
        locking written {
          H to J locks H to EAST
          H to EAST needs P diverging
        }
        release section by section
    """)
    assert_honoured(both, range(20))
    taken = 0
    request = next(e for e in both.machine.events if e.name == "request H to J")
    for seed in range(16):
        for state, _ in side_by_side(both, seed, 120):
            if state["route H to EAST"] == "set" and state["held Q"] == "J to EAST":
                assert not possible(request, state)
                taken += 1
    assert taken > 0


@pytest.mark.parametrize("position", ["straight", "diverging"])
def test_a_condition_of_a_lock_counts_while_it_is_met_and_no_longer(position: str) -> None:
    both = layout(f"""
        points P
        run edge WEST - A - >H - B - <S - C - >J - D - P.toe
        run P.straight - E - stop
        run P.diverging - F - edge EAST
        locking written {{
          H to J locks S to WEST when P {position}
        }}
    """)
    seen = assert_honoured(both, range(12))
    assert seen["request True"] > 50
    assert seen["request False"] > 50
    granted = Counter()
    request = next(e for e in both.machine.events if e.name == "request S to WEST")
    for seed in range(30):
        for state, _ in side_by_side(both, seed, 120):
            if state["route H to J"] == "set" and state["route S to WEST"] == "idle":
                granted[state["drive P"], possible(request, state)] += 1
    other = {"straight": "diverging", "diverging": "straight"}[position]
    assert set(granted) == {(position, False), (other, True)}


def test_a_request_may_not_bring_about_the_condition_of_a_lock_between_two_others() -> None:
    both = layout("""
        points P
        run edge WEST - A - >H - B - <S - C - >J - D - P.toe
        run P.straight - E - stop
        run P.diverging - F - edge EAST
        locking written {
          H to J locks S to WEST when P straight
          J to E needs P straight
        }
    """)
    assert_honoured(both, range(10))
    refused = 0
    request = next(e for e in both.machine.events if e.name == "request J to E")
    for seed in range(16):
        for state, _ in side_by_side(both, seed, 120):
            both_set = "idle" not in (state["route H to J"], state["route S to WEST"])
            if both_set and state["route J to E"] == "idle":
                assert state["drive P"] == "diverging"
                assert not possible(request, state)
                refused += 1
    assert refused > 3


def test_a_lock_with_two_conditions_counts_only_while_both_are_met() -> None:
    both = layout("""
        points P, Q
        run edge WEST - A - >H - P.toe
        run P.straight - M - Q.straight
        run P.diverging - <U - N - stop
        run Q.diverging - <V - K - stop
        run Q.toe - B - edge EAST
        locking written {
          H to EAST locks U to WEST when P straight, Q straight
          V to EAST locks H to N when Q diverging
          U to WEST needs P diverging
        }
    """)
    seen = assert_honoured(both, range(30))
    assert min(seen["request True"], seen["request False"]) > 50


def test_every_other_rule_is_asked_at_the_request_as_well() -> None:
    both = layout("""
        points P
        run edge WEST - A - >H - P.toe
        run P.straight - <S1 - T1 - stop
        run P.diverging - <S2 - T2 - stop
        locking written {
          H to T1 needs T2 clear, P straight
          H to T2 needs P diverging
          S1 to WEST needs S2 to WEST set
          S2 to WEST needs P diverging
          only one of H to T1, H to T2
          every drive needs its section clear
        }
    """)
    seen = assert_honoured(both, range(16))
    assert min(seen["cancel False"], seen["cancel True"], seen["request False"]) > 50


@pytest.mark.parametrize("first", in_campaigns([20_000, 20_008], lambda first: first > 20_000))
def test_the_rules_of_random_railways_are_honoured(first: int) -> None:
    count = 0
    for seed in range(first, first + 4):
        both = twice(random_railway(seed))
        if both is not None:
            count += assert_honoured(both, range(2), 60).total()
    assert count > 1_000


@pytest.mark.campaign
@pytest.mark.parametrize("first", range(21_000, 21_045, 15))
def test_the_rules_of_many_random_railways_are_honoured(first: int) -> None:
    for seed in range(first, first + 15):
        both = twice(random_railway(seed))
        if both is not None:
            assert_honoured(both, range(4), 150)
