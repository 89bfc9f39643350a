"""Throws within the limits of supplies: the shortest schedule, and what it is based on."""

from __future__ import annotations

import random
from itertools import permutations

import pytest
import z3
from hypothesis import given, settings
from hypothesis import strategies as st

from bellcrank.timing import branch_and_bound as search
from bellcrank.timing.schedule import Limit, Schedule, Throw, schedule


def coils(*pulses: int, supply: str | None = "BENCH") -> list[Throw]:
    return [Throw(f"P{n}", pulse, pulse, supply) for n, pulse in enumerate(pulses, start=1)]


ONE = {"BENCH": Limit(1, 250)}
TWO = {"BENCH": Limit(2, 250)}

# ------------------------------------------------------------------ worked by hand


def test_nothing_to_throw_takes_no_time() -> None:
    assert schedule([], {}) == Schedule({}, 0, 0)


def test_a_supply_of_one_at_a_time_throws_when_it_has_rested() -> None:
    found = schedule(coils(200, 200, 200), ONE)
    assert found.starts == {"P1": 0, "P2": 450, "P3": 900}
    assert (found.total, found.bound) == (1100, 1100)


def test_a_supply_of_two_at_a_time_rests_in_each_of_the_two() -> None:
    found = schedule(coils(200, 200, 200, 200), TWO)
    assert sorted(found.starts.values()) == [0, 0, 450, 450]
    assert found.total == 650


def test_what_no_supply_feeds_is_thrown_at_once() -> None:
    assert schedule(coils(200, 300, 100, supply=None), ONE).total == 300
    assert schedule(coils(200, 300, 100, supply="OTHER"), ONE).total == 300


def test_two_supplies_do_not_wait_for_each_other() -> None:
    throws = [*coils(200, 200), Throw("Q1", 200, 200, "SHED"), Throw("Q2", 200, 200, "SHED")]
    found = schedule(throws, ONE | {"SHED": Limit(1, 50)})
    assert (found.starts["P2"], found.starts["Q2"], found.total) == (450, 250, 650)


def test_what_takes_longest_to_settle_goes_first() -> None:
    throws = [Throw("P1", 200, 200, "BENCH"), Throw("P2", 200, 2000, "BENCH")]
    found = schedule(throws, ONE)
    assert found.starts == {"P1": 450, "P2": 0}
    assert found.total == 2000


def test_the_rest_after_the_last_throw_is_not_waited_for() -> None:
    assert schedule(coils(200), {"BENCH": Limit(1, 60_000)}).total == 200


def test_a_throw_without_length_takes_a_supply_only_for_its_rest() -> None:
    assert schedule(coils(0, 0), ONE).total == 250
    assert schedule(coils(0, 0, 0), {"BENCH": Limit(1, 0)}).total == 0


def test_a_throw_waits_until_what_it_comes_after_lies() -> None:
    throws = [Throw("W.left", 200, 900, None), Throw("W.right", 200, 300, None, ("W.left",))]
    found = schedule(throws, {})
    assert (found.starts["W.right"], found.total, found.bound) == (900, 1200, 1200)


def test_another_drive_is_thrown_while_one_settles() -> None:
    first = Throw("W.left", 200, 1000, "BENCH")
    throws = [first, Throw("W.right", 200, 200, "BENCH", ("W.left",)), *coils(200, 200)]
    found = schedule(throws, ONE)
    assert found.starts == {"W.left": 0, "P1": 450, "P2": 900, "W.right": 1350}
    assert found.total == found.bound == 1550


def test_drives_that_are_alike_keep_their_order() -> None:
    starts = schedule(coils(*[200] * 7), TWO).starts
    assert list(starts.values()) == sorted(starts.values())


def test_throws_in_a_ring_are_refused() -> None:
    with pytest.raises(ValueError, match="P1, P2"):
        schedule([Throw("P1", 1, 1, None, ("P2",)), Throw("P2", 1, 1, None, ("P1",))], {})


