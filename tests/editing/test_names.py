"""Every word of the tree has its role, and each name is found wherever it stands."""

from __future__ import annotations

import dataclasses
import inspect
import typing
from pathlib import Path

import pytest

from bellcrank.editing.names import ROLES, LegOf, Names, PositionOf, Thing
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import load_file, load_text

ROOT = Path(__file__).parents[2]


def words_of(kind: type) -> list[str]:
    """The fields of a node that hold words."""
    hints = typing.get_type_hints(kind, vars(t))
    return [f.name for f in dataclasses.fields(kind) if _holds_words(hints[f.name])]


def _holds_words(hint: object) -> bool:
    return hint is t.Word or any(_holds_words(arg) for arg in typing.get_args(hint))


def test_each_word_of_each_node_has_a_role() -> None:
    nodes = [k for _, k in inspect.getmembers(t, inspect.isclass) if issubclass(k, t.Node)]
    words = {(node, name) for node in nodes for name in words_of(node)}
    assert len(words) > 60
    assert words == set(ROLES)


@pytest.mark.parametrize("path", sorted((ROOT / "examples").glob("*.crank")), ids=lambda p: p.stem)
def test_each_occurrence_spans_its_own_word(path: Path) -> None:
    program, _ = load_file(path)
    for each in Names(program).occurrences:
        row = program.texts[each.span.file].split("\n")[each.span.line - 1]
        assert each.text in row[each.span.column - 1 : each.span.end_column - 1].strip('"')


def lines_of(text: str, meaning: object) -> list[int]:
    program, _ = load_text(text, "a.crank")
    return [o.span.line for o in Names(program).of(meaning)]  # type: ignore[arg-type]


FITTING = """fitting wye {
  legs root, one, other
  drive one, other
  way root - one when one
  way root - other when other
}
wye Y1
points P1
run edge E - A - >H - Y1.root
drive Y1 one at K1.1 green, other at K1.2 red
flank H to A via Y1.one = Y1 other
"""


def test_a_leg_is_told_from_a_position_of_the_same_name() -> None:
    assert lines_of(FITTING, LegOf("wye", "one")) == [2, 4, 11]
    assert lines_of(FITTING, PositionOf("wye", "", "one")) == [3, 4, 10]
    assert lines_of(FITTING, PositionOf("wye", "", "other")) == [3, 5, 10, 11]


def test_a_piece_is_declared_where_a_run_names_it_first() -> None:
    program, _ = load_text("run A - B\nrun B - C\nsection X = B\n", "a.crank")
    assert [(o.span.line, o.declared) for o in Names(program).of(Thing("B"))] == [
        (1, "piece of track"),
        (2, None),
        (3, None),
    ]
