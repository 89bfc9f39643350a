"""Detectors, their inputs, and what each input reports, as immutable values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from bellcrank.diagnostics import Span
from bellcrank.layout.addressed import Addressed, AddressedKind


@dataclass(frozen=True, slots=True)
class DetectorKind(AddressedKind):
    """A kind of detector, as its user describes it.

    terminals: what is printed at its terminals, by "input" and "common"; a `%` stands for
        the number of the input.
    """

    terminals: Mapping[str, str] = field(default_factory=dict)

    @property
    def inputs(self) -> int:
        """How many inputs it has."""
        return self.size


@dataclass(frozen=True, slots=True)
class Detector(Addressed[DetectorKind]):
    """A detector in the layout; `address` is the number of its first input."""


class DetectorInput(NamedTuple):
    """An input of a detector, counted from 1 on that detector."""

    detector: str
    number: int

    def __str__(self) -> str:
        return f"{self.detector}.{self.number}"


class NamedInput(NamedTuple):
    """An input without an address: a topic or another name of the user's own."""

    name: str

    def __str__(self) -> str:
        return f'"{self.name}"'


Input = DetectorInput | NamedInput


@dataclass(frozen=True, slots=True)
class SectionReport:
    """The input that is on while a section is occupied.

    opens: whether it is off then, and on while the section is clear.
    """

    section: str
    input: Input
    span: Span
    opens: bool = False


@dataclass(frozen=True, slots=True)
class Contact:
    """The input that is on while a drive lies in a position.

    opens: whether it is off then, and on otherwise (a normally closed contact).
    """

    drive: str
    position: str
    input: Input
    span: Span
    opens: bool = False


@dataclass(frozen=True, slots=True)
class Reports:
    """Which inputs report what. All mappings are in the order of the source.

    sections: by section; a detected section that is not in it has no known input.
    contacts: by drive, in the order of its positions. Of a drive with two positions there
        may be one contact alone: off, it means the other position.
    """

    detectors: Mapping[str, Detector] = field(default_factory=dict)
    sections: Mapping[str, SectionReport] = field(default_factory=dict)
    contacts: Mapping[str, tuple[Contact, ...]] = field(default_factory=dict)

    def number_of(self, input_: DetectorInput) -> int:
        """The number of an input on the layout."""
        return self.detectors[input_.detector].address + input_.number - 1
