"""Sessions on the page: saved, loaded, kept over a reload, and asked about before they are lost."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from random import Random

import pytest
from in_campaigns import in_campaigns
from opened import EXAMPLES, opened, page_of, quickly, quickly_from
from playwright.sync_api import Browser, Page, expect
from sound_layouts import compiled_file

from bellcrank.diagnostics import Span
from bellcrank.machine.machine_model import State
from bellcrank.rehearsal.acts import Moment, first_moment, perform, run_script
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.retelling import what_could_be_done
from bellcrank.rehearsal.script import read_script
from bellcrank.rehearsal.sessions import Session, saved

Built = Callable[[str], Path]

EXAMPLE = "harbour-terminus"


@cache
def railway() -> Railway:
    c = compiled_file(EXAMPLES / f"{EXAMPLE}.crank")
    return Railway(c.machine, c.layout, c.table)


@pytest.fixture
def page(browser: Browser, built: Built) -> Iterator[Page]:
    with opened(browser, built(EXAMPLE)) as page:
        page.click("#tab-rehearsal")
        yield page


@pytest.fixture
def controlled(browser: Browser, run_by_controller: Built) -> Iterator[Page]:
    with opened(browser, run_by_controller(EXAMPLE)) as page:
        page.click("#tab-rehearsal")
        yield page


def request(page: Page, route: str) -> None:
    page.locator("#ask-route").select_option(label=route)
    page.click("#ask")


def let(page: Page, text: str) -> None:
    page.locator("#happen").get_by_role("button", name=text, exact=True).click()


def script(page: Page) -> str:
    """What is downloaded by Save."""
    with page.expect_download() as download:
        page.click("#save")
    assert download.value.suggested_filename == "saltmarsh-quay.rehearsal"
    return Path(download.value.path()).read_text("utf-8")


def load(page: Page, text: str) -> None:
    page.set_input_files(
        "#load-file",
        {"name": "day.rehearsal", "mimeType": "text/plain", "buffer": text.encode("utf-8")},
    )


STATE = """() => {
  const { machine, rehearsal: { state } } = window.bellcrank;
  return Object.fromEntries(
    machine.variables.map((v) => [v.name, machine.text(v.values[state[v.number]])]));
}"""

WHOLE = "() => window.bellcrank.rehearsal.state.join()"


def played(text: str) -> Moment:
    lines, found = read_script(text, "saved", railway())
    assert not found, found
    outcomes = run_script(railway(), lines)
    assert not any(outcome.refused for outcome in outcomes)
    return outcomes[-1].moment


WALK = """([seed, steps]) => {
  let chance = seed;
  const below = (n) => {
    chance = (chance * 1103515245 + 12345) % 2147483648;
    return Math.floor(chance / 2147483648 * n);
  };
  const { data } = window.bellcrank;
  const select = document.getElementById("ask-route");
  for (let k = 0; k < steps; k += 1) {
    const dice = below(12);
    const press = (id) => document.getElementById(id).click();
    if (dice < 3) {
      select.value = String(below(data.routes.length));
      press(below(5) ? "ask" : "cancel");
    } else if (dice === 3) press("time");
    else if (dice === 4) press("undo");
    else if (dice === 5) press(["reports", "by-itself", "tails"][below(3)]);
    else if (dice === 6 && document.body.dataset.runs === "controlled") {
      const shown = (id) => !document.getElementById(id).hidden;
      if (shown("alarm")) press("anew");
      else if (shown("failing")) press("fail");
    } else {
      for (const each of document.querySelectorAll("#happen select")) {
        each.selectedIndex = below(each.options.length);
      }
      const offered = [...document.querySelectorAll("#happen button:not(.rename)")];
      if (offered.length) offered[below(offered.length)].click();
    }
  }
}"""


@pytest.mark.parametrize("seed", in_campaigns(range(1, 8), lambda seed: seed > 1))
def test_a_session_saved_by_the_page_plays_to_the_same_state_in_the_terminal_and_on_the_page(
    page: Page, seed: int
) -> None:
    page.evaluate(WALK, [seed, 40])
    state = page.evaluate(STATE)
    text = script(page)
    moment = played(text)
    assert dict(moment.state) == state
    assert moment.long == (not page.is_checked("#tails"))
    page.click("#undo")
    load(page, text)
    page.click("#sure-yes")
    expect(page.locator("#said")).to_have_text("day.rehearsal is loaded.")
    assert page.evaluate(STATE) == state
    assert script(page) == text


def walked(seed: int) -> tuple[State, str]:
    """Where a session by chance at the prompt comes to, and the script that was saved of it."""
    of, chance = railway(), Random(seed)
    session = Session(first_moment(of))
    for _ in range(30):
        could = [*what_could_be_done(of, session.moment), "go on"]
        lines, _ = read_script(chance.choice(could), "typed", of)
        session = session.after(perform(of, session.moment, lines[0]))
    text = saved(session, of.simulator, first_moment(of), "Saltmarsh Quay")
    return session.moment.state, text


@pytest.mark.parametrize("seed", in_campaigns(range(1, 8), lambda seed: seed > 1))
def test_a_session_saved_at_the_prompt_plays_to_the_same_state_on_the_page(
    page: Page, seed: int
) -> None:
    state, text = walked(seed)
    load(page, text)
    expect(page.locator("#said")).to_have_text("day.rehearsal is loaded.")
    assert page.evaluate(STATE) == dict(state)


@pytest.mark.parametrize("seed", in_campaigns(range(1, 8), lambda seed: seed > 1))
def test_a_session_with_the_controller_survives_saving_and_reload(
    controlled: Page, seed: int
) -> None:
    page = controlled
    page.evaluate(WALK, [seed, 40])
    state, alarm = page.evaluate(WHOLE), page.locator("#alarm").is_visible()
    choices = [page.is_checked(f"#{each}") for each in ("reports", "by-itself", "tails")]
    text = script(page)
    assert text.splitlines()[1] == "run by the controller"
    page.reload()
    page.wait_for_selector("body[data-ready]")
    expect(page.locator("#rehearsal")).to_be_visible()
    assert page.evaluate(WHOLE) == state
    assert page.locator("#alarm").is_visible() == alarm
    assert [page.is_checked(f"#{each}") for each in ("reports", "by-itself", "tails")] == choices
    assert script(page) == text
    page.click("#undo")
    expect(page.locator("#said")).to_contain_text("Taken back: ")


def test_the_terminal_says_why_it_does_not_play_a_session_with_the_controller() -> None:
    lines, (found,) = read_script(
        "# a day\nrun by the controller\nP1 is reported\n", "s", railway()
    )
    assert lines == ()
    assert found.message.startswith("this session was run by the controller")
    assert found.span == Span("s", 2, 1, 2, 22)


def test_undo_says_what_it_takes_back_and_refusals_leave_nothing_behind(page: Page) -> None:
    request(page, "W1 to T1")
    request(page, "G1 to T2")
    expect(page.locator("#said")).to_contain_text("G1 to T2 is refused")
    let(page, "A train comes in from WEST to A")
    page.click("#undo")
    expect(page.locator("#said")).to_have_text("Taken back: a train comes in from WEST to A.")
    page.click("#undo")
    expect(page.locator("#said")).to_have_text("Taken back: request W1 to T1.")
    expect(page.locator("#undo")).to_be_disabled()


def test_to_begin_again_is_asked_about_first(page: Page) -> None:
    request(page, "W1 to T1")
    page.click("#restart")
    expect(page.locator("#sure")).to_contain_text(
        "Begin again? What has happened here (1 act) is lost"
    )
    page.click("#sure-no")
    expect(page.locator("#set-routes")).to_contain_text("W1 to T1")
    page.click("#restart")
    page.keyboard.press("Escape")
    expect(page.locator("#set-routes")).to_contain_text("W1 to T1")
    page.click("#restart")
    page.click("#sure-yes")
    expect(page.locator("#none-set")).to_be_visible()
    expect(page.locator("#restart")).to_be_disabled()


def test_the_answer_holds_from_the_click_on(page: Page) -> None:
    request(page, "W1 to T1")
    page.click("#restart")
    # Looked at in the task of the click, before the browser tells of anything else.
    left = page.evaluate(
        """async () => {
          document.getElementById("sure-yes").click();
          for (let k = 0; k < 50; k += 1) await null;
          return document.querySelectorAll("#log li").length;
        }"""
    )
    assert left == 0


def test_what_runs_it_is_changed_only_when_that_is_wanted(controlled: Page) -> None:
    page = controlled
    request(page, "W1 to T1")
    page.check("#runs-alone", no_wait_after=True, force=True)
    page.click("#sure-no")
    expect(page.locator("#runs-controlled")).to_be_checked()
    expect(page.locator("#set-routes")).to_contain_text("W1 to T1")


def test_a_session_never_comes_back_into_a_changed_layout(browser: Browser, tmp_path: Path) -> None:
    text = "run edge WEST - A - >H - B - stop\n"
    path = tmp_path / "page.html"
    path.write_bytes(page_of(quickly(text)))
    with opened(browser, path) as page:
        page.click("#tab-rehearsal")
        request(page, "H to B")
        path.write_bytes(page_of(quickly(text + "# changed\n")))
        page.reload()
        page.wait_for_selector("body[data-ready]")
        expect(page.locator("#none-set")).to_be_visible()
        path.write_bytes(page_of(quickly(text)))
        page.reload()
        page.wait_for_selector("body[data-ready]")
        expect(page.locator("#set-routes")).to_contain_text("H to B")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("request W1 to T1\ntrain passes W1\n", "Line 2: `train passes W1` is no single event"),
        ("request W1 to T9\n", "Line 1: there is no route `W1 to T9`."),
        ("request W1 to T1\n\nrequest G1 to T2\n", "Line 3: NECK is held for W1 to T1"),
        ("W1 clears for W1 to T1\n", "Line 1: that cannot happen then: W1 to T1 is not set"),
        ("run by the controller\n", "Line 1: this page has no controller."),
        ("at first P1 lies sideways\n", "Line 1: `at first P1 lies sideways` names no drive"),
    ],
)
def test_what_cannot_be_played_is_told_with_its_line_and_nothing_is_lost(
    page: Page, text: str, said: str
) -> None:
    request(page, "Y1 to T1")
    load(page, text)
    expect(page.locator("#said")).to_contain_text(f"day.rehearsal is not loaded. {said}")
    expect(page.locator("#set-routes")).to_contain_text("Y1 to T1")


def test_the_rehearsal_of_a_story_is_saved_from_its_start(browser: Browser, built: Built) -> None:
    with opened(browser, built("harbour-terminus-forgetful")) as page:
        page.click("#tab-stories")
        page.click("#story-end")
        page.click("#story-over")
        expect(page.locator("#accident")).to_contain_text("Accident: Two trains meet in NECK")
        with page.expect_download() as download:
            page.click("#save")
        text = Path(download.value.path()).read_text("utf-8")
        state = page.evaluate(STATE)
    c = quickly_from(EXAMPLES / "harbour-terminus-forgetful.crank")
    of = Railway(c.machine, c.layout, c.table)
    lines, found = read_script(text, "saved", of)
    assert not found
    assert dict(run_script(of, lines)[-1].moment.state) == state
