"""The command `explain`: the page behind an error code, or a word of a verdict."""

from __future__ import annotations

from bellcrank.commands.exit_statuses import PROVED, fail
from bellcrank.diagnostics import did_you_mean
from bellcrank.diagnostics.error_pages import known_codes
from bellcrank.diagnostics.explained import as_text, explained, verdict_words


def explain_code(code: str | None) -> int:
    """Run the command; returns the exit status."""
    if code is None:
        for known, title in known_codes().items():
            print(f"{known}  {title}")
        print("\nwords of a verdict:")
        for word, about in verdict_words().items():
            print(f"{word:9}  {about.title}")
        return PROVED
    page = verdict_words().get(code.casefold()) or explained(code.upper()) or explained(f"E{code}")
    if page is None:
        hint = did_you_mean(code, [*known_codes(), *verdict_words()])
        said = f"; {hint}" if hint else ""
        return fail(f"there is no error {code}{said}; `bellcrank explain` lists all there are")
    print(as_text(page))
    return PROVED
