"""The command `new`."""

from __future__ import annotations

import builtins
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from bellcrank.commands.cli import main
from bellcrank.commands.new import TRACK_KINDS


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def answers(monkeypatch: pytest.MonkeyPatch, *lines: str) -> list[str]:
    """Have someone at a terminal answer; returns the questions that are asked."""
    asked: list[str] = []
    rest: Iterator[str] = iter(lines)

    def typed(question: str) -> str:
        asked.append(question.strip())
        try:
            return next(rest)
        except StopIteration:
            raise EOFError from None

    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(builtins, "input", typed)
    return asked


@pytest.mark.parametrize("kind", TRACK_KINDS)
def test_what_is_written_is_proved_by_the_command_that_is_named_next(
    kind: str, capsys: Any
) -> None:
    assert main(["new", kind]) == 0
    said = capsys.readouterr().out
    assert said.startswith(f"{kind}.crank is written: ")
    assert f"  bellcrank check {kind}.crank" in said
    assert main(["check", f"{kind}.crank"]) == 0


def test_a_slip_for_the_bench_comes_with_its_decoder(folder: Path, capsys: Any) -> None:
    assert main(["new", "slip"]) == 0
    assert "build slip.crank --target sheets --out bench" in capsys.readouterr().out
    assert "drive S1 = K1.1  coil 200 ms" in (folder / "slip.crank").read_text("utf-8")


def test_a_file_that_is_there_is_kept_unless_it_may_be_replaced(folder: Path, capsys: Any) -> None:
    (folder / "yard.crank").write_text("mine\n", "utf-8")
    assert main(["new", "yard"]) == 2
    assert "yard.crank is there already: name another file, or say --replace" in (
        capsys.readouterr().err
    )
    assert (folder / "yard.crank").read_text("utf-8") == "mine\n"
    assert main(["new", "yard", "--replace"]) == 0
    assert (folder / "yard.crank").read_text("utf-8").startswith("# A yard")


def test_options_say_how_it_is_wired(folder: Path) -> None:
    words = "--roads 3 --drive servo --outputs 8 --switches 8 --address 33 --inputs 4"
    assert main(["new", "terminus", "halt", "--title", "Coal Quay", *words.split()]) == 0
    text = (folder / "halt.crank").read_text("utf-8")
    assert 'layout "Coal Quay" on two rails\n' in text
    assert "decoder kind mine { outputs 8  switches 8 }" in text
    assert "decoder K1 mine at 33" in text
    assert "drive P2 = K1.2  servo 1500 ms" in text
    assert "detector DET2 board at 5" in text


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["terminal"], "`terminal` is not one of slip, terminus, oval, through, yard, "
         "crossover; did you mean `terminus`?"),
        (["slip", "--roads", "3"], "--roads says nothing about the kind `slip`"),
        (["terminus", "--roads", "1"], "--roads: 1 is not from 2 to 24"),
        (["terminus", "--outputs", "0"], "--outputs: 0 is not from 1 to 64"),
        (["terminus", "--no-decoders", "--address", "3"],
         "--address is about decoders, and --no-decoders wants none"),
        (["terminus", "--title", 'The "Quay"'],
         "the title is printable text on one line, without double quotes"),
        (["slip", "--address", "600"],
         "a decoder would have the address 600, and 9 switches count no further than 511"),
        ([], "name a kind of track: slip, terminus, oval, through, yard, crossover"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_told_and_nothing_is_written(
    words: list[str], said: str, folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stdin, "isatty", lambda: False, raising=False)
    assert main(["new", *words]) == 2
    assert said in capsys.readouterr().err
    assert list(folder.iterdir()) == []


def test_without_a_kind_it_asks_and_return_takes_what_is_offered(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = answers(monkeypatch, *[""] * 20)
    assert main(["new"]) == 0
    assert asked[0] == "Which one? [slip]"
    assert asked[-1] == "In which file? [slip.crank]"
    assert len(asked) <= 11
    assert main(["check", "slip.crank"]) == 0


def test_drive_and_decoder_are_as_was_answered(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    given = {
        "What moves the blades: coil, motor or servo? [coil]": "servo",
        "How many outputs has each decoder? [4]": "8",
        "How many switches set its address? [9]": "6",
        "Which is the first output number? [1]": "17",
    }
    asked: list[str] = []

    def typed(question: str) -> str:
        asked.append(question.rstrip())
        return given.get(question.rstrip(), "")

    answers(monkeypatch)
    monkeypatch.setattr(builtins, "input", typed)
    assert main(["new"]) == 0
    assert set(given) <= set(asked)
    text = (folder / "slip.crank").read_text("utf-8")
    assert "decoder kind mine { outputs 8  switches 6 }" in text
    assert "decoder K1 mine at 17" in text
    assert "drive S1 = K1.1  servo 1500 ms" in text


def test_an_answer_that_is_none_is_asked_for_again(
    folder: Path, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = [
        "terminal",
        "terminus",
        "thirty",
        "4",
        "rael",
        "real",
        "perhaps",
        "no",
        "yes",
        "Quay",
        "quay",
    ]
    asked = answers(monkeypatch, *lines)
    assert main(["new"]) == 0
    out = capsys.readouterr().out
    assert "did you mean `terminus`?" in out
    assert "a number from 2 to 24" in out
    assert asked.count("Are drives wired to decoders? yes or no: [no]") == 2
    text = (folder / "quay.crank").read_text("utf-8")
    assert "<S4 - T4 - stop" in text
    assert "decoder" not in text
    assert "detector" in text


def test_no_answer_any_more_writes_nothing(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    answers(monkeypatch, "oval")
    assert main(["new"]) == 130
    assert list(folder.iterdir()) == []
