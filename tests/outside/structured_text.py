"""A small interpreter of Structured Text, after IEC 61131-3 and not after our template.

Grammar and meaning follow the standard, second edition; its sections stand beside the
rules (their numbers are from memory). It knows what a function block of INT, BOOL and TIME
needs: declarations with initial values, constants, arrays of one dimension, on-delay timers,
assignment, IF, CASE, WHILE, expressions. The clock is whatever the caller says it is.
It is strict: names are the same in big and small letters and must be declared once,
types must fit, inputs and constants are not assigned to.

Nothing of the compiler is used here.
"""

from __future__ import annotations

import copy
import operator
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from lark import Lark, Token, Tree, UnexpectedInput

__all__ = ["Block", "Memory", "NotValidError", "UnexpectedInput", "read"]

GRAMMAR = r"""
// Annex B.1.5.2, function blocks; B.1.4.3, declaration and initialization
function_block: "FUNCTION_BLOCK"i IDENTIFIER declarations* statement_list "END_FUNCTION_BLOCK"i
?declarations: inputs | outputs | constants | internals
inputs: "VAR_INPUT"i (declaration ";")+ "END_VAR"i
outputs: "VAR_OUTPUT"i (declaration ";")+ "END_VAR"i
constants: "VAR"i "CONSTANT"i (declaration ";")+ "END_VAR"i
internals: "VAR"i (_own ";")+ "END_VAR"i
_own: declaration | array | timer
declaration: IDENTIFIER ":" TYPE [":=" constant]
array: IDENTIFIER ":" "ARRAY"i "[" INTEGER ".." INTEGER "]" "OF"i TYPE
timer: IDENTIFIER ":" TON

// B.3.2, statements: assignment, 3.2.1; invocation, 3.2.2; selection, 3.2.3; iteration, 3.2.4
statement_list: (_statement? ";")*
_statement: assignment | element_assignment | invocation | if_statement | case_statement
    | while_statement
assignment: IDENTIFIER ":=" _expression
element_assignment: IDENTIFIER "[" _expression "]" ":=" _expression
invocation: IDENTIFIER "(" given ("," given)* ")"
given: IDENTIFIER ":=" _expression
while_statement: "WHILE"i _expression "DO"i statement_list "END_WHILE"i
if_statement: "IF"i _expression "THEN"i statement_list elsif* otherwise? "END_IF"i
elsif: "ELSIF"i _expression "THEN"i statement_list
otherwise: "ELSE"i statement_list
case_statement: "CASE"i _expression "OF"i case_element+ otherwise? "END_CASE"i
case_element: INTEGER ("," INTEGER)* ":" statement_list

// B.3.1, expressions: what binds loosest stands first
_expression: or_ | _xor
or_: _xor ("OR"i _xor)+
_xor: xor_ | _and
xor_: _and ("XOR"i _and)+
_and: and_ | _comparison
and_: _comparison ("AND"i _comparison)+
_comparison: equal | unequal | _relation
equal: _comparison "=" _relation
unequal: _comparison "<>" _relation
_relation: less | _sum
less: _relation "<" _sum
_sum: add | _unary
add: _sum "+" _unary
_unary: not_ | _primary
not_: "NOT"i _primary
_primary: constant | variable | member | element | "(" _expression ")"
variable: IDENTIFIER
member: IDENTIFIER "." IDENTIFIER
element: IDENTIFIER "[" _expression "]"
constant: INTEGER | DURATION | TRUE | FALSE

// B.1.1, identifiers; B.1.2.1, numbers; B.1.2.3.1, duration; B.1.3.1, elementary types;
// 2.1.5, comments
TRUE.2: "TRUE"i
FALSE.2: "FALSE"i
TYPE.2: /(BOOL|INT|DINT|TIME)\b/i
TON.2: /TON\b/i
DURATION.2: /T#[0-9]+ms\b/i
IDENTIFIER: /(?![A-Za-z0-9_]*__)[A-Za-z_][A-Za-z0-9_]*(?<!_)/
INTEGER: /-?[0-9]+/
COMMENT: /\(\*([^*(]|\*(?!\))|\((?!\*))*\*\)/
%ignore COMMENT
%ignore /[ \t\r\n]+/
"""

