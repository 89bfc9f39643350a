"""Makes pages of the Markdown in this repository: `python grammar/handbook/build.py FOLDER`.

The Markdown is written to be read where it stands. Here it is laid out for Sphinx: what is long is
cut into pages at its headings, links are turned to where their aims come to stand, and pages are
made of what the commands, the error pages and the examples say of themselves. Then Sphinx is run,
with no network, and any warning is an error. It needs what the extra `docs` brings.
"""

from __future__ import annotations

import os
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from bellcrank.commands.manual import as_markdown, manual_pages
from bellcrank.diagnostics.error_pages import kind_of, known_codes
from bellcrank.diagnostics.explained import Page, explained

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]


class BrokenLinkError(Exception):
    """Links that lead nowhere, a line each."""


@dataclass(frozen=True, slots=True)
class Cut:
    """A page that is cut from a long one.

    begins: the heading with which it begins, "" for the top; it goes on to the next cut. title:
    its own, where it has several headings of the highest level.
    """

    page: str
    begins: str
    title: str = ""


SOURCES: dict[str, Sequence[Cut]] = {
    "grammar/handbook/index.md": [Cut("index", "")],
    "README.md": [Cut("overview", "")],
    "grammar/handbook/tutorial.md": [Cut("tutorial", "")],
    "grammar/handbook/proof.md": [Cut("proof", "")],
    "grammar/handbook/python.md": [Cut("reference/python", "")],
    "grammar/README.md": [
        Cut("reference/language/first", ""),
        Cut("reference/language/track", "Runs", "Track and fittings"),
        Cut("reference/language/sections", "Sections", "Sections, reversers, the picture"),
        Cut("reference/language/signals", "Signals"),
        Cut("reference/language/routes", "Routes", "Routes, overlaps, flank protection"),
        Cut("reference/language/locking", "Locking", "Locking and expectations"),
        Cut("reference/language/decoders", "Decoders, drives and supplies"),
        Cut("reference/language/detectors", "Detectors, buttons and times"),
        Cut("reference/language/frogs", "Frogs"),
        Cut("reference/language/conflicts", "Why two routes conflict"),
        Cut("reference/language/rehearsals", "Rehearsals"),
        Cut("reference/language/proved", "What proved means"),
    ],
    "targets/README.md": [
        Cut("reference/targets/built-in", ""),
        Cut("reference/targets/messages", "Messages", "Messages, tables, the page, spin"),
        Cut("reference/targets/structured-text", "For a controller: Structured Text"),
        Cut("reference/targets/sheets", "On paper: sheets"),
        Cut("reference/targets/your-own", "A target of your own"),
        Cut("reference/targets/document", "The document"),
        Cut("reference/targets/sending", "Sending"),
        Cut("reference/targets/running", "Running"),
    ],
    "DEVELOPERS.md": [Cut("developers", "")],
}
"""Where the Markdown stands, and the pages that are cut from each."""

HOW_TO = ("start", "refusal", "change", "commission", "run-it", "panel", "watch", "notebook")
"""The pages that each do one thing, in their order."""

SOURCES |= {f"grammar/handbook/how-to/{n}.md": [Cut(f"how-to/{n}", "")] for n in HOW_TO}
SOURCES["grammar/editors/README.md"] = [Cut("how-to/editors", "")]

FOLDERS = {
    "examples": "examples",
    "grammar": "reference/language/first",
    "targets": "reference/targets/built-in",
}
"""Pages that stand for folders to which links lead."""

NOT_COLOURED = {"csv": "text", "rehearsal": "text"}
"""Languages of blocks for which there are no colours."""

STAGES = {
    "text": "How it is written",
    "layout": "Names, fittings, track",
    "hardware": "Decoders, detectors, supplies",
    "routes": "Routes and buttons",
    "locking": "Locking",
    "picture": "The picture",
    "script": "Scripts of rehearsals",
    "events": "Files of event identifiers",
}

HEADING = re.compile(r"(#{1,6}) (.*)")
FENCE = re.compile(r"```+(\S*)(.*)")
LINK = re.compile(r"\]\(([^()\s]+)\)")


