"""The interlocking in Structured Text, executed on the test vectors of the same layout.

Neither Debian nor the Python package index offers a compiler for IEC 61131-3 that could
simply be installed, so it is executed by an interpreter of its own, in
structured_text.py. Where a published grammar of the language is installed, by other
authors, the text is held against that as well.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import structured_text
from random_layouts import compiled, shown
from sound_layouts import NO_TIME, checked_file, undecided
from structured_text import Block, Memory, NotValidError

from bellcrank import Broken
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import Document
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

Data = dict[str, Any]


@cache
def example(path: Path) -> tuple[Data, str]:
    data = build_document(checked_file(path, NO_TIME))
    return data, block_text(data)


def block_text(data: Document) -> str:
    return render_target(load_target("st"), data)["interlocking.st"].decode("utf-8")


class Railway:
    """An instance of the block, spoken to in the names of the document.

    The number in an identifier is the place of its variable in the document, the
    number of a value its place in the domain (targets/README.md).
    """

    def __init__(self, block: Block, data: Document) -> None:
        self.block = block
        self.domains = {v["name"]: v["domain"] for v in data.plain["machine"]["variables"]}
        self.initial = {v["name"]: v["initial"] for v in data.plain["machine"]["variables"]}
        self.events = {e["name"]: n for n, e in enumerate(data.plain["machine"]["events"], start=1)}
        outputs = [n for n, section in block.section.items() if section == "outputs"]
        self.names = {}
        for number, name in enumerate(self.domains, start=1):
            found = [o for o in outputs if re.fullmatch(rf"V{number}_\w+(?<!_OFF)", o)]
            (self.names[name],) = (o for o in outputs if o in found)
        self.memory: Memory = block.instance()

    def start(self, others: dict[str, str]) -> None:
        """By the block itself, with its inputs."""
        inputs = {}
        for name, initial in self.initial.items():
            if len(initial) > 1:
                value = others.get(name, initial[0])
                inputs[f"START_{self.names[name]}"] = self.domains[name].index(value)
        self.block.call(self.memory, START=True, **inputs)
        assert self.memory["POSSIBLE"] is True
        self.memory["START"] = False

    def put(self, given: dict[str, str]) -> None:
        """Into a state that it could not come to, perhaps, from outside."""
        for name, initial in self.initial.items():
            value = given.get(name, initial[0])
            self.memory[self.names[name]] = self.domains[name].index(value)

    def state(self) -> dict[str, int]:
        return {name: self.memory[known] for name, known in self.names.items()}

    def tried(self, step: Data) -> str:
        before = self.state()
        self.block.call(self.memory, EVENT=self.events[step["event"]])
        changes = {
            name: self.domains[name][value]
            for name, value in self.state().items()
            if value != before[name]
        }
        if self.memory["POSSIBLE"] is not step["possible"] or changes != step["changes"]:
            return f"{step}: {self.memory['POSSIBLE']}, {changes}"
        return ""


def disagreements(data: Document, text: str) -> Iterator[str]:
    railway = Railway(structured_text.read(text), data)
    for run in data.plain["vectors"]["runs"]:
        railway.start(run["start"])
        yield from filter(None, map(railway.tried, run["steps"]))
    for case in data.plain["vectors"]["cases"]:
        for step in case["tries"]:
            railway.put(case["given"])
            if wrong := railway.tried(step):
                yield wrong


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_the_block_agrees_on_every_step_of_every_example(path: Path) -> None:
    data, text = example(path)
    assert list(disagreements(data, text)) == []


def test_the_block_agrees_on_random_layouts() -> None:
    seen = 0
    for seed in range(100, 108):
        layout, compilation = compiled(seed)
        if isinstance(compilation, Broken):
            continue
        data = build_document(undecided(layout.text))
        with shown(layout):
            assert list(disagreements(data, block_text(data))) == []
        seen += 1
    assert seen >= 6


HARBOUR = next(path for path in EXAMPLES if path.stem == "harbour-terminus")


@pytest.mark.parametrize(
    ("whole", "changed"),
    [
        (r"AND \(V34_held_NECK = V34_0_not_held\)", "AND TRUE"),
        (r"V33_held_P1 := V33_1_W1_to_T1;", ";"),
        (r"V13_signal_W1 := V13_2_W1_to_T1;", "V13_signal_W1 := V13_0_at_stop;"),
        (r"V17_signal_D1 <> ", "V18_signal_D2 <> "),
    ],
)
def test_a_block_that_was_changed_disagrees(whole: str, changed: str) -> None:
    data, text = example(HARBOUR)
    spoilt, times = re.subn(whole, changed, text, count=1)
    assert times == 1
    assert list(disagreements(data, spoilt))


def test_the_block_starts_with_drives_as_they_lie_and_in_no_other_way() -> None:
    data, text = example(HARBOUR)
    railway = Railway(structured_text.read(text), data)
    railway.start({"drive P1": "diverging"})
    assert railway.state()["drive P1"] == 1
    before = railway.state()
    railway.block.call(railway.memory, START=True, START_V10_DRIVE_P1=2)  # being thrown
    assert railway.memory["POSSIBLE"] is False
    assert railway.state() == before


@pytest.mark.parametrize("number", [0, -1, 32767])
def test_an_unknown_event_is_not_possible_and_changes_nothing(number: int) -> None:
    data, text = example(HARBOUR)
    railway = Railway(structured_text.read(text), data)
    railway.start({})
    before = dict(railway.memory)
    railway.block.call(railway.memory, EVENT=number)
    assert {**railway.memory, "EVENT": 0} == {**before, "EVENT": 0, "POSSIBLE": False}


def test_signals_and_commands_to_drives_are_told_by_themselves() -> None:
    data, text = example(HARBOUR)
    railway = Railway(structured_text.read(text), data)
    railway.start({})

    def true() -> set[str]:
        return {n for n, v in railway.memory.items() if v is True and n != "POSSIBLE"}

    assert true() == set()
    happen = railway.events
    railway.block.call(railway.memory, EVENT=happen["request W1 to G1"])
    assert true() == {"THROW_V10_3_TO_DIVERGING"}
    railway.block.call(railway.memory, EVENT=happen["drive arrives P1 diverging"])
    assert true() == set()
    railway.block.call(railway.memory, EVENT=happen["signal clears W1 to G1"])
    assert true() == {"V13_SIGNAL_W1_OFF"}
    railway.block.call(railway.memory, EVENT=happen["put back W1 to G1"])
    assert true() == set()


ODD = """
layout "*) END_VAR (* all of it" on two rails
points Pé, Pö, IF
run edge WEST - A - >W - Pé.toe
run Pé.straight - <S - ΣB__ - stop
run Pé.diverging - Pö.toe
run Pö.straight - <D - C - stop
run Pö.diverging - IF.toe
run IF.straight - <T - c - stop
run IF.diverging - <U - C_ - stop
"""


def test_odd_names_and_titles_make_a_block_that_agrees() -> None:
    data = build_document(undecided(ODD))
    text = block_text(data)
    assert list(disagreements(data, text)) == []
    assert "drive Pé" in text


def test_the_block_of_a_layout_without_points_agrees() -> None:
    line = 'layout "L" on two rails\nrun edge WEST - A - >V - B - <X - C - edge EAST\n'
    data = build_document(undecided(line))
    assert list(disagreements(data, block_text(data))) == []


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_a_published_grammar_of_the_language_reads_the_block(path: Path) -> None:
    tree_sitter = pytest.importorskip("tree_sitter", reason="tree-sitter is not installed")
    grammar = pytest.importorskip(
        "tree_sitter_iec61131_3_st", reason="the extra `structured-text` is not installed"
    )
    parser = tree_sitter.Parser(tree_sitter.Language(grammar.language()))
    text = example(path)[1]
    root = parser.parse(text.encode()).root_node
    assert not root.has_error
    kinds = [child.type for child in root.children]
    assert kinds == ["comment", "function_block_declaration"]
    assert parser.parse(text.replace("END_CASE", "END", 1).encode()).root_node.has_error


# -------------------------------------------------------------- the interpreter


def block(body: str, declared: str = "") -> str:
    return (
        "FUNCTION_BLOCK B VAR_INPUT A : INT; P : BOOL; Q : BOOL; R : BOOL; END_VAR "
        f"VAR_OUTPUT X : INT := 7; Y : BOOL; {declared} END_VAR "
        f"VAR CONSTANT ONE : INT := 1; END_VAR {body} END_FUNCTION_BLOCK"
    )


def y_of(expression: str, **inputs: bool) -> bool:
    read = structured_text.read(block(f"Y := {expression};"))
    memory = read.instance()
    read.call(memory, **inputs)
    return bool(memory["Y"])


@pytest.mark.parametrize("p", [False, True])
@pytest.mark.parametrize("q", [False, True])
@pytest.mark.parametrize("r", [False, True])
def test_operators_bind_in_the_order_of_the_standard(p: bool, q: bool, r: bool) -> None:
    """IEC 61131-3, 3.3.1, table of operators: NOT, then =, then AND, then XOR, then OR."""
    assert y_of("P OR Q AND R", P=p, Q=q, R=r) is (p or (q and r))
    assert y_of("P AND Q OR R", P=p, Q=q, R=r) is ((p and q) or r)
    assert y_of("P OR Q XOR R", P=p, Q=q, R=r) is (p or (q != r))
    assert y_of("P XOR Q AND R", P=p, Q=q, R=r) is (p != (q and r))
    assert y_of("NOT P AND Q", P=p, Q=q, R=r) is (not p and q)
    assert y_of("NOT P = Q", P=p, Q=q, R=r) is ((not p) == q)
    assert y_of("P AND Q = R", P=p, Q=q, R=r) is (p and (q == r))
    assert y_of("(P OR Q) AND R", P=p, Q=q, R=r) is ((p or q) and r)


def test_a_case_takes_one_branch_or_else_the_last() -> None:
    body = "CASE A OF 1, 2: X := 10; 3: X := 30; ELSE IF P THEN X := 0; END_IF; END_CASE;"
    read = structured_text.read(block(body))
    memory = read.instance()
    assert memory["X"] == 7
    for given, after in ((1, 10), (3, 30), (2, 10), (4, 10)):
        read.call(memory, A=given)
        assert memory["X"] == after
    read.call(memory, A=4, P=True)
    assert memory["X"] == 0


@pytest.mark.parametrize(
    "body",
    [
        "X := P;", "Y := 1;", "Y := A = P;", "Y := A;", "Y := Z;", "A := 1;", "ONE := 2;",
        "IF A THEN X := 1; END_IF;", "X := 1", "X = 1;", "X__ := 1;", "CASE P OF 1: ; END_CASE;",
        "CASE A OF 1: ; 1: ; END_CASE;", "Y := P AND A;", "IF P THEN X := 1; END_CASE;",
    ],
)  # fmt: skip
def test_what_is_not_structured_text_is_refused(body: str) -> None:
    structured_text.read(block("X := 1;"))
    with pytest.raises((NotValidError, structured_text.UnexpectedInput)):
        structured_text.read(block(body))


@pytest.mark.parametrize(
    "declared",
    ["x : INT;", "IF : INT;", "B : INT;", "Z__Z : INT;", "Z_ : INT;", "9Z : INT;", "Zé : INT;",
     "Z : INT := 32768;", "Z : BOOL := 1;", "Z : INT := TRUE;"],
)  # fmt: skip
def test_a_name_or_value_that_may_not_be_is_refused(declared: str) -> None:
    structured_text.read(block("X := 1;", "Z : INT := -32768;"))
    with pytest.raises((NotValidError, structured_text.UnexpectedInput)):
        structured_text.read(block("X := 1;", declared))
