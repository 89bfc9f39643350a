"""The command `compare`: two files, or a file with what it was in a commit."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from bellcrank.commands.cli import main

YARD = """layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
decoder kind quad { outputs 4  switches 9 }
decoder K1 quad at 1
drive P = K1.1
signal W = K1.2
signal S = K1.3
signal D = K1.4
"""

MOVED = YARD.replace("quad at 1", "quad at 5")


@pytest.fixture
def files(tmp_path: Path) -> tuple[str, str]:
    old, new = tmp_path / "old.crank", tmp_path / "new.crank"
    old.write_text(YARD)
    new.write_text(MOVED)
    return str(old), str(new)


def test_what_is_to_be_done_is_told(
    files: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compare", *files]) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert out.startswith("Reedham Yard: proved before, proved now")
    assert "(address 5)" in out and "☐ print the label of K1 again" in out
    assert "☐ test signals W, S and D" in out
    assert "drive P straight: K1.1 green, number 5" in out


def test_nothing_is_different_where_nothing_is(
    files: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compare", files[0], files[0]]) == 0
    assert "nothing is different" in capsys.readouterr().out


def test_json_tells_the_same(files: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["compare", *files, "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert (told["before"], told["now"], told["same"]) == ("proved", "proved", False)
    assert {task["kind"] for task in told["bench"]} == {"set switches", "label", "test"}


def test_a_file_is_compared_with_what_it_was_in_a_commit(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def git(*words: str) -> None:
        who = ("-c", "user.name=Ada", "-c", "user.email=ada@example.org")
        subprocess.run(["git", *who, *words], cwd=tmp_path, check=True, capture_output=True)

    layout = tmp_path / "yard.crank"
    layout.write_text(YARD)
    git("init")
    git("add", ".")
    git("commit", "-m", "one")
    layout.write_text(MOVED)
    assert main(["compare", str(layout), "--since", "HEAD"]) == 1
    assert "(address 5)" in capsys.readouterr().out
    assert main(["compare", str(layout), "--since", "no-such-commit"]) == 2
    assert "git does not give" in " ".join(capsys.readouterr().err.split())


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["{old}"], "give two files, or one with --since"),
        (["{old}", "{new}", "--since", "HEAD"], "give two files, or one with --since"),
        (["none.crank", "--since", "HEAD"], "there is no file none.crank"),
        (["{old}", "--since", "--output=x"], "names no commit"),
        (["none.crank", "{new}"], "none.crank"),
    ],
)
def test_what_is_wrong_is_said(
    words: list[str], says: str, files: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    old, new = files
    assert main(["compare", *(word.format(old=old, new=new) for word in words)]) == 2
    told = capsys.readouterr()
    assert says in " ".join((told.err + told.out).split())


def test_a_sheet_has_a_box_for_each_thing_to_do_in_the_order_of_doing(
    files: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet = tmp_path / "changed.html"
    assert main(["compare", *files, "--sheet", str(sheet), "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    page = sheet.read_text(encoding="utf-8")
    assert page.count('<span class="tick">') == len(told["bench"])
    heads = [
        page.index(f"<h4>{head}</h4>") for head in ("Fit and set", "Label", "Commission again")
    ]
    assert heads == sorted(heads)
    for command in told["commands"]:
        assert f"<td>{command['before']}</td><td>{command['now']}</td>" in page
    assert "Not certified for trains that carry people" in page


def test_a_sheet_of_what_is_not_proved_says_so(tmp_path: Path) -> None:
    old, new, sheet = (tmp_path / name for name in ("old.crank", "new.crank", "changed.html"))
    old.write_text(YARD)
    new.write_text(YARD + "locking written {\n  every route needs its positions\n}\n")
    assert main(["compare", str(old), str(new), "--sheet", str(sheet)]) == 1
    assert "Do not run trains by this sheet" in sheet.read_text(encoding="utf-8")


def test_a_sheet_is_a_page_or_a_pdf_and_of_two_texts(
    files: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compare", *files, "--sheet", str(tmp_path / "changed.doc")]) == 2
    assert "neither .html nor .pdf" in " ".join(capsys.readouterr().err.split())
    assert main(["compare", *files, "--sheet", str(tmp_path / "no" / "changed.html")]) == 1
    assert (tmp_path / "no" / "changed.html").exists()
    (tmp_path / "file").write_text("")
    assert main(["compare", *files, "--sheet", str(tmp_path / "file" / "changed.html")]) == 2
    assert "cannot be written" in " ".join(capsys.readouterr().err.split())


def test_a_sheet_can_be_a_pdf(files: tuple[str, str], tmp_path: Path) -> None:
    pytest.importorskip("weasyprint")
    sheet = tmp_path / "changed.pdf"
    assert main(["compare", *files, "--sheet", str(sheet)]) == 1
    assert sheet.read_bytes().startswith(b"%PDF-")
