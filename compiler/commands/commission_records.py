"""The records of a commissioning, one to read and one to go on from, beside the layout."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from bellcrank.commands.sending_start import heading
from bellcrank.commission.checks import Checklist
from bellcrank.commission.record import record_text
from bellcrank.commission.run import Run
from bellcrank.commission.tested import Tested, still_tested, tested_in
from bellcrank.compilation import Checked
from bellcrank.document.commission_data import commission_data
from bellcrank.document.commission_record import (
    CommissionRecord,
    FoundRight,
    RecordError,
    as_tested,
    read_record,
)
from bellcrank.document.document_types import Source
from bellcrank.document.plain import plain
from bellcrank.file_sets.single_files import write_new_file
from bellcrank.layout.layout_model import Layout
from bellcrank.version import NOTICE, __version__


@dataclass(frozen=True, slots=True)
class Left:
    """What was put right in a layout, in sentences, and the layout as it was left."""

    sentences: Sequence[str]
    layout: Layout
    sha256: str


@dataclass(frozen=True, slots=True)
class Record:
    """What stands in both records, the one to read and the one to go on from.

    sent_to: where commands were sent; None where others threw.
    """

    file: Path
    c: Checked
    begun: datetime
    ended: datetime
    sent_to: str | None
    left: Left
    by: str | None
    remark: str | None

    def write(self, run: Run, before: Sequence[Tested]) -> Path:
        """Write both beside the layout; the path of the one to read.

        Raises OSError if one cannot be written.
        """
        day = self.begun.date().isoformat()
        text = record_text(self._head(), run, self.left.sentences)
        right = [*before, *tested_in(run, self.left.layout, day)]
        data = commission_data(run, self.left.sentences, None)
        told = CommissionRecord(
            generator=f"bellcrank {__version__}",
            notice=NOTICE,
            proved=self.c.proved,
            layout=title(self.c),
            source=Source(files=list(self.c.program.texts), sha256=self.c.source_hash),
            sha256_afterwards=self.left.sha256,
            begun=_minute(self.begun),
            ended=_minute(self.ended),
            by=self.by,
            remark=self.remark,
            sent_to=self.sent_to,
            found=data,
            right=[FoundRight(*each) for each in right],
        )
        return new_record(self.file, day, text, _printed(told))

    def _head(self) -> list[str]:
        c = self.c
        head = [
            *heading(c, f"commissioning of {title(c)}"),
            f"begun {_minute(self.begun)}, ended {_minute(self.ended)}, "
            + (f"sent to {self.sent_to}" if self.sent_to else "thrown by others"),
        ]
        if self.left.sha256 != c.source_hash:
            head.append(f"left as sha256 {self.left.sha256}")
        if self.by:
            head.append(f"by {self.by}")
        if self.remark:
            head.append(f"remark: {self.remark}")
        return head


def found_right(since: Path | None, checklist: Checklist, layout: Layout) -> Sequence[Tested]:
    """What an earlier record says was found right and has not changed.

    Raises OSError or RecordError if the record cannot be read.
    """
    if since is None:
        return ()
    # Of the two records that stand side by side people know the one that they read.
    path = since.with_suffix(".json") if since.suffix == ".txt" else since
    return still_tested(as_tested(read_record(path.read_bytes())), checklist, layout)


def reason(error: OSError | RecordError) -> str:
    return str(error.strerror if isinstance(error, OSError) else error)


def new_record(file: Path, day: str, text: str, data: bytes) -> Path:
    """Write a record beside the layout, to read and as JSON, under a name that is not taken.

    Returns the path of the one to read. Raises OSError if one cannot be written; then nothing
    of either is left.
    """
    number = 1
    while True:
        more = "" if number == 1 else f"-{number}"
        path = file.with_name(f"{file.stem}-commission-{day}{more}.txt")
        number += 1
        try:
            write_new_file(path, text.encode("utf-8"))
        except FileExistsError:
            continue
        try:
            write_new_file(path.with_suffix(".json"), data)
        except BaseException as error:
            path.unlink()
            if isinstance(error, FileExistsError):
                continue
            raise
        return path


def _printed(record: CommissionRecord) -> bytes:
    return (json.dumps(plain(record), indent=2, ensure_ascii=False) + "\n").encode("utf-8")


def title(c: Checked) -> str:
    return c.layout.title or c.program.files[-1].name


def _minute(at: datetime) -> str:
    return at.strftime("%Y-%m-%d %H:%M")
