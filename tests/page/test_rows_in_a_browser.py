"""A plan in rows looks in a browser as it should, though what rows show is written but once."""

from __future__ import annotations

import io

from picture.kinds_of_layout import loops
from PIL import Image
from playwright.sync_api import Browser
from sound_layouts import compiled

from bellcrank.paper.plan_sheets import plan_sheets
from bellcrank.picture import draw_and_tell, drawing

DARK = 100
"""Of 255: ink is 35, paper 253."""


def main_is_drawn_in_each_row(svg: str, browser: Browser) -> bool:
    page = browser.new_page(viewport={"width": 1800, "height": 900})
    page.set_content(f'<!DOCTYPE html><html lang="en"><body style="margin: 0">{svg}')
    places = page.eval_on_selector_all(
        "svg.row",
        """rows => rows.map(row => {
            const {y: level, height} = row.viewBox.baseVal;
            const begins = new DOMPoint(row.viewBox.baseVal.x, 0);
            const {x, y} = begins.matrixTransform(row.getScreenCTM());
            return level < 0 && level + height > 0 ? [x, y] : null;
        }).filter(place => place)""",
    )
    seen = Image.open(io.BytesIO(page.screenshot())).convert("L")
    page.close()
    assert len(places) > 1
    rows = [[seen.getpixel((x + along, y)) for along in range(150, 300)] for x, y in places]
    return all(sum(pixel < DARK for pixel in row) > 0.8 * len(row) for row in rows)


def test_a_picture_in_rows_has_its_track(browser: Browser) -> None:
    svg = draw_and_tell(compiled(loops(6)).layout, width=700)[0].svg()
    assert main_is_drawn_in_each_row(svg, browser)


def test_a_plan_on_a_sheet_has_its_track(browser: Browser) -> None:
    made = plan_sheets(drawing(compiled(loops(6)).layout), "A4")
    assert main_is_drawn_in_each_row(made.sheets[0], browser)
