"""In every place of a sound layout, what stands there is among what is offered there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from bellcrank.compilation import draft_of
from bellcrank.editing.analysis import Analysis
from bellcrank.editing.colouring import keywords
from bellcrank.editing.completion import completions
from bellcrank.editing.names import Role
from bellcrank.editing.texts import Text
from bellcrank.syntax.load import load_file

ROOT = Path(__file__).parents[2]

LAYOUTS = [
    *sorted((ROOT / "examples").glob("*.crank")),
    *sorted((ROOT / "tests" / "corpus").glob("*/*.crank"))[::5],
]

NAMED = {Role.USED, Role.LEG, Role.PART, Role.POSITION}
"""Roles of which something is offered. Who declares a name chooses it; numbers that are taken,
as all are in a text that is finished, are not offered."""


@pytest.mark.parametrize("path", LAYOUTS, ids=lambda p: p.stem)
def test_each_keyword_and_each_name_is_offered_where_it_stands(path: Path) -> None:
    program, found = load_file(path)
    analysis = Analysis(path, draft_of(program, found))
    text = Text(program.texts[path.name])
    missed = []
    tried = 0
    for o in analysis.names.of_file(path.name):
        if o.role not in NAMED or o.declared:
            continue
        start, _ = text.stretch(o.span)
        tried += 1
        if o.text not in {item.label for item in completions(text.text[:start], analysis)}:
            missed.append((o.span.line, o.span.column, o.text, o.role.name))
    assert missed == []
    known = {text.stretch(o.span)[0] for o in analysis.names.of_file(path.name)}
    for match in re.finditer(r'"[^"\n]*"|#.*|\w+', text.text):
        if match.group() in keywords() and match.start() not in known:
            offered = completions(text.text[: match.start()], analysis)
            tried += 1
            if match.group() not in {item.label for item in offered}:
                missed.append((*text.place(match.start()), match.group(), "keyword"))
    assert missed == []
    assert tried > 4


def test_in_a_comment_and_in_a_text_nothing_is_offered() -> None:
    for before in ("# ru", "run A - B  # th", 'layout "on th'):
        assert completions(before, None) == []


def test_nothing_that_is_typed_makes_it_fail() -> None:
    path = ROOT / "examples" / "harbour-terminus.crank"
    analysis = Analysis(path, draft_of(*load_file(path)))
    text = path.read_text("utf-8")
    for end in range(0, len(text), 7):
        for more in ("", "(", "x y", '"', "{ ", ". ", "§"):
            completions(text[:end] + more, analysis)
