"""The command `journal`: the list of sessions, one as a script, and what cannot be told."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bellcrank.commands.cli import main
from bellcrank.compilation import Sound, compile_file
from bellcrank.live.box import Box
from bellcrank.live.decisions import Heard
from bellcrank.live.journal import Journal

LAYOUT = """layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
"""

CLEAR = [Heard("clear", s) for s in ("P", "A", "B", "C")]
ASKED = [Heard("start", who="Ada"), Heard("occupied", "A"), Heard("request", "W to B", who="Bea")]
AGAIN = [Heard("request", "W to C", who="Bea"), Heard("stop", who="Ada")]


@pytest.fixture
def layout(tmp_path: Path) -> Path:
    path = tmp_path / "reedham.crank"
    path.write_text(LAYOUT)
    return path


def heard(layout: Path, *batches: list[Heard]) -> None:
    """A run that heard all this, in its journal."""
    c = compile_file(layout)
    assert isinstance(c, Sound)
    box = Box(c.layout, c.table, c.control)
    journal = Journal(layout.with_suffix(".journal"))
    journal.begin(c.layout.title, c.source_hash, "0", "2026-01-01T10:00:00.000+00:00")
    for number, batch in enumerate(batches, start=1):
        wall = f"2026-01-01T10:0{number}:00.000+00:00"
        journal.write([box.decide(each, number * 60_000.0) for each in batch], wall)
    journal.close()


def test_the_list_tells_each_session(layout: Path, capsys: pytest.CaptureFixture[str]) -> None:
    heard(layout, CLEAR, ASKED, AGAIN, [Heard("start")])
    assert main(["journal", str(layout)]) == 0
    assert capsys.readouterr().out.splitlines()[-3:] == [
        "   1  2026-01-01 10:02:00 to 10:03:00; 1 route set, 1 refused",
        "      all was stopped by Ada.",
        "   2  2026-01-01 10:04:00 to 10:04:00; 0 routes set, 0 refused",
    ]


def test_json_tells_the_same(layout: Path, capsys: pytest.CaptureFixture[str]) -> None:
    heard(layout, CLEAR, ASKED, AGAIN)
    assert main(["journal", str(layout), "--json"]) == 0
    [told] = json.loads(capsys.readouterr().out)["sessions"]
    assert told["because"] == "all was stopped by Ada" and told["of_this_text"]
    assert (told["number"], told["granted"], told["refused"], told["entries"]) == (1, 1, 1, 5)


def test_a_session_is_written_and_plays_in_a_rehearsal(
    layout: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    heard(layout, CLEAR, ASKED, AGAIN, [Heard("start")])
    script = tmp_path / "sunday.rehearsal"
    assert main(["journal", str(layout), "--script", str(script), "--session", "1"]) == 0
    assert capsys.readouterr().out == f"{script}\n"
    assert "request W to B\n" in script.read_text()
    assert main(["rehearse", str(layout), str(script)]) == 0


def test_the_last_session_is_meant_unless_said_otherwise(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    heard(layout, CLEAR, ASKED, AGAIN, [Heard("start")])
    assert main(["journal", str(layout), "--script", "-"]) == 0
    assert "request" not in capsys.readouterr().out


def test_a_session_that_cannot_be_told_to_its_end_says_so(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lies = [Heard("thrown", "P", "straight"), Heard("time over", "lying P", "to straight")]
    batch = [Heard("start"), Heard("request", "W to B"), *lies, Heard("occupied", "P")]
    heard(layout, CLEAR, batch)
    assert main(["journal", str(layout), "--script", "-"]) == 1
    told = "session 1 is told as far as 10:02:00, where nothing was found that trains may have done"
    assert told in " ".join(capsys.readouterr().err.split())


def test_of_another_text_nothing_is_told(layout: Path, capsys: pytest.CaptureFixture[str]) -> None:
    heard(layout, CLEAR, ASKED)
    layout.write_text(f"{LAYOUT}# a word more\n")
    assert main(["journal", str(layout)]) == 0
    assert "of another text of this layout" in capsys.readouterr().out
    assert main(["journal", str(layout), "--script", "-"]) == 2
    out, err = capsys.readouterr()
    assert not out and "give the layout file as it was then" in " ".join(err.split())


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ((), "there is no journal"),
        (("--script", "x", "--json"), "not allowed"),
        (("none.journal", "--script", "-"), "there is no journal none.journal"),
    ],
)
def test_what_cannot_be_done_is_said(
    layout: Path, capsys: pytest.CaptureFixture[str], options: tuple[str, ...], says: str
) -> None:
    assert main(["journal", str(layout), *options]) == 2
    out, err = capsys.readouterr()
    assert not out and says in " ".join(err.split())
    assert not layout.with_suffix(".journal").exists()


def test_a_session_that_is_not_there_is_named(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    heard(layout, CLEAR, ASKED)
    assert main(["journal", str(layout), "--session", "2", "--script", "-"]) == 2
    assert "there is no session 2" in capsys.readouterr().err
    heard(layout, CLEAR)


def test_a_file_of_something_else_is_no_journal_and_is_left_alone(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = layout.with_suffix(".journal")
    other.write_text("Dear diary, today the 8.15 was late.\n")
    assert main(["journal", str(layout)]) == 2
    assert "cannot be read" in " ".join(capsys.readouterr().err.split())
    assert other.read_text().startswith("Dear diary")
