"""The log of what was sent: its rows, and the file that they stand in."""

from __future__ import annotations

import json
import os
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellcrank.sending.log_file import LogError, LogFile
from bellcrank.sending.log_rows import (
    Answered,
    Begun,
    Commanded,
    DamagedRowError,
    Ended,
    Entry,
    Rested,
    read,
    written,
)

NOON = datetime(2030, 6, 1, 12, tzinfo=UTC)
SENT = Commanded("sent", "drive", "P", "straight", None, "P straight\n")

texts = st.text(st.characters(exclude_categories=["Cs"]))
perhaps = st.none() | texts
fates = st.sampled_from(
    ["sent", "put to stop", "by hand", "in doubt", "not sent", "not put to stop"]
)
rows = st.one_of(
    st.builds(Begun, texts, texts, texts, texts, st.lists(texts).map(tuple), texts, texts, texts),
    st.builds(Rested, st.integers(0, 10**9), texts),
    st.builds(Commanded, fates, texts, texts, texts, perhaps, perhaps),
    st.builds(Answered, st.booleans(), texts, texts, texts),
    st.builds(Ended, texts, texts),
)
times = st.datetimes(
    min_value=datetime(1, 1, 2),
    max_value=datetime(9999, 12, 30),
    timezones=st.integers(-1439, 1439).map(lambda m: timezone(timedelta(minutes=m))),
).map(lambda at: at.replace(microsecond=at.microsecond // 1000 * 1000))


@given(st.builds(Entry, times, rows))
def test_what_is_written_is_read_again_and_is_one_line(entry: Entry) -> None:
    line = written(entry)
    assert line.count("\n") == 1 and line.endswith("\n")
    assert read(line) == entry


@given(
    st.text()
    | st.recursive(st.none() | st.integers() | st.text(), st.lists).map(json.dumps)
    | st.fixed_dictionaries(
        {"time": st.sampled_from(["2030-06-01T12:00:00.000+00:00", "2030", ""]) | st.integers()},
        optional={
            "row": st.sampled_from(["sent", "ended", "begun", "rested", "x"]) | st.lists(st.none()),
            "device": st.none() | st.just("drive"),
            "name": st.integers() | st.text(),
            "state": st.text(),
            "source": st.none() | st.integers(),
            "how": st.text(),
            "why": st.lists(st.none()),
        },
    ).map(json.dumps)
)
def test_any_line_is_a_row_or_damaged(line: str) -> None:
    try:
        entry = read(line)
    except DamagedRowError:
        return
    assert read(written(entry)) == entry


@pytest.mark.parametrize(
    "line",
    [
        '{"time": "2030-06-01T12:00:00", "row": "sent", "device": "drive", "name": "P", '
        '"state": "straight"}',
        '{"time": ' + "9" * 5000 + ', "row": "sent"}',
        "[" * 100_000,
        written(Entry(NOON, SENT))[:-9],
        "{}",
        "",
    ],
)
def test_what_lacks_its_zone_or_its_end_is_damaged(line: str) -> None:
    with pytest.raises(DamagedRowError):
        read(line)


# ------------------------------------------------------------------------- the file


def test_rows_are_added_and_read_in_their_order(tmp_path: Path) -> None:
    for row in (SENT, Ended("done", "done.")):
        log = LogFile(tmp_path / "log")
        log.write(row)
        log.close()
    log = LogFile(tmp_path / "log")
    found = log.read(datetime.now().astimezone())
    assert [entry.row for entry in found.entries] == [SENT, Ended("done", "done.")]
    assert found.damaged == ()


def test_lines_that_cannot_be_read_are_told_by_their_number(tmp_path: Path) -> None:
    good = written(Entry(NOON, SENT))
    (tmp_path / "log").write_text(good + good[:40] + "\n" + good + "\n" + "no row\n", "utf-8")
    found = LogFile(tmp_path / "log").read(NOON)
    assert len(found.entries) == 2
    assert found.damaged == (2, 5)


def test_an_older_log_is_added_to_and_both_are_read(tmp_path: Path) -> None:
    (tmp_path / "log").write_text("2030-06-01 10:00:00.000  sent: drive Q straight    Q\n")
    log = LogFile(tmp_path / "log")
    log.write(SENT)
    found = log.read(NOON.astimezone())
    rows = [entry.row for entry in found.entries]
    assert rows == [Commanded("sent", "drive", "Q", "straight"), SENT]


def test_a_row_that_was_torn_off_does_not_spoil_the_next(tmp_path: Path) -> None:
    good = written(Entry(NOON, SENT))
    (tmp_path / "log").write_text(good + good[:50], "utf-8")
    log = LogFile(tmp_path / "log")
    log.write(SENT)
    log.write(SENT)
    found = log.read(NOON)
    assert (len(found.entries), found.damaged) == (3, (2,))


def test_half_a_character_is_no_reason_to_fail(tmp_path: Path) -> None:
    log = LogFile(tmp_path / "log")
    log.write(Ended("failed", "\udcff"))
    found = log.read(NOON)
    assert [entry.row for entry in found.entries] == [Ended("failed", "\udcff")]


def test_a_layout_is_not_taken_for_a_log(tmp_path: Path) -> None:
    layout = tmp_path / "yard.crank"
    layout.write_text("points P\nrun edge WEST - A - P.toe\n")
    before = layout.read_bytes()
    with pytest.raises(LogError, match=r"yard\.crank is not a log of what was sent"):
        LogFile(layout)
    assert layout.read_bytes() == before


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes with names here")
def test_a_pipe_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(LogError, match="pipe is not a regular file"):
        LogFile(tmp_path / "pipe")


@pytest.mark.parametrize("device", ["/dev/zero", "/dev/full", "/dev/null", "/dev/tty"])
def test_a_device_is_refused(device: str) -> None:
    if not Path(device).exists():
        pytest.skip(f"there is no {device} here")
    with pytest.raises(LogError, match=f"{device} is not a regular file"):
        LogFile(Path(device))


@pytest.mark.parametrize("name", ["no/log", "log\0", "x" * 300])
def test_a_file_that_cannot_be_made_is_told(tmp_path: Path, name: str) -> None:
    with pytest.raises(LogError, match="cannot be written"):
        LogFile(tmp_path / name)


def test_a_line_without_an_end_does_not_fill_the_memory(tmp_path: Path) -> None:
    with (tmp_path / "log").open("wb") as stream:
        stream.write(written(Entry(NOON, SENT)).encode())
        stream.truncate(1 << 28)
    found = LogFile(tmp_path / "log").read(NOON)
    assert [entry.row for entry in found.entries] == [SENT]
