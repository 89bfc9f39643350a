"""The pages behind `bellcrank explain`: one for each diagnostic code.

The texts are data, in error_pages.toml, each with a layout that brings the
diagnostic about; the tests hold every example to its code.
"""

from __future__ import annotations

import textwrap
import tomllib
from functools import cache
from importlib import resources
from typing import Any


@cache
def pages() -> dict[str, dict[str, Any]]:
    """All pages by code: `title`, `text`, and `example` or `files`."""
    text = resources.files("bellcrank").joinpath("error_pages.toml").read_text("utf-8")
    return tomllib.loads(text)


def known_codes() -> dict[str, str]:
    """Every code and its title."""
    return {code: page["title"] for code, page in sorted(pages().items())}


def explain(code: str) -> str | None:
    """The page of one code as text, or None if there is no such code."""
    page = pages().get(code)
    if page is None:
        return None
    parts = [f"{code}: {page['title']}"]
    parts += [textwrap.fill(" ".join(p.split()), 80) for p in page["text"].split("\n\n")]
    if "example" in page:
        parts.append("For example:\n\n" + textwrap.indent(page["example"].strip("\n"), "    "))
    return "\n\n".join(parts)
