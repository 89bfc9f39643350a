"""The picture beside a text, in a browser."""

from __future__ import annotations

import queue
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from bellcrank.editing.analysis import Analysis, Place, Superseding, analyse
from bellcrank.editing.beside import Beside

YARD = """layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
"""

ROOT = "untitled:yard"

FRAME = Path(__file__).parents[2] / "grammar" / "editors" / "vscode" / "frame.js"


def analysed(text: str) -> Analysis:
    return analyse(ROOT, {ROOT: text}, Superseding())


class Shown:
    """A picture, what was pointed at in it, and the page that shows it."""

    def __init__(self) -> None:
        self.pointed: queue.Queue[str] = queue.Queue()
        self.faults: list[BaseException] = []
        self.beside = Beside(self._pointed, self.faults.append)

    def _pointed(self, root: Place, name: str) -> None:
        assert root == ROOT
        self.pointed.put(name)


@pytest.fixture
def shown() -> Iterator[Shown]:
    made = Shown()
    yield made
    made.beside.stop()
    assert made.faults == []


@pytest.fixture
def page(browser: Browser, shown: Shown) -> Iterator[Page]:
    page = browser.new_page(viewport={"width": 700, "height": 500})
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.goto(shown.beside.address(analysed(YARD)))
    yield page
    page.close()
    assert errors == []


def test_it_follows_text_and_cursor_and_leads_to_what_is_pointed_at(
    shown: Shown, page: Page
) -> None:
    points = page.locator("g[data-element=P]")
    expect(points).to_be_visible()
    shown.beside.mark(ROOT, ("S",))
    expect(page.locator("g[data-signal=S].here")).to_be_visible()
    expect(page.locator("#named")).to_have_text("S")
    shown.beside.mark(ROOT, ("P",))
    expect(page.locator("g[data-element=P].here")).to_be_visible()
    expect(page.locator("g[data-signal=S].here")).to_have_count(0)
    page.locator("g[data-signal=W]").dispatch_event("click")
    assert shown.pointed.get(timeout=10) == "W"
    page.locator("g[data-edge=WEST]").focus()
    page.keyboard.press("Enter")
    assert shown.pointed.get(timeout=10) == "WEST"
    shown.beside.settled(analysed(YARD.replace("- B -", "- BAY -")))
    expect(page.locator("g[data-element=BAY]")).to_have_count(1)
    shown.beside.settled(analysed(YARD.replace("- B -", "B -")))
    expect(page.get_by_role("status")).to_contain_text("of the text before")
    expect(page.locator("g[data-element=BAY]")).to_have_count(1)


def test_the_pane_of_the_extension_shows_it(shown: Shown, browser: Browser) -> None:
    node = shutil.which("node")
    if node is None:
        pytest.skip("there is no Node.js on this machine")
    script = "console.log(require(process.argv[1]).frameOf(...process.argv.slice(2)))"
    address = shown.beside.address(analysed(YARD))
    words = [node, "-e", script, str(FRAME), address, 'Picture of "yard" & more']
    pane = subprocess.run(words, capture_output=True, check=True, text=True).stdout
    page = browser.new_page()
    page.set_content(pane)
    assert page.title() == 'Picture of "yard" & more'
    expect(page.frame_locator("iframe").locator("g[data-element=P]")).to_have_count(1)
    page.set_content(pane.replace("frame-src http", "frame-src https"))
    expect(page.frame_locator("iframe").locator("g[data-element=P]")).to_have_count(0)
    page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(shown: Shown, page: Page, axe: str, scheme: str) -> None:
    page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    shown.beside.mark(ROOT, ("P",))
    expect(page.locator("g[data-element=P].here")).to_be_visible()
    page.evaluate(axe)
    found = page.evaluate("() => axe.run(document)")
    assert [(v["id"], [n["target"] for n in v["nodes"]]) for v in found["violations"]] == []
