"""The journal: written before anything takes effect, whole after a kill, of a stated size."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sqlite3
import time
from pathlib import Path

import pytest

from bellcrank.live.decisions import Decision, EndPulse, Heard, Known, Show, Throw
from bellcrank.live.journal import Journal, JournalError

DECISION = Decision(
    Heard("request", "W to B", "", "Ada"),
    12.5,
    "done",
    ("the operator asks for W to B", "“quoted”"),
    (Show("W", "clear"), Throw("P", "straight"), EndPulse("P", "straight")),
    Known(("A",), (("P", "straight"),)),
)


def begun(path: Path | None, megabytes: int = 64) -> Journal:
    journal = Journal(path, megabytes)
    journal.begin("Reedham", "aa", "0.1.0", "2026-01-01T10:00:00+00:00")
    return journal


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    journal = begun(tmp_path / "j")
    assert journal.write([DECISION], "2026-01-01T10:00:01+00:00") == 1
    journal.end("2026-01-01T10:00:02+00:00")
    journal.close()
    again = Journal(tmp_path / "j")
    [run] = again.runs()
    assert (run.title, run.ended) == ("Reedham", "2026-01-01T10:00:02+00:00")
    [entry] = again.entries(run.number)
    assert entry.decision == DECISION and entry.wall == "2026-01-01T10:00:01+00:00"
    assert again.set_aside is None


def test_a_run_that_did_not_end_is_told_from_one_that_did(tmp_path: Path) -> None:
    begun(tmp_path / "j").close()
    second = begun(tmp_path / "j")
    [first, _] = second.runs()
    assert first.ended is None


def _write_for_ever(path: Path, count: object) -> None:
    journal = begun(path)
    number = 0
    while True:
        journal.write([DECISION, DECISION], "now")
        number += 2
        count.value = number  # type: ignore[attr-defined]


def test_all_that_was_committed_is_there_after_a_kill(tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    count = context.Value("i", 0)
    for _ in range(3):
        before = count.value
        process = context.Process(target=_write_for_ever, args=(tmp_path / "j", count))
        process.start()
        while count.value <= before + 20 and process.is_alive():
            time.sleep(0.002)
        assert process.pid is not None
        os.kill(process.pid, signal.SIGKILL)
        process.join()
        known = count.value
        journal = Journal(tmp_path / "j")
        assert journal.set_aside is None
        last = journal.runs()[-1]
        entries = list(journal.entries(last.number))
        assert len(entries) >= known and len(entries) % 2 == 0
        journal.close()
        count.value = 0


@pytest.mark.parametrize("share", [0.0, 0.3, 0.7, 0.95])
def test_a_torn_journal_is_set_aside_and_a_new_one_begun(tmp_path: Path, share: float) -> None:
    path = tmp_path / "j"
    journal = begun(path)
    for _ in range(200):
        journal.write([DECISION] * 5, "now")
    journal.close()
    whole = path.read_bytes()
    path.write_bytes(whole[: int(len(whole) * share)] or b"not a journal at all, but text")
    again = begun(path)
    again.write([DECISION], "now")
    assert len(list(again.entries(again.runs()[-1].number))) >= 1
    if again.set_aside is not None:
        assert again.set_aside.exists()


def test_a_file_of_something_else_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "j"
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE mine (a)")
    journal = begun(path)
    assert journal.set_aside is not None
    with sqlite3.connect(journal.set_aside) as db:
        assert db.execute("SELECT count(*) FROM mine").fetchone() == (0,)


def test_it_keeps_to_its_size(tmp_path: Path) -> None:
    path = tmp_path / "j"
    journal = begun(path, megabytes=1)
    long = Decision(Heard("request", "x" * 500), 0.0, "refused", ("y" * 500,))
    for _ in range(400):
        journal.write([long] * 10, "now")
    journal.close()
    assert path.stat().st_size < 2_500_000
    again = Journal(path)
    [run] = again.runs()
    assert 200 < len(list(again.entries(run.number))) < 4000


def test_where_there_is_no_place_for_it_that_is_said(tmp_path: Path) -> None:
    with pytest.raises(JournalError, match="cannot be opened"):
        Journal(tmp_path / "no" / "folder" / "j")


def test_one_that_takes_nothing_more_says_so(tmp_path: Path) -> None:
    journal = begun(tmp_path / "j")
    journal.close()
    with pytest.raises(JournalError, match="takes nothing more"):
        journal.write([DECISION], "now")
