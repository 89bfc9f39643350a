"""Diagnostics of the compiler as an editor has them."""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from functools import cache
from pathlib import Path

import platformdirs
from lsprotocol import types as lsp

from bellcrank.diagnostics import Diagnostic, Span, printable
from bellcrank.diagnostics.explained import as_text, explained
from bellcrank.version import __version__

SOURCE = "bellcrank"
"""What editors show beside a diagnostic."""

Locate = Callable[[Span], lsp.Location]
"""Where a span of the compiler is, for the editor."""

_SEVERITIES = {
    "error": lsp.DiagnosticSeverity.Error,
    "warning": lsp.DiagnosticSeverity.Warning,
}


def diagnostic_for_editor(d: Diagnostic, locate: Locate) -> lsp.Diagnostic:
    """A diagnostic, with all that `check` says of it: what was expected and what to try stand
    in its message, other places beside it."""
    lines = [d.message]
    if d.expected:
        lines.append(f"expected: {d.expected}")
    if d.hint:
        lines.append(f"try: {d.hint}")
    page = page_of(d.code)
    return lsp.Diagnostic(
        locate(d.span).range,
        "\n".join(map(printable, lines)),
        severity=_SEVERITIES[d.severity],
        code=d.code,
        code_description=lsp.CodeDescription(page) if page else None,
        source=SOURCE,
        related_information=[
            lsp.DiagnosticRelatedInformation(locate(span), printable(remark))
            for span, remark in d.related
        ]
        or None,
    )


@cache
def page_of(code: str) -> str | None:
    """The address of the page on a code, as `bellcrank explain` prints it, which is written into
    the user's cache folder the first time; None where that cannot be."""
    explanation = explained(code)
    if explanation is None:
        return None
    text = as_text(explanation)
    folder = platformdirs.user_cache_path("bellcrank", appauthor=False) / f"errors-{__version__}"
    page = folder / f"{code}.txt"
    with suppress(OSError):
        if not page.is_file() or page.read_text("utf-8") != text:
            _write(page, text)
        return page.as_uri()
    return None


def _write(page: Path, text: str) -> None:
    """Write a page whole: whoever reads meanwhile finds the old one or the new."""
    page.parent.mkdir(parents=True, exist_ok=True)
    own = page.with_suffix(f".{os.getpid()}")
    try:
        own.write_text(text, "utf-8")
        own.replace(page)
    finally:
        own.unlink(missing_ok=True)
