"""Chains: plain pieces in a row between two ends, found by following the joints."""

from __future__ import annotations

from bellcrank.layout.layout_model import Layout, Leg, TrackEnd
from bellcrank.picture.network import Chain, across


def chains(layout: Layout) -> list[Chain]:
    """All track between fittings, in the order in which the text joins it."""
    chains: list[Chain] = []
    done: set[str] = set()
    ends: set[TrackEnd] = set()

    def follow(first: TrackEnd, entered: TrackEnd) -> Chain:
        pieces: list[Leg] = []
        while (
            isinstance(entered, Leg)
            and layout.elements[entered.element].plain
            and not (pieces and entered == pieces[0])
        ):
            pieces.append(entered)
            done.add(entered.element)
            entered = layout.joined[across(entered)]
        return Chain(first, pieces, entered)

    def reading(chain: Chain) -> bool:
        """Whether the text reads it in this direction."""
        if chain.pieces:
            return sum(1 if leg.leg == "left" else -1 for leg in chain.pieces) >= 0
        if isinstance(chain.first, Leg):
            return layout.reads.get(chain.first, "right") == "right"
        return not isinstance(chain.last, Leg) or layout.reads.get(chain.last, "left") == "left"

    for leg, end in layout.joined.items():
        outside = not isinstance(end, Leg)
        fitting = not layout.elements[leg.element].plain
        if fitting and leg not in ends:
            chain = follow(leg, end)
        elif not fitting and outside and leg.element not in done:
            chain = follow(end, leg)
        else:
            continue
        ends |= {chain.first, chain.last}
        if not reading(chain):
            pieces = [across(p) for p in reversed(chain.pieces)]
            chain = Chain(chain.last, pieces, chain.first)
        chains.append(chain)
    for element in layout.elements.values():
        if element.plain and element.name not in done:
            start = Leg(element.name, "left")
            before = layout.joined[start]
            chains.append(follow(before, start))  # a ring: it ends where it begins
    return chains