@dataclass
class Laid:
    """Pages by name, files that links lead to by where they come to stand, and links that lead
    nowhere."""

    pages: dict[str, str] = field(default_factory=dict)
    files: dict[str, Path] = field(default_factory=dict)
    broken: list[str] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Piece:
    """A page as it is cut: its lines, of which some are in blocks of code."""

    source: str
    page: str
    title: str
    lines: tuple[tuple[bool, str], ...]

    @property
    def shift(self) -> int:
        """By how many levels its headings rise, so that the highest is its title."""
        levels = [len(m[1]) for code, line in self.lines if not code and (m := HEADING.match(line))]
        return min(levels) - (2 if self.title else 1)


def slug(heading: str) -> str:
    """The anchor of a heading, as the pages of repositories have it."""
    return re.sub(r"[^\w\- ]", "", heading.strip().lower()).replace(" ", "-")


def in_code(text: str) -> Iterator[tuple[bool, str]]:
    """The lines of Markdown, each with whether it stands in a block of code."""
    inside = ""
    for line in text.splitlines():
        fence = FENCE.match(line)
        yield bool(inside or fence), line
        if fence:
            marks = line[: len(line) - len(line.lstrip("`"))]
            inside = "" if inside and line.strip() == inside else inside or marks


def pieces(source: str, cuts: Sequence[Cut]) -> list[Piece]:
    """A source, cut. Raises ValueError if there is no such heading."""
    begins = {cut.begins: cut for cut in cuts}
    current, lines = begins.pop(""), []
    found = []
    for code, line in in_code((ROOT / source).read_text("utf-8")):
        heading = None if code else HEADING.match(line)
        if heading and heading[2] in begins:
            found.append(Piece(source, current.page, current.title, tuple(lines)))
            current, lines = begins.pop(heading[2]), []
        lines.append((code, line))
    if begins:
        raise ValueError(f"{source} has no heading `{next(iter(begins))}`")
    return [*found, Piece(source, current.page, current.title, tuple(lines))]


def anchors(cut: Sequence[Piece]) -> dict[str, tuple[str, str]]:
    """The anchors of a source, each with the page where it comes to stand and its anchor there."""
    found: dict[str, tuple[str, str]] = {}
    before: dict[str, int] = {}
    for piece in cut:
        here: dict[str, int] = {slug(piece.title): 1} if piece.title else {}
        for code, line in piece.lines:
            if not code and (heading := HEADING.match(line)):
                name = slug(heading[2])
                whole = _numbered(name, before)
                found[whole] = (piece.page, _numbered(name, here))
    return found


def _numbered(name: str, seen: dict[str, int]) -> str:
    count = seen[name] = seen.get(name, -1) + 1
    return f"{name}-{count}" if count else name


# -------------------------------------------------------------------------- laid out


def laid_out() -> Laid:
    """All pages, with their links. Raises BrokenLinkError if some lead nowhere."""
    cut = {source: pieces(source, cuts) for source, cuts in SOURCES.items()}
    places = {source: anchors(parts) for source, parts in cut.items()}
    laid = Laid()
    for parts in cut.values():
        for piece in parts:
            laid.pages[piece.page] = _page(piece, places, laid)
    laid.pages |= _commands() | _errors() | {"examples": _examples(laid)}
    laid.pages["index"] += _contents(laid)
    if laid.broken:
        raise BrokenLinkError("\n".join(laid.broken))
    return laid


def _page(piece: Piece, places: dict[str, dict[str, tuple[str, str]]], laid: Laid) -> str:
    rows = [f"# {piece.title}", ""] if piece.title else []
    for code, line in piece.lines:
        fence = FENCE.match(line) if code else None
        if fence and fence[1] in NOT_COLOURED:
            line = line.replace(fence[1], NOT_COLOURED[fence[1]])
        elif not code and (heading := HEADING.match(line)):
            line = "#" * (len(heading[1]) - piece.shift) + f" {heading[2]}"
        elif not code:
            line = LINK.sub(lambda m: f"]({_aim(m[1], piece, places, laid)})", line)
        rows.append(line)
    return "\n".join(rows) + "\n"


def _aim(link: str, piece: Piece, places: dict[str, dict[str, tuple[str, str]]], laid: Laid) -> str:
    """Where a link of a source leads from its page."""
    if re.match(r"\w+:", link):
        return link
    path, _, anchor = link.partition("#")
    base = PurePosixPath(piece.source).parent
    aim = os.path.normpath(base / path) if path else piece.source
    if aim in places:
        top = (SOURCES[aim][0].page, "")
        page, there = places[aim].get(anchor, ("", "")) if anchor else top
        if page:
            return _from(piece.page, f"{page}.md") + (f"#{there}" if there else "")
    elif aim.rstrip("/") in FOLDERS:
        return _from(piece.page, f"{FOLDERS[aim.rstrip('/')]}.md")
    elif (ROOT / aim).is_file():
        laid.files[f"files/{aim}"] = ROOT / aim
        return _from(piece.page, f"files/{aim}")
    laid.broken.append(f"{piece.source}: `{link}` leads nowhere")
    return link


