"""Many pictures on one sheet, to look at: `python tests/bench/contact_sheet.py FILE.png`.

The kinds of layout that people build, the examples, and the corpus with its networks, in groups,
each numbered and with its name, those of a group at one scale; what is wider than the sheet is
shown in rows. Printed by Debian's chromium without a window. Words after the file choose layouts
by parts of their names.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
from html import escape
from itertools import groupby
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parent.parent))

from picture.drawn_layouts import Drawable, drawable
from playwright.sync_api import sync_playwright

from bellcrank.picture import draw_and_tell
from bellcrank.picture.svg import Picture

WIDTH = 2400
"""Of the sheet, in pixels."""

MARGIN = 48
"""Round the sheet, in pixels."""

SCALES = {"Networks of the corpus": 0.52}
SCALE = 0.8
"""Of pictures, by their group, and of those in all others."""

BESIDE = 28
"""What a cell is wider than its picture, with the gap to the next."""

ROOM = WIDTH - 2 * MARGIN

STYLE = f"""
body {{ margin: 0; padding: {MARGIN}px; width: {ROOM}px; background: #fff; color: #1d242b;
  font: 15px "DejaVu Sans", sans-serif; }}
h1 {{ margin: 0; font-size: 34px; }}
p {{ margin: 6px 0 0; color: #4d565f; }}
h2 {{ margin: 34px 0 12px; padding-top: 8px; border-top: 3px solid #1d242b; font-size: 21px; }}
.shelf {{ display: flex; gap: 12px; margin-bottom: 12px; }}
figure {{ margin: 0; padding: 4px 6px; flex: 1 1 auto; border: 1px solid #c9ced3;
  display: flex; flex-direction: column; background: #fdfdfb; }}
.drawn {{ flex: 1; display: flex; align-items: center; justify-content: center; }}
figcaption {{ padding: 2px 6px 4px; }}
figcaption b {{ display: inline-block; min-width: 2.8em; }}
"""


class Cell(NamedTuple):
    name: str
    picture: Picture
    wide: float
    high: float


def cell(one: Drawable) -> Cell:
    """A layout drawn, in rows if it is wider than the sheet, and what it takes up."""
    layout = one.compiled().layout
    scale = SCALES.get(one.group, SCALE)
    picture, _ = draw_and_tell(layout, width=(ROOM - BESIDE) / scale - 60)
    wide, high = picture.width, picture.height
    if picture.rows:
        boxes = [row.box for row in picture.rows]
        wide = max(box.right - box.left for box in boxes) + 60
        high = sum(box.bottom - box.top for box in boxes)
    return Cell(one.name, picture, wide * scale, high * scale)


def shelves(cells: list[Cell]) -> list[list[Cell]]:
    """The cells of a group in rows, the highest together: first fit by falling height."""
    found: list[list[Cell]] = []
    for one in sorted(cells, key=lambda c: -c.high):
        for shelf in found:
            if sum(c.wide + BESIDE for c in shelf) + one.wide + BESIDE <= ROOM:
                shelf.append(one)
                break
        else:
            found.append([one])
    return found


def sheet(chosen: list[str]) -> str:
    """The sheet as a page."""
    words: list[str] = []
    number = 0
    wanted = [d for d in drawable() if not chosen or any(part in d.name for part in chosen)]
    for group, listed in groupby(wanted, key=lambda d: d.group):
        words.append(f"<h2>{escape(group)}</h2>")
        for shelf in shelves([cell(one) for one in listed]):
            figures = []
            for one in shelf:
                number += 1
                figures.append(_figure(number, one))
            words.append(f'<div class="shelf">{"".join(figures)}</div>')
    return (
        f"<!doctype html><meta charset=utf-8><style>{STYLE}</style><h1>Track plans</h1>"
        f"<p>{len(wanted)} layouts as they are drawn from their texts alone, those of a group at "
        "one scale</p>" + "".join(words)
    )


def _figure(number: int, one: Cell) -> str:
    svg = one.picture.svg()
    # Identifiers must be unique in a page.
    for name in ("plan-title", "plan-desc", "plan-body"):
        svg = svg.replace(name, f"{name}-{number}")
    start = svg.index(' width="')
    end = svg.index(" role=", start)
    size = f' style="width: {one.wide:.1f}px; height: {one.high:.1f}px"'
    svg = svg[:start] + size + svg[end:]
    return (
        f'<figure><div class="drawn">{svg}</div>'
        f"<figcaption><b>{number}</b>{escape(one.name)}</figcaption></figure>"
    )


def main(file: Path, chosen: list[str]) -> None:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=os.environ.get("CHROMIUM") or shutil.which("chromium"),
            args=["--no-sandbox", "--disable-gpu"],
        )
        page = browser.new_page(viewport={"width": WIDTH, "height": 1000})
        page.set_content(sheet(chosen))
        page.screenshot(path=str(file), full_page=True)
        browser.close()


if __name__ == "__main__":
    arguments = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    arguments.add_argument("file", type=Path, help="what is written, a PNG")
    arguments.add_argument("chosen", nargs="*", help="parts of the names of layouts; none for all")
    given = arguments.parse_args()
    if given.file.suffix.lower() != ".png":
        arguments.error(f"{given.file} is not called .png")
    main(given.file, given.chosen)
