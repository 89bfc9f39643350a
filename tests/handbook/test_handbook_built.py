"""The handbook is built with no warning, and its pages need no network."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path
from urllib.parse import unquote, urlsplit

import html5lib
import pytest

ROOT = Path(__file__).parents[2]

HTML = "{http://www.w3.org/1999/xhtml}"


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("handbook")
    builder = ROOT / "grammar" / "handbook" / "build.py"
    done = subprocess.run(
        [sys.executable, str(builder), str(out)], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    return out


@pytest.mark.campaign
def test_every_link_of_the_pages_leads_to_a_page_and_a_place_on_it(built: Path) -> None:
    names: dict[Path, set[str]] = {}
    links: list[tuple[Path, str]] = []
    for path in built.rglob("*.html"):
        root = html5lib.parse(path.read_text("utf-8"), treebuilder="etree")
        names[path] = {each.get("id") or "" for each in root.iter()}
        for kind in ("href", "src"):
            links += [(path, each.get(kind) or "") for each in root.iter() if each.get(kind)]
    assert len(names) > 50
    for path, link in links:
        parts = urlsplit(link)
        if parts.scheme in ("https", "http", "data"):
            continue
        aim = (path.parent / unquote(parts.path)).resolve() if parts.path else path
        assert aim.is_file(), (path, link)
        if aim.suffix == ".html" and parts.fragment:
            assert unquote(parts.fragment) in names[aim], (path, link)


@pytest.mark.campaign
def test_the_pages_load_nothing_from_a_network(built: Path) -> None:
    for path in built.rglob("*.html"):
        root = html5lib.parse(path.read_text("utf-8"), treebuilder="etree")
        for element in root.iter():
            if element.tag == f"{HTML}a":
                continue
            for kind in ("href", "src"):
                assert not re.match(r"(\w+:)?//", element.get(kind) or ""), (path, element.tag)
    for path in built.rglob("*.css"):
        text = path.read_text("utf-8")
        assert not re.search(r"@import|url\(\s*['\"]?(?:\w+:)?//", text), path


@pytest.mark.campaign
def test_the_search_finds_words_of_the_reference(built: Path) -> None:
    index = (built / "searchindex.js").read_text("utf-8")
    for word in ("overlap", "reverser", "E311"):
        assert word.lower() in index.lower()


@pytest.mark.campaign
@pytest.mark.parametrize("width", [390, 1280], ids=["phone", "desktop"])
def test_no_page_is_wider_than_the_screen(built: Path, width: int) -> None:
    """What is wide scrolls by itself."""
    chromium = shutil.which("chromium")
    if chromium is None:
        pytest.skip("chromium is not installed")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as playing:
        browser = playing.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": width, "height": 800})
        for path in sorted(built.rglob("*.html")):
            page.goto(path.as_uri())
            assert page.evaluate("document.documentElement.scrollWidth") <= width, path.name
        browser.close()
