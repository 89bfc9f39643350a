"""A card for each fitting: what one evening at the bench needs, in the order of doing.

What the card says of wires, addresses and commands is taken from the lists that the other
chapters print, so that a card never says something else than they do.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bellcrank.document.detector_types import DriveReport
from bellcrank.document.document_types import Document
from bellcrank.document.layout_types import EdgeEnd, Element, LegEnd, Signal, StopEnd
from bellcrank.paper.feed_list import PLAIN, FeedRow, GapRow, feed_rows, gap_rows
from bellcrank.paper.frog_list import FrogRow, frogs_of
from bellcrank.paper.parts_list import PartRow, wires_of
from bellcrank.paper.plan_outputs import drives_of
from bellcrank.paper.trial_checklist import DriveCheck, drive_checks
from bellcrank.paper.wiring_list import DeviceWires, PlacedRow, device_wires


@dataclass(frozen=True, slots=True)
class Neighbour:
    """What lies beyond a leg, and the signals that stand at the joint.

    element, its_leg: the next element and the leg of it, if it is one; its_leg is None for a
        plain piece, whose ends people do not tell apart. edge: where track leaves the layout.
        Nothing of these for a stop.
    """

    leg: str
    element: str | None
    its_leg: str | None
    edge: str | None
    signals: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Contact:
    """An input that is on while a drive lies in a position, with what is printed at it.

    opens: whether it is off then.
    """

    position: str
    opens: bool
    detector: str | None
    input: int | None
    input_name: str | None
    terminal: str | None
    common: str | None


@dataclass(frozen=True, slots=True)
class Feeding:
    """A supply that feeds a decoder, if the layout names one."""

    decoder: str
    supply: str | None


@dataclass(frozen=True, slots=True)
class CardDrive:
    """A drive of the fitting. name: of the drive that is commanded; wired_as: of the one that is
    wired here, which is another where each of several coupled fittings has a motor.

    also: what it throws at the same time, in other fittings. check: what is sent to throw it.
    contacts: what reports where it lies.
    """

    name: str
    wired_as: str
    also: tuple[str, ...]
    check: DriveCheck
    contacts: tuple[Contact, ...]


@dataclass(frozen=True, slots=True)
class JobCard:
    """A fitting and all that is done at it.

    gaps, feeds: those at its legs. reverser: whether it is fed through one. frogs: those that
    need something. wires: of its drives and of frogs on outputs, in the order of joining: of each
    the common ones first. decoders: those that they go to. parts: the wires, counted. labels: the
    names on labels that belong here.
    """

    name: str
    kind: str
    section: str
    neighbours: tuple[Neighbour, ...]
    drives: tuple[CardDrive, ...]
    gaps: tuple[GapRow, ...]
    feeds: tuple[FeedRow, ...]
    reverser: bool
    frogs: tuple[FrogRow, ...]
    wires: tuple[PlacedRow, ...]
    decoders: tuple[Feeding, ...]
    parts: tuple[PartRow, ...]
    labels: tuple[str, ...]


def job_cards(document: Document) -> list[JobCard]:
    """A card for each fitting, in the order of the document."""
    kinds = {kind.name: kind for kind in document.layout.kinds}
    gaps, feeds, frogs = gap_rows(document), feed_rows(document), frogs_of(document)
    wired = {(d.device, d.name): d for d in device_wires(document)}
    drives = dict(_drives(document))
    outputs = {frog.name: frog.drive for frog in document.layout.frogs if frog.drive is not None}
    fed = {name: s.name for s in document.hardware.supplies for name in s.feeds}
    plain = {e.name for e in document.layout.elements if e.kind == PLAIN}
    cards = []
    for element in document.layout.elements:
        if element.name in plain:
            continue
        own = [drives[name] for name in drives_of(element, kinds[element.kind]) if name in drives]
        # Two drives of one fitting may be coupled to one motor, and are then one.
        once = tuple({drive.wired_as: drive for drive in own}.values())
        rows = frogs.get(element.name, [])
        switched = [wired["frog", outputs[row.names[0]]] for row in rows if row.by == "output"]
        devices = [*(wired["drive", drive.wired_as] for drive in once), *switched]
        wires = tuple(wire for device in devices for wire in _in_order(device))
        cards.append(
            JobCard(
                name=element.name,
                kind=element.kind,
                section=element.section,
                neighbours=tuple(_neighbours(element, document.layout.signals, plain)),
                drives=once,
                gaps=tuple(
                    g for g in gaps if element.name in (g.gap.one.element, g.gap.other.element)
                ),
                feeds=tuple(f for f in feeds if f.feed.at.element == element.name),
                reverser=element.name in document.layout.reversers,
                frogs=tuple(rows),
                wires=wires,
                decoders=tuple(
                    Feeding(name, fed.get(name)) for name in dict.fromkeys(w.decoder for w in wires)
                ),
                parts=tuple(wires_of(wires)),
                labels=(*(drive.wired_as for drive in once), *(d.name for d in switched)),
            )
        )
    return cards


def _neighbours(element: Element, signals: list[Signal], plain: set[str]) -> Iterator[Neighbour]:
    for leg, end in element.legs.items():
        own = LegEnd(element=element.name, leg=leg)
        there = tuple(s.name for s in signals if own in (s.before, s.beyond))
        match end:
            case LegEnd(element=name, leg=its):
                yield Neighbour(leg, name, None if name in plain else its, None, there)
            case EdgeEnd(name=edge):
                yield Neighbour(leg, None, None, edge, there)
            case StopEnd():
                yield Neighbour(leg, None, None, None, there)


def _drives(document: Document) -> Iterator[tuple[str, CardDrive]]:
    """By the name of each drive of a fitting, what throws it."""
    for check in drive_checks(document):
        drive = check.drive
        contacts = tuple(_contacts(drive.name, document))
        for work in drive.works:
            wired_as = work if drive.motors > 1 else drive.name
            yield (
                work,
                CardDrive(
                    name=drive.name,
                    wired_as=wired_as,
                    also=tuple(other for other in drive.works if other != work),
                    check=check,
                    contacts=contacts,
                ),
            )


def _in_order(device: DeviceWires) -> tuple[PlacedRow, ...]:
    return tuple(sorted(device.rows, key=lambda row: row.side != "common"))


def _contacts(drive: str, document: Document) -> Iterator[Contact]:
    terminals = {
        (detector.name, t.input): t
        for detector in document.hardware.detectors
        for t in detector.terminals
    }
    for report in document.hardware.reports:
        if not isinstance(report, DriveReport) or report.drive != drive:
            continue
        at = None
        if report.detector is not None and report.input is not None:
            at = terminals[report.detector, report.input]
        yield Contact(
            report.position,
            report.opens,
            report.detector,
            report.input,
            report.input_name,
            at.terminal if at else None,
            at.common if at else None,
        )
