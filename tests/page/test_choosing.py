"""What can be chosen in the picture of a page, found by its name, and brought into view."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from bench.generate import with_routes
from opened import opened, page_of, quickly
from playwright.sync_api import Browser, Page, expect

Built = Callable[[str], Path]


def at(page: Page, selector: str) -> tuple[float, float]:
    """Where on the screen the middle of a line is."""
    x, y = page.locator(selector).first.evaluate(
        """line => {
          const { x, y } = line.getPointAtLength(line.getTotalLength() / 2);
          const shown = new DOMPoint(x, y).matrixTransform(line.getScreenCTM());
          return [shown.x, shown.y];
        }"""
    )
    return x, y


def choose(page: Page, selector: str, aside: float = 0) -> None:
    x, y = at(page, selector)
    page.mouse.click(x, y + aside)


def said(page: Page) -> str:
    return page.locator("#said").inner_text()


def test_a_route_is_chosen_by_the_signal_where_it_begins_and_where_it_ends(
    browser: Browser, built: Built
) -> None:
    with opened(browser, built("harbour-terminus")) as page:
        choose(page, "[data-signal=W1] .post")
        assert said(page) == "From W1: choose where the route ends: T1, T2 or G1."
        ends = page.locator("#picture .way.ends")
        assert {end.evaluate("way => way.parentNode.dataset.element") for end in ends.all()} == {
            "T1", "T2", "G",
        }  # fmt: skip
        choose(page, "[data-element=T2] .way")
        assert page.locator("#route-told h3").inner_text() == "W1 to T2"
        assert ends.count() == 0
        # At an edge, from the track before a signal.
        choose(page, "[data-element=G] .way")
        assert said(page).startswith("Routes begin there at G2 and at G1:")
        choose(page, "[data-element=T1] .way")
        assert said(page) == "From D1: choose where the route ends: WEST, G2 or YARD."
        choose(page, "[data-edge=WEST] .lead")
        assert page.locator("#route-told h3").inner_text() == "D1 to WEST"


def test_the_same_signal_again_is_chosen_no_more_and_nowhere_leads_nowhere(
    browser: Browser, built: Built
) -> None:
    with opened(browser, built("harbour-terminus")) as page:
        choose(page, "[data-signal=W1] .post")
        choose(page, "[data-edge=YARD] .lead")
        assert said(page) == "No route leads from W1 to YARD, and none begins there."
        assert page.locator("#picture .signal.chosen").count() == 1
        choose(page, "[data-signal=W1] .post")
        assert said(page) == "Choose where a route begins."
        assert page.locator("#picture .chosen").count() == 0


def test_names_are_chosen_as_well_and_a_finger_may_miss_by_half_its_width(
    browser: Browser, built: Built
) -> None:
    with opened(browser, built("harbour-terminus"), width=390) as page:
        page.locator("#picture text.name.signal[data-of=W1]").click(position={"x": 1, "y": 5})
        assert said(page) == "From W1: choose where the route ends: T1, T2 or G1."
        page.locator("[data-element=T2] .way").evaluate(
            "way => way.scrollIntoView({ inline: 'center' })"
        )
        choose(page, "[data-element=T2] .way", aside=-11)
        assert page.locator("#route-told h3").inner_text() == "W1 to T2"


def test_by_keyboard_arrows_lead_to_what_lies_beside_and_escape_gives_up(
    browser: Browser, built: Built
) -> None:
    with opened(browser, built("harbour-terminus")) as page:
        reached = "document.activeElement.dataset"
        while not page.evaluate(f"'signal' in {reached}"):
            page.keyboard.press("Tab")
        page.keyboard.press("Home")
        assert page.evaluate(f"{reached}.edge") == "WEST"
        page.keyboard.press("End")
        assert page.evaluate(f"{reached}.element") == "T1"
        page.keyboard.press("Home")
        page.keyboard.press("ArrowRight")
        assert page.evaluate(f"{reached}.element") == "A"
        page.keyboard.press("ArrowRight")
        assert page.evaluate(f"{reached}.signal") == "W1"
        page.keyboard.press("Enter")
        assert said(page) == "From W1: choose where the route ends: T1, T2 or G1."
        page.keyboard.press("Escape")
        assert page.locator("#picture .chosen").count() == 0
        page.keyboard.press("Space")
        page.keyboard.press("End")
        page.keyboard.press("Enter")
        assert page.locator("#route-told h3").inner_text() == "W1 to T1"
        # One of them is reached by Tab, so that nobody has to pass them all.
        assert page.locator("#picture [role=button][tabindex='0']").count() == 1


def test_in_a_rehearsal_a_route_is_asked_for_by_its_ends(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus")) as page:
        page.click("#tab-rehearsal")
        choose(page, "[data-signal=W1] .post")
        choose(page, "[data-element=T2] .way")
        expect(page.locator("#set-routes")).to_contain_text("W1 to T2")
        choose(page, "[data-signal=D1] .post")
        choose(page, "[data-edge=WEST] .lead")
        expect(page.locator("#log")).to_contain_text("D1 to WEST is refused")


def test_of_several_ways_there_one_is_shown_and_the_others_are_named(
    browser: Browser, built: Built
) -> None:
    with opened(browser, built("four-track-station")) as page:
        choose(page, "[data-signal=H1] .post")
        choose(page, "[data-element=T3] .way")
        told = page.locator("#route-told")
        assert told.locator("h3").inner_text() == "H1 to T3 via PC"
        told.get_by_role("button", name="H1 to T3 via X").first.click()
        assert told.locator("h3").inner_text() == "H1 to T3 via X"


@pytest.mark.parametrize(
    ("typed", "kinds", "first"),
    [
        ("w1", {"route", "signal"}, "signal W1"),
        ("drive p1", {"drive"}, "drive P1"),
        ("x9", set(), None),
        ("to t1", {"route"}, "route W1 to T1"),
        ("neck", {"section"}, "section NECK"),
    ],
)
def test_a_few_letters_find_routes_signals_drives_and_sections(
    browser: Browser, built: Built, typed: str, kinds: set[str], first: str | None
) -> None:
    with opened(browser, built("harbour-terminus")) as page:
        page.fill("#find", typed)
        rows = page.locator("#found li").all_inner_texts()
        assert {row.split()[0] for row in rows} == kinds
        assert (rows[0] if rows else None) == first


def test_what_is_found_is_shown_and_comes_into_view(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(page_of(quickly(with_routes("passing loops", 60))))
    with opened(browser, path, width=700) as page:
        signals = page.locator("#picture [data-signal]")
        last = str(signals.last.get_attribute("data-signal"))
        page.fill("#find", f"signal {last}")
        page.keyboard.press("Enter")
        assert said(page) == f"Here is signal {last}."
        shown = page.locator(f"#picture [data-signal='{last}']")
        assert "sought" in str(shown.get_attribute("class"))
        box, frame = shown.bounding_box(), page.locator("#picture").bounding_box()
        assert box and frame
        assert frame["x"] <= box["x"] and box["x"] + box["width"] <= frame["x"] + frame["width"]
        # A route is opened.
        name = page.locator("#route option").last.inner_text()
        page.fill("#find", name)
        page.keyboard.press("Enter")
        assert page.locator("#route-told h3").inner_text() == name


DRAWN_ANEW = """() => {
  const drawn = new MutationObserver(() => {});
  drawn.observe(document.querySelector(".overview .part"), { attributeFilter: ["width"] });
  document.getElementById("closer").click();
  return drawn.takeRecords().length;
}"""


def scrolled(page: Page) -> tuple[float, float]:
    left, top = page.locator("#picture").evaluate("({ scrollLeft: x, scrollTop: y }) => [x, y]")
    return left, top


def test_the_whole_picture_fits_both_ways_and_grows_about_the_pointer(
    browser: Browser, tmp_path: Path
) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(page_of(quickly(with_routes("passing loops", 60))))
    with opened(browser, path, width=700) as page:
        overview = page.locator(".overview")
        expect(overview).to_be_visible()
        page.click("#whole")
        assert page.locator("#picture").evaluate(
            "f => f.scrollWidth <= f.clientWidth && f.scrollHeight <= f.clientHeight"
        )
        expect(overview).to_be_hidden()
        middle = "#picture [data-signal] .post >> nth=9"
        before = at(page, middle)
        page.mouse.move(*before)
        page.keyboard.down("Control")
        for _ in range(5):
            page.mouse.wheel(0, -50)
        page.keyboard.up("Control")
        page.wait_for_function("document.querySelector('.overview').style.display === ''")
        now = at(page, middle)
        assert abs(now[0] - before[0]) < 6
        # Without the key it scrolls and keeps its size.
        wide = page.locator("#picture svg").get_attribute("width")
        page.mouse.wheel(0, 40)
        assert page.locator("#picture svg").get_attribute("width") == wide


def test_it_is_dragged_and_what_it_was_dragged_by_is_not_chosen(
    browser: Browser, tmp_path: Path
) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(page_of(quickly(with_routes("passing loops", 60))))
    with opened(browser, path, width=700) as page:
        x, y = at(page, "#picture [data-signal] .post >> nth=2")
        page.mouse.move(x, y)
        page.mouse.down()
        page.mouse.move(x - 60, y)
        page.mouse.move(x - 120, y)
        page.mouse.up()
        assert scrolled(page)[0] == pytest.approx(120, abs=1)
        assert page.locator("#picture .chosen").count() == 0
        page.mouse.click(x - 120, y)
        assert page.locator("#picture .chosen").count() == 1
        assert page.evaluate(DRAWN_ANEW) == 1, "the overview is drawn anew once for a step of zoom"
        # In the overview another part is chosen.
        box = page.locator(".overview").bounding_box()
        assert box
        page.mouse.click(box["x"] + box["width"] - 5, box["y"] + box["height"] / 2)
        assert scrolled(page)[0] > 500


def test_the_address_leads_to_what_was_shown(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus-forgetful")) as page:
        page.select_option("#route", label="W1 to T1")
        assert page.evaluate("location.hash") == "#route=W1+to+T1"
        page.select_option("#second", label="G1 to T2")
        pair = page.evaluate("location.hash")
        page.click("#tab-stories")
        page.click("#story-next")
        step = page.evaluate("location.hash")
        assert step == "#story=1&step=1"
        told = page.locator("#said").inner_text()
        page.goto("about:blank")
        page.goto(f"{built('harbour-terminus-forgetful').as_uri()}{pair}")
        assert page.locator("#conflict-told h3").inner_text() == "W1 to T1 and G1 to T2"
        # An address that is typed into the page that is open.
        page.evaluate("hash => { location.hash = hash; }", step)
        expect(page.locator("#said")).to_have_text(told)
        page.evaluate("location.hash = '#route=W1+to+X&with=G1+to+T2'")
        expect(page.locator("#said")).to_have_text("There is no route W1 to X here.")
        page.evaluate("location.hash = '#nothing=1'")
        expect(page.locator("#said")).to_have_text(
            "The address names nothing that this page shows."
        )
        page.evaluate("location.hash = '#panel=tables'")
        expect(page.locator("#control-table")).to_be_visible()


def test_a_story_plays_by_itself_and_halts(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus-forgetful")) as page:
        page.click("#tab-stories")
        page.click("#story-play")
        expect(page.locator("#story-count")).to_contain_text("step 2 of")
        page.click("#story-play")
        expect(page.locator("#story-play")).to_have_text("Play")
        page.click("#story-end")
        expect(page.locator("#story-next")).to_be_disabled()
        page.click("#story-play")  # from the beginning
        expect(page.locator("#story-count")).to_contain_text("step 0 of")
        page.click("#tab-routes")
        expect(page.locator("#story-play")).to_have_text("Play")


def test_a_step_is_chosen_by_its_mark_and_both_sides_are_told(
    browser: Browser, built: Built
) -> None:
    with opened(browser, built("harbour-terminus-forgetful")) as page:
        page.click("#tab-stories")
        marks = page.get_by_role("group", name="Steps, by who does something")
        assert marks.get_by_role("button").count() == page.locator("#steps li").count()
        expect(page.locator("#so-of-railway")).to_have_text("all is at rest")
        marks.get_by_role("button", name="Step 5: a train comes in from WEST to A").click()
        expect(page.locator("#story-count")).to_contain_text("step 5 of")
        # What the step has changed stands out from what was so before it.
        assert page.locator("#so-of-railway strong").all_inner_texts()[0] == "a train is in A"
        told = page.locator("#so-of-locking li").all_inner_texts()
        assert {"W1 to T1 is set", "NECK is held for G1 to T2"} < set(told)
        assert page.locator("#so-of-locking strong").count() == 0
        # The railway's steps stand above, those of operator and interlocking below.
        above, below = (
            {int(mark) for mark in page.locator(f"#marks button.{side}").all_inner_texts()}
            for side in ("railway", "locking")
        )
        assert {1, 2, 3, 4} <= below
        assert 5 in above
        page.keyboard.press("ArrowRight")
        expect(page.locator("#story-count")).to_contain_text("step 6 of")
        expect(marks.locator(":focus")).to_have_text("6")
