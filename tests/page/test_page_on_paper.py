"""The page on paper, as the browser lays it out: no sheet with the footer alone, nothing beyond
the margin, numbers of routes in the place of rows of names."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from pathlib import Path

import pdfplumber
import pytest
from bench.generate import with_routes
from in_campaigns import in_campaigns
from opened import EXAMPLES, opened, page_of, quickly, quickly_from
from playwright.sync_api import Browser, Page

LONG = """
layout "A junction whose places have long names"
points POINTS_AT_THE_OLD_LIME_KILN
run edge UPPER_SALTMARSH_VIADUCT - APPROACH_BY_THE_RIVER - >HOME_SIGNAL_BY_THE_RIVER -
    POINTS_AT_THE_OLD_LIME_KILN.toe
run POINTS_AT_THE_OLD_LIME_KILN.straight - <STARTER_AT_PLATFORM_ONE - PLATFORM_ONE_NORTH_END -
    >ADVANCED_STARTER_FOR_THE_EAST - BEYOND_THE_STATION - edge LOWER_SALTMARSH_HARBOUR
run POINTS_AT_THE_OLD_LIME_KILN.diverging - <STARTER_AT_PLATFORM_TWO - PLATFORM_TWO - stop
"""

LAYOUTS: dict[str, Callable[[], bytes]] = {
    "a terminus": lambda: page_of(quickly_from(EXAMPLES / "harbour-terminus.crank")),
    "a station": lambda: page_of(quickly_from(EXAMPLES / "four-track-station.crank")),
    "a loop": lambda: page_of(quickly_from(EXAMPLES / "turning-loop.crank")),
    "long names": lambda: page_of(quickly(LONG)),
    "500 routes": lambda: page_of(quickly(with_routes("ladders of six", 500))),
}


@pytest.fixture(
    scope="module",
    params=in_campaigns(LAYOUTS, lambda name: name not in ("a station", "long names")),
)
def page(
    request: pytest.FixtureRequest, browser: Browser, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Page]:
    path: Path = tmp_path_factory.mktemp("paper") / "page.html"
    path.write_bytes(LAYOUTS[request.param]())
    with opened(browser, path) as page:
        yield page


def printed(page: Page, panel: str) -> pdfplumber.PDF:
    page.click(f"#tab-{panel}")
    if panel == "tables":
        page.wait_for_selector("#command-list table, #command-list p", state="attached")
    return pdfplumber.open(io.BytesIO(page.pdf(format="A4")))


@pytest.mark.parametrize("panel", ["rehearsal", "tables", "verdict"])
def test_no_sheet_has_the_footer_alone_and_nothing_is_beyond_the_margin(
    page: Page, panel: str
) -> None:
    notice = page.locator("footer p").first.inner_text()
    with printed(page, panel) as pdf:
        first, last = pdf.pages[0], pdf.pages[-1]
        before, found, _ = last.extract_text().partition(notice)
        assert found
        assert before.strip(), f"sheet {len(pdf.pages)} has nothing but the footer"
        for sheet in {first.page_number: first, last.page_number: last}.values():
            words = sheet.extract_words()
            assert not {word["text"] for word in words} & {"procee", "sto"}, "short words broken"
            assert max(word["x1"] for word in words) <= sheet.width - 30


def test_other_routes_are_numbers_on_paper_and_names_on_the_screen(page: Page) -> None:
    names = page.evaluate("window.bellcrank.data.routes.map(({ name }) => name)")
    page.click("#tab-tables")
    page.wait_for_selector("#command-list table, #command-list p", state="attached")
    rows = page.locator("#control-table tbody tr")
    against = [row.split(", ") for row in rows.locator("td:last-child").all_inner_texts()]
    assert {name for row in against for name in row} <= {*names, "–"}
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    heads = rows.locator("th").all_inner_texts()
    assert heads == [f"{n}. {name}" for n, name in enumerate(names[: len(heads)], 1)]
    numbers = rows.locator("td:last-child").all_inner_texts()
    assert [sorted(named(row, names)) for row in numbers] == [
        sorted(row) if row != ["–"] else [] for row in against
    ]
    # What is not in the table has its number in a list below.
    listed = page.locator("#numbers li").all_inner_texts()
    assert listed == (names if len(names) > len(heads) else [])
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert rows.locator("td:last-child").first.inner_text().split(", ") == against[0]
    assert page.locator("#numbers li").count() == 0


def named(row: str, names: list[str]) -> Iterator[str]:
    """The routes whose numbers are given, those from one to another among them."""
    for part in row.split(", "):
        if part != "–":
            first, _, last = part.partition("–")
            yield from names[int(first) - 1 : int(last or first)]
