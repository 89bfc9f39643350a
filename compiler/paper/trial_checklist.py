"""What is tried before trains run, and the control table beside it, from the document.

Routes have numbers in the order of the document, so that a long list of them stays
short on paper.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from msgspec import structs

from bellcrank.document.command_data import packet_of
from bellcrank.document.command_types import Command, Lamp
from bellcrank.document.document_types import Document
from bellcrank.document.layout_types import (
    Aspect,
    Drive,
    EdgeEnd,
    LegEnd,
    LitLamp,
    SignalKind,
    WiredPosition,
)
from bellcrank.document.part import DrivePosition
from bellcrank.document.route_types import Conflict, Overlap, ReasonKind, Route
from bellcrank.terminal.tables import ranges

# ---------------------------------------------------------------- control table


@dataclass(frozen=True, slots=True)
class InPosition:
    """Drives that lie alike."""

    position: str
    drives: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ControlRow:
    """A row of the control table: what a route needs, what it keeps out, and how it is
    released.

    points: the drives by the position they must lie in, each position once, in the order
        in which it comes up; those of the overlap and the flank are in columns of their own.
    against: the numbers of the conflicting routes.
    behind: sections released one after another behind its train.
    """

    number: int
    route: Route
    points: tuple[InPosition, ...]
    sections: tuple[str, ...]
    overlap: tuple[str, ...]
    overlap_points: tuple[InPosition, ...]
    flank: tuple[InPosition, ...]
    against: str
    behind: tuple[str, ...]


def control_rows(document: Document) -> list[ControlRow]:
    """A row a route."""
    numbers = _numbers(document)
    behind: dict[str | None, list[str]] = defaultdict(list)
    for event in document.machine.events:
        if event.kind == "section released":
            behind[event.route].append(event.of)
    rows = []
    for route in document.routes:
        overlap = route.overlap or Overlap(sections=[], positions=[])
        rows.append(
            ControlRow(
                number=numbers[route.name],
                route=route,
                points=by_position(route.positions),
                sections=tuple(s for s in route.sections_clear if s not in overlap.sections),
                overlap=tuple(overlap.sections),
                overlap_points=by_position(overlap.positions),
                flank=by_position(route.flank),
                against=ranges(numbers[name] for name in route.conflicts),
                behind=tuple(behind[route.name]),
            )
        )
    return rows


def _numbers(document: Document) -> dict[str, int]:
    return {route.name: n for n, route in enumerate(document.routes, start=1)}


def by_position(positions: Iterable[DrivePosition]) -> tuple[InPosition, ...]:
    """Drives together that lie alike, in the order in which each position comes up."""
    together: dict[str, list[str]] = {}
    for p in positions:
        together.setdefault(p.position, []).append(p.drive)
    return tuple(InPosition(position, tuple(drives)) for position, drives in together.items())


# ------------------------------------------------------------ drives and signals


@dataclass(frozen=True, slots=True)
class Sent:
    """The bytes of a packet, and for a coil those that end its pulse."""

    on: str
    off: str | None


class Throw(WiredPosition):
    """A position and the packet that throws the drive there, if outputs have numbers in
    packets. puts_out: what is to be switched off first."""

    packet: Sent | None
    puts_out: list[Lamp]


@dataclass(frozen=True, slots=True)
class DriveCheck:
    """A drive with a throw for each of its positions, and what may be seen after it."""

    drive: Drive
    names: tuple[str, ...]
    throws: tuple[Throw, ...]


class LitBeside(LitLamp):
    """A lamp that is lit beside the first one, and the packet that lights it."""

    packet: Sent | None


class Shown(Aspect):
    """An aspect and the packet that brings it about, if outputs have numbers in packets.

    puts_out: the lamps that are to be switched off first.
    beside: the lamps that it lights beside the first one.
    """

    packet: Sent | None
    puts_out: list[Lamp]
    beside: tuple[LitBeside, ...]


@dataclass(frozen=True, slots=True)
class SignalCheck:
    """A signal with its aspects, each with its packet. repeaters: others that show the same."""

    name: str
    repeaters: tuple[str, ...]
    kind: SignalKind
    before: LegEnd | EdgeEnd
    beyond: LegEnd
    aspects: tuple[Shown, ...]


def drive_checks(document: Document) -> list[DriveCheck]:
    """Each drive with what throws it."""
    first = document.hardware.first_decoder
    out = _put_out(document)

    def throw(name: str, p: WiredPosition, *, coil: bool) -> Throw:
        packet = _sent(p.number, p.side, p.value, first, coil=coil)
        puts_out = out["drive", name, p.position]
        return Throw(**structs.asdict(p), packet=packet, puts_out=puts_out)

    return [
        DriveCheck(
            drive,
            tuple(p.position for p in drive.positions),
            tuple(throw(drive.name, p, coil=drive.action == "coil") for p in drive.positions),
        )
        for drive in document.layout.drives
        if drive.device == "drive"
    ]


def signal_checks(document: Document) -> list[SignalCheck]:
    """Each signal with what shows its aspects."""
    first = document.hardware.first_decoder
    out = _put_out(document)

    def beside(lamp: LitLamp) -> LitBeside:
        packet = _sent(lamp.number, lamp.side, None, first, coil=False)
        return LitBeside(**structs.asdict(lamp), packet=packet)

    def shown(name: str, a: Aspect) -> Shown:
        return Shown(
            **structs.asdict(a),
            packet=_sent(a.number, a.side, a.value, first, coil=False),
            beside=tuple(beside(lamp) for lamp in a.lights),
            puts_out=out["signal", name, a.name],
        )

    return [
        SignalCheck(
            s.name,
            tuple(s.repeaters),
            s.kind,
            s.before,
            s.beyond,
            tuple(shown(s.name, a) for a in s.aspects),
        )
        for s in document.layout.signals
        if not s.imagined
    ]


def _put_out(document: Document) -> Mapping[tuple[str, str, str], list[Lamp]]:
    """What is to be switched off before each state of each device."""
    return {(s.device, s.name, s.state): s.puts_out for s in document.states}


def _sent(
    number: int | None, side: str | None, value: int | None, first: int | None, *, coil: bool
) -> Sent | None:
    packet = packet_of(number, side, value, first)
    return Sent(packet.on, packet.off if coil else None) if packet else None


# ----------------------------------------------------------------------- routes


@dataclass(frozen=True, slots=True)
class RouteCheck:
    """What must be seen once a route is set alone, from the commands that set it.

    together: the same as lies, by position.
    stop: signals that it puts to stop, its own left out, as that shows an aspect at the
        end. Those are among them that only go to stop while some other route is set.
    milliseconds: how long its setting takes; None where no timetable says.
    """

    number: int
    name: str
    lies: tuple[DrivePosition, ...]
    together: tuple[InPosition, ...]
    stop: tuple[str, ...]
    signal: str
    aspect: str | None
    milliseconds: int | None


@dataclass(frozen=True, slots=True)
class NumberedRoute:
    number: int
    name: str


@dataclass(frozen=True, slots=True)
class Refusals:
    """A route and those that must be refused while it is set."""

    number: int
    name: str
    refused: tuple[NumberedRoute, ...]


def route_checks(document: Document) -> list[RouteCheck]:
    """Each route with what must be seen once it is set alone."""
    numbers = _numbers(document)
    commands: dict[str | None, list[Command]] = defaultdict(list)
    for command in document.commands:
        commands[command.route].append(command)
    takes = {t.route: t.total for t in document.timetables if t.what == "set"}
    imagined = {s.name for s in document.layout.signals if s.imagined}
    checks = []
    for route in document.routes:
        of_it = commands[route.name]
        stop = [c.name for c in of_it if c.phase == "signals to stop"]
        lies = tuple(
            DrivePosition(drive=c.name, position=c.state) for c in of_it if c.phase == "drives"
        )
        checks.append(
            RouteCheck(
                number=numbers[route.name],
                name=route.name,
                lies=lies,
                together=by_position(lies),
                stop=tuple(name for name in stop if name != route.from_),
                signal=route.from_,
                aspect=None if route.from_ in imagined else route.aspect,
                milliseconds=takes.get(route.name),
            )
        )
    return checks


@dataclass(frozen=True, slots=True)
class TriedReason:
    """A reason for refusal, and a pair of routes to try it with.

    kind, of: what is in both routes' way, and the kind of reason that it is. others: how many
        more reasons the pair has; with none, a refusal comes of this reason alone.
    """

    kind: ReasonKind
    of: str
    set: NumberedRoute
    refused: NumberedRoute
    others: int


def tried_reasons(document: Document) -> list[TriedReason]:
    """Every reason for refusal once: with the pair that has the fewest others, as a refusal of
    it tells most about that reason."""
    numbers = _numbers(document)
    pairs: dict[tuple[ReasonKind, str], list[tuple[int, int, int]]] = defaultdict(list)
    for conflict in document.conflicts:
        reasons = _single(conflict)
        first, second = sorted(numbers[name] for name in conflict.routes)
        for reason in reasons:
            pairs[reason].append((len(reasons) - 1, first, second))
    names = dict(enumerate(numbers, start=1))
    tried = []
    for kind in dict.fromkeys(kind for kind, _ in pairs):
        for (of_kind, what), found in pairs.items():
            if of_kind == kind:
                others, first, second = min(found)
                tried.append(
                    TriedReason(
                        kind,
                        what,
                        NumberedRoute(first, names[first]),
                        NumberedRoute(second, names[second]),
                        others,
                    )
                )
    return tried


def _single(conflict: Conflict) -> dict[tuple[ReasonKind, str], None]:
    """The reasons of a conflict, one for each drive, section or element that it is about."""
    return {
        (reason.kind, what): None
        for reason in conflict.reasons
        for what in (*reason.where, *(opposed.drive for opposed in reason.opposed))
    }


def refusals(document: Document) -> list[Refusals]:
    """For each route the later ones that must be refused while it is set.

    Every pair of conflicting routes is in it once: under the one that comes first.
    """
    numbers = _numbers(document)
    later: dict[str, set[str]] = defaultdict(set)
    for conflict in document.conflicts:
        first, second = sorted(conflict.routes, key=numbers.__getitem__)
        later[first].add(second)
    return [
        Refusals(
            number,
            first,
            tuple(
                NumberedRoute(numbers[name], name)
                for name in sorted(later[first], key=numbers.__getitem__)
            ),
        )
        for first, number in numbers.items()
        if first in later
    ]
