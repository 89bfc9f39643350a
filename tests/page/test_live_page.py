"""The page of the running railway in a browser: a train is brought in, turned and let out, by
mouse, at the width of a phone, and by keyboard alone; and axe-core finds nothing."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from running_program import Program

YARD = """
layout "Reedham <i>Yard</i>" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
drive P = K1.1  servo 200 ms  detected
signal W = K1.2
signal S = K1.3
signal D = K1.4
"""

SLOW = 30_000
"""Milliseconds in which anything happens on a machine with much else to do."""

RULES = {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}


@pytest.fixture
def program(tmp_path: Path) -> Iterator[Program]:
    path = tmp_path / "yard.crank"
    path.write_text(YARD, "utf-8")
    with Program.start(path, "--simulated", "--speed", "8") as started:
        yield started


def opened(browser: Browser, program: Program, width: int = 1280, **more: object) -> Page:
    page = browser.new_page(viewport={"width": width, "height": 844}, **more)  # type: ignore[arg-type]
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    page.on("console", lambda m: errors.append(m.text) if m.type == "error" else None)
    page.goto(program.url)
    page.wait_for_selector("body[data-ready]", timeout=SLOW)
    page.errors = errors  # type: ignore[attr-defined]
    return page


def has(page: Page, selector: str, text: str) -> None:
    expect(page.locator(selector)).to_contain_text(text, timeout=SLOW)


def brought_in_turned_and_let_out(page: Page) -> None:
    """By clicks: of which the picture gets those for the route in."""
    page.click("#start")
    has(page, "#status", "running")
    page.click("[data-signal=W]", force=True)
    has(page, "#said", "From W: choose where the route ends")
    page.locator("[data-element=C] .wide-way").first.click(force=True)
    has(page, "#set-routes", "W to C")
    page.get_by_role("button", name="A train comes to WEST").click()
    has(page, "#trains", "Train 1 stands in C")
    expect(page.locator("#none-set")).to_be_visible(timeout=SLOW)
    page.get_by_role("button", name="Turn back: train 1").click()
    has(page, "#trains", "Train 1 waits at D")
    page.fill("#find", "d to west")
    page.locator("#found button").first.click()
    expect(page.locator("#trains li")).to_have_count(0, timeout=SLOW)
    has(page, "#log", "D clears for D to WEST")


@pytest.mark.campaign
def test_a_train_is_brought_in_turned_and_let_out_on_a_phone(
    browser: Browser, program: Program
) -> None:
    width = 390
    page = opened(browser, program, width)
    brought_in_turned_and_let_out(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.errors == []  # type: ignore[attr-defined]


def test_by_keyboard_alone(browser: Browser, program: Program) -> None:
    page = opened(browser, program)

    def go_to(name: str) -> None:
        """Press Tab until something is reached."""
        for _ in range(80):
            page.keyboard.press("Tab")
            told = page.evaluate(
                "[document.activeElement.id, document.activeElement.tagName === 'BUTTON' "
                "? document.activeElement.textContent : '']"
            )
            if name == told[0] or name in told[1]:
                return
        raise AssertionError(f"{name} cannot be reached by keyboard")

    go_to("start")
    page.keyboard.press("Enter")
    has(page, "#status", "running")
    go_to("find")
    page.keyboard.type("W to B")
    page.keyboard.press("Enter")
    has(page, "#set-routes", "W to B")
    go_to("A train comes to WEST")
    page.keyboard.press("Enter")
    has(page, "#trains", "Train 1 stands in B")
    has(page, "#log", "W to B is released")
    go_to("Turn back")
    page.keyboard.press("Space")
    has(page, "#trains", "Train 1 waits at S")
    page.keyboard.press("F8")
    has(page, "#because", "all was stopped")
    go_to("start")
    page.keyboard.press("Enter")
    has(page, "#status", "running")
    go_to("find")
    page.keyboard.type("S to WEST")
    page.keyboard.press("Enter")
    expect(page.locator("#trains li")).to_have_count(0, timeout=SLOW)
    assert page.errors == []  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("scheme", "width"),
    [pytest.param("light", 1280, marks=pytest.mark.campaign), ("dark", 390)],
)
def test_axe_finds_nothing(
    browser: Browser, program: Program, axe: str, scheme: str, width: int
) -> None:
    page = opened(browser, program, width, color_scheme=scheme, bypass_csp=True)
    page.evaluate(axe)

    def look() -> None:
        found = page.evaluate("tags => axe.run(document, { runOnly: tags })", RULES)
        assert [(v["id"], [n["html"] for n in v["nodes"]]) for v in found["violations"]] == []
        assert len(found["passes"]) > 15, "axe looked at something"

    look()  # stopped
    page.click("#start")
    has(page, "#status", "running")
    page.fill("#find", "w")
    page.click("#faults-box summary")
    page.get_by_role("button", name="W to B").click()
    has(page, "#set-routes", "W to B")
    look()
    page.get_by_role("button", name="A train comes to WEST").click()
    has(page, "#trains", "Train 1")
    look()


def test_a_refusal_is_told_with_its_reason_and_a_title_is_no_markup(
    browser: Browser, program: Program
) -> None:
    page = opened(browser, program)
    page.click("#start")
    has(page, "#status", "running")
    for route in ("W to B", "W to C"):
        page.fill("#find", route)
        page.keyboard.press("Enter")
        has(page, "#log", route)
    has(page, "#said", "Refused:")
    has(page, "#said", "held for W to B")
    assert page.locator("#title").text_content() == "Reedham <i>Yard</i>"
    assert page.locator("#title i").count() == 0


def test_with_the_wrong_key_it_asks_for_one(browser: Browser, program: Program) -> None:
    page = browser.new_page()
    page.goto(program.address + "#key=wrong")
    expect(page.locator("#enter")).to_be_visible(timeout=SLOW)
    has(page, "#enter-wrong", "needs a key")
    expect(page.locator("#all")).to_be_hidden()
    page.fill("#key", program.key)
    page.click("text=Open")
    page.wait_for_selector("body[data-ready]", timeout=SLOW)
    assert program.key not in page.url


def test_whoever_looks_on_can_ask_for_nothing(browser: Browser, program: Program) -> None:
    key = program.wait_for(r"to look on: \S+#key=(\S+)")[1]
    page = browser.new_page()
    page.goto(f"{program.address}#key={key}")
    page.wait_for_selector("body[data-ready]", timeout=SLOW)
    expect(page.locator("#watching")).to_be_visible()
    expect(page.locator("#stop")).to_be_disabled()
    expect(page.locator("#start")).to_be_disabled()
    expect(page.locator("#simulated button")).to_have_count(0)


def has_an_accident(page: Page) -> None:
    """A train stands in B, and the next one passes W at stop and runs into it."""
    page.click("#start")
    has(page, "#status", "running")
    page.fill("#find", "W to B")
    page.keyboard.press("Enter")
    has(page, "#set-routes", "W to B")
    page.get_by_role("button", name="A train comes to WEST").click()
    has(page, "#trains", "Train 1 stands in B")
    page.get_by_role("button", name="A train comes to WEST").click()
    has(page, "#trains", "Train 2 waits at W")
    expect(page.locator("#accident")).to_be_hidden()
    page.click("#faults-box summary")
    page.get_by_role("button", name="Pass W at stop: train 2").click()
    has(page, "#accident-told", "Accident: train 2 runs into train 1 in B. Stop all")


def test_an_accident_cannot_be_missed(browser: Browser, program: Program, axe: str) -> None:
    page = opened(browser, program, bypass_csp=True)
    has_an_accident(page)
    alert = page.get_by_role("alert").filter(has_text="train 2 runs into train 1 in B")
    expect(alert).to_be_visible()
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    expect(alert).to_be_in_viewport()
    has(page, "#trains .is-accident:last-child", "Train 2 has had an accident")
    has(page, "#log .is-fault", "Fault: train 2 passes W at stop")
    has(page, "#log .is-accident", "Accident: train 2 runs into train 1 in B")
    assert page.locator("#picture .way.train.meets").count() >= 1
    expect(page.locator("#keys .key").filter(has_text="where they meet")).to_be_visible()
    page.evaluate(axe)
    found = page.evaluate("tags => axe.run(document, { runOnly: tags })", RULES)
    assert [(v["id"], [n["html"] for n in v["nodes"]]) for v in found["violations"]] == []
    for number in (1, 2):
        name = f"Take off the track: train {number}"
        page.get_by_role("button", name=name).click()
    expect(page.locator("#accident")).to_be_hidden(timeout=SLOW)
    assert page.errors == []  # type: ignore[attr-defined]


def test_whoever_opens_the_page_later_learns_of_an_accident(
    browser: Browser, program: Program
) -> None:
    has_an_accident(opened(browser, program))
    later = opened(browser, program, 390)
    has(later, "#accident-told", "train 2 runs into train 1 in B")
    has(later, "#log .is-accident", "Accident: train 2 runs into train 1 in B")
    told = later.locator("#log li").all_text_contents()
    [accident] = [k for k, text in enumerate(told) if "Accident" in text]
    [came] = [k for k, text in enumerate(told) if "train 1 comes to WEST" in text]
    assert accident < came, "the latest stands first"


def test_a_train_is_divided_and_its_rear_picked_up(browser: Browser, program: Program) -> None:
    page = opened(browser, program)
    page.click("#start")
    has(page, "#status", "running")
    page.fill("#find", "W to B")
    page.keyboard.press("Enter")
    has(page, "#set-routes", "W to B")
    page.get_by_role("button", name="A train comes to WEST").click()
    has(page, "#trains", "Train 1 stands in B")
    page.get_by_role("button", name="Turn back: train 1").click()
    has(page, "#trains", "Train 1 waits at S")
    page.locator("summary", has_text="More").click()
    page.get_by_role("button", name="Divide: the part behind stays: train 1").click()
    has(page, "#trains", "Train 2 stands in B without a driver")
    page.fill("#find", "S to WEST")
    page.keyboard.press("Enter")
    expect(page.locator("#trains li")).to_have_count(1, timeout=SLOW)
    page.get_by_role("button", name="A driver comes, to leave past S: train 2").click()
    has(page, "#trains", "Train 2 waits at S")
    has(page, "#log", "train 1 is divided: train 2 stays behind")


def test_an_alarm_is_told_and_the_way_back(browser: Browser, program: Program) -> None:
    page = opened(browser, program)
    page.click("#start")
    has(page, "#status", "running")
    page.fill("#find", "W to B")
    page.keyboard.press("Enter")
    has(page, "#set-routes", "W to B")
    page.click("#faults-box summary")
    page.get_by_role("button", name="The detector of B says occupied for ever").click()
    has(page, "#because", "B is reported occupied, and nothing explains that")
    page.get_by_role("button", name="Mend the detector of B").click()
    page.click("#start")
    has(page, "#status", "running")


@pytest.mark.campaign
def test_it_comes_back_when_the_program_does(browser: Browser, tmp_path: Path) -> None:
    from peers import free_port

    path = tmp_path / "yard.crank"
    path.write_text(YARD, "utf-8")
    people = tmp_path / "people.toml"
    people.write_text('[[person]]\nname = "Ada"\nkey = "0123456789abcdef"\n', "utf-8")
    serve = f"127.0.0.1:{free_port()}"
    words = (path, "--simulated", "--people", people)
    with Program.start(*words, serve=serve) as first:
        first.wait_for("#key=KEY")
        page = browser.new_page()
        page.goto(f"http://{serve}/#key=0123456789abcdef")
        page.wait_for_selector("body[data-ready]", timeout=SLOW)
        assert page.input_value("#name") == "Ada"
        first.kill()
        has(page, "#status", "not connected")
    with Program.start(*words, serve=serve):
        has(page, "#status", "stopped")
