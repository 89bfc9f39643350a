"""The records that stand beside a layout: its history at the bench, and how it stands by them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.text import Text

from bellcrank.commands.commission_records import reason
from bellcrank.commands.exit_statuses import fail
from bellcrank.commands.reading_layout import compile_layout
from bellcrank.commands.reports import count_warnings, show_errors
from bellcrank.commission.commission_checklist import checklist_of
from bellcrank.commission.history import Standing, State, standings
from bellcrank.commission.tested import CheckKind
from bellcrank.compilation import Broken, Sound
from bellcrank.document.commission_history_data import (
    CommissionHistory,
    RecordListed,
    check_standing,
    listed_record,
)
from bellcrank.document.commission_record import (
    CommissionRecord,
    RecordError,
    as_session,
    read_record,
)
from bellcrank.routes.sentences import listed
from bellcrank.terminal.console import print_json, show

ALL_RIGHT, SOMETHING_WRONG, SOMETHING_LEFT = 0, 1, 3

_SEVERAL: dict[CheckKind, str] = {
    "drive": "drives",
    "frog": "",  # their names say what they are
    "signal": "signals",
    "output": "outputs",
    "section": "sections",
    "joint": "joints",
    "route": "routes",
}

_SAID: dict[State, str] = {
    "wrong": "found wrong, and not found right since",
    "changed since": "found right, but changed since",
    "never tested": "never tested",
}


@dataclass(frozen=True, slots=True)
class Records:
    """The records of a layout, the earliest first. unreadable: what is none, in sentences."""

    by_file: tuple[tuple[str, CommissionRecord], ...]
    unreadable: tuple[str, ...] = ()

    def standings(self, c: Sound) -> tuple[Standing, ...]:
        """How all that can be tested stands by them."""
        sessions = [as_session(record) for _, record in self.by_file]
        return standings(sessions, checklist_of(c.layout, c.table, c.commands), c.layout)


def records_beside(file: Path) -> Records:
    """The records that `commission` has written beside a layout."""
    found: list[tuple[str, CommissionRecord]] = []
    unreadable = []
    names = (p for p in file.parent.glob("*.json") if p.name.startswith(f"{file.stem}-commission-"))
    for path in sorted(names):
        try:
            found.append((path.name, read_record(path.read_bytes())))
        except (OSError, RecordError) as error:
            unreadable.append(f"{path.name}: {error}")
    found.sort(key=lambda each: (each[1].begun, each[0]))
    return Records(tuple(found), tuple(unreadable))


def history(file: Path, *, json: bool) -> int:
    """List the records of a layout and what they leave open; returns the exit status."""
    c = compile_layout(file)
    if isinstance(c, Broken):
        return show_errors(c, json=json)
    states = _told(records_beside(file), c, json=json)
    if "wrong" in states:
        return SOMETHING_WRONG
    return ALL_RIGHT if states <= {"right"} else SOMETHING_LEFT


def since_record(path: Path, file: Path, *, json: bool) -> int:
    """Tell what has to be commissioned again, or for the first time, since one record; returns
    the exit status: 0 if nothing has, 1 if something."""
    # Of the two records that stand side by side people know the one that they read.
    read = path.with_suffix(".json")
    try:
        record = read_record(read.read_bytes())
    except (OSError, RecordError) as error:
        return fail(f"{path} cannot be used: {reason(error)}")
    c = compile_layout(file)
    if isinstance(c, Broken):
        return show_errors(c, json=json)
    if not json:
        count_warnings(c, file)
    states = _told(Records(((read.name, record),)), c, json=json)
    return SOMETHING_WRONG if states - {"right"} else ALL_RIGHT


def _told(records: Records, c: Sound, *, json: bool) -> set[State]:
    """Tell of records and of how all stands by them; returns how some of it does."""
    stand = records.standings(c)
    told = as_data(records, stand, c)
    if json:
        print_json(told)
    else:
        for line in (*_rows(told.records), *records.unreadable, *in_words(stand)):
            show(Text(line))
    return {standing.state for standing in stand}


def as_data(records: Records, stand: Sequence[Standing], c: Sound) -> CommissionHistory:
    """Records of a layout, and how all that can be tested stands by them."""
    rows = [listed_record(name, record, c.source_hash) for name, record in records.by_file]
    checks = [check_standing(standing) for standing in stand]
    return CommissionHistory(rows, list(records.unreadable), checks)


def _rows(rows: Sequence[RecordListed]) -> Iterator[str]:
    if not rows:
        yield "No record stands beside it: it has never been commissioned."
        return
    for row in rows:
        by = f", by {row.by}" if row.by else ""
        text = "the text as it is now" if row.of_this_text else f"text {row.sha256[:12]}"
        wrong = f", {row.wrong} wrong" if row.wrong else ""
        yield f"{row.begun}{by}: {row.right} found right{wrong}; {text}"
        if row.remark:
            yield f"    {row.remark}"


def in_words(stand: Sequence[Standing]) -> Iterator[str]:
    """How checks stand, in lines for people."""
    right = sum(standing.state == "right" for standing in stand)
    yield f"{right} of {len(stand)} checks were found right as they are now."
    for state, said in _SAID.items():
        for kind, several in _SEVERAL.items():
            names = [s.name for s in stand if s.state == state and s.kind == kind]
            if names:
                what = several if len(names) > 1 else "" if not several else kind
                yield f"{said}: {f'{what} ' if what else ''}{listed(names)}"
