"""Texts in which a merge has left two versions of the same lines, with markers round them.

Version control programs put them there where both sides changed the same lines (common practice):
`<<<<<<<`, the one version, `=======`, the other, `>>>>>>>`.
"""

from __future__ import annotations

import re

from bellcrank.diagnostics import Collector, Span

_MARKER = re.compile(r"(<{7}|\|{7}|={7}|>{7})(?:\s.*)?$")


def without_merge_markers(text: str, file: str, found: Collector) -> str:
    """The text with blank lines in place of markers and of all versions but the first; each
    place where there were several is reported."""
    if "<<<<<<<" not in text:
        return text
    rows = text.split("\n")
    within: str | None = None
    for index, row in enumerate(rows):
        marker = _MARKER.match(row)
        sign = marker[1][0] if marker else None
        if sign == "<":
            _report(Span(file, index + 1, 1, index + 1, 8), found)
        if sign is not None and (sign == "<" or within is not None):
            within = None if sign == ">" else sign
            rows[index] = ""
        elif within in ("|", "="):
            rows[index] = ""
    return "\n".join(rows)


def _report(place: Span, found: Collector) -> None:
    found.report(
        "E109",
        "here stand two versions of the same lines, as a merge has left them",
        place,
        hint="keep one of them, and take out the lines that begin with `<<<<<<<`, `=======` "
        "and `>>>>>>>`",
    )
