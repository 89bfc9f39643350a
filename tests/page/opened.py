"""Pages as the browser sees them: built from a layout, opened, and watched meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import Browser, Page
from sound_layouts import compiled, compiled_file, standing

from bellcrank import Checked, Sound
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED
from bellcrank.emit.extras import extras
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target
from bellcrank.proof.verdict import MovingVerdict

EXAMPLES = Path(__file__).parents[2] / "examples"


def unproved(c: Sound) -> Checked:
    """As if the moving proof had been cut short before it began."""
    verdict = standing(c)
    nothing = MovingVerdict((), 0, (), 0, ("z3",), "", "", verdict.assumptions)
    return c.checked(verdict, nothing)


def quickly(text: str) -> Checked:
    return unproved(compiled(text))


def quickly_from(path: Path) -> Checked:
    return unproved(compiled_file(path))


def page_of(compilation: Checked) -> bytes:
    """The file that `build --target page` would write."""
    data = build_document(compilation, SPARED)
    files = render_target(load_target("page"), data, extras=extras(compilation, data))
    assert list(files) == ["page.html"]
    return files["page.html"]


@dataclass
class Watched:
    """What must not happen while a page is open."""

    page: Page
    requests: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)


@contextmanager
def opened(
    browser: Browser,
    path: Path,
    *,
    width: int = 1280,
    height: int = 900,
    dark: bool = False,
    touch: bool = False,
) -> Iterator[Page]:
    """A page, open in a browser that lets nothing through but its file.

    Fails afterwards if it asked for anything else or the console had anything to say.
    """
    page = browser.new_page(
        viewport={"width": width, "height": height},
        color_scheme="dark" if dark else "light",
        has_touch=touch,
        is_mobile=touch,
    )
    watched = Watched(page)
    url = path.as_uri()

    def only_the_file(route, request):  # type: ignore[no-untyped-def]
        if request.url == url:
            route.continue_()
        else:
            watched.requests.append(request.url)
            route.abort()

    page.set_default_timeout(30_000)
    page.route("**/*", only_the_file)
    page.on("console", lambda message: watched.errors.append(message.text))
    page.on("pageerror", lambda error: watched.errors.append(str(error)))
    page.goto(url)
    page.wait_for_selector("body[data-ready]")
    try:
        yield page
        assert watched.requests == [], "the page asked for more than its file"
        assert watched.errors == [], "the console has something to say"
    finally:
        page.close()


def begin_again(page: Page) -> None:
    """Back to the start, whatever has been done."""
    if page.locator("#restart").is_enabled():
        page.click("#restart")
        page.click("#sure-yes")


def run_by(page: Page, what: str) -> None:
    """Let the rehearsal be run by the controller ("controlled") or by the locking ("alone")."""
    begin_again(page)
    page.check(f"#runs-{what}")
