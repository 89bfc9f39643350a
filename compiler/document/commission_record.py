"""The record of a commissioning as JSON, from which a later one goes on."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

import msgspec
from msgspec import Meta

from bellcrank.commission.history import Session
from bellcrank.commission.tested import CheckKind, Tested
from bellcrank.document.commission_data import Commissioned
from bellcrank.document.document_types import Source
from bellcrank.document.part import Name, Part, Sentence, about
from bellcrank.layout.layout_model import Leg

Sha256 = Annotated[str, Meta(pattern="^[0-9a-f]{64}$")]

Moment = Annotated[str, Meta(pattern=r"^\d{4}-\d{2}-\d{2} \d{2}:\d{2}$")]


class RecordError(Exception):
    """A file is not the record of a commissioning; a sentence without its full stop."""


class FoundRight(Part):
    """A check that was found right, and what it tried."""

    kind: Annotated[CheckKind, about("What was tried.")]
    name: Annotated[Name, about("Its name; of a joint, its two legs.", "P1")]
    digest: Annotated[
        Sha256, about("SHA-256 over all that was tried: the wires, and what comes of them.")
    ]
    on: Annotated[
        str, about("The day on which it was found right."), Meta(pattern=r"^\d{4}-\d{2}-\d{2}$")
    ]


class CommissionRecord(Part):
    """What was asked of a layout at the bench, what was seen, and what has been found right."""

    generator: Annotated[Sentence, about("The program, with its version.", "bellcrank 1.0.0")]
    notice: Annotated[Sentence, about("What railways this is for.")]
    proved: Annotated[bool, about("Whether the layout was proved.")]
    layout: Annotated[str, about("The title of the layout.")]
    source: Annotated[Source, about("The files that were read, before anything was changed.")]
    sha256_afterwards: Annotated[
        Sha256, about("SHA-256 over the names and texts of the same files as they were left.")
    ]
    begun: Annotated[Moment, about("When it was begun, in the time of the place.")]
    ended: Annotated[Moment, about("When it was ended.")]
    by: Annotated[Sentence | None, about("Who answered; null where nobody says.", "A. Member")]
    remark: Annotated[Sentence | None, about("What they had to remark; null if nothing.")]
    sent_to: Annotated[
        Sentence | None, about("Where commands were sent; null where others threw.", "mqtt://yard")
    ]
    found: Annotated[Commissioned, about("What was asked and found.")]
    right: Annotated[
        list[FoundRight],
        about("All that has been found right and not been changed since, this time or before."),
    ]


def as_tested(record: CommissionRecord) -> tuple[Tested, ...]:
    """What a record says was found right."""
    return tuple(Tested(each.kind, each.name, each.digest, each.on) for each in record.right)


def as_session(record: CommissionRecord) -> Session:
    """What a record says of that day."""
    return Session(record.begun[:10], frozenset(_wrong(record.found)), as_tested(record))


def _wrong(found: Commissioned) -> Iterator[tuple[CheckKind, str]]:
    """What was asked and not found right."""
    for drive in found.drives:
        if drive.verdict in ("wrong way", "faulty"):
            # The record does not say of a name which of the two it is, and no name is of both.
            yield from (("drive", drive.name), ("frog", drive.name))
    for state in found.states:
        if state.verdict in ("wrong way", "faulty"):
            yield state.device, state.name
    for section in found.sections:
        if section.verdict in ("other input", "faulty"):
            yield "section", section.name
    for cut in found.cuts:
        if cut.cut is False:
            ends = cut.inside, cut.outside
            yield "joint", " ".join(str(Leg(end.element, end.leg)) for end in ends)
    for route in found.routes:
        if route.stands is False or route.not_refused:
            yield "route", route.name


def read_record(data: bytes) -> CommissionRecord:
    """The record in a file. Raises RecordError if there is none in it."""
    try:
        return msgspec.json.decode(data, type=CommissionRecord)
    except (msgspec.DecodeError, msgspec.ValidationError, UnicodeDecodeError) as error:
        raise RecordError(f"it is not the record of a commissioning: {error}") from error
