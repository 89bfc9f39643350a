"""Layouts drawn twice by hand: as text and as a plain table of the same track."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from plain_table import PlainRoute, Table

from bellcrank.routes.route_model import Route, RouteTable

EXAMPLES = Path(__file__).parents[2] / "examples"


@dataclass
class Drawn:
    text: str
    table: Table


HARBOUR = Drawn(
    (EXAMPLES / "harbour-terminus.crank").read_text("utf-8"),
    Table(
        fittings={"P1": "points", "P3": "points", "S1": "double slip with one drive"},
        joints=[
            ("edge WEST", "A.left"),
            ("A.right", "P1.toe"),
            ("P1.straight", "S1.a1"),
            ("P1.diverging", "G.left"),
            ("G.right", "P3.straight"),
            ("edge YARD", "Y.left"),
            ("Y.right", "P3.diverging"),
            ("P3.toe", "S1.b1"),
            ("S1.a2", "T1.left"),
            ("T1.right", "stop"),
            ("S1.b2", "T2.left"),
            ("T2.right", "stop"),
        ],
        signals={
            "W1": ("A.right", "P1.toe"),
            "G2": ("G.left", "P1.diverging"),
            "G1": ("G.right", "P3.straight"),
            "Y1": ("Y.right", "P3.diverging"),
            "D1": ("T1.left", "S1.a2"),
            "D2": ("T2.left", "S1.b2"),
        },
        sections={"NECK": ("P3", "S1")},
    ),
)

# An up and a down line with a crossover worked as one, and a bay reached over
# the crossing road of a single slip. D-signals are read rightwards.
JUNCTION_WITH_BAY = Drawn(
    """
    points PA, PB
    single slip S with two drives
    coupled PA, PB
    run edge WA - A0 - >D1 - A1 - PA.toe
    run PA.straight - A2 - <U1 - S.a1
    run PA.diverging - PB.diverging
    run edge WB - B0 - <U9 - B1 - PB.straight
    run PB.toe - B2 - <U2 - B3 - edge EB
    run stop - BAY - >D3 - S.b1
    run S.a2 - A3 - >D2 - <U3 - A4 - edge EA
    run S.b2 - C - stop
    section ROADS = S, A3
    overlap D2 = A4
    overlap U1 = A2, PA
    """,
    Table(
        fittings={"PA": "points", "PB": "points", "S": "single slip with two drives"},
        joints=[
            ("edge WA", "A0.left"),
            ("A0.right", "A1.left"),
            ("A1.right", "PA.toe"),
            ("PA.straight", "A2.left"),
            ("A2.right", "S.a1"),
            ("PA.diverging", "PB.diverging"),
            ("edge WB", "B0.left"),
            ("B0.right", "B1.left"),
            ("B1.right", "PB.straight"),
            ("PB.toe", "B2.left"),
            ("B2.right", "B3.left"),
            ("B3.right", "edge EB"),
            ("stop", "BAY.left"),
            ("BAY.right", "S.b1"),
            ("S.a2", "A3.left"),
            ("A3.right", "A4.left"),
            ("A4.right", "edge EA"),
            ("S.b2", "C.left"),
            ("C.right", "stop"),
        ],
        signals={
            "D1": ("A0.right", "A1.left"),
            "U1": ("S.a1", "A2.right"),
            "U9": ("B1.left", "B0.right"),
            "U2": ("B3.left", "B2.right"),
            "D3": ("BAY.right", "S.b1"),
            "D2": ("A3.right", "A4.left"),
            "U3": ("A4.left", "A3.right"),
        },
        sections={"ROADS": ("S", "A3")},
        overlaps={"D2": ("A4",), "U1": ("A2", "PA")},
        coupled=[("PA", "PB")],
    ),
)

# A diamond whose roads are both reached from one throat of three way points,
# with two parallel roads between the same signals and a turning loop at the end.
THROAT_AND_LOOP = Drawn(
    """
    three way points T
    fixed diamond X
    points P, Q
    double slip Z with two drives
    run edge W - A - >H - T.toe
    run T.left - X.a1
    run T.straight - B - <S1 - X.b1
    run T.right - R - stop
    run X.a2 - Z.a1
    run X.b2 - C - Z.b1
    run Z.a2 - E1 - >L1 - P.toe
    run P.straight - F - >L2 - <L3 - G - P.diverging
    run Z.b2 - Q.toe
    run Q.straight - K1 - <S2 - ROAD - stop
    run Q.diverging - <S3 - K2 - edge E
    section END = Q, K1
    """,
    Table(
        fittings={
            "T": "three way points",
            "X": "fixed diamond",
            "P": "points",
            "Q": "points",
            "Z": "double slip with two drives",
        },
        joints=[
            ("edge W", "A.left"),
            ("A.right", "T.toe"),
            ("T.left", "X.a1"),
            ("T.straight", "B.left"),
            ("B.right", "X.b1"),
            ("T.right", "R.left"),
            ("R.right", "stop"),
            ("X.a2", "Z.a1"),
            ("X.b2", "C.left"),
            ("C.right", "Z.b1"),
            ("Z.a2", "E1.left"),
            ("E1.right", "P.toe"),
            ("P.straight", "F.left"),
            ("F.right", "G.left"),
            ("G.right", "P.diverging"),
            ("Z.b2", "Q.toe"),
            ("Q.straight", "K1.left"),
            ("K1.right", "ROAD.left"),
            ("ROAD.right", "stop"),
            ("Q.diverging", "K2.left"),
            ("K2.right", "edge E"),
        ],
        signals={
            "H": ("A.right", "T.toe"),
            "S1": ("X.b1", "B.right"),
            "L1": ("E1.right", "P.toe"),
            "L2": ("F.right", "G.left"),
            "L3": ("G.left", "F.right"),
            "S2": ("ROAD.left", "K1.right"),
            "S3": ("K2.left", "Q.diverging"),
        },
        sections={"END": ("Q", "K1")},
    ),
)
DRAWN: Mapping[str, Drawn] = {
    "harbour": HARBOUR,
    "junction": JUNCTION_WITH_BAY,
    "throat": THROAT_AND_LOOP,
}


def key_of(route: Route) -> tuple[str, str, tuple[tuple[str, str, str], ...], bool]:
    """A compiler's route as the plain routes are known."""
    ways = tuple((way.element, way.entry, way.exit) for way in route.ways)
    return route.start, route.end, ways, route.calling_on


def names_of(routes: list[PlainRoute], table: RouteTable) -> list[str]:
    """The compiler's name for each plain route, found by the way it takes."""
    names = {key_of(route): name for name, route in table.routes.items()}
    return [names[route.key] for route in routes]
