"""Any text at all gives a result or clear errors: never an exception, never a wait."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from cpu_time import within
from hypothesis import given, settings
from hypothesis import strategies as st
from trees import NAMES, sources

import bellcrank
from bellcrank import Broken, Checked, Sound
from bellcrank.diagnostics import Span, render
from bellcrank.document.report_data import diagnostics_data
from bellcrank.syntax.formatter import format_source
from bellcrank.syntax.parse import LINE_STARTERS, LONGEST_LINE, MOST_ERRORS

ROOT = Path(__file__).parents[2]

GRAMMAR = (ROOT / "grammar" / "layout.lark").read_text("utf-8")

KEYWORDS = sorted(set(re.findall(r'"([a-z]+)"', GRAMMAR)))

LAYOUTS = [
    path.read_text("utf-8")
    for path in sorted(ROOT.glob("examples/*.crank"))
    if "\nuse " not in path.read_text("utf-8")
]

SECONDS = 5.0
"""Far above what any of these texts takes, far below what anyone would call a hang."""


def holds(text: str) -> Broken | Checked:
    """Compile a text and hold the result to what is promised for any text."""
    with within(SECONDS):
        result = bellcrank.compile(text, "any.crank")
    for diagnostic in result.diagnostics:
        assert re.fullmatch(r"[EW]\d{3}", diagnostic.code)
        assert diagnostic.message.strip()
        for span in (diagnostic.span, *(span for span, _ in diagnostic.related)):
            lies_within(span, text)
        shown = render(diagnostic, result.program.texts)
        assert shown.startswith(f"any.crank:{diagnostic.span.line}:")
        assert "^" in shown
        assert diagnostics_data([diagnostic])[0].code == diagnostic.code
    sound = not any(d.code.startswith("E") for d in result.diagnostics)
    assert isinstance(result, Sound if sound else Broken)
    assert re.fullmatch(r"[0-9a-f]{64}", result.source_hash)
    # No sound text is left without a verdict.
    return result if isinstance(result, Broken) else bellcrank.prove(result, seconds=2.0)


def lies_within(span: Span, text: str) -> None:
    rows = text.split("\n")
    assert span.file == "any.crank"
    assert 1 <= span.line <= span.end_line <= len(rows)
    assert 1 <= span.column <= len(rows[span.line - 1]) + 1
    assert 1 <= span.end_column <= len(rows[span.end_line - 1]) + 2
    assert (span.line, span.column) <= (span.end_line, span.end_column)


# ------------------------------------------------------------------- any text


@given(st.text(max_size=200))
@settings(max_examples=60, deadline=None)
def test_any_text_is_answered(text: str):
    holds(text)


@given(st.text(st.characters(), max_size=60))
@settings(max_examples=40, deadline=None)
def test_text_with_characters_that_have_no_encoding_is_answered(text: str):
    holds(f'layout "{text}"\nrun A - {text}')


TOKENS = [
    *KEYWORDS,
    *NAMES[:12],
    *"{ } , - – = . > < # ; \n \n \n ( $".split(" "),
    '"a"',
    '"',
    "200 ms",
    "1.5",
    "-\n",
    ",\n",
]


@given(st.lists(st.sampled_from(TOKENS), max_size=60))
@settings(max_examples=80, deadline=None)
def test_words_of_the_language_in_any_order_are_answered(tokens: list[str]):
    holds(" ".join(tokens))


@given(sources())
@settings(max_examples=50, deadline=None)
def test_any_text_of_right_form_is_answered(source):
    holds(format_source(source))


# ------------------------------------------------------------ layouts with slips


def words_of(text: str) -> list[str]:
    """The text in pieces that can be put together again: words, signs, gaps."""
    return re.findall(r"\w+|\s+|[^\w\s]", text)


@st.composite
def slipped(draw: st.DrawFn) -> str:
    """A sound layout with a few lines, words or characters left out, doubled or swapped."""
    text = draw(st.sampled_from(LAYOUTS))
    for _ in range(draw(st.integers(1, 4))):
        cut = draw(st.sampled_from([lambda t: t.splitlines(keepends=True), words_of, list]))
        parts = cut(text)
        if not parts:
            break
        one = draw(st.integers(0, len(parts) - 1))
        other = draw(st.integers(0, len(parts) - 1))
        match draw(st.sampled_from(["leave out", "double", "swap", "overwrite"])):
            case "leave out":
                del parts[one]
            case "double":
                parts.insert(other, parts[one])
            case "swap":
                parts[one], parts[other] = parts[other], parts[one]
            case "overwrite":
                parts[one] = parts[other]
        text = "".join(parts)
    return text


@given(slipped())
@settings(max_examples=5, deadline=None)
def test_a_layout_with_slips_is_answered(text: str):
    holds(text)


@st.composite
def added_to(draw: st.DrawFn) -> str:
    """A sound layout and further lines of right form that speak of its own names."""
    text = draw(st.sampled_from(LAYOUTS))
    known = sorted(set(re.findall(r"\w+", re.sub(r"#.*", "", text))) - set(KEYWORDS))
    meant = {name: draw(st.sampled_from(known)) for name in NAMES}
    lines = format_source(draw(sources()))
    return text + re.sub(r"\w+", lambda m: meant.get(m.group(), m.group()), lines)


@given(added_to())
@settings(max_examples=6, deadline=None)
def test_a_layout_with_lines_added_is_answered(text: str):
    holds(text)


@pytest.mark.parametrize("text", LAYOUTS)
def test_a_layout_cut_short_anywhere_is_answered(text: str):
    for stop in range(0, len(text), max(1, len(text) // 15)):
        holds(text[:stop])


# -------------------------------------------------------------- great and strange


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\n" * 1000,
        "\r" * 1000,
        "\x00",
        "\ufeff",
        "\u2028run A - B\u2028",
        "#",
        '"',
        "{" * 2000,
        "}\n" * 2000,
        "locking written {\n" * 500,
        "fitting " * 500 + "{",
        "run " + "A - " * 2000 + "B",
        "run " + "-" * 5000,
        "run A -\n" * 1000,
        "points " + "P1, " * 1500 + "P1",
        "x\n" * 1000,
        "# remark\n" * 3000,
        "locking written {\n" + "  A B\n" * 200 + "}\n",
        'use "/etc/passwd"\nuse "' + "../" * 300 + '"',
        "drive P1 = K1.1  coil " + "9" * 5000 + " ms",
        "decoder kind q { outputs " + "9" * 5000 + " }\ndecoder K q at " + "9" * 4500,
        "run A - >" + "H" * 3000 + " - B",
    ],
    ids=range(23),
)
def test_a_strange_text_is_answered(text: str):
    holds(text)


@pytest.mark.parametrize("time", ["12 µs", "٣ ms", "٣", "1.٣ s", "2 Δ", "9" * 400, "0.0 ms"])
def test_a_strange_time_is_answered(time: str):
    assert "E606" in [d.code for d in holds(f"supply B {{ rest {time} }}").diagnostics]


def test_a_million_characters_without_a_line_end_are_answered_in_one_error():
    for text in ("a" * 1_000_000, "run " + "A - " * 250_000, "{" * 1_000_000, '"' * 1_000_000):
        result = holds(text)
        assert [d.code for d in result.diagnostics if d.code != "E320"] == ["E103"]
        (endless,) = (d for d in result.diagnostics if d.code == "E103")
        assert endless.span.column == LONGEST_LINE + 1


def test_no_text_brings_more_syntax_errors_than_the_bound():
    for line in ("oops", "run A B", "section ="):
        result = holds(f"{line}\n" * 300)
        assert len([d for d in result.diagnostics if d.code == "E101"]) <= MOST_ERRORS


def test_every_keyword_alone_is_answered_with_an_error():
    for word in sorted(LINE_STARTERS):
        assert isinstance(holds(word), Broken)
