"""Signals that are only thought of: routes begin there, and nobody works them."""

from __future__ import annotations

import io
import json
import re
import sys
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

import bellcrank
from bellcrank import Sound
from bellcrank.commands.cli import main

HALT = """\
layout "Halt"
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - T1 - stop
run P1.diverging - <S2 - T2 - stop
numbering from decoder 1
decoder kind quad { outputs 4  switches 9 }
decoder K1 quad at 1
drive P1 = K1.1  coil 200 ms
"""

IMAGINED = HALT + "signal H, S1, S2 imagined\n"

ONE_STANDS = HALT + "signal S1, S2 imagined\nsignal H = K1.2\n"


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "halt.crank").write_text(IMAGINED, "utf-8")
    (tmp_path / "one.crank").write_text(ONE_STANDS, "utf-8")
    return tmp_path


def sound(text: str) -> Sound:
    c = bellcrank.compile(text)
    assert isinstance(c, Sound), c.diagnostics
    return c


def test_the_same_is_proved_as_of_signals_that_stand_there() -> None:
    imagined, standing = sound(IMAGINED), sound(HALT)
    assert imagined.machine.events == standing.machine.events
    assert [i.sentence for i in imagined.machine.invariants] == [
        i.sentence for i in standing.machine.invariants
    ]
    assert bellcrank.prove(imagined).proved


@pytest.mark.parametrize(
    ("text", "commanded"), [(HALT, {"H", "S1", "S2"}), (ONE_STANDS, {"H"}), (IMAGINED, set())]
)
def test_only_signals_that_stand_there_are_commanded(text: str, commanded: set[str]) -> None:
    c = sound(text)
    assert {cmd.name for cmd in c.commands if cmd.device == "signal"} == commanded
    timed = [t.command for table in c.timetables for t in table.commands]
    assert {cmd.name for cmd in timed if cmd.device == "signal"} == commanded
    assert {cmd.name for cmd in timed if cmd.device == "drive"} == {"P1"}


def test_nobody_is_waited_for_to_work_one() -> None:
    waits = [w for t in sound(IMAGINED).timetables for w in t.waits]
    assert waits and all(w.kind == "release" for w in waits)


def test_the_sheets_have_no_label_and_no_tick_for_one(folder: Path) -> None:
    assert main(["build", "one.crank", "--target", "sheets", "--out", "s"]) == 0
    sheets = re.sub(r"<[^>]*>", " ", (folder / "s" / "sheets.html").read_text("utf-8"))
    assert "by hand" not in sheets.replace("or throw by hand", "")
    labels = sheets[sheets.rindex("Labels") :]
    assert " H " in labels and " S1 " not in labels


def test_every_target_is_read_back_and_the_document_says_which_are_imagined(folder: Path) -> None:
    jsonschema = pytest.importorskip("jsonschema")
    targets = ("csv", "json", "packets", "mqtt", "st", "page")
    words = [word for target in targets for word in ("--target", target)]
    for name in ("halt", "one"):
        assert main(["build", f"{name}.crank", *words, "--out", name]) == 0
        document = json.loads((folder / name / "layout.json").read_text("utf-8"))
        schema = resources.files("bellcrank.targets") / "json" / "layout.schema.json"
        jsonschema.Draft202012Validator(json.loads(schema.read_text("utf-8"))).validate(document)
    imagined = {s["name"] for s in document["layout"]["signals"] if s["imagined"]}
    assert imagined == {"S1", "S2"}


def test_one_cannot_be_sent_an_aspect(capsys: Any) -> None:
    assert main(["send", "halt.crank", "--signal", "H", "proceed"]) == 2
    assert "H is imagined: nothing stands there to show it" in capsys.readouterr().err


def test_one_that_an_output_shows_is_a_contradiction() -> None:
    c = bellcrank.compile(HALT + "signal H = K1.2\nsignal S1, H imagined\n")
    (found,) = c.diagnostics
    assert (found.code, str(found.span)) == ("E322", "layout.crank:11:12")
    assert found.hint == "leave H out here, or its output out there"


def test_an_unknown_one_is_told_with_the_nearest() -> None:
    (found,) = bellcrank.compile(HALT + "signal S11 imagined\n").diagnostics
    assert (found.code, found.hint) == ("E201", "did you mean `S1`?")


def test_a_route_of_which_nothing_is_commanded_is_set_and_built(folder: Path) -> None:
    """No drive, and no signal that stands there."""
    text = "run edge WEST - A - >H - B - edge EAST\nsignal H imagined\n"
    (folder / "block.crank").write_text(text, "utf-8")
    assert main(["build", "block.crank", "--out", "b"]) == 0
    assert main(["commands", "block.crank", "H", "to", "EAST"]) == 0


@pytest.mark.parametrize(
    ("layout", "asked"),
    [
        ("halt", "Is this so: P1 lies straight?"),
        ("one", "Is this so: P1 lies straight and H shows proceed?"),
    ],
)
def test_nobody_is_asked_what_one_shows_when_routes_are_tried(
    layout: str, asked: str, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO("quit\n"))
    main(["commission", f"{layout}.crank", "--only", "H to T1"])
    assert asked in capsys.readouterr().out


def test_of_a_route_without_drives_and_signals_the_panel_is_asked(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = HALT.replace("- A - >H", "- A - >G - B - >H") + "signal G, H, S1, S2 imagined\n"
    (folder / "halt.crank").write_text(text, "utf-8")
    monkeypatch.setattr(sys, "stdin", io.StringIO("quit\n"))
    main(["commission", "halt.crank", "--only", "G to H"])
    assert "Does the panel say that G to H is set?" in capsys.readouterr().out
