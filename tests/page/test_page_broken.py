"""What comes of a broken assumption is told on the page, step by step and with both sides: what
happened on the track, what was reported, and what the controller took to be so."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from broken_pages import page_with_a_signal_passed, with_a_signal_passed
from opened import opened, quickly
from playwright.sync_api import Browser, Page, expect
from proved_pages import page_as_if_proved
from test_page_accessible import RULES

from bellcrank.controller.breaking import NOT_YET
from bellcrank.controller.broken import break_once
from bellcrank.document.noticed_data import noticed_data
from bellcrank.document.noticed_types import NoticedStory


def stories() -> dict[str, NoticedStory]:
    (kind,) = noticed_data(with_a_signal_passed()) or ()
    found = {each.name: each.story for each in kind.accidents}
    return {name: told for name, told in {**found, "alarm": kind.alarm_story}.items() if told}


def test_what_steps_change_makes_up_the_run_that_was_found() -> None:
    c = with_a_signal_passed()
    broken = break_once(c.control, c.composed, "signal passed at stop")
    assert broken is not None
    told = stories()
    assert {"alarm", "meetings"} <= set(told)
    for name, story in told.items():
        state = broken.machine.start()
        named = {event.name: event for event in broken.machine.events}
        for step in story.steps:
            event = named[step.event]
            after = {v: moved.get(state[v], state[v]) for v, moved in event.updates.items()}
            wanted = {v: value for v, value in after.items() if value != state[v]}
            said = {change.variable: change.value for change in step.changes}
            assert said == {v: value for v, value in wanted.items() if v != "broken"}, name
            assert step.breaks == ("broken" in wanted and state["broken"] == NOT_YET)
            state |= wanted
        assert sum(step.breaks for step in story.steps) == 1


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("broken") / "page.html"
    path.write_bytes(page_with_a_signal_passed())
    return path


@pytest.fixture
def page(browser: Browser, path: Path) -> Iterator[Page]:
    with opened(browser, path) as page:
        page.click("#tab-stories")
        yield page


def side(page: Page, name: str) -> list[str]:
    return page.locator(f"#so-of-{name} li").all_inner_texts()


def tell(page: Page, story: str) -> None:
    page.locator("#noticed").get_by_role("button", name=f"Story: {story}").click()


def test_the_table_says_when_it_is_noticed_and_what_may_happen_until_then(page: Page) -> None:
    expect(page.locator("#no-story")).to_contain_text("Nothing was refuted")
    expect(page.locator("#story")).to_be_hidden()
    cells = page.locator("#noticed tbody tr").locator("th, td")
    assert cells.nth(0).inner_text() == "a train passes a signal at stop"
    assert cells.nth(1).inner_text().startswith("with the first report of it")
    assert cells.nth(2).inner_text().startswith("trains may meet")


def test_each_step_shows_the_track_the_reports_and_what_the_controller_takes_to_be_so(
    page: Page,
) -> None:
    tell(page, "the alarm is raised")
    expect(page.locator("#story-of")).to_have_text(
        "If, once, a train passes a signal at stop: the alarm is raised."
    )
    page.click("#story-end")
    assert "a train is in P" in side(page, "railway")
    assert set(side(page, "reports")) == {"A is reported occupied", "P is reported occupied"}
    expect(page.locator("#steps li").last).to_contain_text(
        "P is reported occupied, and nothing explains that"
    )
    assert "H to T1 is set" in side(page, "controller")
    expect(page.locator("#ending")).to_have_text(
        "So the alarm is raised: every signal goes to stop, and nothing is thrown."
    )
    expect(page.locator("#steps li", has_text="assumption broken")).to_contain_text("at stop")
    page.click("#story-back")
    assert side(page, "reports") == ["A is reported occupied"]
    expect(page.locator("#picture .reports text")).to_have_text("P not reported")


def test_its_steps_stand_in_two_rows_and_a_train_that_met_another_is_marked(page: Page) -> None:
    tell(page, "trains may meet")
    assert page.locator("#marks span").all_inner_texts() == ["Railway", "Controller"]
    assert page.locator("#marks .breaks.railway").count() == 1
    assert page.locator("#marks .locking").count() >= 1
    page.locator("#marks button").last.click()
    expect(page.locator("#ending")).to_have_text(
        "So two trains meet in T1, and no alarm has been raised."
    )
    assert page.locator("#picture .way.meets, #picture .meets > .way").count() > 0


def test_an_address_leads_to_its_step(page: Page) -> None:
    tell(page, "trains may meet")
    page.click("#story-next")
    page.click("#story-next")
    before = page.locator("#story-of").inner_text(), side(page, "railway")
    assert page.url.endswith("step=2")
    page.reload()
    page.wait_for_selector("body[data-ready]")
    assert (page.locator("#story-of").inner_text(), side(page, "railway")) == before
    expect(page.locator("#story-count")).to_contain_text("step 2 of")


def test_a_page_that_was_made_without_says_how_it_is_asked_for(
    browser: Browser, tmp_path: Path
) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(page_as_if_proved(quickly("run edge WEST - A - >H - B - stop")))
    with opened(browser, path) as page:
        page.click("#tab-stories")
        expect(page.locator("#broken-unasked")).to_contain_text("build --broken")
        expect(page.locator("#broken")).to_be_hidden()


@pytest.mark.campaign
def test_axe_finds_nothing_wrong_with_the_table_and_a_story(page: Page, axe: str) -> None:
    tell(page, "trains may meet")
    page.click("#story-end")
    page.evaluate(axe)
    found = page.evaluate("tags => axe.run(document, { runOnly: tags })", RULES)
    violations = [(v["id"], [node["target"] for node in v["nodes"]]) for v in found["violations"]]
    assert violations == []
