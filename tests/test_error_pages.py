"""The page behind each error code: there is one, it is true, and it can be read."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import pytest

import bellcrank
from bellcrank import Sound
from bellcrank.compilation import compile_file
from bellcrank.diagnostics import Diagnostic, printable
from bellcrank.diagnostics.error_pages import Stage, kind_of, known_codes, pages
from bellcrank.diagnostics.explained import FAULTY, RIGHT, as_text, explained
from bellcrank.emit.identifiers import read_pinned
from bellcrank.layout.build_layout import build_layout
from bellcrank.machine.rules import build_locking
from bellcrank.picture import draw_and_tell
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import read_script
from bellcrank.routes.derive import build_routes
from bellcrank.syntax.load import load_text

COMPILER = Path(bellcrank.__file__).parent

CODE = re.compile(r'"([EW]\d{3})"')


def shown(code: str) -> str:
    page = explained(code)
    assert page is not None
    return as_text(page)


def codes_in_the_compiler() -> set[str]:
    return {
        code for path in COMPILER.rglob("*.py") for code in CODE.findall(path.read_text("utf-8"))
    }


def reported(page: dict[str, Any], folder: Path) -> tuple[Diagnostic, ...]:
    """What is reported of the example on a page."""
    if "layout" in page:  # the example is a script
        c = bellcrank.compile(page["layout"])
        assert c.diagnostics == ()
        return read_script(page["example"], "script", Railway(c.machine, c.layout, c.table))[1]
    if "range" in page:  # the example is a file of identifiers
        return read_pinned(page["example"], "halt.identifiers", page["range"])[1]
    if "files" in page:
        for name, text in page["files"].items():
            (folder / name).write_text(text, "utf-8")
        return compile_file(folder / "layout.crank").diagnostics
    if "bytes_hex" in page:
        (folder / "layout.crank").write_bytes(bytes.fromhex(page["bytes_hex"]))
        return compile_file(folder / "layout.crank").diagnostics
    text = page.get("example", "")
    if "example_repeat" in page:
        text += page["example_repeat"]["text"] * page["example_repeat"]["times"]
    c = bellcrank.compile(text)
    if isinstance(c, Sound):  # the picture may have something to say as well
        return c.diagnostics + draw_and_tell(c.layout)[1]
    return c.diagnostics


def test_every_code_in_the_compiler_has_a_page_and_every_page_is_of_such_a_code():
    found = codes_in_the_compiler()
    assert len(found) > 50
    assert set(pages()) == found


@pytest.mark.parametrize("code", sorted(pages()))
def test_the_example_of_a_page_brings_its_code_about_and_no_other(code: str, tmp_path: Path):
    found = reported(pages()[code], tmp_path)
    assert {d.code for d in found} == {code}
    assert {d.severity for d in found} == {"warning" if code.startswith("W") else "error"}


NOT_SHOWN = {"E102", "E103"}
"""Of which no text can be shown: bytes that are none, and one that is too long."""


@pytest.mark.parametrize("code", sorted(set(pages()) - NOT_SHOWN))
def test_of_the_example_put_right_nothing_is_reported(code: str, tmp_path: Path):
    page = pages()[code]
    key = "files" if "files" in page else "example"
    assert page[key] != page["put_right"]
    found = reported(page | {key: page["put_right"]}, tmp_path)
    assert [d.message for d in found] == []


@pytest.mark.parametrize("code", sorted(pages()))
def test_a_page_has_a_title_a_text_and_one_way_to_bring_the_code_about(code: str):
    page = pages()[code]
    assert set(page) - {"title", "text", "stage", "severity", "follows"} in (
        {"example", "put_right"},
        {"layout", "example", "put_right"},
        {"range", "example", "put_right"},
        {"files", "put_right"},
        {"bytes_hex"},
        {"example_repeat"},
    )
    assert page["title"] == page["title"].strip()
    assert len(page["title"]) <= 72
    assert not page["title"].endswith(".")
    paragraphs = page["text"].strip().split("\n\n")
    assert 1 <= len(paragraphs) <= 3
    assert all(paragraph.strip().endswith((".", "`.")) for paragraph in paragraphs)


@pytest.mark.parametrize("code", sorted(pages()))
def test_the_kind_of_a_code_is_one_that_there_is(code: str):
    kind = kind_of(code)
    assert kind.stage in get_args(Stage)
    assert kind.severity == ("warning" if code.startswith("W") else "error")
    order = list(get_args(Stage))
    assert all(order.index(earlier) < order.index(kind.stage) for earlier in kind.follows)


def stage_by_stage(text: str) -> Iterator[tuple[Stage, tuple[Diagnostic, ...]]]:
    """What each stage reports of a text, as long as the one before had no error."""
    program, found = load_text(text, "layout.crank")
    yield "text", found
    layout, found = build_layout(program)
    yield "layout", found
    table, found = build_routes(program, layout)
    yield "routes", found
    yield "locking", build_locking(program, layout, table)[1]
    yield "picture", draw_and_tell(layout)[1]


def first_to_report(code: str, text: str) -> Stage:
    return next(stage for stage, found in stage_by_stage(text) if code in {d.code for d in found})


@pytest.mark.parametrize("code", sorted(pages()))
def test_the_stage_of_a_code_is_the_one_that_reports_its_example(code: str, tmp_path: Path):
    page, stage = pages()[code], kind_of(code).stage
    if "layout" in page:
        assert stage == "script"
    elif "range" in page:
        assert stage == "events"
    elif "files" in page or "bytes_hex" in page or "example_repeat" in page:
        assert stage == "text"
    else:
        reporter = "layout" if stage == "hardware" else stage
        assert first_to_report(code, page["example"]) == reporter


def test_titles_tell_the_codes_apart():
    titles = list(known_codes().values())
    assert len(set(titles)) == len(titles)


@pytest.mark.parametrize("code", sorted(pages()))
def test_a_page_as_shown_fits_a_hundred_columns_and_holds_its_examples_whole(code: str):
    page = pages()[code]
    lines = shown(code).split("\n")
    assert lines[0] == f"{code}: {page['title']}"
    assert max(map(len, lines)) <= 100
    unmarked = [line[4:] for line in lines if line[:4].strip() in ("", FAULTY, RIGHT)]
    for text in (page.get("layout", ""), page.get("example", ""), page.get("put_right", "")):
        for row in text.strip("\n").split("\n") if isinstance(text, str) else ():
            assert printable(row) in unmarked


def test_a_page_shows_the_example_as_faulty_and_the_same_put_right():
    assert shown("E317").endswith(
        """
