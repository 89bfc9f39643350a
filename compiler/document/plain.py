"""The document as plain data, for templates and for JSON."""

from __future__ import annotations

import msgspec

from bellcrank.document.part import Part

Data = dict[str, object]
"""A mapping from the names of fields to plain values."""


def plain(part: Part) -> Data:
    """A part of the document as plain data; a part that was not made is not in it."""
    found: Data = msgspec.to_builtins(part)
    return found
