"""The formatter: what it writes says what was read, and nothing is lost."""

from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from trees import (
    FITTING_PARTS,
    NAMES,
    RULES,
    RUN_ITEMS,
    SPAN,
    STATEMENTS,
    sources,
    statements,
)

from bellcrank.syntax import tree as t
from bellcrank.syntax.formatter import WIDTH, format_source, format_statement
from bellcrank.syntax.parse import LONGEST_LINE, RESERVED, parse

ROOT = Path(__file__).parents[2]

REFERENCE = (ROOT / "grammar" / "README.md").read_text("utf-8")

TEXTS = [
    *(path.read_text("utf-8") for path in sorted(ROOT.glob("examples/*.crank"))),
    (ROOT / "grammar" / "fittings.crank").read_text("utf-8"),
    *re.findall(r"^```crank.*\n((?:.*\n)*?)```$", REFERENCE, re.MULTILINE),
]


def read(text: str) -> t.SourceFile:
    source, diagnostics = parse(text, "x")
    assert [(d.message, str(d.span)) for d in diagnostics] == []
    return source


def formatted(text: str) -> str:
    return format_source(read(text))


def blank_before(text: str) -> list[bool]:
    """For each statement, whether an empty line stands directly before it."""
    rows = text.split("\n")
    found = []
    for statement in read(text).statements:
        above = rows[: statement.span.line - 1]
        while above and above[-1].lstrip().startswith("#"):
            above.pop()
        found.append(bool(above) and not above[-1].strip() and any(r.strip() for r in above))
    return found


# -------------------------------------------------------------- trees to text


def test_the_strategies_make_every_node_the_tree_has():
    assert set(STATEMENTS) == set(get_args(t.Statement))
    assert set(RULES) == set(get_args(t.Rule))
    assert set(RUN_ITEMS) == set(get_args(t.RunItem))
    assert set(FITTING_PARTS) == {t.Legs, t.FittingDrive, t.Way, t.FittingFrog, t.FittingDrawing}
    assert not RESERVED & set(NAMES)


@given(sources())
@settings(max_examples=100, deadline=None)
def test_any_tree_written_out_is_read_back_as_it_was(source: t.SourceFile):
    assert read(format_source(source)).statements == source.statements


@pytest.mark.parametrize("kind", STATEMENTS, ids=lambda kind: kind.__name__)
def test_any_statement_of_a_kind_is_read_back_as_it_was(kind: type[t.Node]):
    @given(STATEMENTS[kind])
    @settings(max_examples=15, deadline=None)
    def is_read_back(statement: t.Statement) -> None:
        assert read(format_statement(statement)).statements == (statement,)

    is_read_back()


@given(sources())
@settings(max_examples=60, deadline=None)
def test_what_is_written_out_is_written_out_the_same_again(source: t.SourceFile):
    once = format_source(source)
    assert formatted(once) == once


@given(statements())
@settings(max_examples=60, deadline=None)
def test_nothing_written_out_ends_a_line_with_a_space(statement: t.Statement):
    rows = format_statement(statement).split("\n")
    assert [row for row in rows if row != row.rstrip()] == []


# ------------------------------------------------------------------ real texts


@pytest.mark.parametrize("text", TEXTS)
def test_a_real_text_says_the_same_after_formatting(text: str):
    assert read(formatted(text)) == read(text)


@pytest.mark.parametrize("text", TEXTS)
def test_formatting_a_real_text_twice_changes_nothing_more(text: str):
    assert formatted(formatted(text)) == formatted(text)


@pytest.mark.parametrize("text", TEXTS)
def test_the_comments_of_a_real_text_survive_in_order(text: str):
    assert [c.text for c in read(formatted(text)).comments] == [c.text for c in read(text).comments]


@pytest.mark.parametrize("text", TEXTS)
def test_the_blank_lines_between_statements_of_a_real_text_survive(text: str):
    assert blank_before(formatted(text)) == blank_before(text)


# -------------------------------------------------------- comments, lines, width


def test_comments_stay_where_they_stood():
    text = (
        '# head\n\nlayout "A"  # title\n# about P1\npoints P1\n\n'
        "# two\n# lines\nrun A - B\n# last\n"
    )
    assert formatted(text) == text


def test_comments_in_a_block_stay_by_their_rules():
    text = (
        "locking written {  # by hand\n"
        "  # head-on\n"
        "  A locks B  # first\n"
        "\n"
        "  # crossing\n"
        "  # roads\n"
        "  C locks D\n"
        "}  # end\n"
    )
    assert formatted(text) == text


def test_a_comment_before_the_brace_of_a_block_stays_in_it():
    text = "locking written {\n  A locks B\n  # no more\n}\n"
    assert formatted(text) == text


def test_a_comment_alone_in_an_empty_block_stays():
    assert formatted("locking written {\n  # nothing yet\n}\n") == (
        "locking written {\n  # nothing yet\n}\n"
    )


def test_the_comments_of_a_run_over_several_lines_survive():
    text = "run A -  # first\n  B -  # second\n  C\n"
    assert re.findall(r"# \w+", formatted(text)) == ["# first", "# second"]
    assert read(formatted(text)).statements == read(text).statements


def test_two_comments_of_a_run_over_several_lines_stay_two():
    text = "run A -  # first\n  B  # second\n"
    assert read(formatted(text)) == read(text)


def test_the_comments_of_a_block_written_on_one_line_survive():
    text = "decoder kind q {\n  outputs 4  # four\n  # switches\n  switches 9\n}\n"
    assert re.findall(r"# \w+", formatted(text)) == ["# four", "# switches"]
    assert read(formatted(text)).statements == read(text).statements


