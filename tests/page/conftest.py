"""Debian's chromium, and the pages of the examples, each made once."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from opened import EXAMPLES, page_of
from playwright.sync_api import Browser, sync_playwright
from proved_pages import controlled
from sound_layouts import checked_file

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium")

AXE = Path(
    os.environ.get("AXE_CORE")
    or Path(__file__).parents[2] / "node_modules" / "axe-core" / "axe.min.js"
)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A browser without a window; skips where there is none."""
    if CHROMIUM is None:
        pytest.skip("there is no chromium on this machine")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
        )
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """The page of an example, by its name."""
    folder = tmp_path_factory.mktemp("pages")

    def build(name: str) -> Path:
        path = folder / f"{name}.html"
        if not path.exists():
            path.write_bytes(page_of(checked_file(EXAMPLES / f"{name}.crank")))
        return path

    return build


@pytest.fixture(scope="session")
def run_by_controller(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """The page of an example with its controller, by its name."""
    folder = tmp_path_factory.mktemp("controlled")

    def build(name: str) -> Path:
        path = folder / f"{name}.html"
        if not path.exists():
            path.write_bytes(page_of(controlled(name)))
        return path

    return build


@pytest.fixture(scope="session")
def axe() -> str:
    """The text of axe-core; skips where it is not at hand."""
    if not AXE.is_file():
        pytest.skip(f"axe-core is not at {AXE}: npm install axe-core, or set AXE_CORE")
    return AXE.read_text("utf-8")
