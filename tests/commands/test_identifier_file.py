"""The file of identifiers beside a layout: read, added to, and never half written."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from bellcrank.commands.cli import main
from bellcrank.commands.identifier_file import write_identifiers
from bellcrank.emit.identifiers import Event, Pinned
from bellcrank.file_sets.not_written import NotWrittenError

HALT = """\
layout "Halt" without detection
run edge WEST - A - >W - B - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 13
signal W = K1.1
"""

BUILD = ["build", "yard/halt.crank", "--target", "events", "--option", "range=05.01.01.01.22.00"]

FILE = Path("yard/halt.identifiers")


@pytest.fixture
def yard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("yard").mkdir()
    Path("yard/halt.crank").write_text(HALT)


def table() -> dict[str, str]:
    with Path("halt/event-table.csv").open(newline="") as file:
        return {f"{r['name']} {r['state']}": r["event"][-5:] for r in csv.DictReader(file)}


@pytest.mark.usefixtures("yard")
def test_a_build_keeps_what_it_gave_beside_the_layout(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(BUILD) == 0
    assert capsys.readouterr().out.splitlines()[0] == str(FILE)
    assert table() == {"W stop": "00.00", "W proceed": "00.01"}
    Path("yard/halt.crank").write_text(HALT.replace("B - stop", "B - <V - edge EAST"))
    before = FILE.read_text()
    assert main([*BUILD, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["files"][0] == str(FILE)
    assert FILE.read_text() == before + (
        "05.01.01.01.22.00.00.02  command signal V stop\n"
        "05.01.01.01.22.00.00.03  command signal V proceed\n"
    )
    assert table()["W stop"] == "00.00"
    written = FILE.stat()
    assert main(BUILD) == 0
    assert str(FILE) not in capsys.readouterr().out
    assert FILE.stat() == written


@pytest.mark.usefixtures("yard")
def test_what_is_sent_has_the_identifiers_of_the_file(capsys: pytest.CaptureFixture[str]) -> None:
    FILE.write_text("05.01.01.01.22.00.77.77  command signal W proceed\n")
    send = ["send", "yard/halt.crank", "W", "to", "B", *BUILD[2:]]
    assert main(send) == 0
    assert "05.01.01.01.22.00.77.77" in capsys.readouterr().out
    FILE.write_text("05.01.01.01.22.00.77  command signal W proceed\n")
    assert main([*send, "--json"]) == 2
    told = capsys.readouterr()
    assert json.loads(told.out)["diagnostics"][0]["code"] == "E721"
    assert "halt.identifiers:1:1: error E721" in told.err


@pytest.mark.usefixtures("yard")
@pytest.mark.parametrize("words", [[], ["--json"]])
def test_with_a_faulty_file_nothing_is_built(
    words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    spoilt = "05.01.01.01.22.00.00.00  command signl W stop\n"
    FILE.write_text(spoilt)
    assert main([*BUILD, *words]) == 2
    told = capsys.readouterr()
    if words:
        said = json.loads(told.out)
        assert (said["status"], said["files"]) == ("error", [])
        assert said["diagnostics"][-1]["code"] == "E721"
    else:
        assert "halt.identifiers:1:34: error E721" in told.err + told.out
    assert FILE.read_text() == spoilt
    assert not Path("halt").exists()


@pytest.mark.usefixtures("yard")
def test_a_build_that_fails_gives_no_identifiers() -> None:
    assert main([*BUILD, "--target", "packets"]) == 2
    assert not FILE.exists()
    Path("yard/halt.crank").write_text(HALT.replace("W = K1.1", "W = K1.9"))
    assert main(BUILD) == 2
    assert not FILE.exists()


@pytest.mark.usefixtures("yard")
def test_a_file_that_cannot_be_read_or_written_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    FILE.mkdir()
    assert main(BUILD) == 2
    assert "halt.identifiers is a folder, not a" in capsys.readouterr().err
    assert not Path("halt").exists()


@pytest.mark.usefixtures("yard")
def test_what_another_build_has_added_meanwhile_is_not_lost() -> None:
    was = Pinned(FILE.name)
    mine = Pinned(FILE.name, "mine\n", {Event("command", "signal", "W", "stop"): 1})
    FILE.write_text("another's\n")
    with pytest.raises(NotWrittenError, match="was changed meanwhile: build again"):
        write_identifiers(Path("yard/halt.crank"), was, mine)
    assert FILE.read_text() == "another's\n"
    assert write_identifiers(Path("yard/halt.crank"), mine, mine) == ()
