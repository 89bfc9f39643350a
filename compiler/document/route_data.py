"""Routes, why two conflict, and the locking in force, for the document."""

from __future__ import annotations

from collections.abc import Iterable

from bellcrank.document import route_types
from bellcrank.document.part import DrivePosition
from bellcrank.layout.layout_model import Layout, Position
from bellcrank.machine.locking import Locking
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.routes.sentences import explain


def route_data(route: Route, table: RouteTable) -> route_types.Route:
    """A route, with the kinds of reason why others conflict with it."""
    return route_types.Route(
        name=route.name,
        from_=route.start,
        to=route.end,
        ends_at=route.end_kind,
        calling_on=route.calling_on,
        aspect=route.aspect,
        approach=route.approach,
        ways=[
            route_types.RouteWay(element=w.element, entry=w.entry, exit=w.exit) for w in route.ways
        ],
        sections=list(route.sections),
        sections_clear=list(route.sections_clear),
        positions=_positions(route.positions),
        overlap=route_types.Overlap(
            sections=list(route.overlap_sections), positions=_positions(route.overlap_positions)
        )
        if route.overlap
        else None,
        flank=_positions(route.flank),
        conflicts={
            other: [reason.kind for reason in table.reasons(route.name, other)]
            for other in table.conflicting[route.name]
        },
    )


def conflict_data(
    first: str, second: str, table: RouteTable, layout: Layout
) -> route_types.Conflict:
    """Why two routes conflict, every reason with its sentence."""
    one, other = table.routes[first], table.routes[second]
    return route_types.Conflict(
        routes=[first, second],
        reasons=[
            route_types.Reason(
                kind=r.kind,
                where=list(r.where),
                opposed=[
                    route_types.Opposed(drive=d, positions=[mine, theirs])
                    for d, mine, theirs in r.demands
                ],
                sentence=explain(r, one, other, layout),
            )
            for r in table.reasons(first, second)
        ],
    )


def locking_data(locking: Locking) -> route_types.Locking:
    """The rules in force."""
    return route_types.Locking(
        derived=locking.derived,
        drives_need_clear=locking.drives_need_clear,
        sectional=locking.sectional,
        locks=[
            route_types.Lock(routes=[lock.first, lock.second], when=_positions(lock.when))
            for lock in locking.locks
        ],
        needs=[
            route_types.DriveNeeded(route=n.route, drive=n.drive, position=n.position)
            for n in locking.needs
        ],
        needs_set=[
            route_types.RouteNeeded(route=n.route, other=n.other) for n in locking.needs_set
        ],
        needs_clear=[
            route_types.ClearNeeded(route=n.route, section=n.section) for n in locking.needs_clear
        ],
    )


def _positions(positions: Iterable[Position]) -> list[DrivePosition]:
    return [DrivePosition(drive=drive, position=position) for drive, position in positions]
