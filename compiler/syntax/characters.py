"""Characters that no source may hold, because people and programs read them differently.

Control codes could make a terminal show what is not there. With line ends on which editors
disagree, one reader sees a line begin where another sees a remark go on. Bidirectional
controls show a line in another order than it is read in ("Trojan Source": Boucher and
Anderson 2021, CVE-2021-42574; Unicode Technical Standard 55).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from bellcrank.diagnostics import Collector, Instead, Span

# "\r" is taken for part of the line end where it stands before "\n", or last in a row.
# Line ends are those of Unicode Standard Annex 14, directions those of Annex 9.
_UNWANTED = re.compile(
    "(?P<line_end>\r(?!\n|\\Z)|[\x0b\x0c\x85\u2028\u2029])"
    "|(?P<direction>[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069])"
    "|[\x00-\x08\x0e-\x1f\x7f-\x9f]"
)


def without_unwanted(text: str, file: str, found: Collector, most: int, first_line: int = 1) -> str:
    """The text with a blank in place of each character that no source may hold.

    The first of each line is reported, up to so many in all.
    first_line: the number of the first line of the text in its file.
    """
    if _UNWANTED.search(text) is None:
        return text
    for row, match in _first_of_rows(text):
        _report(match, Span(file, first_line + row, match.start() + 1, first_line + row,
                            match.start() + 2), found)  # fmt: skip
        if len(found.diagnostics) >= most:
            break
    return _UNWANTED.sub(" ", text)


def holds_disputed_line_end(text: str) -> bool:
    """Whether some programs would see more lines in a text than others."""
    return any(match.lastgroup == "line_end" for match in _UNWANTED.finditer(text))


def _first_of_rows(text: str) -> Iterator[tuple[int, re.Match[str]]]:
    for row, line in enumerate(text.split("\n")):
        match = _UNWANTED.search(line)
        if match is not None:
            yield row, match


def _report(match: re.Match[str], span: Span, found: Collector) -> None:
    sign = f"U+{ord(match.group()):04X}"
    if match.lastgroup is None:
        found.report(
            "E106",
            f"here stands a control code, {sign}, which cannot be seen",
            span,
            hint=Instead(match.group(), "", "take it out"),
        )
        return
    what = (
        "at which some programs begin a new line and others do not"
        if match.lastgroup == "line_end"
        else "which cannot be seen and changes the order in which the line is shown"
    )
    found.report(
        "E108", f"here stands {sign}, {what}", span, hint=Instead(match.group(), "", "take it out")
    )
