"""The page for those who cannot see it well, or cannot use a mouse: checked by axe-core."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from opened import opened
from playwright.sync_api import Browser

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.mark.parametrize(
    ("width", "dark"),
    [(1280, False), pytest.param(390, True, marks=pytest.mark.campaign)],
    ids=["wide and light", "narrow and dark"],
)
def test_axe_finds_nothing_in_any_panel(
    browser: Browser, built: Callable[[str], Path], axe: str, dark: bool, width: int
) -> None:
    with opened(browser, built("harbour-terminus-forgetful"), dark=dark, width=width) as page:
        page.evaluate(axe)
        for panel in ("routes", "rehearsal", "stories", "tables", "verdict"):
            page.click(f"#tab-{panel}")
            if panel == "routes":
                page.select_option("#route", index=1)
                page.select_option("#second", index=5)
            elif panel == "rehearsal":
                page.click("#ask")
                page.click("#ask")
            elif panel == "stories":
                page.click("#story-end")
            found = page.evaluate("tags => axe.run(document, { runOnly: tags })", RULES)
            violations = [
                (v["id"], [node["target"] for node in v["nodes"]]) for v in found["violations"]
            ]
            assert violations == [], f"{panel}: {violations}"
            assert len(found["passes"]) > 15, "axe looked at something"
