"""On which side of its fitting each leg is drawn.

Runs read from left to right: where one arrives at a leg, that leg lies on the left of
its fitting. Legs that a way joins lie on opposite sides, so each set of legs joined by
ways is turned as most of its readings want it, and then turned over while that saves a
line that would have to come back, or a ring: the roads of a diamond are turned each by itself.
Where ways join legs in an odd ring, as on a turntable that leads from any road to any, each
leg lies where it is read.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from bellcrank.layout.layout_model import Element, Hand, Layout, Leg, TrackEnd
from bellcrank.picture.feedback import feedback_arcs
from bellcrank.picture.network import OTHER, across

MOST_ROUNDS = 10

LARGE = 150
"""Fittings beyond which whole rings are not looked at."""


def hands(layout: Layout) -> dict[Leg, Hand]:
    """The side on which each leg of a fitting is drawn."""
    colour: dict[Leg, int] = {}
    group: dict[Leg, int] = {}
    groups: list[list[Leg]] = []
    for element in layout.elements.values():
        if element.plain:
            continue
        for legs in _coloured(element, colour):
            group.update(dict.fromkeys(legs, len(groups)))
            groups.append(legs)
    turned = [_against(layout, colour, legs) > 0 for legs in groups]
    made = _Turning(layout, colour, group, groups, turned)
    made.save_lines()
    made.save_rings()
    found: dict[Leg, Hand] = {leg: "left" if made.left(leg) else "right" for leg in colour}
    for leg in _apexes(layout, found):
        found[leg] = OTHER[found[leg]]
    return found


def _apexes(layout: Layout, found: Mapping[Leg, Hand]) -> Iterator[Leg]:
    """Legs to be put on the other side of their points, the apexes of wyes: of three points that
    are joined pairwise by their branch legs, those that the straight legs of the other two do not
    lead to, where a leg of them needs a U-turn."""
    for element in layout.elements.values():
        legs = branches(element)
        ends = [far for leg in legs if (far := _branch_beyond(layout, leg)) is not None]
        if len(ends) != 2 or len({element.name, *(end.element for end in ends)}) != 3:
            continue
        one, other = (branches(layout.elements[end.element])[0] for end in ends)
        if one in ends or other in ends or _far_end(layout, one) != other:
            continue
        if found[legs[0]] == found[legs[1]]:
            turning = (leg for leg, far in zip(legs, ends, strict=True) if found[leg] == found[far])
            yield from itertools.islice(turning, 1)


def branches(element: Element) -> tuple[Leg, ...]:
    """The two legs of points that their toe leads to, the straight one first; none of others."""
    ways = element.kind.ways
    shared = set.intersection(*(set(way.legs) for way in ways)) if len(ways) == 2 else set()
    if element.plain or len(shared) != 1:
        return ()
    return tuple(Leg(element.name, leg) for way in ways for leg in way.legs if leg not in shared)


def _branch_beyond(layout: Layout, leg: Leg) -> Leg | None:
    """The branch leg of points that a leg leads to, if it does."""
    end = _far_end(layout, leg)
    if isinstance(end, Leg) and end in branches(layout.elements[end.element]):
        return end
    return None


def _coloured(element: Element, colour: dict[Leg, int]) -> list[list[Leg]]:
    """The legs of a fitting as they are turned together, each with one of two colours."""
    beside: dict[str, list[str]] = {leg: [] for leg in element.kind.legs}
    for way in element.kind.ways:
        one, other = way.legs
        beside[one].append(other)
        beside[other].append(one)
    groups: list[list[Leg]] = []
    for name in element.kind.legs:
        start = Leg(element.name, name)
        if start in colour:
            continue
        colour[start] = 0
        legs, odd = [start], False
        for leg in legs:
            for far in beside[leg.leg]:
                other_leg = Leg(element.name, far)
                if other_leg not in colour:
                    colour[other_leg] = 1 - colour[leg]
                    legs.append(other_leg)
                odd = odd or colour[other_leg] == colour[leg]
        groups += [[leg] for leg in legs] if odd else [legs]
    return groups


def _against(layout: Layout, colour: dict[Leg, int], legs: list[Leg]) -> int:
    """How many more readings want some legs turned over than as they are coloured."""
    return sum(-1 if _read_left(layout, leg) == (colour[leg] == 0) else 1 for leg in legs)


def _read_left(layout: Layout, leg: Leg) -> bool:
    return layout.reads.get(leg, "left") == "left"


def _far_end(layout: Layout, leg: Leg) -> TrackEnd:
    """What a leg leads to beyond all plain pieces."""
    end = layout.joined[leg]
    while isinstance(end, Leg) and layout.elements[end.element].plain:
        end = layout.joined[across(end)]
    return end


@dataclass(slots=True)
class _Turning:
    """Which groups of legs are turned over."""

    layout: Layout
    colour: dict[Leg, int]
    group: dict[Leg, int]
    groups: list[list[Leg]]
    turned: list[bool]

    def left(self, leg: Leg) -> bool:
        return (self.colour[leg] == 0) != self.turned[self.group[leg]]

    def save_lines(self) -> None:
        """Turn groups over while fewer lines need a U-turn for it."""
        beyond = {leg: _far_end(self.layout, leg) for leg in self.colour}
        for _ in range(MOST_ROUNDS):
            improved = False
            for number, legs in enumerate(self.groups):
                gain = 0
                for leg in legs:
                    far = beyond[leg]
                    if isinstance(far, Leg) and self.group[far] != number:
                        gain += 1 if self.left(leg) == self.left(far) else -1
                if gain > 0:
                    self.turned[number] = not self.turned[number]
                    improved = True
            if not improved:
                break

    def save_rings(self) -> None:
        """Turn groups over, or two that track joins, while fewer U-turns are needed in all; of
        those that save as many, those that are read so."""
        names = [e.name for e in self.layout.elements.values() if not e.plain]
        joined = self._joined()
        if len(names) > LARGE:
            return
        fewest = self._turns(names, joined)
        beside = {
            tuple(sorted((self.group[a], self.group[b])))
            for a, b in joined
            if self.group[a] != self.group[b]
        }
        moves: list[tuple[int, ...]] = [(n,) for n in range(len(self.groups))] + sorted(beside)
        for _ in range(MOST_ROUNDS):
            if not fewest:
                break
            best: tuple[int, int, tuple[int, ...]] | None = None
            for move in moves:
                self._turn(move)
                turns = self._turns(names, joined)
                against = sum(self._against(number) for number in move)
                self._turn(move)
                if turns < fewest and (best is None or (turns, against, move) < best):
                    best = turns, against, move
            if best is None:
                break
            fewest, _, chosen = best
            self._turn(chosen)

    def _against(self, number: int) -> int:
        """How many more readings are against how a group lies than for it."""
        more = _against(self.layout, self.colour, self.groups[number])
        return -more if self.turned[number] else more

    def _turn(self, numbers: tuple[int, ...]) -> None:
        for number in numbers:
            self.turned[number] = not self.turned[number]

    def _joined(self) -> list[tuple[Leg, Leg]]:
        """The legs that track joins, each pair once."""
        found = []
        done: set[Leg] = set()
        for leg in self.colour:
            far = _far_end(self.layout, leg)
            if isinstance(far, Leg) and leg not in done:
                done |= {leg, far}
                found.append((leg, far))
        return found

    def _turns(self, names: list[str], joined: list[tuple[Leg, Leg]]) -> int:
        """How many U-turns all lines need: one where both ends lie on one side, two where a
        ring closes."""
        arcs = []
        same = 0
        for one, other in joined:
            if self.left(one) == self.left(other):
                same += 1
            else:
                arcs.append((other, one) if self.left(one) else (one, other))
        back = feedback_arcs(names, [(a.element, b.element) for a, b in arcs])
        return same + 2 * len(back)
