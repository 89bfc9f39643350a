"""A layout without signals is served as far as that goes, and an empty one leads on."""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

import bellcrank
from bellcrank import Broken, Sound
from bellcrank.commands.cli import main
from bellcrank.diagnostics import render
from bellcrank.starting.first_layout import first_layout
from bellcrank.starting.track_kinds import TRACK_KINDS
from bellcrank.starting.wishes import Decoders, Wish

BENCH = """\
layout "Bench"
points P1
run edge WEST - A - P1.toe
run P1.straight - T1 - stop
run P1.diverging - T2 - stop
numbering from decoder 1
decoder kind quad { outputs 4  switches 9 }
decoder K1 quad at 5
drive P1 = K1.1  coil 200 ms
"""


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bench.crank").write_text(BENCH, "utf-8")
    return tmp_path


def shown(text: str) -> str:
    result = bellcrank.compile(text)
    assert isinstance(result, Broken)
    return "\n".join(render(d, result.program.texts) for d in result.diagnostics)


# ------------------------------------------------------------------ nothing is proved


def test_it_is_never_called_proved() -> None:
    sound = bellcrank.compile(BENCH)
    assert isinstance(sound, Sound) and sound.diagnostics == ()
    checked = bellcrank.prove(sound, controller=True)
    assert checked.outcome == "no routes"
    assert checked.status == "no routes"
    assert not checked.proved and not checked.in_doubt


def test_check_says_what_there_is_and_which_line_makes_routes(capsys: Any) -> None:
    assert main(["check", "bench.crank"]) == 0
    said = capsys.readouterr().out
    assert "verdict: no routes, so nothing to prove: no signal stands in any run" in said
    assert "    run edge WEST - A - >H - P1.toe\n" in said
    assert "proved by" not in said
    main(["check", "bench.crank", "--json"])
    told = json.loads(capsys.readouterr().out)
    assert told["status"] == "no routes"
    assert (told["verdict"], told["moving"], told["controlled"]) == (None, None, None)


def test_the_line_that_check_tells_to_write_makes_routes(folder: Path, capsys: Any) -> None:
    mended = BENCH.replace("run edge WEST - A - P1.toe", "run edge WEST - A - >H - P1.toe")
    (folder / "bench.crank").write_text(mended, "utf-8")
    assert main(["check", "bench.crank"]) == 0
    assert "Bench: 2 routes, 1 signal" in capsys.readouterr().out


@pytest.mark.parametrize("name", TRACK_KINDS)
@pytest.mark.parametrize("bench", [None, Decoders()], ids=["nothing wired", "wired"])
def test_a_first_layout_without_signals_has_nothing_wrong(
    name: str, bench: Decoders | None
) -> None:
    kind = TRACK_KINDS[name]
    text = first_layout(kind.build(kind.size.usual if kind.size else 1), Wish("T", "none", bench))
    sound = bellcrank.compile(text)
    assert isinstance(sound, Sound) and sound.diagnostics == ()


# ------------------------------------------------------------------- what it is served


def test_it_is_drawn_and_its_drives_are_commanded(capsys: Any) -> None:
    assert main(["picture", "bench.crank"]) == 0
    assert main(["commands", "bench.crank", "--drive", "P1", "diverging"]) == 0
    assert "P1 diverging: K1.1 red, output 5, coil 200 ms" in capsys.readouterr().out
    assert main(["send", "bench.crank", "--drive", "P1", "straight"]) == 0
    assert "drive,P1,straight,5,green,200," in capsys.readouterr().out


def test_every_target_that_says_a_status_says_no_routes(folder: Path, capsys: Any) -> None:
    for target in ("csv", "json", "sheets", "page", "packets", "mqtt"):
        assert main(["build", "bench.crank", "--target", target, "--out", target]) == 0
        assert "status: no routes" in capsys.readouterr().out
        for path in (folder / target).iterdir():
            text = path.read_text("utf-8")
            assert "no routes" in text, path
            assert "UNPROVED" not in text.replace('["proved", "UNPROVED"', ""), path


def test_the_document_of_it_is_as_its_schema_says(folder: Path) -> None:
    validator = pytest.importorskip("jsonschema").Draft202012Validator
    assert main(["build", "bench.crank", "--target", "json", "--out", "j"]) == 0
    schema = resources.files("bellcrank.targets") / "json" / "layout.schema.json"
    document = json.loads((folder / "j" / "layout.json").read_text("utf-8"))
    validator(json.loads(schema.read_text("utf-8"))).validate(document)
    for status in ("proved", "UNPROVED"):
        assert not validator(json.loads(schema.read_text("utf-8"))).is_valid(
            document | {"status": status}
        )


def test_its_decoders_are_set_and_labelled(folder: Path) -> None:
    assert main(["build", "bench.crank", "--target", "sheets", "--out", "s"]) == 0
    sheets = (folder / "s" / "sheets.html").read_text("utf-8")
    assert "NO ROUTES" in sheets
    assert "switches" in sheets and "K1" in sheets


def test_its_drives_are_commissioned(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = iter(["2", "1", "2", "1", "yes", "yes", "yes"])
    monkeypatch.setattr("builtins.input", lambda _: next(answers))
    main(["commission", "bench.crank"])
    assert "crossed" in (folder / "bench.crank").read_text("utf-8")


def test_it_is_not_run(capsys: Any) -> None:
    assert main(["run", "bench.crank", "--simulated"]) == 2
    assert "the layout has no routes, so there is nothing to run" in capsys.readouterr().err


# ---------------------------------------------------------------- what leads on


def test_an_empty_file_leads_to_the_command_that_writes_one() -> None:
    assert shown("# my railway\n") == (
        "layout.crank:1:1: error E320: this layout is empty\n"
        "  1 | # my railway\n"
        "    | ^\n"
        "  expected: fittings and runs, such as `run edge WEST - A - >H - B - stop`\n"
        "  try: `bellcrank new` writes a first layout"
    )


def test_hardware_alone_leads_to_the_fitting_that_it_throws() -> None:
    text = "decoder kind quad { outputs 4 }\ndecoder K1 quad\ndrive P7 = K1.1\ndrive P8 = K1.2\n"
    assert shown(text) == (
        "layout.crank:1:1: error E320: no track lies in this layout yet\n"
        "  1 | decoder kind quad { outputs 4 }\n"
        "    | ^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^^\n"
        "  expected: fittings and runs, such as `points P7` and `run edge WEST - A - P7.toe`"
    )


def test_a_drive_of_a_slip_leads_to_a_slip() -> None:
    said = " ".join(shown("drive S1.end1 by hand\n").split())
    assert said.endswith("`double slip S1 with two drives` and `run edge WEST - A - S1.a1`")


def test_track_that_cannot_be_read_is_not_called_missing() -> None:
    result = bellcrank.compile('layout "T"\nrun edge WEST = A\n')
    assert [d.code for d in result.diagnostics] == ["E101"]


def test_signals_without_routes_are_a_mistake_all_the_same() -> None:
    text = "run edge WEST - A - >H - <S - B - stop\nroutes written\n"
    assert "E408" in shown(text)