def _from(page: str, aim: str) -> str:
    return os.path.relpath(aim, PurePosixPath(page).parent)


# --------------------------------------------------------------------- made of others


def _commands() -> dict[str, str]:
    return {f"reference/commands/{page.file}": as_markdown(page) for page in manual_pages()}


def _errors() -> dict[str, str]:
    """A page for each stage, with all its codes."""
    rows: dict[str, list[str]] = {stage: [f"# {STAGES[stage]}", ""] for stage in STAGES}
    for code in known_codes():
        page = explained(code)
        if page is not None:
            rows[kind_of(code).stage] += _error(page)
    return {f"reference/errors/{stage}": "\n".join(lines) for stage, lines in rows.items()}


def _error(page: Page) -> Iterator[str]:
    yield from (f"## {page.code}: {page.title}", "")
    for paragraph in page.paragraphs:
        yield from (paragraph, "")
    for example in page.examples:
        yield from (f"{example.title}:", "")
        marked = [number for number, row in enumerate(example.rows, 1) if row.mark != " "]
        # The lines are marked by their edge and by a shade, which text alone cannot show.
        yield "```{code-block} " + ("text" if page.code in _NO_LAYOUTS else "crank")
        if marked:
            yield f":emphasize-lines: {','.join(map(str, marked))}"
        yield ""
        for row in example.rows:
            yield "".join(c if c.isprintable() else repr(c)[1:-1] for c in row.text)
        yield from ("```", "")


_NO_LAYOUTS = {code for code in known_codes() if kind_of(code).stage in ("script", "events")}


def _examples(laid: Laid) -> str:
    rows = ["# Examples", "", "Layouts of invented places, in the folder `examples`.", ""]
    for path in sorted((ROOT / "examples").glob("*.crank")):
        rows += [f"## {path.stem}", ""]
        picture = path.with_suffix(".svg")
        if picture.is_file():
            laid.files[f"files/examples/{picture.name}"] = picture
            rows += [f"![The track plan of {path.stem}](files/examples/{picture.name})", ""]
        rows += ["```crank", path.read_text("utf-8").rstrip(), "```", ""]
    return "\n".join(rows)


def _contents(laid: Laid) -> str:
    """The contents of all pages, which stand beside each."""

    def below(folder: str) -> list[str]:
        return [page for page in laid.pages if page.startswith(f"{folder}/")]

    rows = []
    for title, pages in {
        "Learning": ["Overview <overview>", "tutorial", "examples"],
        "How to": below("how-to"),
        "The proof": ["proof"],
        "The language": below("reference/language"),
        "Targets": below("reference/targets"),
        "Commands": below("reference/commands"),
        "Errors": below("reference/errors"),
        "For programs": ["reference/python", "developers"],
    }.items():
        rows += ["", "```{toctree}", f":caption: {title}", ":maxdepth: 1", ":hidden:", ""]
        rows += [*pages, "```"]
    return "\n".join(rows) + "\n"


# ------------------------------------------------------------------------ written


def stage(folder: Path) -> None:
    """Write the pages for Sphinx into a folder. Raises BrokenLinkError."""
    laid = laid_out()
    for page, text in laid.pages.items():
        path = folder / f"{page}.md"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")
    for name, source in laid.files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, path)


def build(out: Path) -> int:
    """Have Sphinx write the pages into a folder; returns its exit status."""
    from sphinx.cmd.build import main

    with tempfile.TemporaryDirectory() as staged:
        stage(Path(staged))
        strict = ["--fail-on-warning", "--keep-going", "--nitpicky", "--quiet"]
        doctrees = Path(staged) / ".doctrees"
        return main([*strict, "-d", str(doctrees), "-c", str(HERE), staged, str(out)])


if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit("name the folder in which the pages are to stand")
    try:
        raise SystemExit(build(Path(sys.argv[1])))
    except BrokenLinkError as error:
        raise SystemExit(str(error)) from None
