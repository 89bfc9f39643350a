"""A whole session by mouse in firefox, on a wide screen and at the width of a phone."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from firefox import FIREFOX, LONGEST, Firefox, FirefoxPage, running_firefox
from in_campaigns import in_campaigns

Built = Callable[[str], Path]


@pytest.fixture(scope="module")
def firefox(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Firefox]:
    """Skips where there is none."""
    if FIREFOX is None:
        pytest.skip("there is no firefox on this machine")
    with running_firefox(tmp_path_factory.mktemp("profile")) as running:
        yield running


@pytest.mark.parametrize("width", in_campaigns([390, 1280], lambda width: width > 390))
def test_a_whole_session_in_firefox(firefox: Firefox, built: Built, width: int) -> None:
    with firefox.opened(built("harbour-terminus-forgetful"), width=width) as page:
        a_route_is_chosen_by_its_ends(page)
        it_is_set_and_a_train_comes_in(page)
        a_reload_keeps_what_was_done(page)
        saved = it_is_saved(page, firefox)
        all_begins_again(page)
        it_is_loaded(page, saved)
        a_story_is_played_to_its_end(page)
        assert page.value("document.documentElement.scrollWidth <= innerWidth")


def a_route_is_chosen_by_its_ends(page: FirefoxPage) -> None:
    page.click("[data-signal=W1] .post")
    assert page.text("#said") == "From W1: choose where the route ends: T1, T2 or G1."
    page.click("[data-element=T2] .way")
    assert page.text("#route-told h3") == "W1 to T2"


def it_is_set_and_a_train_comes_in(page: FirefoxPage) -> None:
    page.click("#tab-rehearsal")
    page.click("[data-signal=W1] .post")
    page.click("[data-element=T2] .way")
    assert "W1 clears for W1 to T2" in page.text("#said")
    if page.value("document.querySelectorAll('#happen button').length") > 8:
        page.click("#happen button", "A train comes in from WEST to A")
    else:  # a phone has a list
        page.choose("#happen select", "A train comes in from WEST to A")
        page.click("#happen button", "Let it happen")
    assert page.text("#said").startswith("A train comes in from WEST to A,")
    page.click("#go-on")
    assert "Train 1, in T2" in page.texts("#happen h4")


def a_reload_keeps_what_was_done(page: FirefoxPage) -> None:
    done = page.texts("#log li")
    assert len(done) > 4
    page.reload()
    page.click("#tab-rehearsal")
    assert page.texts("#log li") == done
    assert "Train 1, in T2" in page.texts("#happen h4")


def it_is_saved(page: FirefoxPage, firefox: Firefox) -> Path:
    page.click("#save")
    name = page.text("#said").removeprefix("Saved as ").removesuffix(".")
    assert name == "saltmarsh-quay.rehearsal"
    saved = firefox.saved / name
    late = time.monotonic() + LONGEST
    while not (saved.is_file() and saved.read_text("utf-8").endswith("\n")):
        assert time.monotonic() < late, "nothing is saved"
        page.value("new Promise((done) => requestAnimationFrame(done))")
    assert "request W1 to T2\n" in saved.read_text("utf-8")
    return saved


def it_is_loaded(page: FirefoxPage, saved: Path) -> None:
    page.give_file("#load-file", saved)
    page.wait_until('document.getElementById("said").textContent.endsWith(" is loaded.")')
    assert "Train 1, in T2" in page.texts("#happen h4")
    saved.unlink()


def all_begins_again(page: FirefoxPage) -> None:
    page.click("#restart")
    page.click("#sure-yes")
    page.wait_until('document.getElementById("said").textContent.startsWith("All begins again")')
    assert page.texts("#log li") == []


def a_story_is_played_to_its_end(page: FirefoxPage) -> None:
    page.click("#tab-stories")
    last = len(page.texts("#steps li")) - 1
    for _ in range(last - 1):
        page.click("#story-next")
    page.click("#story-play")
    assert page.text("#story-play") == "Halt"
    page.wait_until('document.getElementById("story-play").textContent === "Play"')
    assert page.text("#story-count") == f"step {last} of {last}"
    assert "So two trains meet in NECK." in page.text("#ending")


def test_an_address_leads_to_a_pair_and_to_a_step_of_a_story(
    firefox: Firefox, built: Built
) -> None:
    path = built("harbour-terminus-forgetful")
    with firefox.opened(path, width=1280) as page:
        page.open(path, "#route=W1+to+T1&with=G1+to+T2")
        assert page.text("#conflict-told h3") == "W1 to T1 and G1 to T2"
        assert page.value("document.querySelectorAll('#picture .ring').length") == 2
        page.open(path, "#story=1&step=3")
        assert page.text("#story-count").startswith("step 3 of ")
        assert page.text("#marks [aria-current]") == "3"
        page.click("#story-next")
        assert page.value("location.hash") == "#story=1&step=4"


def test_in_rows_a_route_is_chosen_as_in_one_line(firefox: Firefox, built: Built) -> None:
    with firefox.opened(built("harbour-terminus-forgetful"), width=390) as page:
        page.click("#in-rows")
        assert page.value("document.querySelectorAll('#picture svg.row').length") > 1
        page.click("[data-signal=W1] .post")
        page.click("[data-element=T2]:not(.goes-on) .way")
        assert page.text("#route-told h3") == "W1 to T2"
        assert page.value("document.querySelectorAll('#picture .way.set').length") > 2
        page.click("#in-rows")
        assert page.value("document.querySelectorAll('#picture svg.row').length") == 0
