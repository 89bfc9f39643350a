"""A layout from its text, as the layout stage makes it."""

from __future__ import annotations

from bellcrank.diagnostics import Diagnostic
from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.layout_model import Layout
from bellcrank.syntax.load import load_text


def laid(text: str) -> Layout:
    """The layout of a text about which nothing is to be said."""
    layout, said = laid_with_warnings(text)
    assert said == ()
    return layout


def laid_with_warnings(text: str) -> tuple[Layout, tuple[Diagnostic, ...]]:
    """The layout of a text without errors, and the warnings."""
    program, unread = load_text(text, "layout.crank")
    assert unread == ()
    layout, said = build_layout(program)
    assert {d.severity for d in said} <= {"warning"}, said
    return layout, said