KEYWORDS = frozenset(
    """ABS ACTION AND ANY ARRAY AT BOOL BY BYTE CASE CONFIGURATION CONSTANT DATE DINT DO DT DWORD
    ELSE ELSIF END_CASE END_FOR END_FUNCTION END_FUNCTION_BLOCK END_IF END_PROGRAM END_REPEAT
    END_STRUCT END_TYPE END_VAR END_WHILE EN ENO EXIT FALSE FOR FROM FUNCTION FUNCTION_BLOCK IF INT
    INITIAL_STEP LINT LREAL LWORD MOD NOT OF ON OR PROGRAM REAL REPEAT RESOURCE RETAIN RETURN SINT
    STEP STRING STRUCT TASK THEN TIME TO TOD TON TRANSITION TRUE TYPE UDINT UINT ULINT UNTIL USINT
    VAR VAR_ACCESS VAR_EXTERNAL VAR_GLOBAL VAR_INPUT VAR_IN_OUT VAR_OUTPUT WHILE WITH WORD XOR
    """.split()
)
"""Annex C, from memory."""

RANGES = {
    "INT": range(-(2**15), 2**15),
    "DINT": range(-(2**31), 2**31),
    "TIME": range(2**31),  # in milliseconds; how far it goes is left to the implementer
}
"""2.3.1, elementary data types."""

CLOCK = "the clock"
"""No identifier; the time of the present call, in milliseconds."""

Value = int | bool
Memory = dict[str, Any]
Run = Callable[[Memory], None]
Expression = tuple[str, Callable[[Memory], Any]]
"""BOOL, INT or DINT, and how its value is found."""


@dataclass
class OnDelay:
    """TON: 2.5.2.3.4, timers, with the timing diagrams there. Q comes on when IN has been on
    for PT, and goes off with IN."""

    since: int | None = None
    q: bool = False

    def call(self, now: int, on: bool, time: int) -> None:
        if not on:
            self.since, self.q = None, False
            return
        if self.since is None:
            self.since = now
        self.q = now - self.since >= time


class NotValidError(Exception):
    """A text that is not Structured Text, or not of the kind that is known here."""


@dataclass
class Block:
    """A function block; its variables by name in big letters.

    section: whether a variable is an input, an output, a constant or internal.
    arrays: the first and the last place of each array.
    """

    name: str
    types: dict[str, str] = field(default_factory=dict)
    section: dict[str, str] = field(default_factory=dict)
    initial: Memory = field(default_factory=dict)
    arrays: dict[str, range] = field(default_factory=dict)
    body: Run = field(default=lambda memory: None)

    def instance(self) -> Memory:
        return copy.deepcopy(self.initial)

    def call(self, memory: Memory, now: int = 0, **inputs: Value) -> None:
        """2.5.2: inputs that are not given keep their values. now: the time on the clock."""
        memory[CLOCK] = now
        for name, value in inputs.items():
            if self.section.get(name) != "inputs":
                raise NotValidError(f"{name} is no input")
            self.fits(self.types[name], value)
            memory[name] = value
        self.body(memory)

    def fits(self, type_: str, value: Value) -> None:
        good = isinstance(value, bool) if type_ == "BOOL" else value in RANGES[type_]
        if not good or (type_ != "BOOL" and isinstance(value, bool)):
            raise NotValidError(f"{value} is no {type_}")


_PARSER = Lark(GRAMMAR, start="function_block", parser="lalr", maybe_placeholders=True)


def read(text: str) -> Block:
    """The block that a text declares. Raises NotValidError or lark's errors."""
    if not text.isascii():
        code = re.sub(r"\(\*.*?\*\)", "", text, flags=re.S)
        if not code.isascii():
            raise NotValidError("letters that no identifier may have")
    return _Reading().block(_PARSER.parse(text))


