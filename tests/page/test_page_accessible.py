"""The page for those who cannot see it well, or cannot use a mouse: checked by axe-core in every
panel, and with everything open that can be opened."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from in_campaigns import in_campaigns
from opened import opened
from playwright.sync_api import Browser, Page, expect

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def a_conflict(page: Page) -> None:
    page.select_option("#route", index=1)
    page.select_option("#second", index=5)
    expect(page.locator("#conflict-told")).to_contain_text("Not together")


def where_a_route_may_end(page: Page) -> None:
    page.locator("[data-signal=W1] .post").first.dispatch_event("click")
    expect(page.locator("#said")).to_contain_text("choose where the route ends")


def what_is_found(page: Page) -> None:
    page.fill("#find", "t")
    page.press("#find", "ArrowDown")
    expect(page.locator("#found")).to_be_visible()


def the_symbols(page: Page) -> None:
    page.click("#symbols summary")
    expect(page.locator("#symbols-shown")).to_be_visible()


def a_refusal(page: Page) -> None:
    page.click("#tab-rehearsal")
    page.click("#ask")
    page.click("#ask")


def a_train(page: Page) -> None:
    page.click("#tab-rehearsal")
    page.locator("#happen").get_by_role("button").first.click()
    expect(page.locator("#happen .rename")).to_be_visible()


def a_name_that_is_wrong(page: Page) -> None:
    a_train(page)
    page.click("#happen .rename")
    page.fill("#text-given", "")
    page.press("#text-given", "Enter")
    expect(page.locator("#text")).to_be_visible()


def a_question(page: Page) -> None:
    a_train(page)
    page.click("#restart")
    expect(page.locator("#sure")).to_be_visible()


def the_end_of_a_story(page: Page) -> None:
    page.click("#tab-stories")
    page.click("#story-end")


def the_tables(page: Page) -> None:
    page.click("#tab-tables")
    expect(page.locator("#command-list table")).to_be_visible()


def the_verdict(page: Page) -> None:
    page.click("#tab-verdict")


SHOWN = (
    (a_conflict, "html"),
    (where_a_route_may_end, "#plan"),
    (what_is_found, "#plan"),
    (the_symbols, "#plan"),
    (a_refusal, "#rehearsal"),
    (a_train, "#rehearsal"),
    (a_name_that_is_wrong, "#text"),
    (a_question, "#sure"),
    (the_end_of_a_story, "#stories"),
    (the_tables, "#tables"),
    (the_verdict, "#verdict"),
)
"""With the part of the page that is looked at then: all of it once."""

WIDE, NARROW = (1280, False), (390, True)
IN_THE_SUITE = (a_conflict, a_name_that_is_wrong, a_question)


@pytest.mark.parametrize(
    "case",
    in_campaigns(
        [(shown, part, size) for shown, part in SHOWN for size in (WIDE, NARROW)],
        lambda case: case[0] not in IN_THE_SUITE or case[2] != WIDE,
    ),
    ids=lambda case: f"{case[0].__name__.replace('_', ' ')}, {case[2][0]} pixels wide",
)
def test_axe_finds_nothing_wrong(
    browser: Browser,
    built: Callable[[str], Path],
    axe: str,
    case: tuple[Callable[[Page], None], str, tuple[int, bool]],
) -> None:
    shown, part, (width, dark) = case
    with opened(browser, built("harbour-terminus-forgetful"), dark=dark, width=width) as page:
        shown(page)
        page.evaluate(axe)
        found = page.evaluate(
            "([part, tags]) => axe.run(part, { runOnly: tags, resultTypes: ['violations'] })",
            [part, RULES],
        )
    violations = [(v["id"], [node["target"] for node in v["nodes"]]) for v in found["violations"]]
    assert violations == []
    assert len(found["passes"]) > 5, "axe looked at something"
