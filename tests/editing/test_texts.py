"""Places as an editor counts them, and as the compiler does, whatever signs a text holds."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from lsprotocol import types as lsp

from bellcrank.diagnostics import Span
from bellcrank.editing.texts import Text, Units

TEXTS = st.text(st.sampled_from("ab é𝄞\n\r\t\x0c\u2028\ufeff"), max_size=40)
UNITS = st.sampled_from(["utf-8", "utf-16", "utf-32"])


@given(TEXTS, UNITS, st.data())
def test_a_place_and_its_offset_lead_back_to_each_other(
    text: str, units: Units, data: st.DataObject
) -> None:
    own = Text(text, units)
    offset = data.draw(st.integers(0, len(text)))
    within_a_line_end = text[offset - 1 : offset + 1] == "\r\n"
    if not within_a_line_end:
        assert own.offset(own.position(offset)) == offset


@given(TEXTS, UNITS, st.data())
def test_a_line_and_a_column_of_the_compiler_lead_to_their_sign(
    text: str, units: Units, data: st.DataObject
) -> None:
    own = Text(text, units)
    read = text.removeprefix("\ufeff").replace("\r\n", "\n")
    rows = read.split("\n")
    line = data.draw(st.integers(1, len(rows)))
    column = data.draw(st.integers(1, len(rows[line - 1]) + 1))
    start, end = own.stretch(Span("x", line, column, line, column + 1))
    sign = rows[line - 1][column - 1 : column]
    assert text[start:end] == sign
    if sign:
        assert own.place(start) == (line, column)


@given(TEXTS, TEXTS, UNITS, st.data())
def test_a_change_puts_one_text_in_the_place_of_another(
    text: str, new: str, units: Units, data: st.DataObject
) -> None:
    own = Text(text, units)
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, len(text)))
    if "\r\n" in (text[start - 1 : start + 1], text[end - 1 : end + 1]):
        return
    change = lsp.TextDocumentContentChangePartial(own.range(start, end), new)
    assert own.changed(change).text == text[:start] + new + text[end:]


@pytest.mark.parametrize(("units", "column"), [("utf-8", 4), ("utf-16", 2), ("utf-32", 1)])
def test_columns_are_counted_in_the_units_agreed_on(units: Units, column: int) -> None:
    assert Text("𝄞x", units).position(1) == lsp.Position(0, column)
