"""Every name of every example can be changed, and then the layout is the same but for the name."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest
from in_campaigns import in_campaigns

from bellcrank.compilation import Draft, draft_of
from bellcrank.editing.analysis import Analysis
from bellcrank.editing.names import Meaning, Thing
from bellcrank.editing.renaming import NotRenamedError, renamable, renamed
from bellcrank.syntax.insert import edited, words_for
from bellcrank.syntax.load import load_file, load_text

ROOT = Path(__file__).parents[2]

LAYOUTS = [
    *sorted((ROOT / "examples").glob("*.crank")),
    *sorted((ROOT / "tests" / "corpus").glob("*.crank"))[:6],
]

NEW = "NEW_9"


def after(analysis: Analysis, meaning: Thing) -> Draft:
    places = renamed(analysis, meaning, NEW)
    texts = {
        name: edited(text, [words_for(text, span, NEW) for span in places.get(name, ())])
        for name, text in analysis.draft.program.texts.items()
    }
    # All files as one text: what each uses has been read before it.
    (whole,) = ["\n".join(text.replace('use "', '# use "') for text in texts.values())]
    return draft_of(*load_text(whole, "all.crank"))


def said(draft: Draft, name: str) -> tuple[Mapping[str, object], set[object], list[str]]:
    """Routes, conflicts and codes, with one name put for another."""

    def same(words: str) -> str:
        return " ".join(
            ".".join(NEW if part == name else part for part in word.split("."))
            for word in words.split(" ")
        )

    assert draft.table is not None
    routes = {
        same(r.name): (
            [same(each) for each in r.elements],
            [(same(drive), position) for drive, position in r.positions],
        )
        for r in draft.table.routes.values()
    }
    pairs: set[object] = {frozenset(map(same, pair)) for pair in draft.table.conflicts}
    return routes, pairs, sorted(d.code for d in draft.diagnostics)


@pytest.mark.parametrize(
    "path",
    in_campaigns(LAYOUTS, lambda p: p.stem == "four-track-station"),
    ids=lambda p: p.stem,
)
def test_each_name_can_be_changed_and_nothing_else_changes(path: Path) -> None:
    analysis = Analysis(path, draft_of(*load_file(path)))
    things = {o.meaning for o in analysis.names.occurrences if isinstance(o.meaning, Thing)}
    tried = 0
    for thing in sorted(things, key=lambda t: t.name):
        (first, *_) = analysis.names.of(thing)
        try:
            renamable(analysis, first)
        except NotRenamedError:
            continue
        assert said(after(analysis, thing), NEW) == said(analysis.draft, thing.name)
        tried += 1
        if tried == 40:
            break
    assert tried > 3


OWN_FITTING = """layout "X" on three rails
fitting wye {
  legs root, one, other
  drive throw with one, other
  way root - one when throw one
  way root - other when throw other
  frog nose between one, other
}
wye Y1
run edge E - A - >H - Y1.root
run Y1.one - <B - C - stop
run Y1.other - <D - F - stop
route MAIN = H to C via Y1.one
locking derive {
  MAIN needs Y1.throw one
}
"""


@pytest.mark.parametrize(
    ("line", "column", "lines"),
    [
        (3, 14, [3, 5, 7, 11, 13]),
        (4, 20, [4, 5, 15]),
        (4, 9, [4, 5, 6, 15]),
        (7, 8, [7]),
    ],
    ids=["leg", "position", "drive", "frog"],
)
def test_names_within_a_fitting_of_ones_own_can_be_changed(
    line: int, column: int, lines: list[int]
) -> None:
    analysis = Analysis("a.crank", draft_of(*load_text(OWN_FITTING, "a.crank")))
    word = analysis.names.at("a.crank", line, column)
    assert word is not None
    meaning = renamable(analysis, word)
    (spans,) = renamed(analysis, meaning, NEW).values()
    assert [span.line for span in spans] == lines
    text = edited(OWN_FITTING, [words_for(OWN_FITTING, span, NEW) for span in spans])
    new = draft_of(*load_text(text, "a.crank"))
    assert [d.code for d in new.diagnostics] == [d.code for d in analysis.draft.diagnostics]


ASPECTS = """layout "Coal Quay"
run edge WEST - A - >H - B - >J - C - edge EAST
signal H shows stop, caution, clear
signal J shows stop, caution, clear
route H to J shows caution
route J to EAST
"""


def the_word(text: str, line: int, word: str) -> tuple[Analysis, Meaning]:
    analysis = Analysis("a.crank", draft_of(*load_text(text, "a.crank")))
    column = text.splitlines()[line - 1].index(word) + 1
    occurrence = analysis.names.at("a.crank", line, column)
    assert occurrence is not None
    return analysis, renamable(analysis, occurrence)


@pytest.mark.parametrize(("line", "lines"), [(3, [3, 5]), (5, [3, 5]), (4, [4])])
def test_an_aspect_is_changed_where_its_own_signal_shows_it(line: int, lines: list[int]) -> None:
    analysis, meaning = the_word(ASPECTS, line, "caution")
    (spans,) = renamed(analysis, meaning, "slow").values()
    assert [span.line for span in spans] == lines
    text = edited(ASPECTS, [words_for(ASPECTS, span, "slow") for span in spans])
    new = draft_of(*load_text(text, "a.crank"))
    assert new.diagnostics == ()
    assert new.table is not None
    shown = new.table.routes["H to J"].aspect
    assert shown == ("slow" if 5 in lines else "caution")


def test_a_signal_with_aspects_is_changed_with_all_that_names_it() -> None:
    analysis, meaning = the_word(ASPECTS, 3, "H")
    (spans,) = renamed(analysis, meaning, "HOME").values()
    assert [span.line for span in spans] == [2, 3, 5]


@pytest.mark.parametrize(
    ("word", "new", "why"),
    [
        ("caution", "clear", "`clear` is the name of something else"),
        ("caution", "stop", "`stop` is a word of the language and cannot be a name"),
        ("caution", "two words", "cannot be a name"),
    ],
)
def test_an_aspect_does_not_get_a_name_that_cannot_be_right(word: str, new: str, why: str) -> None:
    analysis, meaning = the_word(ASPECTS, 3, word)
    with pytest.raises(NotRenamedError, match=why):
        renamed(analysis, meaning, new)


def test_stop_keeps_its_name() -> None:
    with pytest.raises(NotRenamedError, match="first aspect of a signal is always called `stop`"):
        the_word(ASPECTS, 3, "stop")


def test_a_leg_of_a_standard_fitting_keeps_its_name() -> None:
    text = "points P1\nrun A - P1.toe\n"
    analysis = Analysis("a.crank", draft_of(*load_text(text, "a.crank")))
    word = analysis.names.at("a.crank", 2, 13)
    assert word is not None
    with pytest.raises(NotRenamedError, match="declared in no file of this layout"):
        renamable(analysis, word)