Faulty (x):

    points P1
    run edge WEST - A - >H - P1.toe
  x run P1.strat - <DB - B - stop
    run P1.diverging - <DC - C - stop

Put right (*):

    points P1
    run edge WEST - A - >H - P1.toe
  * run P1.straight - <DB - B - stop
    run P1.diverging - <DC - C - stop"""
    )


def test_where_only_a_line_is_missing_no_line_is_marked_as_faulty():
    page = explained("E311")
    assert page is not None
    assert [e.heading for e in page.examples] == ["Faulty", "Put right (*)"]


def test_of_files_only_those_that_change_are_shown_put_right():
    page = explained("E703")
    assert page is not None
    assert [e.heading for e in page.examples] == [
        "Faulty, in layout.crank",
        "Faulty, in yard.crank (x)",
        "Put right, in yard.crank",
    ]


@pytest.mark.parametrize("code", sorted(pages()))
def test_a_page_keeps_to_the_words_of_the_trade(code: str):
    """Words that only programmers use."""
    words = set(re.findall(r"\w+", (pages()[code]["title"] + pages()[code]["text"]).lower()))
    unwanted = "token parse parser syntax identifier string integer null invalid exception boolean"
    assert not words & set(unwanted.split())


def test_a_code_that_does_not_exist_has_no_page():
    assert explained("E999") is None
    assert explained("") is None
