"""What is to be asked of a layout: its wired drives, its frogs and its routes, in order.

Which rail a frog has the polarity of is seen by a lamp between frog and rail, which stays dark
(common practice). So a frog is asked of as a drive is: its positions are the two legs from
whose rails it may take its polarity.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from bellcrank.layout.frog_model import Frog
from bellcrank.layout.frogs import deciding_drive
from bellcrank.layout.layout_model import Layout, Position
from bellcrank.machine.commands import Command, drive_wire
from bellcrank.routes.route_model import RouteTable


@dataclass(frozen=True, slots=True)
class FrogCheck:
    """What is to be done to try a frog: the drive that is thrown and where to, for each of its
    two legs. own: whether that is an output of its own, not a drive with a contact."""

    throws: tuple[Position, Position]
    own: bool


@dataclass(frozen=True, slots=True)
class DriveCheck:
    """A wired drive, or a frog. works: all drives of fittings that it throws; crossed: what the
    layout says of its wiring."""

    name: str
    works: tuple[str, ...]
    positions: tuple[str, ...]
    crossed: bool
    frog: FrogCheck | None = None

    def to_throw(self, position: str) -> Position:
        """The drive that is thrown to try a position, and where to."""
        if self.frog is None:
            return self.name, position
        return self.frog.throws[self.positions.index(position)]


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
        if drive.frog is None and drive_wire(layout, drive.name, drive.positions[0]).ref is not None
    ]
    drives += [
        DriveCheck(
            frog.part.called,
            (frog.part.called,),
            frog.kind.between,
            frog.feed == "output" and layout.hardware.wirings[frog.part.called].crossed,
            throws,
        )
        for frog in layout.frogs.values()
        if (throws := _throws(frog, layout)) is not None
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


def _throws(frog: Frog, layout: Layout) -> FrogCheck | None:
    """What tries a frog; None if nothing that is thrown feeds it."""
    if frog.drive is None or frog.alike:
        return None
    one, other = frog.kind.between
    if frog.feed == "output":
        return FrogCheck(((frog.drive, one), (frog.drive, other)), own=True)
    decides = deciding_drive(layout.elements[frog.part.element].kind, frog.kind)
    assert decides is not None
    at = {leg: (frog.drive, position) for position, leg in [*decides[1].items()][::-1]}
    return FrogCheck((at[one], at[other]), own=False)
