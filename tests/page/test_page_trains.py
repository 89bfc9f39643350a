"""Trains on the page have names, which go with them; what can be done with each stands together."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from opened import begin_again, opened, page_of, quickly
from playwright.sync_api import Browser, Page, expect

Built = Callable[[str], Path]

SIDING = """
points P
run edge WEST - A - >H - P.toe
run P.straight - <S - B - edge EAST
run P.diverging - <D - C - stop
"""


@pytest.fixture(scope="module")
def siding(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Page]:
    path = tmp_path_factory.mktemp("siding") / "page.html"
    path.write_bytes(page_of(quickly(SIDING)))
    with opened(browser, path) as page:
        page.click("#tab-rehearsal")
        yield page


@pytest.fixture
def page(siding: Page) -> Page:
    begin_again(siding)
    siding.check("#tails")
    return siding


def let(page: Page, text: str) -> None:
    page.locator("#happen").get_by_role("button", name=text, exact=True).click()


def ask(page: Page, route: str) -> None:
    page.locator("#ask-route").select_option(label=route)
    page.click("#ask")


def named(page: Page) -> dict[str, str]:
    """Where each train is, by its name."""
    heads = page.locator("#happen h4").all_inner_texts()
    return dict(head.split(", in ") for head in heads if head.startswith("Train "))


def of(page: Page, train: str) -> list[str]:
    """What can be done with a train."""
    head = page.locator("#happen h4", has_text=f"{train}, in")
    return head.locator("xpath=..").locator("+ ul li").all_inner_texts()


def labels(page: Page) -> list[str]:
    return page.locator("#picture .trains text").all_text_contents()


def test_a_name_goes_with_its_train_and_off_with_it(page: Page) -> None:
    let(page, "A train comes in from WEST to A")
    let(page, "A train stands in B, before S")
    assert named(page) == {"Train 1": "A", "Train 2": "B"}
    assert labels(page) == ["Train 1", "Train 2"]
    expect(page.locator("#standing")).to_contain_text("Train 2: a train is in B")
    ask(page, "H to C")
    let(page, "A train passes H and enters P with P diverging")
    assert named(page) == {"Train 1": "P", "Train 2": "B"}
    page.click("#undo")
    assert named(page) == {"Train 1": "A", "Train 2": "B"}
    page.click("#go-on")
    assert named(page) == {"Train 1": "C", "Train 2": "B"}
    ask(page, "S to WEST")
    page.click("#go-on")
    assert named(page) == {"Train 1": "C"}
    assert labels(page) == ["Train 1"]


def test_what_can_be_done_with_a_train_stands_under_its_name(page: Page) -> None:
    let(page, "A train comes in from WEST to A")
    ask(page, "H to EAST")
    let(page, "A train passes H and enters P with P straight")
    assert named(page) == {"Train 1": "P"}
    assert of(page, "Train 1") == ["The train in P enters B"]
    let(page, "The train in P enters B")
    assert named(page) == {"Train 1": "B"}


def test_vehicles_keep_the_name_of_the_train_that_left_them_there(page: Page) -> None:
    let(page, "A train stands in B, before S")
    let(page, "Vehicles are uncoupled and left standing in B")
    assert named(page) == {"Train 1": "B"}
    assert "The vehicles in B are ready to leave past S" in of(page, "Train 1")
    let(page, "The vehicles that stand in B are taken off or drawn away")
    assert named(page) == {}
    let(page, "A train comes in from WEST to A")
    assert named(page) == {"Train 2": "A"}, "no name is given twice"


def test_names_come_back_with_a_reload(page: Page) -> None:
    let(page, "A train comes in from WEST to A")
    let(page, "A train stands in B, before S")
    let(page, "Vehicles are uncoupled and left standing in B")
    before = named(page)
    page.reload()
    page.wait_for_selector("body[data-ready]")
    assert named(page) == before


def rename(page: Page, train: str, name: str) -> None:
    page.get_by_role("button", name=f"Rename {train}", exact=True).click()
    page.get_by_role("textbox", name=f"New name of {train}").fill(name)
    page.keyboard.press("Enter")


def heads(page: Page) -> list[str]:
    return page.locator("#happen .train-head h4").all_inner_texts()


def log(page: Page) -> list[str]:
    return page.locator("#log li").all_inner_texts()


def test_a_train_that_is_renamed_is_told_of_by_its_name(page: Page) -> None:
    let(page, "A train comes in from WEST to A")
    let(page, "A train stands in B, before S")
    rename(page, "Train 1", "  Night   mail ")
    expect(page.locator("#said")).to_have_text("Train 1 is named Night mail.")
    expect(page.get_by_role("button", name="Rename Night mail")).to_be_focused()
    assert heads(page) == ["Night mail, in A", "Train 2, in B"]
    assert labels(page) == ["Night mail", "Train 2"]
    ask(page, "H to C")
    let(page, "A train passes H and enters P with P diverging")
    expect(page.locator("#said")).to_contain_text("Night mail: a train passes H and enters P")
    assert any(line.startswith("Night mail: a train passes H") for line in log(page))
    page.click("#go-on")
    expect(page.locator("#standing")).to_contain_text("Night mail: a train is in C")
    # A name that comes by itself is never one that somebody gave.
    rename(page, "Train 2", "Train 3")
    let(page, "A train comes in from WEST to A")
    assert heads(page) == ["Night mail, in C", "Train 3, in B", "Train 4, in A"]


def test_a_name_is_taken_back_and_comes_back_with_a_reload_and_a_file(page: Page) -> None:
    let(page, "A train comes in from WEST to A")
    rename(page, "Train 1", "Mail")
    ask(page, "H to C")
    page.click("#go-on")
    rename(page, "Mail", "Empty stock # 2")
    page.click("#undo")
    expect(page.locator("#said")).to_have_text("Taken back: Mail is named Empty stock # 2.")
    assert heads(page) == ["Mail, in C"]
    before = log(page)
    page.reload()
    page.wait_for_selector("body[data-ready]")
    page.click("#tab-rehearsal")
    assert (heads(page), log(page)) == (["Mail, in C"], before)
    with page.expect_download() as download:
        page.click("#save")
    text = Path(download.value.path()).read_text("utf-8")
    assert "\n# Train 1 is named Mail\n" in text
    begin_again(page)
    file = {"name": "m.rehearsal", "mimeType": "text/plain", "buffer": text.encode()}
    page.set_input_files("#load-file", file)
    expect(page.locator("#said")).to_have_text("m.rehearsal is loaded.")
    assert (heads(page), log(page)) == (["Mail, in C"], before)
    page.click("#undo")
    page.click("#undo")
    page.click("#undo")
    assert heads(page) == ["Train 1, in A"]


@pytest.mark.parametrize(
    ("name", "why"),
    [
        (" ", "A train needs a name."),
        ("Train 2", "Another train is named Train 2."),
        ("x" * 25, "A name has 24 letters at most."),
        ("the one that is named so", "A name cannot have “is named” in it."),
    ],
)
def test_a_name_that_cannot_be_is_refused(page: Page, name: str, why: str) -> None:
    let(page, "A train comes in from WEST to A")
    let(page, "A train stands in B, before S")
    rename(page, "Train 1", name)
    given = page.get_by_role("textbox", name="New name of Train 1")
    assert given.evaluate("input => input.validationMessage") == why
    page.get_by_role("button", name="Leave it").click()
    assert heads(page) == ["Train 1, in A", "Train 2, in B"]


def test_what_a_step_did_is_one_sentence_and_the_log_has_the_rest(page: Page) -> None:
    ask(page, "H to C")
    said = page.locator("#said").inner_text()
    assert said.count(".") == 1
    assert said.endswith("H clears for H to C.")
    assert page.locator("#log li").count() >= 2


def test_controls_keep_their_place_while_routes_are_set_and_trains_come(page: Page) -> None:
    def places() -> list[float]:
        page.evaluate("window.scrollTo(0, 0)")
        ids = ("ask", "cancel", "time", "go-on", "undo", "restart", "save", "load")
        return [page.locator(f"#{each}").bounding_box()["y"] for each in ids]  # type: ignore[index]

    before = places()
    ask(page, "H to EAST")
    let(page, "A train comes in from WEST to A")
    let(page, "A train passes H and enters P with P straight")
    ask(page, "S to WEST")
    assert places() == before


COVERED = """() => {
  const boxes = (selector) => [...document.querySelectorAll(`#picture ${selector}`)]
    .map((node) => [node.textContent, node.getBoundingClientRect()]);
  const meet = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
    && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 1;
  const [labels, names] = [boxes(".trains rect"), boxes(":is(text.name, .signal)")];
  return labels.flatMap(([, label], k) => [...names, ...labels.slice(k + 1)]
    .filter(([, other]) => meet(label, other)).map(([name]) => name));
}"""


def test_no_label_of_a_train_covers_a_name_at_the_width_of_a_phone(
    browser: Browser, built: Built
) -> None:
    with opened(browser, built("harbour-terminus-forgetful"), width=390) as page:
        page.click("#tab-rehearsal")
        appears = page.get_by_role("combobox", name="Trains appear")
        appear = page.locator("#happen .row", has=appears).get_by_role("button")
        for count in range(1, 4):
            appear.click()
            expect(page.locator("#picture .trains text")).to_have_count(count)
            assert page.evaluate(COVERED) == []
