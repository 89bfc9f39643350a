"""What is known of each diagnostic code: its page, its stage, and how grave it is.

All of it is data, in error_pages.toml, each page with a layout that brings the diagnostic
about and the same put right; the tests hold every example to its code and to its stage.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, Literal

Stage = Literal["text", "layout", "hardware", "routes", "locking", "picture", "script", "events"]
"""What a diagnostic is about, in the order in which a source is read. `events`: the file beside
a layout that says which event of the layout bus means what."""

Severity = Literal["error", "warning"]


@dataclass(frozen=True, slots=True)
class Kind:
    """What all diagnostics of one code have in common.

    stage: the stage that reports the example on its page; a few others may as well.
    follows: the stages an error in which can bring it about, although nothing is wrong
        where it stands.
    """

    stage: Stage
    severity: Severity
    follows: frozenset[Stage]


@cache
def pages() -> dict[str, dict[str, Any]]:
    """All pages by code, as they stand in error_pages.toml."""
    text = resources.files("bellcrank.diagnostics").joinpath("error_pages.toml").read_text("utf-8")
    return tomllib.loads(text)


@cache
def kind_of(code: str) -> Kind:
    """What the table says of a code, which must be in it."""
    page = pages()[code]
    return Kind(page["stage"], page["severity"], frozenset(page.get("follows", ())))


def known_codes() -> dict[str, str]:
    """Every code and its title."""
    return {code: page["title"] for code, page in sorted(pages().items())}
