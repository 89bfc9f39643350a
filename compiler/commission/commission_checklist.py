"""What is to be asked of a layout: its wired drives and its routes, in order."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bellcrank.layout.layout_model import Layout, Position
from bellcrank.machine.commands import Command, drive_wire
from bellcrank.routes.route_model import RouteTable


@dataclass(frozen=True, slots=True)
class DriveCheck:
    """A wired drive. works: all drives of fittings that it throws; crossed: what the
    layout says of its wiring."""

    name: str
    works: tuple[str, ...]
    positions: tuple[str, ...]
    crossed: bool


@dataclass(frozen=True, slots=True)
class RouteCheck:
    """A route, where its drives must lie, what its signal must show, and the routes that
    must be refused while it is set."""

    name: str
    positions: tuple[Position, ...]
    signal: str
    aspect: str
    refuses: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Checklist:
    drives: tuple[DriveCheck, ...]
    routes: tuple[RouteCheck, ...]


def checklist_of(
    layout: Layout, table: RouteTable, commands: Iterable[Command], only: Iterable[str] = ()
) -> Checklist:
    """The checklist of a layout.

    only: names of drives and routes, if not all are to be asked of.
    Raises ValueError, as a sentence, for a name of neither.
    """
    positions: dict[str, list[Position]] = {name: [] for name in table.routes}
    for command in commands:
        if command.phase == "drives":
            positions[command.route].append((command.name, command.state))
    drives = [
        DriveCheck(
            drive.name,
            tuple(map(str, drive.works)),
            drive.positions,
            layout.hardware.wirings[drive.name].crossed,
        )
        for drive in layout.drives.values()
        if drive_wire(layout, drive.name, drive.positions[0]).ref is not None
    ]
    routes = [
        RouteCheck(
            name, tuple(positions[name]), route.start, route.aspect, tuple(table.conflicting[name])
        )
        for name, route in table.routes.items()
    ]
    wanted = list(only)
    names = {d.name for d in drives} | set(table.routes)
    for name in wanted:
        if name not in names:
            raise ValueError(f"there is no wired drive and no route `{name}`")
    if wanted:
        drives = [d for d in drives if d.name in wanted]
        routes = [r for r in routes if r.name in wanted]
    return Checklist(tuple(drives), tuple(routes))
