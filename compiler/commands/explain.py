"""The command `explain`: the page behind an error code, a word of a verdict, or what it assumes."""

from __future__ import annotations

from collections.abc import Sequence

from bellcrank.commands.exit_statuses import PROVED, fail
from bellcrank.diagnostics import did_you_mean
from bellcrank.diagnostics.error_pages import known_codes
from bellcrank.diagnostics.explained import (
    Page,
    as_text,
    assumption_pages,
    explained,
    verdict_words,
)


def explain_code(code: Sequence[str]) -> int:
    """Run the command; returns the exit status. code: the words of what is asked for, or none."""
    if not code:
        _list_all()
        return PROVED
    asked = " ".join(code)
    page = _page(asked)
    if page is None:
        hint = did_you_mean(asked, [*known_codes(), *verdict_words(), *assumption_pages()])
        said = f"; {hint}" if hint else ""
        return fail(f"there is no error {asked}{said}; `bellcrank explain` lists all there are")
    print(as_text(page))
    return PROVED


def _page(asked: str) -> Page | None:
    word = asked.casefold()
    return (
        verdict_words().get(word)
        or assumption_pages().get(word)
        or explained(asked.upper())
        or explained(f"E{asked}")
    )


def _list_all() -> None:
    for known, title in known_codes().items():
        print(f"{known}  {title}")
    print("\nwords of a verdict:")
    for word, about in verdict_words().items():
        print(f"{word:9}  {about.title}")
    print("\nwhat a verdict assumes:")
    for name in assumption_pages():
        print(name)
