"""A long picture on the page in rows, one under another: all that can be seen and chosen in one
line is there too, once, and what a cut leads through is marked on both of its sides."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from opened import opened, page_of, quickly
from playwright.sync_api import Browser, Page, expect

LINE = 'layout "A long line"\n' + "\n".join(
    [
        *(f"points {side}{n}" for n in range(4) for side in "LR"),
        "run edge WEST - LINE0 - >A0 - L0.toe",
        *(
            f"run L{n}.straight - <W{n} - UP{n} - >E{n} - R{n}.straight\n"
            f"run L{n}.diverging - <V{n} - DOWN{n} - >F{n} - R{n}.diverging"
            for n in range(4)
        ),
        *(f"run R{n}.toe - <B{n} - LINE{n + 1} - >A{n + 1} - L{n + 1}.toe" for n in range(3)),
        "run R3.toe - <B3 - LINE4 - edge EAST",
    ]
)


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("rows") / "page.html"
    path.write_bytes(page_of(quickly(LINE)))
    return path


@pytest.fixture
def page(browser: Browser, path: Path) -> Iterator[Page]:
    with opened(browser, path, width=700, height=1000) as page:
        page.evaluate("localStorage.clear()")
        page.click("#in-rows")
        expect(page.locator("#in-rows")).to_have_attribute("aria-pressed", "true")
        yield page


def rows(page: Page) -> int:
    return page.locator("#picture svg.row").count()


def names(page: Page, kind: str) -> list[str]:
    found = page.locator(f"#picture [role=button][data-{kind}]")
    return sorted(found.evaluate_all(f"nodes => nodes.map((node) => node.dataset.{kind})"))


OUTSIDE = """() => [...document.querySelectorAll("#picture svg.row")].flatMap((row) => {
  const { x, y, width, height } = row.viewBox.baseVal;
  return [...row.querySelectorAll(".signal, text")].filter((node) => {
    const box = node.getBBox();
    return box.x < x || box.x + box.width > x + width
      || box.y < y || box.y + box.height > y + height;
  }).map((node) => node.textContent);
})"""


def test_everything_of_the_line_is_in_rows_that_fit_and_can_be_chosen_once(page: Page) -> None:
    assert rows(page) > 1
    assert page.locator("#picture").evaluate("frame => frame.scrollWidth <= frame.clientWidth")
    in_rows = {kind: names(page, kind) for kind in ("signal", "edge", "element")}
    letters = page.locator("#picture .match text").all_text_contents()
    assert sorted(letters) == sorted(2 * sorted(set(letters))), "each letter has its other end"
    assert page.evaluate(OUTSIDE) == [], "no signal and no name is cut"
    page.click("#in-rows")
    assert rows(page) == 0
    assert in_rows == {kind: names(page, kind) for kind in in_rows}
    assert in_rows["edge"] == ["EAST", "WEST"]


def test_a_route_is_chosen_across_rows_and_marked_on_both_sides_of_a_cut(page: Page) -> None:
    twice = page.locator("#picture .goes-on[data-element]").evaluate_all(
        "nodes => nodes.map((node) => node.dataset.element)"
    )
    assert twice, "a cut leads through something"
    number = page.evaluate(
        "named => bellcrank.data.routes.findIndex("
        "(route) => route.ways.some(([element]) => element === named))",
        twice[0],
    )
    start, end = page.evaluate(
        "number => [bellcrank.data.routes[number].from, bellcrank.data.routes[number].to]", number
    )
    page.locator(f"#picture [data-signal={start}] .post").dispatch_event("click")
    expect(page.locator("#said")).to_contain_text(f"From {start}: choose where the route ends")
    page.locator(f"#picture [data-signal={end}] .post").first.dispatch_event("click")
    expect(page.locator("#route-told h3")).to_have_text(f"{start} to {end}")
    marked = page.locator(f"#picture [data-element={twice[0]}] .way.set")
    expect(marked).to_have_count(2)
    # The same is shown in one line, and again in rows after the page is loaded anew.
    page.click("#in-rows")
    expect(page.locator(f"#picture [data-element={twice[0]}] .way.set")).to_have_count(1)
    page.click("#in-rows")
    page.reload()
    page.wait_for_selector("body[data-ready]")
    assert rows(page) > 1
    expect(marked).to_have_count(2)


def test_trains_bear_their_names_within_their_row(page: Page) -> None:
    page.click("#tab-rehearsal")
    appears = page.get_by_role("combobox", name="Trains appear")
    for name in ("UP0", "UP2", "DOWN3"):
        option = appears.locator("option", has_text=f"stands in {name}").first
        appears.select_option(value=str(option.get_attribute("value")))
        page.locator("#happen .row", has=appears).get_by_role("button").click()
    labels = page.locator("#picture svg.row > .trains text")
    expect(labels).to_have_count(3)
    assert page.evaluate(OUTSIDE) == []
    assert labels.evaluate_all("nodes => new Set(nodes.map((n) => n.closest('svg.row'))).size") > 1


def test_a_narrower_window_has_more_rows_and_a_wider_one_fewer(page: Page) -> None:
    count = "document.querySelectorAll('#picture svg.row').length"
    before = rows(page)
    page.set_viewport_size({"width": 390, "height": 1000})
    page.wait_for_function(f"n => {count} > n", arg=before)
    page.set_viewport_size({"width": 1400, "height": 1000})
    page.wait_for_function(f"n => {count} < n && {count} > 0", arg=before)


def test_what_fits_in_one_line_has_no_rows_to_choose(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(page_of(quickly("run edge WEST - A - >H - B - stop")))
    with opened(browser, path, width=700) as page:
        expect(page.locator("#in-rows")).to_be_hidden()


def test_on_paper_it_is_in_rows_and_afterwards_as_it_was(page: Page) -> None:
    page.click("#in-rows")
    page.select_option("#route", index=1)
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    assert rows(page) > 1
    page.emulate_media(media="print")
    assert all(way.bounding_box() for way in page.locator("#picture .way.set").all())
    assert page.locator("#picture .way.set").count() > 0
    page.emulate_media(media="screen")
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert rows(page) == 0
    assert page.locator("#picture .way.set").count() > 0
