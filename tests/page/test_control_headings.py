"""The control table says the same under the same headings, in the terminal, on paper, in the
browser and in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from pathlib import Path

import html5lib
from opened import EXAMPLES, opened, quickly_from
from playwright.sync_api import Browser

from bellcrank import Checked
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED
from bellcrank.emit.extras import extras
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target
from bellcrank.routes.headings import HEADINGS
from bellcrank.terminal.tables import control_table

EXAMPLE = "four-track-station"

Table = dict[str, list[str]]
"""The cells of each column, by what heads it."""


def columns(head: list[str], rows: list[list[str]]) -> Table:
    return {h: [row[k] for row in rows] for k, h in enumerate(head)}


def of_terminal(c: Checked) -> Table:
    made = control_table(c.table, 500)
    return {str(column.header): list(map(str, column.cells)) for column in made.columns}


def of_target(c: Checked, name: str, file: str) -> str:
    document = build_document(c, SPARED)
    files = render_target(load_target(name), document, extras=extras(c, document))
    return files[file].decode("utf-8")


def of_csv(c: Checked) -> Table:
    head, *rows = csv.reader(io.StringIO(of_target(c, "csv", "control-table.csv")))
    return columns(head[:-1], rows)  # the last one is the stamp of the file


def of_sheets(c: Checked) -> Table:
    tree = html5lib.parse(of_target(c, "sheets", "sheets.html"), namespaceHTMLElements=False)
    table = tree.find(".//table[@class='control']")
    texts = [["".join(cell.itertext()).strip() for cell in row] for row in table.iter("tr")]
    return columns([head.lower() for head in texts[0]], texts[1:])


def of_page(browser: Browser, path: Path) -> Table:
    with opened(browser, path) as page:
        page.click("#tab-tables")
        table = page.locator("#control-table table")
        head = table.locator("thead th").all_inner_texts()
        rows = [row.locator("th, td").all_inner_texts() for row in table.locator("tbody tr").all()]
        return columns(head, rows)


def test_one_thing_has_one_heading_on_all_media(
    browser: Browser, built: Callable[[str], Path]
) -> None:
    c = quickly_from(EXAMPLES / f"{EXAMPLE}.crank")
    terminal, sheets = of_terminal(c), of_sheets(c)
    page, spreadsheet = of_page(browser, built(EXAMPLE)), of_csv(c)
    for media in (terminal, page, spreadsheet):
        assert list(media) == [h for h in HEADINGS if h in media]
        assert {"route", "drives", "sections clear", "overlap", "flank"} <= set(media)
    paper = [part for head in sheets for part in head.split(", ")]
    assert set(paper) == {"no.", *HEADINGS} - {"ends at", "calling on", "overlap drives"}
    # And what stands under them is the same.
    for heading in ("sections clear", "flank"):
        assert terminal[heading] == page[heading], heading
    assert terminal["sections clear"] == sheets["sections clear"]
    assert page["route"] == spreadsheet["route"] == sheets["route"]
    assert page["aspect"] == spreadsheet["aspect"]
