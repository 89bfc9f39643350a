"""The tables of the parser are kept from one run to the next, and made anew when they must be."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import platformdirs
import pytest
from lark import Lark

from bellcrank.syntax import grammar_tables
from bellcrank.syntax.grammar_tables import layout_parser
from bellcrank.syntax.parse import parse

TEXT = 'layout "Halt"\npoints P1\nrun edge WEST - A - >H - P1.toe\nrun P1.straight - B - stop\n'
WRONG = TEXT + "run edge - - stop\nderived A\nsection X = P1, \n"


@pytest.fixture
def made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[list[str]]:
    """The grammars that tables were made from, with an empty folder to keep them in."""
    monkeypatch.setattr(platformdirs, "user_cache_path", lambda *_, **__: tmp_path / "kept")
    grammars: list[str] = []
    make = grammar_tables._made

    def counted(grammar: str) -> Lark:
        grammars.append(grammar)
        return make(grammar)

    monkeypatch.setattr(grammar_tables, "_made", counted)
    layout_parser.cache_clear()
    yield grammars
    layout_parser.cache_clear()


def next_run() -> Lark:
    layout_parser.cache_clear()
    return layout_parser()


def kept(tmp_path: Path) -> list[Path]:
    return [path for path in tmp_path.rglob("*") if path.is_file()]


@pytest.mark.parametrize("text", [TEXT, WRONG], ids=["sound", "wrong"])
def test_kept_tables_read_and_report_as_those_that_were_made(made: list[str], text: str) -> None:
    first = parse(text, "halt.crank")
    layout_parser.cache_clear()
    assert parse(text, "halt.crank") == first
    assert len(made) == 1


def test_tables_are_made_once(made: list[str], tmp_path: Path) -> None:
    next_run()
    next_run()
    assert len(made) == 1
    assert [path.name.split(".")[0] for path in kept(tmp_path)] == ["layout"]


@pytest.mark.parametrize("changed", ["__version__", "_own_source"])
def test_tables_made_from_something_else_are_made_anew(
    made: list[str], monkeypatch: pytest.MonkeyPatch, changed: str
) -> None:
    next_run()
    if changed == "__version__":
        monkeypatch.setattr(grammar_tables.lark, "__version__", "0.0.1")
    else:
        monkeypatch.setattr(grammar_tables, "_own_source", lambda: b"other options")
    next_run()
    next_run()
    assert len(made) == 2


@pytest.mark.parametrize("spoilt", ["cut", "changed", "empty"])
def test_spoilt_tables_are_not_read(made: list[str], tmp_path: Path, spoilt: str) -> None:
    next_run()
    (path,) = kept(tmp_path)
    data = path.read_bytes()
    path.write_bytes(
        {"cut": data[:-100], "changed": data[:-1] + bytes([data[-1] ^ 1]), "empty": b""}[spoilt]
    )
    assert parse(TEXT, "halt.crank")[1] == ()
    layout_parser.cache_clear()
    parse(TEXT, "halt.crank")
    assert len(made) == 2


def test_nothing_is_kept_in_the_package(made: list[str]) -> None:
    """What is left there when it is uninstalled would hide an editable install."""
    package = Path(str(resources.files("bellcrank.grammar")))
    before = set(package.rglob("*"))
    next_run()
    assert set(package.rglob("*")) == before


def test_where_nothing_can_be_written_layouts_are_read_all_the_same(
    made: list[str], tmp_path: Path
) -> None:
    (tmp_path / "kept").write_text("a file in place of the folder", "utf-8")
    assert parse(TEXT, "halt.crank")[1] == ()
    assert kept(tmp_path) == [tmp_path / "kept"]
