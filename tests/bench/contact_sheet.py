"""Many pictures on one sheet, to look at: `python tests/bench/contact_sheet.py FILE.png`.

The kinds of layout that people build, the examples, the corpus, and layouts made at random,
each with its name. Printed by Debian's chromium without a window. Words after the file choose
layouts by parts of their names.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
from collections.abc import Iterator
from html import escape
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from corpus.networks import network
from picture.kinds_of_layout import KINDS
from playwright.sync_api import sync_playwright
from random_layouts import random_layout

import bellcrank
from bellcrank import Sound
from bellcrank.picture import draw

TESTS = Path(__file__).parent.parent

WIDTH = 2400
"""Of the sheet, in pixels."""


def layouts() -> Iterator[tuple[str, Sound]]:
    """All layouts that have a picture, with their names."""
    for name, text in KINDS.items():
        yield from _drawable(name, bellcrank.compile(text))
    for path in sorted((TESTS.parent / "examples").glob("*.crank")):
        yield from _drawable(path.stem, bellcrank.compile_file(path))
    for path in sorted((TESTS / "corpus").glob("*/railway.crank")):
        yield from _drawable(path.parent.name, bellcrank.compile_file(path))
    for seed in range(12):
        yield from _drawable(f"network {seed}", bellcrank.compile(network(seed, 8 + seed).text))
    for seed in range(12):
        yield from _drawable(f"random {seed}", bellcrank.compile(random_layout(seed).text))


def _drawable(name: str, compiled: object) -> Iterator[tuple[str, Sound]]:
    if isinstance(compiled, Sound):
        yield name, compiled


def sheet(chosen: list[str]) -> str:
    """The sheet as a page."""
    figures = []
    for name, compiled in layouts():
        if chosen and not any(part in name for part in chosen):
            continue
        svg = draw(compiled.layout)
        # Identifiers must be unique in a page; pictures are looked at, so they need none.
        svg = svg.replace(' aria-labelledby="plan-title plan-desc"', "")
        svg = svg.replace(' id="plan-title"', "").replace(' id="plan-desc"', "")
        figures.append(f"<figure>{svg}<figcaption>{escape(name)}</figcaption></figure>")
    return (
        "<!doctype html><meta charset=utf-8><style>"
        f"body {{ margin: 12px; width: {WIDTH - 24}px; font: 13px sans-serif; display: flex;"
        " flex-wrap: wrap; gap: 12px; align-items: flex-end; }"
        "figure { margin: 0; border: 1px solid #ccc; padding: 4px; }"
        f"figure svg {{ max-width: {WIDTH - 40}px; height: auto; max-height: 900px; }}"
        "figcaption { font-weight: bold; }</style>" + "".join(figures)
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
