"""Colours for the language where no server runs: a lexer for Pygments, a TextMate grammar, a syntax
definition for Kate, a grammar for tree-sitter with its query. All take their keywords from the
grammar of the language.

`python -m bellcrank.editing.highlighting grammar/editors` writes all but the first anew below a
folder; a test fails while they are not what this module gives.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any, ClassVar
from xml.sax.saxutils import escape

from pygments.lexer import RegexLexer, bygroups, words
from pygments.token import Comment, Keyword, Name, Number, Operator, Punctuation, String, Text

from bellcrank.editing.colouring import keywords
from bellcrank.editing.tree_sitter_grammar import tree_sitter_grammar, words_with_a_node
from bellcrank.syntax.parse import LINE_STARTERS

UNITS = ("ms", "s", "min", "mA", "A", "V", "mF", "uF", "µF", "ohm", "mm", "cm", "m")
"""Units that stand behind a number."""

_LEADERS = sorted(LINE_STARTERS)
_OTHERS = sorted(keywords() - LINE_STARTERS)
_UNIT = "|".join(sorted(UNITS, key=len, reverse=True))
_NUMBER = rf"\b\d+(?:\.\d+)?(?:[ \t]*(?:{_UNIT})\b)?(?!\w)"


class CrankLexer(RegexLexer):  # type: ignore[misc]
    """Layouts of Bellcrank, files ending in .crank."""

    name = "Crank"
    aliases: ClassVar[list[str]] = ["crank"]
    filenames: ClassVar[list[str]] = ["*.crank"]
    tokens: ClassVar[dict[str, list[Any]]] = {
        "root": [
            (r"\s+", Text.Whitespace),
            (r"#[^\n]*", Comment.Single),
            (r'"[^"\n]*"', String.Double),
            (r"([<>])(\w+)", bygroups(Operator, Name.Label)),
            (r"(\w+)(\.)(\w+)", bygroups(Name.Variable, Punctuation, Name.Attribute)),
            (_NUMBER, Number),
            (words(_LEADERS, prefix=r"\b", suffix=r"\b"), Keyword.Declaration),
            (words(_OTHERS, prefix=r"\b", suffix=r"\b"), Keyword),
            (r"\w+", Name.Variable),
            (r"[-–—=]", Operator),
            (r"[{},.<>]", Punctuation),
            (r".", Text),
        ]
    }


def textmate() -> dict[str, Any]:
    """The grammar for editors that read TextMate grammars; its patterns are tried in this order."""
    return {
        "name": "Crank",
        "scopeName": "source.crank",
        "fileTypes": ["crank"],
        "patterns": [
            {"name": "comment.line.number-sign.crank", "match": "#.*$"},
            {"name": "string.quoted.double.crank", "match": '"[^"]*"'},
            {
                "match": r"([<>])(\w+)",
                "captures": {
                    "1": {"name": "keyword.operator.crank"},
                    "2": {"name": "entity.name.label.crank"},
                },
            },
            {
                "match": r"\b(\w+)\.(\w+)\b",
                "captures": {
                    "1": {"name": "variable.other.crank"},
                    "2": {"name": "variable.other.member.crank"},
                },
            },
            {"name": "constant.numeric.crank", "match": _NUMBER},
            {"name": "storage.type.crank", "match": rf"\b(?:{'|'.join(_LEADERS)})\b"},
            {"name": "keyword.other.crank", "match": rf"\b(?:{'|'.join(_OTHERS)})\b"},
            {"name": "keyword.operator.crank", "match": "[-–—=]"},
        ],
    }


def kate() -> str:
    """The syntax definition for Kate, which has its language servers by the names of these."""

    def listed(name: str, items: list[str]) -> str:
        rows = "".join(f"<item>{escape(item)}</item>" for item in items)
        return f'    <list name="{name}">{rows}</list>\n'

    return f"""<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE language>
<language name="Crank" section="Other" extensions="*.crank" version="1" kateversion="5.0">
  <highlighting>
{listed("leaders", _LEADERS)}{listed("words", _OTHERS)}    <contexts>
      <context name="line" attribute="plain" lineEndContext="#stay">
        <DetectChar char="#" attribute="comment" context="comment"/>
        <RangeDetect char="&quot;" char1="&quot;" attribute="text" context="#stay"/>
        <keyword String="leaders" attribute="leader" context="#stay"/>
        <keyword String="words" attribute="word" context="#stay"/>
        <RegExpr String="\\b[0-9]+\\b" attribute="number" context="#stay"/>
        <RegExpr String="[&lt;&gt;]\\w+" attribute="signal" context="#stay"/>
      </context>
      <context name="comment" attribute="comment" lineEndContext="#pop"/>
    </contexts>
    <itemDatas>
      <itemData name="plain" defStyleNum="dsNormal"/>
      <itemData name="leader" defStyleNum="dsKeyword"/>
      <itemData name="word" defStyleNum="dsControlFlow"/>
      <itemData name="text" defStyleNum="dsString"/>
      <itemData name="number" defStyleNum="dsDecVal"/>
      <itemData name="signal" defStyleNum="dsVariable"/>
      <itemData name="comment" defStyleNum="dsComment"/>
    </itemDatas>
  </highlighting>
  <general>
    <comments><comment name="singleLine" start="#"/></comments>
    <keywords casesensitive="1"/>
  </general>
</language>
"""


def highlights() -> str:
    """The query by which an editor with a tree of tree-sitter colours it; of several captures of a
    word the last counts."""

    nodes = words_with_a_node(tree_sitter_grammar())

    def listed(words: list[str]) -> str:
        return f"[{' '.join(f'({nodes[w]})' if w in nodes else json.dumps(w) for w in words)}]"

    return f"""; Written by `python -m bellcrank.editing.highlighting grammar/editors`.
(word) @variable
(comment) @comment
(string) @string
(quantity) @number
(unit) @type
((word) @number (#match? @number "^[0-9]+$"))
(leg (word) (word) @property)
(signal_rightwards (word) @label)
(signal_leftwards (word) @label)
{listed(_OTHERS)} @keyword
{listed(_LEADERS)} @keyword
["=" "<" ">"] @operator
["{{" "}}"] @punctuation.bracket
"." @punctuation.delimiter
"""


def files() -> dict[str, str]:
    """What is written, by its path below the folder of editors."""

    def as_json(data: dict[str, Any]) -> str:
        return json.dumps(data, indent=2, ensure_ascii=False) + "\n"

    return {
        "vscode/syntaxes/crank.tmLanguage.json": as_json(textmate()),
        "kate/crank.xml": kate(),
        "tree-sitter/src/grammar.json": as_json(tree_sitter_grammar()),
        "tree-sitter/queries/highlights.scm": highlights(),
    }


def main(folder: Path) -> None:
    for name, text in files().items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, "utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
