"""The rehearsal with a controller: reports that come at once, late, falsely or not at all."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from opened import opened, page_of, quickly, run_by
from playwright.sync_api import Browser, Page, expect

Built = Callable[[str], Path]


@pytest.fixture(scope="module")
def terminus(browser: Browser, run_by_controller: Built) -> Iterator[Page]:
    """One page for all tests: to open it takes longer than most of them."""
    with opened(browser, run_by_controller("harbour-terminus")) as page:
        page.click("#tab-rehearsal")
        yield page


@pytest.fixture
def page(terminus: Page) -> Page:
    run_by(terminus, "controlled")
    terminus.check("#reports")
    return terminus


def ask(page: Page, route: str) -> None:
    page.locator("#ask-route").select_option(label=route)
    page.click("#ask")


def let(page: Page, text: str) -> None:
    """Let something happen: a narrow page has a list of what may, not a button each."""
    offered = page.locator("#happen")
    button = offered.get_by_role("button", name=text, exact=True)
    option = page.locator("option").get_by_text(text, exact=True)
    row = offered.locator(".row", has=option)
    expect(button.or_(row)).to_be_visible()
    if button.count():
        button.click()
    else:
        row.locator("select").select_option(label=text)
        row.get_by_role("button", name="Let it happen").click()


def fail(page: Page, text: str) -> None:
    page.locator("#fail-section").select_option(label=text)
    page.click("#fail")


def ticked(page: Page) -> set[str]:
    """The sections across whose track the picture has ticks."""
    found = page.evaluate("""() => [...document.querySelectorAll("#picture .ticks")]
        .filter((ticks) => getComputedStyle(ticks).display !== "none")
        .map((ticks) => ticks.closest("[data-section]").dataset.section)""")
    return set(found)


def sections(page: Page) -> dict[str, tuple[str, str]]:
    """What is told of sections: what is so, and what is reported."""
    rows = page.locator("#sections-told tbody tr").all()
    cells = [row.locator("th, td").all_inner_texts() for row in rows]
    return {name: (so, said) for name, so, said in cells}


def test_reports_that_come_at_once_lead_to_what_the_interlocking_alone_does(page: Page) -> None:
    ask(page, "W1 to G1")
    let(page, "A train comes in from WEST to A")
    let(page, "A train passes W1 and enters P1 with P1 diverging")
    expect(page.locator("#log")).to_contain_text(
        "P1 is reported occupied by the train of W1 to G1."
    )
    let(page, "The train in P1 enters G")
    expect(page.locator("#none-set")).to_be_visible()
    assert sections(page) == {"G": ("occupied", "occupied")}
    assert ticked(page) == {"G"}
    run_by(page, "alone")
    expect(page.locator("#log li")).to_have_count(0)
    ask(page, "W1 to G1")
    let(page, "A train comes in from WEST to A")
    expect(page.locator("#sections-told")).to_be_hidden()
    expect(page.locator("#log")).not_to_contain_text("reported")
    assert ticked(page) == set()


def test_while_a_report_is_late_picture_and_words_tell_both_what_is_so_and_what_is_reported(
    page: Page,
) -> None:
    page.uncheck("#reports")
    ask(page, "W1 to G1")
    page.click("#time")
    let(page, "A train comes in from WEST to A")
    let(page, "A train passes W1 and enters P1 with P1 diverging")
    assert sections(page) == {"A": ("occupied", "occupied"), "P1": ("occupied", "not yet")}
    assert ticked(page) == {"A"}
    notes = page.locator("#picture .reports text")
    assert notes.all_text_contents() == ["P1 not reported yet", "W1 taken to be at stop"]
    expect(page.locator("#standing")).to_contain_text(
        "W1 is off for W1 to G1 (the next driver takes it to be at stop"
    )
    assert page.locator('#picture [data-signal="W1"] .lamp.lit').count() == 1
    # It goes no further before it is reported.
    assert page.locator("#happen").get_by_role("button", name="The train in P1").count() == 0
    let(page, "P1 is reported occupied by the train of W1 to G1")
    assert page.locator('#picture [data-signal="W1"] .lamp.lit').count() == 0
    assert ticked(page) == {"A", "P1"}
    assert notes.count() == 1, "A is clear by now, and reported occupied still"
    assert sections(page)["A"] == ("clear", "occupied still")
    page.click("#go-on")
    assert sections(page) == {"G": ("occupied", "occupied")}


def test_a_request_is_refused_in_the_words_of_the_controller(page: Page) -> None:
    let(page, "A train stands in T1, before D1")
    ask(page, "W1 to T1")
    expect(page.locator("#said")).to_contain_text("W1 to T1 is refused: T1 is reported occupied.")
    ask(page, "W1 to T2")
    ask(page, "W1 to T2")
    expect(page.locator("#said")).to_contain_text("W1 to T2 is refused: W1 to T2 is set already.")


def test_a_report_that_nothing_explains_puts_all_signals_to_stop_until_a_start(page: Page) -> None:
    ask(page, "W1 to G1")
    assert page.locator("#picture .lamp.lit").count() == 1
    fail(page, "G reported occupied, though it is clear")
    alarm = page.locator("#alarm-told")
    expect(alarm).to_contain_text("Alarm: G is reported occupied, and nothing explains that")
    expect(alarm).to_contain_text("All signals go to stop and nothing is thrown")
    assert page.locator("#picture .lamp.lit").count() == 0
    expect(page.locator("#anew")).to_be_focused()
    ask(page, "Y1 to T1")
    expect(page.locator("#said")).to_contain_text("Y1 to T1 is refused: the alarm is raised")
    let(page, "A train comes in from YARD to Y")
    page.click("#undo")
    page.click("#anew")
    expect(alarm).to_be_hidden()
    expect(page.locator("#none-set")).to_be_visible()
    assert sections(page) == {}, "what was reported wrongly is put right"
    ask(page, "Y1 to T1")
    expect(page.locator("#said")).to_contain_text("Y1 clears for Y1 to T1")


@pytest.mark.campaign
def test_at_a_start_what_is_reported_occupied_is_taken_for_vehicles_that_stand(page: Page) -> None:
    let(page, "A train comes in from WEST to A")
    ask(page, "W1 to G1")
    fail(page, "G reported occupied, though it is clear")
    page.click("#anew")
    expect(page.locator("#log")).to_contain_text("no route is set, and vehicles stand in A")
    expect(page.locator("#standing")).to_contain_text("vehicles stand in A until")
    let(page, "The vehicles in A are ready to leave past W1")
    ask(page, "W1 to G1")
    expect(page.locator("#said")).to_contain_text("W1 clears for W1 to G1")


def test_a_false_report_that_raises_no_alarm_comes_to_what_it_can_come_to(page: Page) -> None:
    let(page, "A train stands in T1, before D1")
    fail(page, "T1 reported clear, though it is occupied")
    expect(page.locator("#alarm")).to_be_hidden()
    assert sections(page) == {"T1": ("occupied", "falsely clear Mend T1")}
    assert "T1 falsely reported clear" in page.locator("#picture .reports").text_content()
    ask(page, "W1 to T1")
    expect(page.locator("#said")).to_contain_text("Unsafe: W1 is off for W1 to T1 though T1 is")
    let(page, "A train comes in from WEST to A")
    page.click("#go-on")
    page.click("#go-on")
    expect(page.locator("#accident")).to_have_text("Accident: Two trains meet in T1.")


@pytest.mark.campaign
def test_a_detector_that_is_mended_tells_what_is_so(page: Page) -> None:
    fail(page, "T1 reported occupied, though it is clear")
    ask(page, "W1 to T1")
    expect(page.locator("#said")).to_contain_text("W1 to T1 is refused: T1 is reported occupied")
    page.get_by_role("button", name="Mend T1").click()
    expect(page.locator("#said")).to_contain_text("T1 is reported clear.")
    assert sections(page) == {}


@pytest.mark.campaign
def test_a_train_that_a_detector_overlooks_goes_on_all_the_same(page: Page) -> None:
    page.uncheck("#reports")
    ask(page, "W1 to G1")
    page.click("#time")
    let(page, "A train comes in from WEST to A")
    let(page, "A train passes W1 and enters P1 with P1 diverging")
    fail(page, "P1 not reported at all, though it is occupied")
    let(page, "The train in P1 enters G")
    let(page, "G is reported occupied")
    expect(page.locator("#alarm-told")).to_contain_text("Alarm: G is reported occupied")


@pytest.mark.campaign
def test_a_person_confirms_what_no_report_tells(browser: Browser, run_by_controller: Built) -> None:
    with opened(browser, run_by_controller("hand-worked-branch")) as page:
        page.click("#tab-rehearsal")
        page.locator("#happen select").first.select_option(
            label="A train stands in GOODS, before G1"
        )
        page.locator("#happen").get_by_role("button", name="Let it happen").first.click()
        ask(page, "G1 to Y")
        page.click("#go-on")
        confirmed = "Somebody has seen that the train of G1 to Y has passed G1"
        let(page, confirmed)
        expect(page.locator("#log")).to_contain_text(confirmed)


@pytest.mark.campaign
def test_the_keyboard_stays_among_reports_that_come_one_by_one(page: Page) -> None:
    page.uncheck("#reports")
    ask(page, "W1 to G1")
    inside = "document.getElementById('happen').contains(document.activeElement)"
    time = page.get_by_role("button", name="The time of P1 is over, and it lies diverging")
    time.focus()
    page.keyboard.press("Enter")
    expect(page.locator("#said")).to_contain_text("W1 clears for W1 to G1")
    assert page.evaluate(inside)


def test_the_verdict_tells_what_was_proved_of_the_controller(page: Page) -> None:
    page.click("#tab-verdict")
    verdict = page.locator("#verdict")
    expect(verdict).to_contain_text("all of the above, with reports that come late")
    expect(verdict).to_contain_text("no report is ever unexplained")
    expect(verdict).to_contain_text("a section is reported occupied before the front of the train")
    page.click("#tab-rehearsal")


def test_without_a_proved_controller_the_page_says_why(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(page_of(quickly("run edge WEST - >W - A - stop\n")))
    with opened(browser, path) as page:
        page.click("#tab-rehearsal")
        expect(page.locator("#runs")).to_be_hidden()
        expect(page.locator("#uncontrolled")).to_contain_text("only of a locking that is proved")
        expect(page.locator("#failing")).to_be_hidden()
        expect(page.locator("#reports")).to_be_hidden()


SOAK = """([seed, steps, fails]) => {
  const { data, rehearsal: { runs: { controlled: run } } } = window.bellcrank;
  let chance = seed;
  const below = (n) => {
    chance = (chance * 1103515245 + 12345) % 2147483648;
    return Math.floor(chance / 2147483648 * n);
  };
  const among = (list) => list[below(list.length)];
  const found = { alarms: 0, wrong: [], granted: 0, reports: 0, late: 0, steps: 0 };
  let moment = run.begin();
  for (let k = 0; k < steps; k += 1) {
    if (k % 60 === 0) moment = run.begin();
    const said = [];
    const dice = below(10);
    if (dice < 3) {
      const { move } = run.ask(below(8) ? "request" : "cancel", among(data.routes).name, moment);
      if (move) moment = run.perform(moment, move, said);
      found.granted += Boolean(move);
    } else if (fails && dice === 3) {
      const offered = run.falseReports(moment);
      if (offered.length) moment = run.fail(moment, among(offered).name, said);
      else moment = run.startAnew(moment, said);
    } else {
      const moves = run.possible(moment);
      const seldom = ["stands", "uncoupled", "put down", "comes in", "taken off"];
      const move = among(moves.filter((each) => !seldom.includes(each.event?.kind) || !below(6)));
      if (move) moment = run.perform(moment, move, said);
      found.reports += move?.turn === 5;
    }
    found.late += run.told(moment).sections.some((section) => section.late);
    found.steps += run.possible(moment, [8]).length;
    found.alarms += said.some(({ sort }) => sort === "alarm");
    found.wrong.push(...said.filter(({ sort }) => ["alarm", "accident", "breach"].includes(sort)));
  }
  return found;
}"""


@pytest.mark.campaign
@pytest.mark.parametrize("name", ["harbour-terminus", "turning-loop"])
def test_while_all_is_as_assumed_nothing_goes_wrong_by_chance_either(
    browser: Browser, run_by_controller: Built, name: str
) -> None:
    with opened(browser, run_by_controller(name)) as page:
        found = page.evaluate(SOAK, [7, 3000, False])
        assert found["wrong"] == []
        assert found["granted"] > 30 and found["reports"] > 200 and found["late"] > 200
        assert found["steps"] == 0, "the controller has done all it does of itself"
        with_failures = page.evaluate(SOAK, [7, 1500, True])
        assert with_failures["alarms"] > 5


@pytest.mark.campaign
@pytest.mark.parametrize("width", [390, 1280])
def test_axe_finds_nothing_in_an_alarm_and_while_reports_are_late(
    page: Page, axe: str, width: int
) -> None:
    page.set_viewport_size({"width": width, "height": 900})
    page.uncheck("#reports")
    ask(page, "W1 to G1")
    page.click("#time")
    let(page, "A train comes in from WEST to A")
    let(page, "A train passes W1 and enters P1 with P1 diverging")
    fail(page, "G reported occupied, though it is clear")
    expect(page.locator("#alarm")).to_be_visible()
    page.evaluate(axe)
    tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
    found = page.evaluate("tags => axe.run(document, { runOnly: tags })", tags)
    assert [(v["id"], [n["target"] for n in v["nodes"]]) for v in found["violations"]] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