def test_weights_that_part_into_two_equal_heaps_are_parted_so() -> None:
    """Two slots: as hard as the partition problem (Garey and Johnson, 1979, SP12); the
    rule of the longest first would take 1200 here."""
    found = schedule(coils(300, 300, 200, 200, 200), {"BENCH": Limit(2, 0)})
    assert (found.total, found.bound) == (600, 600)


# ------------------------------------------------------------------ by other solvers


def drawn(r: random.Random, most_motors: int = 1) -> tuple[list[Throw], dict[str, Limit]]:
    limits = {
        name: Limit(r.randint(1, 3), r.choice([0, 0, 100, 250, 330]))
        for name in "AB"[: r.randint(1, 2)]
    }
    throws: list[Throw] = []
    for number in range(r.randint(2, 7)):
        busy = r.choice([0, 90, 100, 150, 200, 300, 700, 1500])
        supply = r.choice([*limits, *limits, *limits, None])
        after = (r.choice(throws).name,) if throws and r.random() < 0.25 else ()
        lies = max(busy, r.choice([0, 0, 220, 500, 900]))
        slots = limits[supply].slots if supply else 1
        motors = r.randint(1, min(most_motors, slots)) if most_motors > 1 else 1
        throws.append(Throw(f"P{number}", busy, lies, supply, after, motors))
    return throws, limits


def broken(throws: list[Throw], limits: dict[str, Limit], starts: dict[str, int]) -> list[str]:
    """Limits that are broken, counted in every millisecond in which a throw begins."""
    named = {t.name: t for t in throws}
    found = [f"{t.name} before {b}" for t in throws for b in t.after
             if starts[t.name] < starts[b] + named[b].lies]  # fmt: skip
    for supply, limit in limits.items():
        held = {t.name: range(starts[t.name], starts[t.name] + t.busy + limit.rest)
                for t in throws if t.supply == supply}  # fmt: skip
        found += [
            f"{supply} at {starts[name]}"
            for name, own in held.items()
            if own
            and sum(named[t].motors * (starts[name] in other) for t, other in held.items())
            > limit.slots
        ]
    return found + [name for name, start in starts.items() if start < 0]


def by_z3(throws: list[Throw], limits: dict[str, Limit]) -> int:
    """The shortest total, by slots: z3 puts each throw on one."""
    optimize = z3.Optimize()
    start = {t.name: z3.Int(f"start {t.name}") for t in throws}
    slot = {(t.name, k): z3.Int(f"slot {t.name} {k}") for t in throws for k in range(t.motors)}
    total = z3.Int("total")
    for t in throws:
        optimize.add(start[t.name] >= 0, total >= start[t.name] + t.lies)
        for before in t.after:
            lies = next(b.lies for b in throws if b.name == before)
            optimize.add(start[t.name] >= start[before] + lies)
    for supply, limit in limits.items():
        mine = [
            (t, (t.name, k))
            for t in throws
            if t.supply == supply and t.busy + limit.rest
            for k in range(t.motors)
        ]
        for place, (one, own) in enumerate(mine):
            optimize.add(slot[own] >= 0, slot[own] < limit.slots)
            for other, its in mine[:place]:
                optimize.add(
                    slot[own] != slot[its]
                    if one.name == other.name
                    else z3.Or(
                        slot[own] != slot[its],
                        start[one.name] >= start[other.name] + other.busy + limit.rest,
                        start[other.name] >= start[one.name] + one.busy + limit.rest,
                    )
                )
    optimize.minimize(total)
    assert optimize.check() == z3.sat
    return int(optimize.model()[total].as_long())


def test_random_cases_take_as_long_as_the_shortest_that_z3_finds() -> None:
    r = random.Random(20)
    for _ in range(120):
        throws, limits = drawn(r)
        found = schedule(throws, limits)
        assert broken(throws, limits, dict(found.starts)) == []
        assert found.total == max(found.starts[t.name] + t.lies for t in throws)
        assert (found.total, found.bound) == (by_z3(throws, limits),) * 2, (throws, limits)


