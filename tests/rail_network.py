"""The two rails of a layout as an electrical network, joined by ways and by joints that are not
cut."""

from __future__ import annotations

from collections.abc import Sequence

import networkx as nx

from bellcrank.layout.feeds import Gap
from bellcrank.layout.layout_model import Layout, Leg

OTHER = {"left": "right", "right": "left"}


def rails(layout: Layout, cuts: Sequence[Gap]) -> nx.Graph:
    """The two rails at each leg, by their sides looking out of the element, joined by ways and
    joints: what is left looking out by one end of it is right looking out by the other."""
    net: nx.Graph = nx.Graph()
    cut: set[tuple[Leg, str]] = set()
    for gap in cuts:
        for hand in ("left", "right") if gap.cut == "both rails" else (gap.hand,):
            assert hand is not None
            cut |= {(gap.one, hand), (gap.other, OTHER[hand])}
    joins = [
        (Leg(name, way.legs[0]), Leg(name, way.legs[1]))
        for name, element in layout.elements.items()
        for way in element.kind.ways
    ]
    for one, other in joins:
        for hand, turned in OTHER.items():
            net.add_edge((one, hand), (other, turned))
    for one, end in layout.joined.items():
        for hand, turned in OTHER.items():
            net.add_node((one, hand))
            if isinstance(end, Leg) and (one, hand) not in cut:
                net.add_edge((one, hand), (end, turned))
    return net
