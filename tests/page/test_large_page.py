"""The page of a large layout is small and quick, whatever runs the rehearsal."""

from __future__ import annotations

from pathlib import Path

import pytest
from bench.generate import chain, with_routes
from cpu_time import SLOW_HOUR
from opened import opened, quickly
from playwright.sync_api import Browser, Page
from proved_pages import page_as_if_proved

LARGEST = {300: 3_100_000, 500: 2_000_000}
"""Bytes of the file, by the number of routes: in one station each is held against many others."""

LONGEST = 100
"""Milliseconds of CPU time that the page takes from a click to the next picture on the screen, on a
quiet machine."""

CLICK = """async ([selector, index]) => {
  const shown = () => new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
  const node = document.querySelector(selector);
  if (index === null) node.click();
  else {
    node.selectedIndex = index;
    node.dispatchEvent(new Event("change"));
  }
  await shown();
}"""


class Clock:
    """The CPU time of the thread on which a page's script runs and its picture is laid out."""

    def __init__(self, page: Page) -> None:
        self._session = page.context.new_cdp_session(page)
        self._session.send("Performance.enable", {"timeDomain": "threadTicks"})

    def now(self) -> float:
        """In milliseconds."""
        metrics = self._session.send("Performance.getMetrics")["metrics"]
        return 1000 * next(each["value"] for each in metrics if each["name"] == "TaskDuration")


CLICKS = [
    ("#route", 150),
    ("#second", 152),
    ("#tab-rehearsal", None),
    ("#ask-route", 40),
    ("#ask", None),
    ("#happen button", None),
    ("#go-on", None),
    ("#undo", None),
    ("#restart", None),
    ("#sure-yes", None),
    ("#tab-tables", None),
    ("#matrix-rows", 3),
    ("#tab-verdict", None),
]


LAYOUTS = {
    "a line of stations with six tracks each": (300, lambda: with_routes("ladders of six", 300)),
    "a longer line of such stations": (500, lambda: with_routes("ladders of six", 500)),
    "one station of 75 tracks": (300, lambda: chain(1, 75)),
}


@pytest.mark.bench
@pytest.mark.parametrize(
    ("layout", "in_rows"),
    [*((layout, False) for layout in LAYOUTS), *((layout, True) for layout in [*LAYOUTS][:2])],
)
def test_an_answer_is_on_the_screen_at_once(
    browser: Browser, tmp_path: Path, layout: str, in_rows: bool
) -> None:
    routes, text = LAYOUTS[layout]
    content = page_as_if_proved(quickly(text()))
    assert len(content) < LARGEST[routes]
    path = tmp_path / "page.html"
    path.write_bytes(content)
    taken: dict[str, float] = {}
    with opened(browser, path) as page:
        assert page.locator("#route option").count() > routes
        if in_rows:
            page.click("#in-rows")
            assert page.locator("#picture svg.row").count() > 1
        clock = Clock(page)
        # The best of three: what else the machine does must not count.
        for run in ("#runs-alone", "#runs-controlled"):
            page.locator(run).evaluate("radio => radio.click()")
            for _ in range(3):
                for selector, index in CLICKS:
                    before = clock.now()
                    page.evaluate(CLICK, [selector, index])
                    took = clock.now() - before
                    clicked = f"{selector} ({run})"
                    taken[clicked] = min(taken.get(clicked, took), took)
    print(f"{routes} routes, {len(content) // 1000} kB; of CPU time at most", end=" ")
    print(", ".join(f"{took:.0f} ms for {what}" for what, took in _longest(taken)))
    assert max(taken.values()) < LONGEST * SLOW_HOUR, taken


def _longest(taken: dict[str, float]) -> list[tuple[str, float]]:
    """What took longest, first."""
    return sorted(taken.items(), key=lambda each: -each[1])[:4]