def test_several_blank_lines_become_one_and_none_is_made_up():
    assert formatted("run A - B\n\n\n\nrun C - D\nrun E - F\n\n") == (
        "run A - B\n\nrun C - D\nrun E - F\n"
    )


def test_blank_lines_at_the_start_and_the_end_go():
    assert formatted("\n\nrun A - B\n\n\n") == "run A - B\n"


def test_an_empty_text_stays_empty():
    assert formatted("") == ""
    assert formatted("\n\n") == ""


def test_a_text_of_comments_alone_stays():
    assert formatted("# one\n\n# two\n") == "# one\n\n# two\n"


@pytest.mark.parametrize(
    ("written", "usual"),
    [
        ("release  section by  section", "release section by section"),
        ("release whole   routes", "release whole routes"),
        ("drive P1  by hand   detected", "drive P1 by hand detected"),
        ("drive S.e   detected", "drive S.e detected"),
        (
            "drive P1 = K.1 detected crossed coil 200 ms",
            "drive P1 = K.1  coil 200 ms  crossed  detected",
        ),
        ("detector kind q{inputs 8\n switches 8}", "detector kind q { inputs 8  switches 8 }"),
        ("detector  B1   q at  3", "detector B1 q at 3"),
        ("report  P1   straight=B1 . 5", "report P1 straight = B1.5"),
        ('report T1="rail/t1"', 'report T1 = "rail/t1"'),
        ("report T1=B1.5   opens", "report T1 = B1.5 opens"),
        ("button   to  cancel H  to T1=B1.1", "button to cancel H to T1 = B1.1"),
        ("lamp H to T1=K1.1   red", "lamp H to T1 = K1.1 red"),
        ("frog  P1 ,P3 . left  with   drive", "frog P1, P3.left with drive"),
        ("frog S1.end1=K1.1 crossed", "frog S1.end1 = K1.1  crossed"),
        ("frog X1.end1  by reverser", "frog X1.end1 by reverser"),
        ("time of  overlap 10 s at H ,G", "time of overlap 10 s at H, G"),
        (
            "locking written { every drive  needs its section clear }",
            "locking written {\n  every drive needs its section clear\n}",
        ),
    ],
)
def test_a_statement_is_written_in_its_usual_form(written: str, usual: str):
    assert formatted(written) == usual + "\n"


def test_dashes_spaces_and_windows_line_ends_are_made_alike():
    assert formatted("run  A–B —\r\n\tC\r\n") == "run A - B - C\n"


def pieces(count: int) -> tuple[t.Word, ...]:
    return tuple(t.Word(SPAN, f"PIECE_{n}") for n in range(count))


LONG = [
    t.RunLine(SPAN, tuple(t.Piece(SPAN, word) for word in pieces(80))),
    t.SectionLine(SPAN, t.Word(SPAN, "N"), pieces(80), True),
]


@pytest.mark.parametrize("statement", LONG, ids=lambda s: type(s).__name__)
def test_a_long_statement_goes_on_in_further_lines(statement: t.Statement):
    text = format_statement(statement)
    rows = text.split("\n")
    assert len(rows) > 5
    assert max(map(len, rows)) <= WIDTH + len(" without detection")
    assert all(row.startswith("    ") for row in rows[1:])
    assert read(text).statements == (statement,)


def routes(count: int) -> tuple[t.RouteWay, ...]:
    return tuple(
        t.RouteWay(SPAN, word, t.Word(SPAN, "EDGE_OF_THE_LAYOUT"), (), False)
        for word in pieces(count)
    )


ENDLESS = [
    t.LockingLine(SPAN, False, (t.OnlyOneRule(SPAN, routes(400)),)),
    t.LockingLine(SPAN, False, (t.LocksRule(SPAN, routes(1)[0], routes(400), ()),)),
    t.OverlapLine(SPAN, t.Word(SPAN, "H"), pieces(1200)),
    t.SupplyLine(SPAN, t.Word(SPAN, "B"), pieces(1200), None, None),
    t.Declaration(SPAN, t.KindPhrase(SPAN, pieces(1), ()), pieces(1200)),
]


@pytest.mark.parametrize("statement", ENDLESS, ids=lambda s: type(s).__name__)
def test_no_list_is_so_long_that_it_cannot_be_read_back(statement: t.Statement):
    text = format_statement(statement)
    assert max(map(len, text.split("\n"))) <= LONGEST_LINE
    assert read(text).statements == (statement,)


# ------------------------------------------------- texts with comments anywhere


@st.composite
def commented(draw: st.DrawFn) -> str:
    """A sound text with comments and blank lines at places where lines end."""
    rows = draw(st.sampled_from(TEXTS)).rstrip("\n").split("\n")
    places = draw(st.lists(st.integers(0, len(rows) - 1), max_size=6))
    for number, index in enumerate(places):
        if draw(st.booleans()):
            rows[index] = f"  # above {number}\n{rows[index]}"
        elif "#" not in rows[index]:
            rows[index] += f"# beside {number}"
        if draw(st.booleans()):
            rows[index] = "\n" * draw(st.integers(1, 3)) + rows[index]
    return "\n".join(rows)


@given(commented())
@settings(max_examples=50, deadline=None)
def test_comments_put_anywhere_survive_in_order(text: str):
    again = read(formatted(text))
    assert again.statements == read(text).statements
    # Those inside a statement written on one line may come to stand side by side.
    words = " ".join(c.text for c in read(text).comments).split()
    assert " ".join(c.text for c in again.comments).split() == words
    assert formatted(formatted(text)) == formatted(text)
