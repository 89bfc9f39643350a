"""What templates can do to a value: rows of CSV, JSON, picking from a mapping."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping


def csv_row(values: Iterable[object]) -> str:
    """One row of CSV (RFC 4180), its line end included.

    None is an empty field; a list is one field, its items parted by "; ".
    """
    buffer = io.StringIO()
    csv.writer(buffer).writerow(
        "; ".join(map(str, v)) if isinstance(v, list | tuple) else v for v in values
    )
    return buffer.getvalue()


def pick(names: Iterable[str], mapping: Mapping[str, object]) -> list[object]:
    """What a mapping holds for each name; None where it holds nothing."""
    return [mapping.get(name) for name in names]


def keyed(items: Iterable[Mapping[str, object]], *fields: str) -> dict[str, int]:
    """The place in a list of each of its items, from 0, by some of their fields with a
    blank between. Of several items with the same fields it is the first."""
    places: dict[str, int] = {}
    for place, item in enumerate(items):
        places.setdefault(" ".join(str(item[field]) for field in fields), place)
    return places


def compact(value: object) -> str:
    """A value as JSON on one line."""
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


LINE = 120
"""As wide as a line of JSON gets, unless it is a single value with its name."""

_INDENT = " "
_scalar = json.JSONEncoder(ensure_ascii=False).encode


def json_text(value: object) -> str:
    """A value as JSON, in the order of its fields. What is short stands on one line;
    of what is not, each item or field begins a line of its own."""
    return _json(value, 0, 0)


def _json(value: object, depth: int, before: int) -> str:
    """A value as JSON.

    depth: how many values it stands in. before: how much of its line is taken up.
    """
    if not isinstance(value, dict | list | tuple) or not value:
        return _scalar(value)
    if isinstance(value, dict):
        opening, closing = "{", "}"
        named = [(f"{_scalar(str(key))}: ", inner) for key, inner in value.items()]
    else:
        opening, closing = "[", "]"
        named = [("", inner) for inner in value]
    indent = _INDENT * (depth + 1)
    items = [name + _json(inner, depth + 1, len(indent) + len(name)) for name, inner in named]
    # The comma that may follow is counted too.
    length = before + sum(map(len, items)) + 2 * len(items) + 1
    if length <= LINE and not any("\n" in item for item in items):
        return f"{opening}{', '.join(items)}{closing}"
    lines = f",\n{indent}".join(items)
    return f"{opening}\n{indent}{lines}\n{_INDENT * depth}{closing}"


def css_text(text: object) -> str:
    """A text to stand between the quotes of a string in CSS, within a page of HTML.

    All but plain letters and digits become escapes (CSS Syntax Level 3, section 4.3.7),
    so nothing in it can end the string or the style.
    """
    return "".join(
        sign if sign.isascii() and sign.isalnum() else f"\\{ord(sign):x} " for sign in str(text)
    )
