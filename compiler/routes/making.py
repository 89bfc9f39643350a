"""From a way found to a route with all that belongs to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from bellcrank.layout.layout_model import Layout, Leg
from bellcrank.routes.route_model import Overlap, Route
from bellcrank.routes.track_search import Path


def make_route(name: str, path: Path, overlaps: Mapping[str, Overlap], layout: Layout) -> Route:
    signal = layout.signals[path.start]
    sections = tuple(dict.fromkeys(layout.section_of[e] for e in path.elements))
    overlap = overlaps.get(path.end) if path.end_kind == "signal" else None
    if overlap is not None:
        beyond = tuple(s for s in overlap.sections if s not in sections)
        overlap = replace(overlap, sections=beyond)
    positions: dict[str, str] = {}
    for way in path.ways:
        positions.update(way.lies_right)
    return Route(
        name=name,
        start=path.start,
        end=path.end,
        end_kind=path.end_kind,
        ways=path.ways,
        sections=sections,
        positions=tuple(positions.items()),
        overlap=overlap,
        flank=(),
        calling_on=False,
        aspect=signal.aspects[-1].name,
        approach=signal.before.element if isinstance(signal.before, Leg) else None,
        span=signal.span,
    )
