"""The handbook's links lead somewhere, nothing of what it is cut from is lost, and whatever command
is named in any Markdown of this repository has words that the command line takes."""

from __future__ import annotations

import importlib.util
import re
import shlex
import sys
from collections import Counter
from pathlib import Path
from types import ModuleType

import click
import pytest

from bellcrank.commands.cli import COMMAND_LINE

ROOT = Path(__file__).parents[2]
MARKDOWN = [
    path
    for pattern in ("*.md", "grammar/**/*.md", "targets/*.md")
    for path in sorted(ROOT.glob(pattern))
]


def the_builder() -> ModuleType:
    """`grammar/handbook/build.py`, which belongs to no package."""
    path = ROOT / "grammar" / "handbook" / "build.py"
    spec = importlib.util.spec_from_file_location("handbook_build", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


BUILD = the_builder()


def test_every_markdown_file_is_in_the_handbook() -> None:
    assert {str(path.relative_to(ROOT)) for path in MARKDOWN} == set(BUILD.SOURCES)


def test_every_link_leads_somewhere() -> None:
    laid = BUILD.laid_out()
    assert len(laid.pages) > 50
    links = [
        (page, link)
        for page, text in laid.pages.items()
        for code, line in BUILD.in_code(text)
        if not code
        for link in BUILD.LINK.findall(line)
        if not link.startswith("http")
    ]
    assert len(links) > 60
    for page, link in links:
        path, _, anchor = link.partition("#")
        aim = (Path("/") / page).parent.joinpath(path).resolve().relative_to("/")
        if aim.suffix != ".md":
            assert str(aim) in laid.files
            continue
        there = [
            BUILD.slug(m[2])
            for code, line in BUILD.in_code(laid.pages[str(aim.with_suffix(""))])
            if not code and (m := BUILD.HEADING.match(line))
        ]
        assert not anchor or anchor in there, (page, link)


@pytest.mark.parametrize("link", ["README.md#nowhere", "nothing.md", "#no-such-heading"])
def test_a_link_that_leads_nowhere_is_told(
    link: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "README.md").write_text(f"# Home\n\n[here]({link})\n", "utf-8")
    monkeypatch.setattr(BUILD, "ROOT", tmp_path)
    monkeypatch.setattr(BUILD, "SOURCES", {"README.md": [BUILD.Cut("index", "")]})
    with pytest.raises(BUILD.BrokenLinkError, match=re.escape(f"`{link}` leads nowhere")):
        BUILD.laid_out()


@pytest.mark.parametrize("source", BUILD.SOURCES)
def test_what_is_cut_keeps_every_line_and_each_page_has_one_title(source: str) -> None:
    cut = BUILD.pieces(source, BUILD.SOURCES[source])
    lines = [line for piece in cut for _, line in piece.lines]
    assert lines == (ROOT / source).read_text("utf-8").splitlines()
    laid = BUILD.laid_out()
    for piece in cut:
        levels = Counter(
            len(m[1])
            for code, line in BUILD.in_code(laid.pages[piece.page])
            if not code and (m := BUILD.HEADING.match(line))
        )
        assert levels[1] == 1, piece.page


def test_a_block_in_a_page_may_hold_what_looks_like_a_heading() -> None:
    rows = BUILD.in_code("# a\n```sh\n# b\n```\n# c\n")
    assert [line for code, line in rows if not code] == ["# a", "# c"]


# -------------------------------------------------------------------- words of commands


def commands_in(text: str) -> list[str]:
    """What is typed, in blocks and within sentences. `…` and what is in capitals stand for more."""
    text = re.sub(r"^```(?:json|lua|elisp|javascript|python|toml).*?^```$", "", text,
                  flags=re.M | re.S)  # fmt: skip
    found = [row.removeprefix("$ ") for row in re.findall(r"^(?:\$ )?bellcrank .*$", text, re.M)]
    found += re.findall(r"`(bellcrank [^`\n]+)`", text)
    return [" ".join(each.split()) for each in found]


TYPED = [
    pytest.param(command, id=f"{path.relative_to(ROOT)}: {command}")
    for path in MARKDOWN
    for command in dict.fromkeys(commands_in(path.read_text("utf-8")))
]


def test_there_are_many_commands_in_the_markdown() -> None:
    assert len(TYPED) > 80


@pytest.mark.parametrize("command", TYPED)
def test_a_command_that_is_named_has_words_that_are_taken(command: str) -> None:
    name, *words = shlex.split(command.split(" > ")[0])[1:]
    if name.startswith("-"):
        return
    declared = COMMAND_LINE.get_command(click.Context(COMMAND_LINE), name)
    assert declared is not None
    context = click.Context(declared, info_name=name)
    known = {o for p in declared.get_params(context) for o in (*p.opts, *p.secondary_opts)}
    assert {w.split("=")[0] for w in words if w.startswith("--")} <= known
    if len(words) > 1 and "…" not in words:
        declared.make_context(name, words)
