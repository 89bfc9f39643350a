"""Drives and where a route needs them: reading them, and finding contradictions."""

from __future__ import annotations

from bellcrank.diagnostics import Collector, did_you_mean
from bellcrank.layout.declared_names import work_named
from bellcrank.layout.layout_model import Layout, Position
from bellcrank.layout.other_words import renamed
from bellcrank.routes.route_model import Route
from bellcrank.syntax import tree as t


def find_position(demand: t.Demand, layout: Layout, found: Collector) -> Position | None:
    """The drive and position that a rule names, or None with the reason reported."""
    drive = layout.drive_of.get(work_named(demand.drive))
    if drive is None:
        element = demand.drive.element.text
        parts = [str(w) for w in layout.drive_of if w.element == element and w.drive]
        found.report(
            "E501",
            f"there is no drive `{demand.drive}`",
            demand.drive.span,
            expected=" or ".join(parts) if parts else "a fitting with a drive",
            hint=found.did_you_mean(str(demand.drive), map(str, layout.drive_of)),
        )
        return None
    positions = layout.drives[drive].positions
    if demand.position.text not in positions:
        found.report(
            "E502",
            f"{demand.drive} has no position `{demand.position}`",
            demand.position.span,
            expected=" or ".join(positions),
            hint=renamed(demand.position.text, positions)
            or did_you_mean(demand.position.text, positions),
        )
        return None
    return drive, demand.position.text


def check_demands(route: Route, found: Collector) -> None:
    """Report a route whose way, overlap and flank need a drive in two positions."""
    needed: dict[str, tuple[str, str]] = {}
    groups = (
        ("its way", route.positions),
        ("its overlap", route.overlap_positions),
        ("its flank", route.flank),
    )
    for source, positions in groups:
        for drive, position in positions:
            first, where = needed.setdefault(drive, (source, position))
            if where != position:
                found.report(
                    "E503",
                    f"{route.name} would need {drive} both {where} for {first} "
                    f"and {position} for {source}",
                    route.overlap.span if route.overlap and "overlap" in source else route.span,
                )
