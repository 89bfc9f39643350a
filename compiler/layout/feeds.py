"""Where rails are cut, and where each stretch between the cuts is fed.

All of it follows from sections, reversers and districts. A section is told from its neighbour by a
gap in one rail, that of the detector; the other rail goes through as the common return. A stretch
behind a reverser is cut off in both rails at each end, and fed by the reverser's output alone; so
are two districts from each other, as two boosters must not feed one rail. On track with a centre
conductor there are no two rails of different polarity: the detector tells whether it is one
running rail or the centre conductor that is cut, and between districts it is the centre conductor
(all of this: common practice).

Which rail is the detector's is found by two-colouring the graph of legs, as reversing loops are in
`graph.py`: let each leg carry one bit, whether the detector's rail is on the left of a train that
leaves by it. A way and a joint both lead from leaving by one leg to leaving by another in the
other direction, so the bits at their two ends differ.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from bellcrank.layout.layout_model import Hand, Layout, Leg

Cut = Literal["one rail", "both rails", "one rail or centre conductor", "centre conductor"]
"""What is cut at a joint."""


@dataclass(frozen=True, slots=True)
class Gap:
    """A joint where rails are cut.

    hand: of one rail that is cut, its side going from `one` to `other`; None where no rail
        of two is meant, or where left rail and right are joined by a loop.
    signals: that stand at the joint.
    """

    one: Leg
    other: Leg
    cut: Cut
    hand: Hand | None
    signals: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Feed:
    """Track between gaps, and where its wires are joined to it.

    at: leg of the element that the wires go to; `hand` is the side of the detector's
        rail, looking out of the element by that leg.
    elements: all that hangs on this feed.
    sections: that they lie in. Several where nothing is detected.
    detected: whether it goes through an input of a detector.
    reverser: number of the reverser whose output feeds it, from 1; None without one.
    district: whose booster feeds it; None where there are none.
    """

    at: Leg
    hand: Hand | None
    elements: tuple[str, ...]
    sections: tuple[str, ...]
    detected: bool
    reverser: int | None
    district: str | None


Joint = tuple[Leg, Leg]
Near = Mapping[Leg, tuple[Leg, ...]]


def gaps(layout: Layout) -> tuple[Gap, ...]:
    """Every joint that must be cut, in the order of the source."""
    bits = _bits(layout)
    district_of = _district_of(layout)
    signals: defaultdict[frozenset[Leg], list[str]] = defaultdict(list)
    for signal in layout.signals.values():
        if isinstance(signal.before, Leg):
            signals[frozenset((signal.before, signal.beyond))].append(signal.name)
    found = []
    for one, other in _joints(layout):
        cut = _cut(layout, district_of, one, other)
        if cut is not None:
            hand = _hand(bits.get(one)) if cut == "one rail" else None
            found.append(Gap(one, other, cut, hand, tuple(signals[frozenset((one, other))])))
    return tuple(found)


def feeds(layout: Layout) -> tuple[Feed, ...]:
    """A feed for each stretch between gaps, in the order of the source."""
    bits = _bits(layout)
    stretch_of = _numbers_of_reversers(layout)
    district_of = _district_of(layout)
    uncut = _near(
        layout, [(a, b) for a, b in _joints(layout) if _cut(layout, district_of, a, b) is None]
    )
    found = []
    for legs in _parts(uncut):
        elements = tuple(dict.fromkeys(leg.element for leg in legs))
        # On plain track there is room for wires, and no rail of it is a frog's.
        at = next((leg for leg in legs if layout.elements[leg.element].plain), legs[0])
        sections = tuple(dict.fromkeys(layout.section_of[name] for name in elements))
        found.append(
            Feed(
                at,
                _hand(bits.get(at)) if layout.rails == 2 else None,
                elements,
                sections,
                any(layout.sections[name].detected for name in sections),
                stretch_of.get(at),
                district_of.get(at.element),
            )
        )
    return tuple(found)


def _joints(layout: Layout) -> Iterator[Joint]:
    """Each joint of two legs once."""
    seen: set[Leg] = set()
    for leg, end in layout.joined.items():
        if isinstance(end, Leg) and leg not in seen:
            seen.add(end)
            yield leg, end


def _cut(layout: Layout, district_of: Mapping[str, str], one: Leg, other: Leg) -> Cut | None:
    if layout.rails == 2 and _parts_a_reverser(layout, one, other):
        return "both rails"
    if district_of.get(one.element) != district_of.get(other.element):
        return "both rails" if layout.rails == 2 else "centre conductor"
    sections = {layout.section_of[one.element], layout.section_of[other.element]}
    if len(sections) == 1 or not any(layout.sections[name].detected for name in sections):
        return None
    return "one rail" if layout.rails == 2 else "one rail or centre conductor"


def _district_of(layout: Layout) -> dict[str, str]:
    """The district of each element, where there are any."""
    districts = layout.districts.values()
    return {element: each.name for each in districts for element in each.elements}


def _parts_a_reverser(layout: Layout, one: Leg, other: Leg) -> bool:
    return (one.element in layout.reversers) != (other.element in layout.reversers)


def _numbers_of_reversers(layout: Layout) -> dict[Leg, int]:
    """The number of the reverser behind which a leg lies. Gaps between sections behind one
    reverser do not part it: its output feeds them all."""
    if layout.rails != 2:
        return {}
    behind = _parts(_behind_one_supply(layout))
    turned = [legs for legs in behind if legs[0].element in layout.reversers]
    return {leg: number for number, legs in enumerate(turned, 1) for leg in legs}


def _behind_one_supply(layout: Layout) -> Near:
    """Legs beside each other with no gap in both rails between."""
    return _near(layout, [j for j in _joints(layout) if not _parts_a_reverser(layout, *j)])


def _bits(layout: Layout) -> dict[Leg, bool]:
    """Whether the detector's rail is on the left as one leaves by a leg. Parts of the track
    where left rail is joined to right are left out: there is no such rail."""
    near = _behind_one_supply(layout)
    bits: dict[Leg, bool] = {}
    for legs in _parts(near):
        # Parts come in breadth-first order, so one neighbour of each leg was met before it.
        part = {legs[0]: False}
        for leg in legs:
            for other in near[leg]:
                part.setdefault(other, not part[leg])
        if all(part[leg] != part[other] for leg in legs for other in near[leg]):
            bits.update(part)
    return bits


def _hand(bit: bool | None) -> Hand | None:
    return None if bit is None else "left" if bit else "right"


def _near(layout: Layout, joints: list[Joint]) -> Near:
    """The legs beside each leg: by ways through elements and by these joints."""
    near: dict[Leg, list[Leg]] = {leg: [] for leg in layout.joined}
    ways = [
        (Leg(name, way.legs[0]), Leg(name, way.legs[1]))
        for name, element in layout.elements.items()
        for way in element.kind.ways
    ]
    for one, other in (*ways, *joints):
        near[one].append(other)
        near[other].append(one)
    return {leg: tuple(others) for leg, others in near.items()}


def _parts(near: Near) -> Iterator[tuple[Leg, ...]]:
    """The connected parts of a graph, each in breadth-first order."""
    met: set[Leg] = set()
    for root in near:
        if root in met:
            continue
        met.add(root)
        queue = [root]
        for leg in queue:
            for other in near[leg]:
                if other not in met:
                    met.add(other)
                    queue.append(other)
        yield tuple(queue)
