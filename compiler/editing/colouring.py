"""What each word of a text is, for an editor that colours them (semantic tokens)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache

from bellcrank.editing.names import Names, Occurrence, Role, Thing
from bellcrank.editing.texts import Text
from bellcrank.syntax.grammar_tables import layout_parser

TYPES = (
    "keyword",
    "comment",
    "string",
    "number",
    "type",
    "class",
    "variable",
    "event",
    "namespace",
    "struct",
    "function",
    "interface",
    "property",
    "method",
    "enumMember",
)
"""Token types, by the names that the protocol has for them; each is known by its place here."""

MODIFIERS = ("declaration",)

_THINGS = {
    "fitting": "class",
    "piece of track": "variable",
    "signal": "event",
    "repeater": "event",
    "edge": "namespace",
    "section": "struct",
    "route": "function",
    "kind of decoder": "type",
    "kind of detector": "type",
    "decoder": "interface",
    "detector": "interface",
    "supply": "interface",
    "district": "interface",
    "output": "interface",
}

_ROLES = {
    Role.LEG: "property",
    Role.PART: "method",
    Role.POSITION: "enumMember",
    Role.ASPECT: "enumMember",
    Role.NUMBER: "number",
    Role.TEXT: "string",
    Role.WORD: "enumMember",
    Role.KIND: "type",
}

_TOKEN = re.compile(r'"[^"\n]*"|#[^\n\r]*|\w+')


@cache
def keywords() -> frozenset[str]:
    """All words of the language."""
    found = (str(each.pattern.value).removesuffix(r"\b") for each in layout_parser().terminals)
    return frozenset(word for word in found if word.isalpha())


def coloured(file: str, names: Names, text: Text) -> list[int]:
    """The tokens of a file, each as five numbers: lines and columns since the one before, its
    length, its type and its modifiers (Language Server Protocol 3.17, "Semantic Tokens")."""
    data: list[int] = []
    row = column = 0
    for start, end, kind, declared in _tokens(file, names, text):
        place = text.range(start, end)
        lines = place.start.line - row
        columns = place.start.character - (column if lines == 0 else 0)
        length = place.end.character - place.start.character
        data += [lines, columns, length, TYPES.index(kind), int(declared)]
        row, column = place.start.line, place.start.character
    return data


def _tokens(file: str, names: Names, text: Text) -> Iterator[tuple[int, int, str, bool]]:
    known = {text.stretch(o.span)[0]: o for o in names.of_file(file)}
    upto = 0
    for match in _TOKEN.finditer(text.text):
        start, end = match.span()
        if start < upto:
            continue
        occurrence = known.get(start)
        if match.group().startswith("#"):
            kind = "comment"
        elif occurrence is not None:
            kind = _type(occurrence, names)
            end = text.stretch(occurrence.span)[1]
        elif match.group().startswith('"'):
            kind = "string"
        elif match.group() in keywords():
            kind = "keyword"
        else:
            continue  # of a line that cannot be read
        upto = end
        yield start, end, kind, bool(occurrence and occurrence.declared)


def _type(o: Occurrence, names: Names) -> str:
    if isinstance(o.meaning, Thing):
        declared = o.declared or next((d.declared for d in names.declared(o.meaning)), None)
        return _THINGS.get(declared or "", "variable")
    return _ROLES.get(o.role, "variable")
