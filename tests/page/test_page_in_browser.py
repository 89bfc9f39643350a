"""What somebody does with the page, in Debian's chromium."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from opened import begin_again, opened, page_of, quickly
from playwright.sync_api import Browser, Page, expect
from sound_layouts import undecided

Built = Callable[[str], Path]


def choose(page: Page, select: str, route: str) -> None:
    page.locator(select).select_option(label=route)


def let(page: Page, text: str) -> None:
    """Let something happen that the page offers."""
    page.locator("#happen").get_by_role("button", name=text, exact=True).click()


def ways(page: Page, mark: str) -> set[str]:
    """The ways in the picture that carry a mark."""
    return set(
        page.eval_on_selector_all(
            f"#picture path.way.{mark}",
            "all => all.map((way) =>"
            " `${way.parentNode.dataset.element} ${way.dataset.from} ${way.dataset.to}`)",
        )
    )


def test_a_route_that_is_chosen_is_told_and_shown(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus")) as page:
        choose(page, "#route", "W1 to T1")
        told = page.locator("#route-told")
        expect(told).to_contain_text("P1, NECK, T1")
        expect(told).to_contain_text("P1 straight, S1 straight")
        shown = {" ".join([w.split()[0], *sorted(w.split()[1:])]) for w in ways(page, "set")}
        assert shown == {"P1 straight toe", "S1 a1 a2", "T1 left right"}
        assert page.locator('[data-signal="W1"]').get_attribute("class").split().count("off") == 1


def test_overlap_and_flank_are_told_and_shown(browser: Browser, built: Built) -> None:
    with opened(browser, built("four-track-station")) as page:
        choose(page, "#route", "H0 to H1")
        expect(page.locator("#route-told")).to_contain_text("PA")
        assert page.locator("#picture .element.overlap").count() == 1
        choose(page, "#route", "H1 to T3 via PC")
        expect(page.locator("#route-told dd").nth(5)).not_to_have_text("none")
        assert page.locator("#picture .element.flank").count() >= 1


def test_two_routes_that_conflict_meet_in_words_and_picture(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus")) as page:
        choose(page, "#route", "W1 to T1")
        choose(page, "#second", "G1 to T2")
        reasons = page.locator("#conflict-told li").all_text_contents()
        assert reasons == [
            "They cross in S1 (double slip with one drive), which lies straight for both."
        ]
        assert {w.split()[0] for w in ways(page, "meets")} == {"S1"}
        choose(page, "#second", "W1 to T1")
        assert ways(page, "meets") == set()


def test_a_conflicting_route_is_refused_with_the_reason(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus")) as page:
        page.click("#tab-rehearsal")
        choose(page, "#ask-route", "W1 to T1")
        page.click("#ask")
        choose(page, "#ask-route", "G1 to T2")
        page.click("#ask")
        said = page.locator("#said")
        expect(said).to_contain_text("G1 to T2 is refused")
        expect(said).to_contain_text("NECK is held for W1 to T1")
        expect(said).to_contain_text("G1 to T2 and W1 to T1 conflict: they cross in S1")
        page.click("#undo")
        page.click("#ask")
        expect(said).to_contain_text("G1 clears for G1 to T2")


def test_a_train_makes_its_journey_to_the_end(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus")) as page:
        page.click("#tab-rehearsal")
        choose(page, "#ask-route", "W1 to G1")
        page.click("#ask")
        expect(page.locator("#log")).to_contain_text("P1 comes to lie diverging")
        let(page, "A train comes in from WEST to A")
        assert {w.split()[0] for w in ways(page, "train")} == {"A"}
        let(page, "A train passes W1 and enters P1 with P1 diverging")
        let(page, "The train in P1 enters G")
        expect(page.locator("#none-set")).to_be_visible()
        assert {w.split()[0] for w in ways(page, "train")} == {"G"}
        standing = page.locator("#standing").inner_text()
        assert "a train is in G" in standing and "all at stop" in standing


def test_drives_signals_and_times_one_by_one(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus")) as page:
        page.click("#tab-rehearsal")
        page.uncheck("#by-itself")
        choose(page, "#ask-route", "W1 to G1")
        page.click("#ask")
        assert (
            page.locator('#picture .drive.moving, #picture [data-drive="P1"].moving').count() <= 1
        )
        expect(page.locator("#standing")).to_contain_text("P1 is on its way to diverging")
        let(page, "P1 comes to lie diverging")
        let(page, "W1 clears for W1 to G1")
        page.get_by_role("button", name="Cancel W1 to G1").click()
        expect(page.locator("#set-routes")).to_contain_text("W1 to G1 is being cancelled")
        page.click("#time")
        expect(page.locator("#none-set")).to_be_visible()
        begin_again(page)
        assert page.locator("#log li").count() == 0


def test_a_story_is_told_to_the_collision(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus-forgetful")) as page:
        page.click("#tab-stories")
        expect(page.locator("#story-choice")).to_contain_text("two trains meet in NECK")
        steps = page.locator("#steps li").count() - 1
        for _ in range(steps):
            expect(page.locator("#ending")).to_be_hidden()
            assert page.locator("#picture .element.meets").count() == 0
            page.click("#story-next")
        expect(page.locator("#ending")).to_have_text("So two trains meet in NECK.")
        met = page.eval_on_selector_all(
            "#picture .element.meets", "all => all.map(e => e.dataset.section)"
        )
        assert set(met) == {"NECK"}
        page.click("#story-back")
        page.click("#story-over")
        let(page, "The train in P1 runs into NECK (P3, S1), where another train stands")
        expect(page.locator("#accident")).to_have_text("Accident: Two trains meet in NECK.")


LOOKS = """() => [...document.querySelectorAll("#picture svg *")].map((node) => {
  const { stroke, strokeWidth, strokeDasharray, fill, opacity, display } = getComputedStyle(node);
  return [stroke, strokeWidth, strokeDasharray, fill, opacity, display].join(" ");
})"""


def test_every_step_of_every_story_is_seen_in_the_picture(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus-forgetful")) as page:
        page.click("#tab-stories")
        stories = page.locator("#story-choice option").count()
        assert stories > 1
        for story in range(stories):
            page.locator("#story-choice").select_option(index=story)
            looked = [page.evaluate(LOOKS)]
            while page.locator("#story-next").is_enabled():
                page.click("#story-next")
                looked.append(page.evaluate(LOOKS))
                assert looked[-1] != looked[-2], page.locator("#said").text_content()
            while page.locator("#story-back").is_enabled():
                page.click("#story-back")
                # The way back leads past the same pictures; what is drawn over what may differ.
                looked.pop()
                assert sorted(page.evaluate(LOOKS)) == sorted(looked[-1])


def test_the_tables_lead_back_to_the_reason(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus")) as page:
        page.click("#tab-tables")
        assert page.locator("#control-table tbody tr").count() == 14
        expect(page.locator("#matrix tbody tr")).to_have_count(14)
        expect(page.locator("#command-list tbody tr").nth(3)).to_be_visible()
        page.get_by_role("button", name="X: W1 to T1 and G1 to T2, crossing").click()
        expect(page.locator("#conflict-told")).to_contain_text("They cross in S1")
        expect(page.locator("#conflict-told")).to_be_focused()


TWO_LAMPS = """\
layout "Two lamps"
run edge WEST - A - >H - B - edge EAST
decoder kind quad { outputs 4 }
decoder K quad at 5
signal H shows stop at K.1 red, caution at K.1 green and K.2 red, clear at K.1 green
route H to EAST shows caution
"""


def test_the_list_of_commands_has_every_lamp_of_an_aspect(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(page_of(undecided(TWO_LAMPS)))
    with opened(browser, path) as page:
        page.click("#tab-tables")
        row = page.locator("#command-list tbody tr", has_text="caution")
        expect(row).to_contain_text("K.2")
        expect(row).to_contain_text("also K.1, 5 green")


def test_the_verdict_tells_what_is_taken_for_granted(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus-forgetful")) as page:
        expect(page.locator("header .status")).to_contain_text("UNPROVED")
        page.click("#tab-verdict")
        verdict = page.locator("#verdict")
        expect(verdict).to_contain_text("W1 to T1 locks G1 to T2")
        expect(verdict).to_contain_text("signals obeyed")
        expect(page.locator("footer")).to_contain_text("Not certified for trains that carry people")


def test_everything_can_be_done_by_keyboard(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus")) as page:
        press = page.keyboard.press
        press("Tab")
        expect(page.locator(".skip")).to_be_focused()
        press("Enter")
        press("Tab")
        expect(page.locator("#tab-routes")).to_be_focused()
        press("Tab")
        expect(page.locator("#route")).to_be_focused()
        press("ArrowDown")
        expect(page.locator("#route-told")).to_contain_text("W1 to T1")
        press("Shift+Tab")
        press("ArrowRight")
        expect(page.locator("#tab-rehearsal")).to_be_focused()
        press("Tab")
        press("Tab")
        expect(page.locator("#ask")).to_be_focused()
        press("Enter")
        expect(page.locator("#said")).to_contain_text("W1 clears for W1 to T1")
        # On to what may happen; the focus stays there while buttons come and go.
        for _ in range(30):
            if page.evaluate("document.getElementById('happen').contains(document.activeElement)"):
                break
            press("Tab")
        for _ in range(12):
            button = page.evaluate("document.activeElement.textContent")
            if "turns back" in button or "stands in" in button:
                break
            press("Enter")
            assert page.evaluate(
                "document.getElementById('happen').contains(document.activeElement)"
            )
        expect(page.locator("#standing")).to_contain_text("a train is in T1")
        focused = "getComputedStyle(document.activeElement).outlineStyle"
        assert page.evaluate(focused) == "solid", "what has the focus can be seen"


def lit(page: Page, signal: str) -> list[str]:
    """The aspects that light each head of a signal that is lit."""
    return page.eval_on_selector_all(
        f'#picture [data-signal="{signal}"] .lamp.lit',
        "all => all.map((lamp) => lamp.dataset.lights)",
    )


def test_a_signal_lights_the_head_of_its_aspect_and_no_other(
    browser: Browser, built: Built
) -> None:
    with opened(browser, built("four-track-station")) as page:
        assert page.locator("#picture .lamp.lit").count() == 0
        for route, aspect in (("H1 to T1", "clear"), ("SLOW", "caution"), ("CALL", "call")):
            choose(page, "#route", route)
            assert lit(page, "H1") == [aspect]
        # Beside a second route from the same signal it goes on showing the first one's.
        choose(page, "#second", "SLOW")
        assert lit(page, "H1") == ["call"]
        title = page.locator('#picture [data-signal="H1"] title')
        page.click("#tab-rehearsal")
        assert page.locator("#picture .lamp.lit").count() == 0
        choose(page, "#ask-route", "SLOW")
        page.click("#ask")
        assert lit(page, "H1") == ["caution"]
        expect(page.locator('#picture [data-signal="H1"] title')).to_have_text(
            "signal H1 shows caution"
        )
        expect(page.locator("#standing")).to_contain_text("H1 is off for SLOW, showing caution")
        begin_again(page)
        assert page.locator("#picture .lamp.lit").count() == 0
        expect(title).to_have_text("signal H1")


def test_names_and_titles_are_text_and_nothing_else(browser: Browser, tmp_path: Path) -> None:
    text = (
        'layout "</script><script>document.title=1</script> & <b>Bold</b>" on two rails\n'
        "run edge WEST - >W - A - stop\n"
    )
    path = tmp_path / "title.html"
    path.write_bytes(page_of(quickly(text)))
    with opened(browser, path) as page:
        expect(page.locator("h1")).to_have_text(
            "</script><script>document.title=1</script> & <b>Bold</b>"
        )
        assert page.locator("h1 b").count() == 0
        assert page.title().startswith("</script>")


@pytest.mark.parametrize("panel", ["routes", "rehearsal", "stories", "tables", "verdict"])
def test_a_phone_shows_every_panel_without_scrolling_sideways(
    browser: Browser, built: Built, panel: str
) -> None:
    with opened(browser, built("harbour-terminus-forgetful"), width=390) as page:
        page.click(f"#tab-{panel}")
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_names_in_the_picture_can_be_read_on_a_phone_and_marks_have_their_key(
    browser: Browser, built: Built
) -> None:
    with opened(browser, built("four-track-station"), width=390) as page:
        name = page.locator("#picture .name").first.bounding_box()
        assert name and name["height"] >= 9
        expect(page.locator(".keys")).to_be_visible()


def test_on_paper_the_control_table_keeps_within_the_sheet(browser: Browser, built: Built) -> None:
    wide = 703  # A4 upright, without margins of 12 mm, in pixels of 1/96 inch
    with opened(browser, built("four-track-station"), width=wide) as page:
        page.click("#tab-tables")
        page.emulate_media(media="print")
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")  # as printing does
        assert page.locator("#control-table table").bounding_box()["width"] <= wide  # type: ignore[index]
        rows = page.locator("#control-table tbody tr").all()
        heights = [box["height"] for row in rows if (box := row.bounding_box())]
        assert len(heights) == 29
        assert max(heights) < 100
        expect(page.locator("#picture")).to_be_visible()
        expect(page.locator(".zoom")).to_be_hidden()


def test_the_light_can_be_switched(browser: Browser, built: Built) -> None:
    def paper(page: Page) -> str:
        return page.evaluate("getComputedStyle(document.body).backgroundColor")

    with opened(browser, built("turning-loop"), dark=True) as page:
        dark = paper(page)
        page.click("#theme")
        light = paper(page)
        assert dark != light
        page.click("#theme")
        assert paper(page) == dark
