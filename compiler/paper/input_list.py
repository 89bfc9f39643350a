"""What the inputs of detectors are for, and inputs without an address, for paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from msgspec import structs

from bellcrank.document.detector_types import (
    Button,
    CancelButton,
    Detector,
    DriveReport,
    PlaceButton,
    Report,
    RouteButton,
    SectionReport,
)
from bellcrank.document.document_types import Document


@dataclass(frozen=True, slots=True)
class Told:
    """What an input tells of.

    of: a section that is occupied, a drive in a position, or a button; one that cancels a
        route, or whatever is set from a signal.
    position: of a drive.
    opens: whether the input is off while that is so.
    """

    of: Literal["section", "drive", "button", "button to cancel", "button to cancel from"]
    name: str
    position: str | None = None
    opens: bool = False


@dataclass(frozen=True, slots=True)
class InputRow:
    """An input of a detector. told: nothing where it is free."""

    input: int
    number: int
    terminal: str | None
    common: str | None
    told: Told | None


class DetectorInputs(Detector):
    """A detector with its inputs in order. last: the number of the last of them."""

    last: int
    list: Sequence[InputRow]


@dataclass(frozen=True, slots=True)
class NamedRow:
    """An input without an address, by the name that the layout gives it."""

    input_name: str
    told: Told


def detector_inputs(document: Document) -> list[DetectorInputs]:
    """Each detector with its inputs in order, and what each tells of."""
    told = {(one.detector, one.input): _told(one) for one in _heard(document)}
    return [
        DetectorInputs(
            **structs.asdict(detector),
            last=detector.address + detector.inputs - 1,
            list=[
                InputRow(
                    t.input,
                    detector.address + t.input - 1,
                    t.terminal,
                    t.common,
                    told.get((detector.name, t.input)),
                )
                for t in detector.terminals
            ],
        )
        for detector in document.hardware.detectors
    ]


def named_inputs(document: Document) -> list[NamedRow]:
    """The inputs without an address, and what each tells of."""
    return [
        NamedRow(one.input_name, _told(one))
        for one in _heard(document)
        if one.input_name is not None
    ]


def _heard(document: Document) -> list[Report | Button]:
    return [*document.hardware.reports, *document.hardware.buttons]


def _told(one: Report | Button) -> Told:
    match one:
        case SectionReport():
            return Told("section", one.section, opens=one.opens)
        case DriveReport():
            return Told("drive", one.drive, one.position, one.opens)
        case RouteButton():
            return Told("button to cancel" if one.cancels else "button", one.route)
        case PlaceButton():
            return Told("button", one.place)
        case CancelButton():
            return Told("button to cancel from", one.signal)
