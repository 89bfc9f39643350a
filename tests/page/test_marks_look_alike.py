"""What is laid over track looks alike in pictures, in the page and in the keys of both, and keys
explain what is to be seen and nothing else."""

from __future__ import annotations

import re
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

from opened import opened, page_of, quickly
from playwright.sync_api import Browser, Page, expect
from sound_layouts import checked, compiled

from bellcrank.picture import Annotations, conflict_overlay, draw_and_tell, route_overlay
from bellcrank.picture.marked import MARKS

SEEN = """() => {
  const look = (node) => {
    const { stroke, strokeWidth, strokeDasharray } = getComputedStyle(node);
    return [stroke, strokeWidth, strokeDasharray].join(" ");
  };
  const displayed = (node) => node.getClientRects().length > 0;
  return [...document.querySelectorAll("#keys .key")].filter(displayed).map((key) => {
    const word = key.textContent.trim();
    const at = window.bellcrank.data.key.find(([, said]) => said === word)[3];
    const sample = [...key.querySelectorAll("path")].find(displayed);
    return [word, look(sample), look(document.querySelector(`#picture :is(${at})`))];
  });
}"""


def keys(page: Page) -> set[str]:
    """What the key explains; each looks as it does in the picture."""
    found = page.evaluate(SEEN)
    for word, sample, there in found:
        assert sample == there, word
    return {word for word, _, _ in found}


def test_the_page_and_its_key_agree(browser: Browser, built: Callable[[str], Path]) -> None:
    with opened(browser, built("harbour-terminus-forgetful")) as page:
        assert keys(page) == set()
        page.select_option("#route", label="W1 to T1")
        assert keys(page) == {"held for a route", "route"}
        page.select_option("#second", label="G1 to T2")
        assert {"route", "second route", "where they meet"} <= keys(page)
        assert page.locator("#picture .ring").count() == 2
        page.click("#tab-stories")
        assert keys(page) == {"points do not lie so"}
        page.click("#story-end")
        assert {"train", "where they meet", "points do not lie so"} <= keys(page)


def test_the_page_shows_and_explains_where_trains_run_one_way_only_and_track_below_is_chosen(
    browser: Browser, tmp_path: Path
) -> None:
    path = tmp_path / "one-way.html"
    path.write_bytes(page_of(checked("run edge W - A - >H - B - >K - C - edge E\n")))
    with opened(browser, path) as page:
        assert keys(page) == {"one way only"}
        below = page.evaluate(
            """() => [...document.querySelectorAll("#picture path.one-way")].map((head) => {
                const { x, y, width, height } = head.getBoundingClientRect();
                const there = document.elementFromPoint(x + width / 2, y + height / 2);
                return [head.dataset.on, there.closest("[data-element]")?.dataset.element];
            })"""
        )
        assert below == [["A", "A"], ["B", "B"], ["C", "C"]]


FROM_THE_ROADS = """() => {
  const ring = document.querySelector("#picture .ring");
  const [x, y] = ["cx", "cy"].map((of) => Number(ring.getAttribute(of)));
  return [["a1", "a2"], ["b1", "b2"]].map(([from, to]) => {
    const way = [...document.querySelectorAll("#picture [data-element=S1] .way")]
      .find(({ dataset }) => [dataset.from, dataset.to].sort().join() === `${from},${to}`);
    const length = way.getTotalLength();
    const along = Array.from({ length: 201 }, (_, k) => way.getPointAtLength(length * k / 200));
    return Math.min(...along.map((point) => Math.hypot(point.x - x, point.y - y)));
  });
}"""


def test_a_ring_at_a_slip_is_where_its_roads_cross(
    browser: Browser, built: Callable[[str], Path]
) -> None:
    with opened(browser, built("harbour-terminus")) as page:
        page.select_option("#route", label="W1 to T1")
        page.select_option("#second", label="G1 to T2")
        assert max(page.evaluate(FROM_THE_ROADS)) < 1  # of units in which a name is eleven high


def test_the_page_has_no_looks_of_its_own_for_what_pictures_mark() -> None:
    css = (files("bellcrank.targets") / "page" / "style.css").read_text("utf-8")
    words = "|".join(mark.word for mark in MARKS)
    assert not re.findall(rf"\.way\.(?:{words}|train)\b|\.(?:{words})\b > \.way", css)


def shown(svg: str) -> set[str]:
    """What the key of a picture explains."""
    return set(re.findall(r'class="key-word"[^>]*>([^<]*)<', svg))


def test_a_picture_explains_what_is_laid_over_it() -> None:
    c = compiled(
        "points P\nrun edge W - A - >H - P.toe\nrun P.straight - B - stop\n"
        "run P.diverging - <K - C - stop\n"
    )
    routes = c.table.routes
    with_key = Annotations("Halt", key=True)
    one, _ = draw_and_tell(
        c.layout, route_overlay(c.layout, routes["H to B"]), annotations=with_key
    )
    track = {"signal", "end of a section", "buffer stop", "track goes on"}
    assert shown(one.svg()) == {"held for a route", "route", *track}
    both = conflict_overlay(c.layout, c.table, routes["H to B"], routes["H to C"])
    two, _ = draw_and_tell(c.layout, both, annotations=with_key)
    assert shown(two.svg()) == {"route", "second route", "where they meet", *track}
    alone, _ = draw_and_tell(c.layout, annotations=with_key)
    assert "signal" in shown(alone.svg()) and "route" not in shown(alone.svg())


def test_the_symbols_of_a_plan_and_no_others_are_explained_where_somebody_asks(
    browser: Browser, tmp_path: Path
) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(page_of(quickly("run edge WEST - A - >H - B - stop")))
    with opened(browser, path) as page:
        shown = page.locator("#symbols-shown")
        expect(shown).to_be_hidden()
        page.click("#symbols summary")
        expect(shown).to_be_visible()
        assert shown.locator("li").all_inner_texts() == [
            "signal",
            "end of a section",
            "buffer stop",
            "track goes on",
        ]
        boxes = shown.locator("svg").evaluate_all(
            "nodes => nodes.map((node) => [node.getBBox().width, node.getBBox().height])"
        )
        assert all(width > 8 and height > 4 for width, height in boxes)
