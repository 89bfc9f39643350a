"""The command `picture`."""

from __future__ import annotations

import builtins
import struct
import zlib
from pathlib import Path
from typing import Any

import pytest

import bellcrank
from bellcrank.commands.cli import main

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
TERMINUS = str(EXAMPLES / "harbour-terminus.crank")
TERMINUS_TEXT = (EXAMPLES / "harbour-terminus.crank").read_text("utf-8")
FORGETFUL = str(EXAMPLES / "harbour-terminus-forgetful.crank")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_picture_is_named_after_the_layout(folder: Path, capsys: Any) -> None:
    assert main(["picture", TERMINUS]) == 0
    assert capsys.readouterr().out == "harbour-terminus.svg\n"
    assert (folder / "harbour-terminus.svg").read_text("utf-8").startswith("<svg")


def test_a_route_or_two_are_shown_as_asked(folder: Path) -> None:
    assert main(["picture", TERMINUS, "--route", "W1 to T1", "--out", "r.svg"]) == 0
    assert 'class="way set"' in (folder / "r.svg").read_text("utf-8")
    both = ["--conflict", "W1 to T1", "G1 to T2", "--out", "c.svg"]
    assert main(["picture", TERMINUS, *both]) == 0
    assert 'class="ring"' in (folder / "c.svg").read_text("utf-8")


def test_a_story_is_shown_with_its_steps(folder: Path) -> None:
    assert main(["picture", FORGETFUL, "--story", "meetings", "--out", "s.svg"]) == 0
    assert "two trains meet in NECK" in (folder / "s.svg").read_text("utf-8")


def test_a_picture_that_is_too_wide_is_shown_in_rows(folder: Path, capsys: Any) -> None:
    assert main(["picture", TERMINUS, "--bare", "--width", "400", "--out", "rows.svg"]) == 0
    assert Path("rows.svg").read_text("utf-8").count('class="row"') == 2
    assert main(["picture", TERMINUS, "--width", "4000", "--out", "one.svg"]) == 0
    assert 'class="row"' not in Path("one.svg").read_text("utf-8")


def test_a_plan_has_its_title_its_key_and_the_digest_of_its_text(folder: Path) -> None:
    assert main(["picture", TERMINUS, "--out", "plan.svg"]) == 0
    plan = Path("plan.svg").read_text("utf-8")
    compiled = bellcrank.compile(TERMINUS_TEXT, "harbour-terminus.crank")
    assert ">Saltmarsh Quay</text>" in plan
    assert "Drawn from harbour-terminus.crank, sha256 " in plan
    assert compiled.source_hash[:12] in plan
    assert ">buffer stop</text>" in plan
    assert main(["picture", TERMINUS, "--route", "W1 to T1", "--out", "route.svg"]) == 0
    route = Path("route.svg").read_text("utf-8")
    assert ">Saltmarsh Quay</text>" in route
    assert ">route</text>" in route and ">buffer stop</text>" in route
    assert ">route</text>" not in plan
    assert main(["picture", TERMINUS, "--bare", "--out", "bare.svg"]) == 0
    assert ">Saltmarsh Quay</text>" not in Path("bare.svg").read_text("utf-8")


def test_outputs_inputs_and_sections_stand_below_names_if_asked_for(folder: Path) -> None:
    show = ["--show", "outputs", "--show", "sections", "--show", "inputs"]
    assert main(["picture", TERMINUS, *show, "--out", "all.svg"]) == 0
    shown = Path("all.svg").read_text("utf-8")
    assert ">21 · K2.1</text>" in shown
    assert ">in NECK</text>" in shown
    assert main(["picture", TERMINUS, "--out", "plain.svg"]) == 0
    assert "K2.1" not in Path("plain.svg").read_text("utf-8")


def test_a_wish_that_is_not_kept_is_told_and_the_picture_is_drawn(
    folder: Path, capsys: Any
) -> None:
    text = "run edge WEST - A - >H - B - stop\ndraw A above B\n"
    (folder / "halt.crank").write_text(text, "utf-8")
    assert main(["picture", "halt.crank"]) == 0
    said = capsys.readouterr()
    assert said.out == "halt.svg\n"
    assert "W813" in said.err
    assert "halt.crank:2:6" in said.err
    assert "they lie on one line" in said.err


def test_a_png_has_twice_as_many_dots(folder: Path) -> None:
    pytest.importorskip("cairosvg")
    assert main(["picture", TERMINUS, "--out", "p.png"]) == 0
    data = (folder / "p.png").read_bytes()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    width, height = struct.unpack(">II", data[16:24])  # PNG (W3C), section 11.2.2
    assert width > 800
    assert height > 200
    # Section 11.2.2: three bytes a dot, and none is seen through. Section 9.2: in the
    # first row no filter changes the first dot; it is that of the paper.
    assert data[24:26] == b"\x08\x02"
    assert b"tRNS" not in data
    start = data.index(b"IDAT")
    (length,) = struct.unpack(">I", data[start - 4 : start])
    dots = zlib.decompressobj().decompress(data[start + 4 : start + 4 + length], 16)
    assert dots[1:4] == bytes.fromhex("fdfdfb")


def test_without_its_library_a_png_is_declined_in_one_sentence(
    monkeypatch: pytest.MonkeyPatch, folder: Path, capsys: Any
) -> None:
    real = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name == "cairosvg":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    assert main(["picture", TERMINUS, "--out", "p.png"]) == 2
    assert "needs the library cairosvg" in capsys.readouterr().err
    assert not (folder / "p.png").exists()


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([TERMINUS, "--out", "x.pdf"], "neither .svg nor .png"),
        ([TERMINUS, "--route", "W1 to T9"], "there is no route"),
        ([TERMINUS, "--route", "W1 to T1 G1 to T2"], "names 2 routes"),
        ([TERMINUS, "--conflict", "W1 to T1", "W1 to T1"], "one and the same"),
        (["nowhere.crank"], "there is no file"),
        ([TERMINUS, "--out", f"{TERMINUS}/x.svg"], "cannot be written"),
    ],
)
def test_what_cannot_be_drawn_is_told(
    arguments: list[str], told: str, folder: Path, capsys: Any
) -> None:
    assert main(["picture", *arguments]) == 2
    assert told in capsys.readouterr().err
    assert list(folder.iterdir()) == []


def test_a_property_that_holds_has_no_story(folder: Path, capsys: Any) -> None:
    assert main(["picture", TERMINUS, "--story", "meetings"]) == 2
    assert "is proved" in capsys.readouterr().err
    assert list(folder.iterdir()) == []
