"""The grammar for editors that read tree-sitter grammars, made from the grammar of the language.

Tree-sitter's own file format is a JSON of rules (its documentation, "Grammar schema"). Both
grammars are read with one sign ahead, so the rules are taken over as they stand. What differs:

- an alternative with a name of its own becomes a rule, and the rule that it was in is hidden;
- a number with its unit is two signs, as a regular expression of tree-sitter cannot look ahead;
- keywords match whole words because `word` is named as what they are made of. Where no keyword can
  stand they are names; the tables of the language, LALR(1), at times expect a keyword there that is
  then refused, so that a few texts are taken here and not there (`a b with c with d`).
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from importlib import resources
from typing import Any

from lark.grammar import NonTerminal, Terminal
from lark.lexer import Token
from lark.load_grammar import load_grammar
from lark.tree import Tree

Rule = dict[str, Any]

_BLANK: Rule = {"type": "BLANK"}

# As in the grammar of the language, where such a sign may end a line that goes on in the next.
_ENDS_OF_LINES = r"([ \t]*(#[^\n]*)?\r?\n)*"

_PATTERNS: Mapping[str, str] = {
    "word": r"[\p{L}\p{N}_]+",
    "string": r'"[^"\n]*"',
    "_number": r"[0-9]+(\.[0-9]+)?",
    "_comma": "," + _ENDS_OF_LINES,
    "_dash": "[-–—]" + _ENDS_OF_LINES,
    "_nl": r"\r?\n",
    "comment": r"#[^\n]*",
}

_QUANTITY = "quantity"
"""What an amount and a duration are."""

_NAMED: Mapping[str, str] = {
    "WORD": "word",
    "STRING": "string",
    "AMOUNT": _QUANTITY,
    "DURATION": _QUANTITY,
    "_COMMA": "_comma",
    "_DASH": "_dash",
    "_NL": "_nl",
}


def tree_sitter_grammar() -> Rule:
    """The grammar, as tree-sitter reads it."""
    text = resources.files("bellcrank.grammar").joinpath("layout.lark").read_text("utf-8")
    grammar, _ = load_grammar(text, "layout.lark", [], True)
    return {
        "name": "crank",
        "word": "word",
        "rules": _Rules(grammar.rule_defs, grammar.term_defs).made(),
        "extras": [_symbol("comment"), _pattern(r"[ \t\r]+")],
        "conflicts": [],
        "precedences": [],
        "externals": [],
        "inline": [],
        "supertypes": [],
    }


def words_with_a_node(grammar: Rule) -> dict[str, str]:
    """Words that are all there is to a rule and stand nowhere else: in the tree they go by the name
    of the rule, which is given for each."""
    found = list(_strings(list(grammar["rules"].values())))
    return {
        rule["value"]: name
        for name, rule in grammar["rules"].items()
        if rule["type"] == "STRING" and found.count(rule["value"]) == 1
    }


def _strings(rules: list[Rule]) -> Iterator[str]:
    for rule in rules:
        if rule["type"] == "STRING":
            yield rule["value"]
        yield from _strings(rule.get("members", []))
        if "content" in rule:
            yield from _strings([rule["content"]])


class _Rules:
    """The rules of the language, turned into those of tree-sitter.

    rules: with their trees, in which a question mark or an underscore before the name hides
    them. terminals: with theirs.
    """

    def __init__(self, rules: Any, terminals: Any) -> None:
        self.rules = {str(name): (tree, options) for name, _, tree, options in rules}
        self.words = {
            str(name): json.loads(literal.children[0])
            for name, (tree, _) in terminals
            if (literal := next(tree.find_data("literal"), None)) is not None
            and isinstance(literal.children[0], Token)
            and literal.children[0].type == "STRING"
        }

    def made(self) -> dict[str, Rule]:
        found: dict[str, Rule] = {}
        for name, (tree, _) in self.rules.items():
            choices: list[Rule] = []
            for alternative in tree.children:
                if alternative.data == "alias":
                    what, called = alternative.children
                    choices.append(_symbol(str(called.name)))
                    _add(found, str(called.name), self._rule(what))
                else:
                    choices.append(self._rule(alternative))
            _add(found, self._called(name), _choice(choices))
        quantity = _sequence([_symbol("_number"), _choice([_unit(), _BLANK])])
        # A word behind a number is its unit, wherever it could be something else as well.
        found[_QUANTITY] = {"type": "PREC_RIGHT", "value": 0, "content": quantity}
        for name, pattern in _PATTERNS.items():
            found[name] = _pattern(pattern)
        return found

    def _called(self, name: str) -> str:
        """What a rule is called: hidden, if nothing of its own shows in the tree."""
        tree, options = self.rules[name]
        hidden = options.expand1 or any(a.data == "alias" for a in tree.children)
        return name if name.startswith("_") or not hidden else f"_{name}"

    def _rule(self, tree: Any) -> Rule:
        match tree.data:
            case "expansions":
                return _choice([self._rule(child) for child in tree.children])
            case "expansion":
                return _sequence([self._rule(child) for child in tree.children])
            case "maybe":
                return _choice([*(self._rule(child) for child in tree.children), _BLANK])
            case "expr":
                what, sign = tree.children
                return _repeated(self._rule(what), str(sign))
            case "value":
                return self._value(tree.children[0])
        raise ValueError(f"a rule of the language has {tree.data}, which is not known here")

    def _value(self, value: Any) -> Rule:
        match value:
            case NonTerminal(name=name):
                return _symbol(self._called(str(name)))
            case Terminal(name=name):
                if name in self.words:
                    return _string(self.words[name])
                return _symbol(_NAMED[name])
            case Tree(data="literal"):
                return _string(json.loads(str(value.children[0])))
        raise ValueError(f"a rule of the language has {value}, which is not known here")


def _add(found: dict[str, Rule], name: str, rule: Rule) -> None:
    """One more alternative of a rule."""
    found[name] = _choice([found[name], rule]) if name in found else rule


def _symbol(name: str) -> Rule:
    return {"type": "SYMBOL", "name": name}


def _string(value: str) -> Rule:
    return {"type": "STRING", "value": value}


def _pattern(value: str) -> Rule:
    return {"type": "PATTERN", "value": value}


def _unit() -> Rule:
    return {"type": "ALIAS", "content": _symbol("word"), "named": True, "value": "unit"}


def _sequence(members: list[Rule]) -> Rule:
    return members[0] if len(members) == 1 else {"type": "SEQ", "members": members}


def _choice(members: list[Rule]) -> Rule:
    return members[0] if len(members) == 1 else {"type": "CHOICE", "members": members}


def _repeated(what: Rule, sign: str) -> Rule:
    match sign:
        case "?":
            return _choice([what, _BLANK])
        case "+":
            return {"type": "REPEAT1", "content": what}
    return {"type": "REPEAT", "content": what}