class _Reading:
    def __init__(self) -> None:
        self.block_ = Block("")

    def block(self, tree: Tree[Token]) -> Block:
        name, *parts, body = tree.children
        self.block_.name = str(name).upper()
        for part in parts:
            assert isinstance(part, Tree)
            for declaration in part.children:
                match declaration.data:
                    case "array":
                        self.declare_array(declaration)
                    case "timer":
                        self.declare_timer(declaration)
                    case _:
                        self.declare(str(part.data), declaration)
        self.block_.body = self.statements(body)
        return self.block_

    def declare(self, section: str, tree: Any) -> None:
        token, type_token, initial = tree.children
        type_ = str(type_token).upper()
        name = self.named(token, type_, section)
        value: Value = False if type_ == "BOOL" else 0  # 2.4.2: the usual initial values
        if initial is not None:
            value = _literal(initial)
        self.block_.fits(type_, value)
        self.block_.initial[name] = value

    def named(self, token: Any, type_: str, section: str) -> str:
        name = str(token).upper()
        if name in KEYWORDS or name in self.block_.types or name == self.block_.name:
            raise NotValidError(f"{token} is declared already or means something else")
        self.block_.types[name] = type_
        self.block_.section[name] = section
        return name

    def declare_array(self, tree: Any) -> None:
        token, first, last, type_token = tree.children
        name = self.named(token, f"ARRAY OF {type_token.upper()}", "internals")
        places = range(int(first), int(last) + 1)
        if not places:
            raise NotValidError(f"{token} has no places")
        self.block_.arrays[name] = places
        self.block_.initial[name] = [False if type_token.upper() == "BOOL" else 0] * len(places)

    def declare_timer(self, tree: Any) -> None:
        token, _ = tree.children
        self.block_.initial[self.named(token, "TON", "internals")] = OnDelay()

    # ---------------------------------------------------------- statements

    def statements(self, tree: Any) -> Run:
        runs = [getattr(self, child.data)(child) for child in tree.children]
        if len(runs) == 1:
            return runs[0]

        def run(memory: Memory) -> None:
            for each in runs:
                each(memory)

        return run

    def assignment(self, tree: Any) -> Run:
        token, expression = tree.children
        name = str(token).upper()
        if self.block_.section.get(name) not in ("outputs", "internals"):
            raise NotValidError(f"{token} is no variable of the block to be assigned to")
        type_, find = self.expression(expression)
        if type_ != self.block_.types[name]:
            raise NotValidError(f"{token} is no {type_}")

        def run(memory: Memory) -> None:
            memory[name] = value = find(memory)
            if type_ != "BOOL":
                self.block_.fits(type_, value)

        return run

    def element_assignment(self, tree: Any) -> Run:
        token, index, expression = tree.children
        name, type_, place = self.place(token, index)
        found, find = self.expression(expression)
        if found != type_:
            raise NotValidError(f"an element of {token} is no {found}")

        def run(memory: Memory) -> None:
            memory[name][place(memory)] = find(memory)

        return run

    def place(self, token: Any, index: Any) -> tuple[str, str, Callable[[Memory], int]]:
        name = str(token).upper()
        if name not in self.block_.arrays:
            raise NotValidError(f"{token} is no array")
        places = self.block_.arrays[name]
        type_, find = self.expression(index)
        if type_ not in ("INT", "DINT"):
            raise NotValidError(f"{type_} is no place in an array")

        def at(memory: Memory) -> int:
            where = find(memory)
            if where not in places:
                raise NotValidError(f"{token} has no place {where}")
            return places.index(where)

        return name, self.block_.types[name].removeprefix("ARRAY OF "), at

    def invocation(self, tree: Any) -> Run:
        token, *given = tree.children
        name = str(token).upper()
        if self.block_.types.get(name) != "TON":
            raise NotValidError(f"{token} is no timer")
        inputs = {str(g.children[0]).upper(): g.children[1] for g in given}
        if set(inputs) != {"IN", "PT"} or len(given) != 2:
            raise NotValidError(f"{token} needs IN and PT")
        on, time = self.of_type("BOOL", inputs["IN"]), self.of_type("TIME", inputs["PT"])

        def run(memory: Memory) -> None:
            memory[name].call(memory[CLOCK], on(memory), time(memory))

        return run

    def while_statement(self, tree: Any) -> Run:
        condition = self.of_type("BOOL", tree.children[0])
        body = self.statements(tree.children[1])

        def run(memory: Memory) -> None:
            while condition(memory):
                body(memory)

        return run

    def if_statement(self, tree: Any) -> Run:
        condition, then, *rest = tree.children
        branches = [(self.of_type("BOOL", condition), self.statements(then))]
        otherwise: Run = _nothing
        for part in rest:
            if part.data == "elsif":
                condition, then = part.children
                branches.append((self.of_type("BOOL", condition), self.statements(then)))
            else:
                otherwise = self.statements(part.children[0])

        def run(memory: Memory) -> None:
            for test, branch in branches:
                if test(memory):
                    return branch(memory)
            return otherwise(memory)

        return run

    def case_statement(self, tree: Any) -> Run:
        selector, *parts = tree.children
        type_, find = self.expression(selector)
        if type_ == "BOOL":
            raise NotValidError("CASE needs a number")
        by_label: dict[int, Run] = {}
        otherwise: Run = _nothing
        for part in parts:
            if part.data == "otherwise":
                otherwise = self.statements(part.children[0])
                continue
            *labels, then = part.children
            branch = self.statements(then)
            for label in labels:
                self.block_.fits(type_, int(label))
                if by_label.setdefault(int(label), branch) is not branch:
                    raise NotValidError(f"two branches for {label}")

        def run(memory: Memory) -> None:
            by_label.get(find(memory), otherwise)(memory)

        return run

    # --------------------------------------------------------- expressions

    def of_type(self, type_: str, tree: Any) -> Callable[[Memory], Any]:
        found, find = self.expression(tree)
        if found != type_:
            raise NotValidError(f"{found} where {type_} is needed")
        return find

    def expression(self, tree: Any) -> Expression:
        parts = tree.children
        match tree.data:
            case "constant":
                value, (token,) = _literal(tree), parts
                numbers = "TIME" if token.type == "DURATION" else "INT"
                return ("BOOL" if isinstance(value, bool) else numbers), lambda memory: value
            case "variable":
                name = str(parts[0]).upper()
                if name not in self.block_.types:
                    raise NotValidError(f"{parts[0]} is not declared")
                return self.block_.types[name], operator.itemgetter(name)
            case "member":
                name, member = (str(part).upper() for part in parts)
                if self.block_.types.get(name) != "TON" or member != "Q":
                    raise NotValidError(f"{parts[0]}.{parts[1]} is not known")
                return "BOOL", lambda memory: memory[name].q
            case "element":
                name, type_, place = self.place(*parts)
                return type_, lambda memory: memory[name][place(memory)]
            case "add" | "less":
                (one_type, one), (other_type, other) = map(self.expression, parts)
                if one_type != other_type or one_type not in ("INT", "DINT"):
                    raise NotValidError(f"{one_type} and {other_type} are not counted")
                if tree.data == "add":
                    return one_type, lambda memory: one(memory) + other(memory)
                return "BOOL", lambda memory: one(memory) < other(memory)
            case "not_":
                inner = self.of_type("BOOL", parts[0])
                return "BOOL", lambda memory: not inner(memory)
            case "equal" | "unequal":
                (one_type, one), (other_type, other) = map(self.expression, parts)
                if one_type != other_type:
                    raise NotValidError(f"{one_type} is compared with {other_type}")
                if tree.data == "equal":
                    return "BOOL", lambda memory: one(memory) == other(memory)
                return "BOOL", lambda memory: one(memory) != other(memory)
        all_of = [self.of_type("BOOL", part) for part in parts]
        match tree.data:
            case "or_":
                return "BOOL", lambda memory: any(each(memory) for each in all_of)
            case "and_":
                return "BOOL", lambda memory: all(each(memory) for each in all_of)
            case "xor_":
                return "BOOL", lambda memory: sum(each(memory) for each in all_of) % 2 == 1
        raise NotValidError(f"{tree.data} is not known")


def _nothing(memory: Memory) -> None:
    """A branch without statements."""


def _literal(tree: Any) -> Value:
    (token,) = tree.children
    if token.type == "DURATION":
        return int(token[2:-2])
    return int(token) if token.type == "INTEGER" else token.type == "TRUE"
