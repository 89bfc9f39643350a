"""A whole session at the page, by touch on a phone and by keyboard alone: a route is chosen by its
ends and rehearsed, a story is played, the session is saved. What a screen reader is told of the
page is looked at on the way."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from opened import opened
from playwright.sync_api import Browser, Page, expect

Built = Callable[[str], Path]

EXAMPLE = "harbour-terminus-forgetful"

WORKED = ("button", "checkbox", "combobox", "link", "radio", "searchbox", "tab", "textbox")

NAME = """() => {
  const { activeElement: of } = document;
  return of.getAttribute("aria-label") ?? (of.querySelector("title") ?? of).textContent;
}"""

COVERED = """() => {
  const of = document.activeElement;
  if (of === document.body) return false;
  const { left, top, width, height } = of.getBoundingClientRect();
  const seen = document.elementFromPoint(left + width / 2, top + Math.min(height / 2, 12));
  return !seen || !of.contains(seen) && seen.closest("[id]") !== of.closest("[id]");
}"""


def nameless(page: Page) -> list[str]:
    """What can be worked and has no name in the tree that a screen reader gets."""
    session = page.context.new_cdp_session(page)
    nodes = session.send("Accessibility.getFullAXTree")["nodes"]
    session.detach()
    found = [node for node in nodes if not node["ignored"] and node["role"]["value"] in WORKED]
    assert len(found) > 20
    return [str(node) for node in found if not node.get("name", {}).get("value")]


def hears(page: Page, tree: str) -> None:
    """The tree has this in it, and nothing that can be worked is without a name."""
    expect(page.locator("body")).to_match_aria_snapshot(tree)
    assert nameless(page) == []


def describes(page: Page, name: str) -> str:
    """What is said besides its name of something in the picture."""
    return str(page.get_by_role("button", name=name, exact=True).get_attribute("aria-description"))


CHOOSING = """
- region "Track picture":
  - group "Track picture; what it shows is told below it":
    - group /Saltmarsh Quay/:
      - button "track T1"
      - button "track T2"
      - button "edge WEST"
      - button "signal W1" [pressed]
      - button "signal D2"
  - status: "From W1: choose where the route ends: T1, T2 or G1."
"""

CHOSEN = """
- main:
  - tablist "Panels":
    - tab "Routes" [selected]
  - tabpanel "Routes":
    - heading "W1 to T2" [level=3]
    - term: From – to
    - definition: signal W1 to the stop in T2
"""

ASKED = """
- region "Track picture":
  - status: The operator asks for W1 to T2; in the end W1 clears for W1 to T2.
- main:
  - tablist "Panels":
    - tab "Rehearsal" [selected]
  - tabpanel "Rehearsal":
    - button "Undo"
    - button "Save"
    - list:
      - listitem:
        - button "Cancel W1 to T2"
    - list "What has happened":
      - listitem: The operator asks for W1 to T2.
"""

ENDED = """
- main:
  - tablist "Panels":
    - tab "Stories" [selected]
  - tabpanel "Stories":
    - button "Next step" [disabled]
    - paragraph: /So two trains meet in NECK\\./
"""


@pytest.fixture
def phone(browser: Browser, built: Built) -> Iterator[Page]:
    with opened(browser, built(EXAMPLE), width=390, height=844, touch=True) as page:
        yield page


@pytest.fixture
def page(browser: Browser, built: Built) -> Iterator[Page]:
    with opened(browser, built(EXAMPLE)) as page:
        yield page


def script(path: str) -> list[str]:
    return [
        line for line in Path(path).read_text("utf-8").splitlines() if line[:1] not in ("", "#")
    ]


def test_by_touch_at_the_width_of_a_phone(phone: Page) -> None:
    page = phone

    def tap(selector: str) -> None:
        """Where a line is on the screen, without bringing it there."""
        x, y = page.locator(selector).first.evaluate(
            """line => {
              const { x, y } = line.getPointAtLength(line.getTotalLength() / 2);
              const shown = new DOMPoint(x, y).matrixTransform(line.getScreenCTM());
              return [shown.x, shown.y];
            }"""
        )
        assert 0 < x < 390 and 0 < y < 844
        page.touchscreen.tap(x, y)

    tap("[data-signal=W1] .post")
    hears(page, CHOOSING)
    assert describes(page, "track T2") == "a route from W1 ends here"
    tap("[data-element=T2] .way")
    hears(page, CHOSEN)
    assert page.locator("#picture [role=button][aria-description]").count() == 0
    page.get_by_role("tab", name="Rehearsal").tap()
    tap("[data-signal=W1] .post")
    tap("[data-element=T2] .way")
    hears(page, ASKED)
    # A phone has room for a list of what may happen, not for a button each.
    appears = page.get_by_role("combobox", name="Trains appear")
    appears.select_option(label="A train comes in from WEST to A")
    page.locator("#happen .row", has=appears).get_by_role("button", name="Let it happen").tap()
    page.get_by_role("button", name="Let all go on").tap()
    expect(page.get_by_role("status")).to_contain_text("T2")
    with page.expect_download() as download:
        page.get_by_role("button", name="Save").tap()
    assert script(download.value.path())[0] == "request W1 to T2"
    page.get_by_role("tab", name="Stories").tap()
    page.get_by_role("button", name="Play").tap()
    expect(page.get_by_role("button", name="Halt")).to_be_visible()
    page.get_by_role("button", name="Halt").tap()
    page.get_by_role("button", name="To the end").tap()
    hears(page, ENDED)
    # Nothing is wider than the screen.
    assert page.evaluate("document.documentElement.scrollWidth") == 390


def test_by_keyboard_alone(page: Page) -> None:
    def press(*keys: str) -> None:
        for key in keys:
            page.keyboard.press(key)

    def reads() -> str:
        return str(page.evaluate(NAME))

    def go_to(name: str, key: str = "Tab") -> None:
        """By one key, until what has this name has the keyboard; nothing on the way is hidden."""
        for _ in range(60):
            press(key)
            assert not page.evaluate(COVERED), f"{reads()} is covered"
            if reads() == name:
                return
        raise AssertionError(f"{name} is not reached")

    go_to("Track picture; what it shows is told below it")
    press("Tab", "Enter")
    hears(page, CHOOSING)
    press("End")
    go_to("track T2", "PageUp")
    press("Enter")
    hears(page, CHOSEN)
    go_to("Routes")
    press("ArrowRight")
    assert reads() == "Rehearsal"
    press("Shift+Tab", "Home")
    go_to("signal W1", "ArrowRight")
    press("Enter")
    go_to("track T2", "PageDown")
    press("Space")
    hears(page, ASKED)
    go_to("A train comes in from WEST to A")
    press("Enter")
    go_to("Let all go on", "Shift+Tab")
    press("Enter")
    expect(page.get_by_role("status")).to_contain_text("T2")
    go_to("Save")
    with page.expect_download() as download:
        press("Enter")
    assert script(download.value.path())[0] == "request W1 to T2"
    go_to("Undo", "Shift+Tab")
    while page.locator("#undo").is_enabled():
        press("Enter")
    assert reads() == "What may happen now"  # the button has nothing to do any more
    go_to("Rehearsal", "Shift+Tab")
    press("ArrowRight")
    go_to("Next step")
    while page.locator("#story-next").is_enabled():
        press("Enter")
    assert reads() == "Back"
    hears(page, ENDED)
