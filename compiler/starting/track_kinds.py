"""The kinds of track that a first layout can have, each a builder of its own.

Names follow common practice: H is a home signal, W and E are read by trains from the west or the
east, T is a track with a platform, R a road of a station, Y a road of a yard.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from bellcrank.starting.track_plan import (
    Edge,
    Fittings,
    LegOf,
    Piece,
    Read,
    Run,
    Stop,
    Throw,
    TrackPlan,
)

OF_POINTS = "Points have three legs: toe, straight and diverging."


@dataclass(frozen=True, slots=True)
class Size:
    """How large a kind of track can be.

    counts: what is counted. least, usual, most: of them.
    """

    counts: Literal["roads", "slip drives"]
    question: str
    least: int
    usual: int
    most: int


@dataclass(frozen=True, slots=True)
class TrackKind:
    """A kind of track.

    purpose: what it is, in a few words. title: of a layout that has none.
    size: how large it can be; None for one that has one size. build: makes one of a size.
    bench: whether it is for the bench, so that decoders are wired if nothing is said.
    """

    purpose: str
    title: str
    size: Size | None
    build: Callable[[int], TrackPlan]
    bench: bool = False


def _slip(drives: int) -> TrackPlan:
    two = drives == 2
    legs = (
        "Legs a1 and b1 are at one end, a2 and b2 at the other; the straight roads are a1 to a2 "
        "and b1 to b2."
    )
    return TrackPlan(
        about="A double slip on the bench, with a piece of track at each of its legs.",
        advice="Where track ends here, `stop` may become `edge NAME`: there it leaves the layout.",
        fittings=(Fittings("double slip", ("S1",), "two drives" if two else "one drive", legs),),
        runs=(
            (Stop(), Piece("A1"), Read("HA1", True), LegOf("S1", "a1")),
            (Stop(), Piece("B1"), Read("HB1", True), LegOf("S1", "b1")),
            (LegOf("S1", "a2"), Read("HA2", False), Piece("A2"), Stop()),
            (LegOf("S1", "b2"), Read("HB2", False), Piece("B2"), Stop()),
        ),
        throws=(Throw("S1.end1"), Throw("S1.end2")) if two else (Throw("S1"),),
        expectations=(("HA1 to A2 never with HB1 to B2", "the two straight roads cross"),),
    )


def _terminus(roads: int) -> TrackPlan:
    points = _points("P", roads)
    return TrackPlan(
        about=f"A terminus of {roads} roads.",
        advice="Each road is a run that begins at a leg of points and ends at its buffer stop.",
        fittings=(Fittings("points", points, "", OF_POINTS),),
        runs=(
            (Edge("WEST"), Piece("A"), Read("H", True), LegOf(points[0], "toe")),
            *_ladder(points, _dead_end_roads("T", "S", roads)),
        ),
        throws=tuple(Throw(name) for name in points),
        joint_sections=_joint("THROAT", points),
        expectations=(("S1 to WEST never with S2 to WEST", "one line for all that leave"),),
    )


def _yard(roads: int) -> TrackPlan:
    points = _points("P", roads)
    return TrackPlan(
        about=f"A yard of {roads} roads behind a ladder of points, with shunt signals.",
        advice="Each road is a run that begins at a leg of points and ends at its buffer stop.",
        fittings=(Fittings("points", points, "", OF_POINTS),),
        runs=(
            (Edge("MAIN"), Piece("LEAD"), Read("L", True), LegOf(points[0], "toe")),
            *_ladder(points, _dead_end_roads("Y", "D", roads)),
        ),
        throws=tuple(Throw(name) for name in points),
        joint_sections=_joint("LADDER", points),
        shunt=True,
        expectations=(("L to Y1 never with D2 to MAIN", "one lead for all roads"),),
    )


def _through(roads: int) -> TrackPlan:
    west, east, runs = _between_ladders(roads)
    return TrackPlan(
        about=f"A through station of {roads} roads, with a line at each end.",
        advice="Each road is joined to points at both ends and has a signal at each of them.",
        fittings=(Fittings("points", (*west, *east), "", OF_POINTS),),
        runs=(
            (Edge("WEST"), Piece("A"), Read("W", True), LegOf(west[0], "toe")),
            *runs,
            (LegOf(east[0], "toe"), Read("E", False), Piece("B"), Edge("EAST")),
        ),
        throws=tuple(Throw(name) for name in (*west, *east)),
        joint_sections=(*_joint("THROAT_W", west), *_joint("THROAT_E", east)),
        expectations=(("W to R1 with E to R2", "trains come in from both sides at once"),),
    )


def _oval(roads: int) -> TrackPlan:
    west, east, runs = _between_ladders(roads)
    return TrackPlan(
        about=f"An oval with a station of {roads} roads, where trains pass each other.",
        advice="The last run is the line that leads round, from one end of the station to the "
        "other. Trains are put on the track by hand: nothing leads off the layout.",
        fittings=(Fittings("points", (*west, *east), "", OF_POINTS),),
        runs=(
            *runs,
            (
                LegOf(east[0], "toe"),
                Read("E", False),
                Piece("LINE"),
                Read("W", True),
                LegOf(west[0], "toe"),
            ),
        ),
        throws=tuple(Throw(name) for name in (*west, *east)),
        joint_sections=(*_joint("THROAT_W", west), *_joint("THROAT_E", east)),
        expectations=(("E1 to LINE never with W2 to LINE", "one line for both directions"),),
    )


def _crossover(_: int) -> TrackPlan:
    return TrackPlan(
        about="Two lines side by side, and a crossover from one to the other.",
        advice="PA and PB are coupled: they are thrown together, each by a drive of its own.",
        fittings=(Fittings("points", ("PA", "PB"), "", OF_POINTS),),
        runs=(
            (Edge("A_WEST"), Piece("A1"), Read("AW", True), LegOf("PA", "toe")),
            (LegOf("PA", "straight"), Read("AE", False), Piece("A2"), Edge("A_EAST")),
            (Edge("B_WEST"), Piece("B1"), Read("BW", True), LegOf("PB", "straight")),
            (LegOf("PB", "toe"), Read("BE", False), Piece("B2"), Edge("B_EAST")),
            (LegOf("PA", "diverging"), LegOf("PB", "diverging")),
        ),
        throws=(Throw("PA", at_once=2),),
        coupled=(("PA", "PB"),),
        expectations=(
            ("AW to A_EAST with BE to B_WEST", "a train on each line"),
            ("AW to B_EAST never with BW to B_EAST", "both come to the same line"),
        ),
    )


def _ladder(points: Sequence[str], roads: Sequence[Run]) -> list[Run]:
    """A ladder of points from the left, with what goes on at each of its roads."""
    runs: list[Run] = []
    for n, (leg, road) in enumerate(zip(_legs_of_roads(points), roads, strict=True)):
        runs.append((leg, *road))
        if n + 1 < len(points):
            runs.append((LegOf(points[n], "diverging"), LegOf(points[n + 1], "toe")))
    return runs


def _dead_end_roads(letter: str, signal: str, roads: int) -> list[Run]:
    return [
        (Read(f"{signal}{n}", False), Piece(f"{letter}{n}"), Stop()) for n in range(1, roads + 1)
    ]


def _between_ladders(roads: int) -> tuple[tuple[str, ...], tuple[str, ...], list[Run]]:
    """Roads between two ladders of points."""
    west, east = _points("PW", roads), _points("PE", roads)
    through: list[Run] = [
        (Read(f"W{n}", False), Piece(f"R{n}"), Read(f"E{n}", True), leg)
        for n, leg in enumerate(_legs_of_roads(east), start=1)
    ]
    runs = _ladder(west, through)
    for one, other in pairwise(east):
        runs.append((LegOf(other, "toe"), LegOf(one, "diverging")))
    return west, east, runs


def _points(letter: str, roads: int) -> tuple[str, ...]:
    """The points that part so many roads."""
    return tuple(f"{letter}{n}" for n in range(1, roads))


def _legs_of_roads(points: Sequence[str]) -> list[LegOf]:
    """The legs of a ladder at which its roads begin."""
    return [
        *(LegOf(name, "straight") for name in points),
        *(LegOf(name, "diverging") for name in points[-1:]),
    ]


def _joint(section: str, points: tuple[str, ...]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Points under one detector; those that are alone need no section of another name."""
    return ((section, points),) if len(points) > 1 else ()


def _roads(question: str) -> Size:
    return Size("roads", question, least=2, usual=2, most=24)


TRACK_KINDS: Mapping[str, TrackKind] = {
    "slip": TrackKind(
        "a double slip on the bench, with its decoder",
        "Slip on the bench",
        Size("slip drives", "How many drives has the slip?", least=1, usual=1, most=2),
        _slip,
        bench=True,
    ),
    "terminus": TrackKind(
        "a terminus: a line comes in, and each road ends at a stop",
        "Terminus",
        _roads("How many roads?"),
        _terminus,
    ),
    "oval": TrackKind(
        "an oval with a passing loop, or a station of more roads",
        "Oval",
        _roads("How many roads has the station?"),
        _oval,
    ),
    "through": TrackKind(
        "a through station: a line at each end, and roads between",
        "Through station",
        _roads("How many roads?"),
        _through,
    ),
    "yard": TrackKind(
        "a yard behind a ladder of points",
        "Yard",
        _roads("How many roads?"),
        _yard,
    ),
    "crossover": TrackKind(
        "two lines side by side with a crossover",
        "Crossover",
        None,
        _crossover,
    ),
}
"""By the word for each, in the order in which they are offered."""
