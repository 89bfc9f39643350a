"""The page behind each error code: there is one, it is true, and it can be read."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import pytest

import bellcrank
from bellcrank import Sound
from bellcrank.compilation import compile_file
from bellcrank.diagnostics import Diagnostic
from bellcrank.diagnostics.error_pages import Stage, explain, kind_of, known_codes, pages
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


def codes_in_the_compiler() -> set[str]:
    return {
        code for path in COMPILER.rglob("*.py") for code in CODE.findall(path.read_text("utf-8"))
    }


def reported(code: str, folder: Path) -> tuple[Diagnostic, ...]:
    """What is reported of the example on a page."""
    page = pages()[code]
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
    found = reported(code, tmp_path)
    assert {d.code for d in found} == {code}
    assert {d.severity for d in found} == {"warning" if code.startswith("W") else "error"}


@pytest.mark.parametrize("code", sorted(pages()))
def test_a_page_has_a_title_a_text_and_one_way_to_bring_the_code_about(code: str):
    page = pages()[code]
    assert set(page) - {"title", "text", "stage", "severity", "follows"} in (
        {"example"},
        {"layout", "example"},
        {"range", "example"},
        {"files"},
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
def test_a_page_as_shown_fits_a_hundred_columns_and_holds_its_example_whole(code: str):
    shown = explain(code)
    assert shown is not None
    lines = shown.split("\n")
    assert lines[0] == f"{code}: {pages()[code]['title']}"
    assert max(map(len, lines)) <= 100
    for row in pages()[code].get("example", "").strip("\n").split("\n"):
        assert ("    " + row).rstrip() in [line.rstrip() for line in lines]


@pytest.mark.parametrize("code", sorted(pages()))
def test_a_page_keeps_to_the_words_of_the_trade(code: str):
    """Words that only programmers use."""
    words = set(re.findall(r"\w+", (pages()[code]["title"] + pages()[code]["text"]).lower()))
    unwanted = "token parse parser syntax identifier string integer null invalid exception boolean"
    assert not words & set(unwanted.split())


def test_a_code_that_does_not_exist_has_no_page():
    assert explain("E999") is None
    assert explain("") is None
