"""What the records of a layout say of it, as `commission --history --json` tells it."""

from __future__ import annotations

from typing import Annotated

from bellcrank.commission.history import Standing, State
from bellcrank.commission.tested import CheckKind
from bellcrank.document.commission_record import CommissionRecord, as_session
from bellcrank.document.part import Name, Part, Sentence, about


class RecordListed(Part):
    """A commissioning of which there is a record."""

    file: Annotated[str, about("The name of the record.", "terminus-commission-2026-05-01.json")]
    begun: Annotated[str, about("When it was begun.", "2026-05-01 20:15")]
    ended: Annotated[str, about("When it was ended.")]
    by: Annotated[Sentence | None, about("Who answered; null where nobody says.")]
    remark: Annotated[Sentence | None, about("What they had to remark; null if nothing.")]
    sha256: Annotated[str, about("SHA-256 of the text that was commissioned.")]
    of_this_text: Annotated[bool, about("Whether that, or as it was left, is the text now.")]
    right: Annotated[int, about("How many checks were found right that day.")]
    wrong: Annotated[int, about("How many were found wrong.")]


class CheckStanding(Part):
    """How something that can be tested stands."""

    kind: Annotated[CheckKind, about("What is tested.")]
    name: Annotated[Name, about("Its name; of a joint, its two legs.", "P1")]
    state: Annotated[State, about("`changed since`: found right, but not as it is now.")]
    on: Annotated[str | None, about("The day that says so; null if it was never tested.")]


class CommissionHistory(Part):
    """The records of a layout, and how it stands by them."""

    records: Annotated[list[RecordListed], about("Those that stand beside it, the earliest first.")]
    unreadable: Annotated[list[Sentence], about("Files of such a name that are no records.")]
    checks: Annotated[list[CheckStanding], about("All that can be tested.")]


class BenchTold(Part):
    """What `check --json` tells of the bench."""

    bench: Annotated[
        CommissionHistory | None,
        about("What the records beside the layout say; null if there are none."),
    ]


def listed_record(file: str, record: CommissionRecord, source: str) -> RecordListed:
    """A record as it is listed. source: SHA-256 of the text now."""
    day = record.begun[:10]
    wrong = {(kind, name) for kind, name in as_session(record).wrong if kind != "frog"}
    return RecordListed(
        file=file,
        begun=record.begun,
        ended=record.ended,
        by=record.by,
        remark=record.remark,
        sha256=record.source.sha256,
        of_this_text=source in (record.source.sha256, record.sha256_afterwards),
        right=sum(each.on == day for each in record.right),
        wrong=len(wrong),
    )


def check_standing(standing: Standing) -> CheckStanding:
    """How a check stands."""
    return CheckStanding(standing.kind, standing.name, standing.state, standing.on or None)
