"""The two rails of every leg as a network of their own, made without the compiler's frogs.

Ends of rails are (leg, side), looking outwards; a way joins the right-hand end of one leg to the
left-hand end of the other. Two rails cross if their ends alternate round the fitting.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import networkx as nx

RailEnd = tuple[str, str]
Rail = tuple[RailEnd, RailEnd]
Road = tuple[str, str]


def rails_of(road: Road) -> list[Rail]:
    one, other = road
    return [((one, "right"), (other, "left")), ((one, "left"), (other, "right"))]


@dataclass(frozen=True)
class Crossing:
    """Where two rails of two roads cross, and the two legs that it lies between."""

    legs: frozenset[str]
    rails: tuple[Rail, Rail]
    roads: tuple[Road, Road]


def ends_round(legs: tuple[str, ...], *, clockwise: bool = True) -> list[RailEnd]:
    """The ends of all rails in order round a fitting. Walking clockwise round it, the left-hand
    rail of each leg, looking outwards, comes first."""
    sides = ("left", "right") if clockwise else ("right", "left")
    return [(leg, side) for leg in legs for side in sides]


def crossings(
    legs: tuple[str, ...], roads: list[Road], *, clockwise: bool = True
) -> Iterator[Crossing]:
    round_ = ends_round(legs, clockwise=clockwise)
    place = {end: number for number, end in enumerate(round_)}
    for one, other in combinations(roads, 2):
        for rail in rails_of(one):
            for against in rails_of(other):
                if set(rail) & set(against) or not _alternate(rail, against, place):
                    continue
                shared = set(one) & set(other)
                between = {*one, *other} - shared
                if not shared:
                    between = {
                        leg
                        for end in rail
                        for opposite in against
                        if (place[end] - place[opposite]) % len(round_) in (1, len(round_) - 1)
                        for leg in (end[0], opposite[0])
                    }
                assert len(between) == 2
                yield Crossing(frozenset(between), (rail, against), (one, other))


def _alternate(rail: Rail, other: Rail, place: Mapping[RailEnd, int]) -> bool:
    low, high = sorted(place[end] for end in rail)
    return sum(low < place[end] < high for end in other) == 1


def facing(
    leg: str,
    other: str,
    legs: tuple[str, ...],
    *,
    clockwise: bool = True,
    beyond: frozenset[str] = frozenset(),
) -> RailEnd:
    """The rail end of one leg that faces another: round the fitting by the shorter way that does
    not lead past what lies beyond, which is the leg that their roads share."""
    order = legs if clockwise else legs[::-1]
    onwards: list[str] = []
    at = (order.index(leg) + 1) % len(order)
    while order[at] != other:
        onwards.append(order[at])
        at = (at + 1) % len(order)
    back = [name for name in order if name not in (leg, other, *onwards)]
    # Walking clockwise round it, the right-hand rail of a leg comes after the left-hand one.
    goes_on = not beyond & set(onwards) and (bool(beyond & set(back)) or len(onwards) < len(back))
    return leg, "right" if goes_on else "left"


def polarity(network: nx.Graph) -> dict[Any, tuple[int, int]]:
    """The polarity of each rail end, with the number of the piece of network that it belongs to.
    Edges join rails of opposite polarity (`same` false) or one rail."""
    found: dict[Any, tuple[int, int]] = {}
    for number, piece in enumerate(nx.connected_components(network)):
        first = next(iter(piece))
        found[first] = number, 0
        for one, other in nx.bfs_edges(network, first):
            flip = 0 if network.edges[one, other]["same"] else 1
            found[other] = number, found[one][1] ^ flip
    for one, other, same in network.edges(data="same"):
        assert (found[one][1] == found[other][1]) == same, "a short circuit"
    return found
