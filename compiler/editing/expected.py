"""What may stand at a place in a text that is being written, by the grammar.

What stands before the place in its statement is given to the parser, whose tables then say which
keywords may follow (LALR parsing, "viable prefix"). Where a name may follow, a word is put there
and the statement is brought to an end in the shortest way that the grammar allows; the node and
the field in which the word lies in the tree of that statement say what the name would be of.
Blocks may be long and hold lines that cannot be read, so a line in a block is tried behind its head
alone; only of a fitting do the lines before it say which legs and drives there are.
"""

from __future__ import annotations

import re
from collections import deque
from dataclasses import dataclass, fields
from functools import cache
from typing import Any

from lark import Token, UnexpectedInput
from lark.exceptions import LarkError
from lark.parsers.lalr_interactive_parser import InteractiveParser

from bellcrank.diagnostics import Collector
from bellcrank.editing.names import ROLES
from bellcrank.syntax import tree as t
from bellcrank.syntax.build_tree import Builder
from bellcrank.syntax.chunks import TEXT_OR_COMMENT
from bellcrank.syntax.grammar_tables import layout_parser

MOST_STEPS = 500
"""Continuations of a statement that are tried."""

_HERE = "_here_"
"""The word that stands for what is asked for. The tree that it is in is thrown away."""

_VALUES = {
    "WORD": "x",
    "STRING": '"x"',
    "DURATION": "1 ms",
    "AMOUNT": "1 A",
    "_COMMA": ",",
    "_DASH": "-",
    "_NL": "\n",
}
"""What is put for terminals that are no keywords."""

_BLOCK = re.compile(
    r"\s*(fitting\b[^{]*|(?:supply|district|(?:decoder|detector)\s+kind)\s+\w+\s*"
    r"|locking\s+(?:written|derive)\s*)\{"
)


@dataclass(frozen=True, slots=True)
class Slot:
    """Where a name may stand. way: the nodes round it and its own, the outermost first.
    field: the field of the last in which it is. before: words of the same list before it."""

    way: tuple[t.Node, ...]
    field: str
    before: tuple[str, ...] = ()

    @property
    def node(self) -> t.Node:
        return self.way[-1]

    @property
    def key(self) -> tuple[type[t.Node], str]:
        return type(self.node), self.field


@dataclass(frozen=True, slots=True)
class Expected:
    """What may stand at a place: keywords, and perhaps a name. begins: whether it is the start
    of a statement."""

    keywords: tuple[str, ...]
    slot: Slot | None
    begins: bool = False


def expected_after(before: str) -> Expected | None:
    """What may follow in a file; None if what stands before it in its statement has an error.

    before: the text of the file up to the place, without the word that is being written.
    """
    row = before.rsplit("\n", 1)[-1]
    if len(_without_comment(row)) < len(row):
        return None  # in a comment nothing is expected
    head, above, lines = _statement(before)
    state = _fed(head + above + lines) if head.lstrip().startswith("fitting") else None
    state = state or _fed(head + lines)
    if state is None:
        return None
    keywords = sorted(word for name in state.accepts() if (word := _keyword(name)))
    begins = not (head + lines).strip()
    return Expected(tuple(keywords), _slot(state), begins)


def _statement(before: str) -> tuple[str, str, str]:
    """The head of the block that the place is in, if it is in one, the lines of the block before,
    and the place's own line, with those before that go on in it."""
    codes = [_without_comment(row) for row in before.split("\n")]
    first = len(codes) - 1
    while first > 0 and re.search(r"[,\-–—]\s*$", codes[first - 1]):
        first -= 1
    lines = "\n".join(codes[first:])
    for row in range(first - 1, -1, -1):
        opened = _BLOCK.match(codes[row])
        inside = "\n".join([codes[row][opened.end() if opened else 0 :], *codes[row + 1 : first]])
        if "}" in (inside if opened else codes[row]):
            break
        if opened:
            return opened.group() + "\n", inside.lstrip("\n") + "\n", lines
        if codes[row].strip() and codes[row][0] not in " \t" and "{" not in codes[row]:
            break
    return "", "", lines


def _without_comment(row: str) -> str:
    return TEXT_OR_COMMENT.sub(lambda m: "" if m.group().startswith("#") else m.group(), row)


def _fed(text: str) -> InteractiveParser | None:
    """The parser after a text; None if it has an error."""
    try:
        state = layout_parser().parse_interactive(text, start="statement")
        state.exhaust_lexer()
    except (UnexpectedInput, LarkError):
        return None
    return state


def _keyword(terminal: str) -> str | None:
    pattern = layout_parser().get_terminal(terminal).pattern.value if terminal != "$END" else ""
    word = str(pattern).removesuffix(r"\b")
    return word if word.isalpha() and terminal not in _VALUES else None


def _slot(state: InteractiveParser) -> Slot | None:
    """Where in a statement a name would stand that comes next."""
    start = _after(state, "WORD", _HERE)
    if start is None:
        return None
    waiting = deque([start])
    steps = 0
    while waiting:
        at = waiting.popleft()
        tree = _tree(at)
        if tree is not None:
            found = _find(tree)
            if found is not None:
                return found
            continue
        for terminal in sorted(_terminals().intersection(at.choices()), key=_likely):
            steps += 1
            if steps > MOST_STEPS:
                return None
            following = _after(at, terminal, _value(terminal))
            if following is not None:
                waiting.append(following)
    return None


def _likely(terminal: str) -> tuple[bool, str]:
    return (terminal not in ("WORD", "RBRACE"), terminal)


@cache
def _terminals() -> frozenset[str]:
    """What can stand in a text, apart from its end; the tables name rules as well."""
    return frozenset(each.name for each in layout_parser().terminals)


def _value(terminal: str) -> str:
    pattern = str(layout_parser().get_terminal(terminal).pattern.value)
    return _VALUES.get(terminal) or pattern.removesuffix(r"\b")


def _after(state: InteractiveParser, terminal: str, value: str) -> InteractiveParser | None:
    """The parser after one more word; None if that cannot come."""
    following: InteractiveParser = state.copy(deepcopy_values=False)
    try:
        following.feed_token(_token(terminal, value))
    except (UnexpectedInput, LarkError, KeyError):
        return None
    return following


def _tree(state: InteractiveParser) -> Any:
    """The tree of a statement that may end here; None if it may not."""
    try:
        return state.copy(deepcopy_values=False).feed_token(_token("$END", ""))
    except (UnexpectedInput, LarkError, KeyError):
        return None


def _token(terminal: str, value: str) -> Token:
    return Token(terminal, value, 0, 1, 1, 1, 1 + len(value))


def _find(tree: Any) -> Slot | None:
    try:
        statement = Builder("", 0, Collector()).transform(tree)
    except LarkError:
        return None
    return _in(statement, (statement,)) if isinstance(statement, t.Node) else None


def _in(node: t.Node, way: tuple[t.Node, ...]) -> Slot | None:
    for field in fields(node):
        value = getattr(node, field.name)
        items = value if isinstance(value, tuple) else (value,)
        for index, each in enumerate(items):
            if isinstance(each, t.Word) and each.text == _HERE:
                if (type(node), field.name) not in ROLES:
                    return None
                before = tuple(w.text for w in items[:index] if isinstance(w, t.Word))
                return Slot(way, field.name, before)
            if isinstance(each, t.Node) and (found := _in(each, (*way, each))):
                return found
    return None
