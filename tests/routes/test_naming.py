"""Names that tell routes apart, and stay short."""

from __future__ import annotations

import pytest
from compiled import table_of
from cpu_time import within
from sound_layouts import checked

import bellcrank


def loops(count: int) -> str:
    """So many passing loops in a row without a signal: two to the count ways."""
    lines = ["run edge W - A - >H - A0.toe"]
    for n in range(count):
        lines += [
            f"points A{n}, B{n}",
            f"run A{n}.straight - M{n} - B{n}.straight",
            f"run A{n}.diverging - N{n} - B{n}.diverging",
        ]
        if n:
            lines.append(f"run B{n - 1}.toe - A{n}.toe")
    lines.append(f"run B{count - 1}.toe - Z - edge E")
    return "\n".join(lines) + "\n"


def test_a_lone_way_needs_no_via():
    assert list(table_of("run edge W - A - >H - B - edge E\n").routes) == ["H to E"]


def test_one_piece_tells_two_ways_apart():
    assert list(table_of(loops(1)).routes) == ["H to E via M0", "H to E via N0"]


@pytest.mark.parametrize("count", [2, 3, 5])
def test_a_name_has_one_piece_for_each_choice_and_no_more(count: int):
    names = list(table_of(loops(count)).routes)
    assert len(set(names)) == len(names) == 2**count
    assert all(name.count(" then ") == count - 1 for name in names)


def test_legs_tell_ways_over_the_same_pieces_apart():
    text = """\
double slip S1, S2 with one drive
run edge W - A - >H - S1.a1
run edge V - B - >J - S1.b1
run S1.a2 - S2.a1
run S1.b2 - S2.b1
run S2.a2 - C - edge E
run S2.b2 - D - edge F
"""
    table = table_of(text)
    ways = [name for name in table.routes if name.startswith("H to E")]
    assert ways == ["H to E via S1.a2", "H to E via S1.b2"]
    again = checked(text + f"expect {ways[0]} never with {ways[1]}\n")
    assert again.standing.outcome == "proved"


@pytest.mark.parametrize(
    ("count", "seconds"), [(6, 5), pytest.param(8, 20, marks=pytest.mark.campaign)]
)
def test_hundreds_of_ways_are_named_in_little_time(count: int, seconds: float):
    with within(seconds):
        assert len(table_of(loops(count)).routes) == 2**count


@pytest.mark.parametrize(
    ("count", "seconds"), [(10, 4), pytest.param(13, 30, marks=pytest.mark.campaign)]
)
def test_more_ways_than_can_be_compared_are_an_error_and_not_a_long_wait(
    count: int, seconds: float
):
    with within(seconds):
        found = bellcrank.compile(loops(count)).diagnostics
    assert [d.code for d in found] == ["E404"]


def test_a_route_may_be_named_by_its_last_piece():
    text = "run edge W - A - >H - B - >J - C - edge E\nexpect H to B with J to C\n"
    c = bellcrank.compile(text)
    assert c.locking.expectations[0].routes == ("H to J", "J to E")