def test_drives_of_several_motors_take_as_long_as_the_shortest_that_z3_finds() -> None:
    r = random.Random(22)
    several = 0
    for _ in range(25):
        throws, limits = drawn(r, most_motors=3)
        several += any(t.motors > 1 for t in throws)
        found = schedule(throws, limits)
        assert broken(throws, limits, dict(found.starts)) == []
        assert (found.total, found.bound) == (by_z3(throws, limits),) * 2, (throws, limits)
    assert several > 10


@pytest.mark.campaign
def test_many_drives_of_several_motors_take_as_long_as_the_shortest_that_z3_finds() -> None:
    r = random.Random(23)
    for _ in range(150):
        throws, limits = drawn(r, most_motors=3)
        found = schedule(throws, limits)
        assert broken(throws, limits, dict(found.starts)) == []
        assert (found.total, found.bound) == (by_z3(throws, limits),) * 2, (throws, limits)


def test_the_bound_is_right_where_the_search_gives_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(search, "EFFORT", 0)
    search.solve.cache_clear()
    r = random.Random(21)
    open_ = 0
    try:
        for _ in range(120):
            throws, limits = drawn(r)
            found = schedule(throws, limits)
            assert broken(throws, limits, dict(found.starts)) == []
            shortest = by_z3(throws, limits)
            assert found.bound <= shortest <= found.total
            open_ += found.bound < found.total
    finally:
        search.solve.cache_clear()
    assert open_ > 1  # or it would have shown little


def test_one_slot_is_best_used_in_the_order_of_jacksons_rule() -> None:
    """All orders of six throws, tried one by one."""
    r = random.Random(22)
    for _ in range(20):
        throws = [Throw(f"P{n}", b, max(b, r.randint(0, 900)), "BENCH")
                  for n, b in enumerate(r.randint(1, 400) for _ in range(6))]  # fmt: skip
        best = min(
            max(sum(o.busy + 250 for o in order[:k]) + t.lies for k, t in enumerate(order))
            for order in permutations(throws)
        )
        found = schedule(throws, ONE)
        assert found.total == found.bound == best


@settings(max_examples=15)
@given(
    st.lists(st.tuples(st.integers(0, 5000), st.integers(0, 5000)), max_size=60),
    st.integers(1, 5),
    st.integers(0, 2000),
)
def test_many_throws_break_no_limit_and_are_bounded(
    times: list[tuple[int, int]], slots: int, rest: int
) -> None:
    throws = [Throw(f"P{n}", b, b + more, "BENCH") for n, (b, more) in enumerate(times)]
    limits = {"BENCH": Limit(slots, rest)}
    found = schedule(throws, limits)
    assert broken(throws, limits, dict(found.starts)) == []
    assert found.bound <= found.total
    # A rule that never leaves a slot idle is no more than one throw from the shortest.
    assert found.total - found.bound <= max((b + rest for b, _ in times), default=0)


def test_five_hundred_drives_on_one_supply_are_timed() -> None:
    r = random.Random(23)
    throws = [Throw(f"P{n}", b, b + r.choice([0, 300]), "BENCH")
              for n, b in enumerate(r.choice([150, 200, 1500]) for _ in range(500))]  # fmt: skip
    found = schedule(throws, {"BENCH": Limit(3, 100)})
    assert broken(throws, {"BENCH": Limit(3, 100)}, dict(found.starts)) == []
    assert found.bound <= found.total <= found.bound * 1.01


def test_the_same_throws_have_the_same_schedule_each_time() -> None:
    throws, limits = drawn(random.Random(24))
    first = schedule(throws, limits)
    search.solve.cache_clear()
    assert schedule(throws, limits) == first
