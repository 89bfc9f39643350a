"""Trains that block each other: who they are, and how they come there."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import pytest
from cpu_time import SLOW_HOUR, cpu_seconds
from random_layouts import valid_layouts
from sound_layouts import compiled, compiled_file

from bellcrank import Sound
from bellcrank.layout.layout_model import Leg
from bellcrank.proof.standing import blocked_trains as module
from bellcrank.proof.standing.blocked_trains import Blocked, BlockedSearch, blocked_trains
from bellcrank.rehearsal.acts import run_script
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import read_script
from bellcrank.routes.arrivals import find_arrivals, may_be_put_down
from bellcrank.routes.track_search import signals_by_joint

FACE_TO_FACE = """\
run edge WEST - A - >H - B - >J - <K - C - <M - D - edge EAST
"""

STATION = """\
points P1, P2
run edge WEST - A - >W - P1.toe
run P1.straight - <W1 - R1 - >E1 - P2.straight
run P1.diverging - <W2 - R2 - >E2 - P2.diverging
run P2.toe - <E - B - edge EAST
"""


def search(text: str) -> BlockedSearch:
    c = compiled(text)
    return blocked_trains(c.layout, c.table, c.locking)


def found(text: str) -> Blocked:
    blocked = search(text).found
    assert blocked is not None
    return blocked


def stands(blocked: Blocked) -> list[tuple[str, str]]:
    return [(train.section, train.signal) for train in blocked.waiting]


def test_two_trains_face_to_face_on_a_single_line_wait_for_each_other() -> None:
    blocked = found(FACE_TO_FACE)
    assert stands(blocked) == [("B", "J"), ("C", "K")]
    assert [train.blocks for train in blocked.waiting] == [
        (("J to EAST", "C"),),
        (("K to WEST", "B"),),
    ]
    assert blocked.for_good
    assert blocked.story == (
        "train comes in from WEST",
        "go on",
        "request H to J",
        "go on",
        "train comes in from EAST",
        "go on",
        "request M to K",
        "go on",
        "expect J to EAST refused because of C",
        "expect K to WEST refused because of B",
    )


def test_as_many_trains_as_roads_and_one_more_before_the_station_wait_until_one_goes_back() -> None:
    blocked = found(STATION)
    assert stands(blocked) == [("A", "W"), ("R1", "W1"), ("R2", "W2")]
    assert not blocked.for_good
    assert [train.goes_back for train in blocked.waiting] == [None, "E1 to EAST", "E2 to EAST"]


def test_trains_that_fill_a_ring_are_put_there_by_hand_where_no_edge_is() -> None:
    ring = "run A - >S1 - B - >S2 - C - >S3 - A\n"
    blocked = found(ring)
    assert stands(blocked) == [("A", "S1"), ("B", "S2"), ("C", "S3")]
    assert blocked.for_good
    assert all(line.startswith(("train stands before", "expect")) for line in blocked.story)


@pytest.mark.parametrize(
    "text",
    [
        "run edge IN - A - >H - B - >J - C - edge OUT\n",  # each goes on when the next has
        STATION.replace("<W1 - ", "").replace("<W2 - ", "").replace("<E - ", ""),
    ],
)
def test_where_all_run_one_way_to_an_edge_none_waits_for_ever(text: str) -> None:
    assert search(text) == BlockedSearch(None, complete=True)


def test_a_train_that_may_be_called_on_into_the_road_is_not_blocked() -> None:
    loop = "run A - >S1 - B - >S2 - C - >S3 - A\n"
    assert search(loop).found is not None
    loop += "signal S1 shows stop, call, clear\nroute S1 to S2 calling on shows call\n"
    assert search(loop).found is None


def plays(c: Sound, blocked: Blocked) -> bool:
    """Whether the machine does what the story says."""
    railway = Railway(c.machine, c.layout, c.table)
    lines, faults = read_script("\n".join(blocked.story), "script", railway)
    assert faults == ()
    return all(outcome.good for outcome in run_script(railway, lines))


EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))
CORPUS = sorted((Path(__file__).parents[1] / "corpus").glob("*/railway.crank"))

QUICK = {"oval-passing-loop", "block-oval", "one-lever-loop", "single-line-loops", "dog-bone"}


@pytest.mark.parametrize(
    "path",
    [
        pytest.param(path, marks=[] if path.parent.name in QUICK else pytest.mark.campaign)
        for path in CORPUS
    ]
    + EXAMPLES,
    ids=lambda path: f"{path.parent.name}/{path.stem}",
)
def test_every_story_is_one_that_the_machine_plays(path: Path) -> None:
    c = compiled_file(path)
    assert isinstance(c, Sound)
    told = blocked_trains(c.layout, c.table, c.locking)
    assert told.complete
    assert told.found is None or plays(c, told.found)
    assert told == blocked_trains(c.layout, c.table, c.locking)


def _everywhere(c: Sound) -> dict[str, list[str]]:
    """The signals before which a train may stand, by the section that it then stands in."""
    at = signals_by_joint(c.layout)
    come = find_arrivals(c.layout, c.table.routes.values())
    found: dict[str, list[str]] = {}
    for signal in c.layout.signals.values():
        if isinstance(signal.before, Leg) and (
            signal.name in come or may_be_put_down(signal, c.layout, at)
        ):
            section = c.layout.section_of[signal.before.element]
            found.setdefault(section, []).append(signal.name)
    return found


def _blocked_somewhere(c: Sound) -> bool:
    """By looking at every set of trains: whether one is blocked."""
    routes = c.table.routes.values()
    needs = {
        r.name: {n.section for n in c.locking.needs_clear if n.route == r.name} for r in routes
    }

    def waits(section: str, signal: str, trains: tuple[str, ...]) -> bool:
        ways = [r for r in routes if r.start == signal and section not in needs[r.name]]
        return bool(ways) and all(needs[r.name] & set(trains) for r in ways)

    places = _everywhere(c)
    return any(
        all(any(waits(section, signal, trains) for signal in places[section]) for section in trains)
        for size in range(1, len(places) + 1)
        for trains in combinations(places, size)
    )


def test_blocked_trains_are_found_exactly_where_some_set_of_trains_is_blocked() -> None:
    sides = set()
    for _, c in valid_layouts(range(20)):
        if len(_everywhere(c)) > 12:
            continue
        told = blocked_trains(c.layout, c.table, c.locking)
        if told.complete:
            assert (told.found is not None) == _blocked_somewhere(c)
            sides.add(told.found is not None)
        if told.found is not None and c.locking.derived:  # else it may be unsafe
            assert plays(c, told.found)
    assert sides == {True, False}


def test_more_routes_than_are_looked_at_are_said_to_be_more(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(module, "MOST_ROUTES", 3)
    assert search(STATION) == BlockedSearch(None, complete=False)


def test_a_hundred_routes_are_looked_through_in_a_second() -> None:
    c = compiled_file(Path(__file__).parents[1] / "corpus" / "big-terminus" / "railway.crank")
    assert isinstance(c, Sound) and len(c.table.routes) > 80
    began = cpu_seconds()
    assert blocked_trains(c.layout, c.table, c.locking).found is not None
    assert cpu_seconds() - began < SLOW_HOUR
