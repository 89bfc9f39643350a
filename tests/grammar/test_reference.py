"""The language reference is held to its word: every example in it is compiled."""

from __future__ import annotations

import re
from dataclasses import dataclass
from importlib import resources
from typing import get_args

import pytest
from lark import Lark, Token
from sound_layouts import checked, compiled, standing

import bellcrank
from bellcrank.controller.assumed import OF_REPORTS
from bellcrank.diagnostics import render
from bellcrank.layout.fittings import standard_fittings
from bellcrank.machine.assumptions import ASSUMPTIONS
from bellcrank.machine.machine_model import PROPERTIES, WITH_REPORTS, Actor, EventKind
from bellcrank.routes.route_model import REASON_KINDS
from bellcrank.routes.sentences import LETTERS
from bellcrank.syntax.parse import LINE_STARTERS, RESERVED, parse

REFERENCE = resources.files("bellcrank.grammar").joinpath("README.md").read_text("utf-8")
GRAMMAR = resources.files("bellcrank.grammar").joinpath("layout.lark").read_text("utf-8")


@dataclass(frozen=True)
class Block:
    """A fenced example of the reference: its first line, what it is, its text."""

    line: int
    kind: str
    text: str

    def __str__(self) -> str:
        return f"line {self.line}, {self.kind}"


def blocks() -> list[Block]:
    """All examples of layouts, in order. Scripts of rehearsals have tests of their own.

    Any other fence would escape the tests, so none may stand.
    """
    found = []
    for match in re.finditer(r"^```(crank.*)\n((?:.*\n)*?)```$", REFERENCE, re.MULTILINE):
        line = REFERENCE.count("\n", 0, match.start()) + 1
        found.append(Block(line, match.group(1).removeprefix("crank").strip(), match.group(2)))
    return found


BLOCKS = blocks()
WHOLE = [b for b in BLOCKS if b.kind in ("", "refuted")]
FRAGMENTS = [b for b in BLOCKS if b.kind == "fragment"]


def test_every_fence_in_the_reference_is_an_example_of_a_known_kind():
    others = len(re.findall(r"^```(?:rehearsal|sh)$", REFERENCE, re.MULTILINE))
    assert (len(BLOCKS) + others) * 2 == len(re.findall(r"^```", REFERENCE, re.MULTILINE))
    assert {b.kind for b in BLOCKS} == {"", "refuted", "fragment"}


@pytest.mark.parametrize("block", WHOLE, ids=str)
def test_a_whole_layout_compiles_without_a_word_of_complaint(block: Block):
    result = bellcrank.compile(block.text, "README.md")
    said = [render(d, result.program.texts) for d in result.diagnostics]
    assert said == []


@pytest.mark.parametrize("block", WHOLE, ids=str)
def test_a_whole_layout_has_the_verdict_it_is_marked_with(block: Block):
    c = checked(block.text)
    assert c.outcome == (block.kind or "proved")
    assert c.standing.never_set == ()


@pytest.mark.parametrize("block", FRAGMENTS, ids=str)
def test_a_fragment_parses(block: Block):
    source, diagnostics = parse(block.text, "README.md")
    assert [d.message for d in diagnostics] == []
    assert source.statements


def test_the_hazard_that_the_reference_quotes_is_the_one_that_is_found():
    (refuted,) = (b for b in BLOCKS if b.kind == "refuted")
    (hazard,) = standing(compiled(refuted.text)).hazards
    quoted = " ".join(re.findall(r"^> (.*)$", REFERENCE, re.MULTILINE))
    assert quoted == f"{hazard.sentence}. missing rule: {hazard.missing}"


def test_what_the_flank_example_says_a_route_now_needs_is_what_it_needs():
    (block,) = (b for b in WHOLE if "# now " in b.text)
    (said,) = re.findall(r"# now (.*) needs (\w+) (\w+)$", block.text, re.MULTILINE)
    route, drive, position = said
    table = compiled(block.text).table
    assert (drive, position) in table.routes[route].flank
    without = compiled(block.text.replace("flank derive", "")).table
    assert without.routes[route].flank == ()


def test_the_drawing_of_a_slip_has_its_legs_in_order_and_its_roads() -> None:
    rows = [line for line in REFERENCE.splitlines() if re.match(r" +[ab]\d ─", line)]
    (a1, b2, *above), (b1, a2, *below) = (re.findall(r"[ab]\d", row) for row in rows)
    slip = standard_fittings()["double slip with one drive"]
    assert slip.legs == (a1, b2, a2, b1)

    def roads(position: str) -> set[frozenset[str]]:
        return {frozenset(way.legs) for way in slip.ways if way.when == (("", position),)}

    # Drawn left: roads that cross lead from corner to corner. Right: a line from end to end.
    assert roads("straight") == {frozenset((a1, a2)), frozenset((b1, b2))}
    assert roads("diverging") == {frozenset(above), frozenset(below)}
    assert all(re.search(rf"{one} ─+ {other}$", row)
               for row, (one, other) in zip(rows, (above, below), strict=True))  # fmt: skip


def test_what_the_reference_says_of_two_drives_is_so() -> None:
    said = re.search(r"with `end1 (\w+)`\s+and `end2 (\w+)` that from (\w+) to (\w+)", REFERENCE)
    assert said is not None
    slip = standard_fittings()["double slip with two drives"]
    (way,) = (w for w in slip.ways if dict(w.when) == {"end1": said[1], "end2": said[2]})
    assert set(way.legs) == {said[3], said[4]}


# ------------------------------------------------- nothing is left unexplained


def lark() -> Lark:
    """The grammar, with every word that it filters out of its trees kept in them."""
    return Lark(
        GRAMMAR,
        parser="lalr",
        start="file",
        keep_all_tokens=True,
        maybe_placeholders=False,
    )


def used_in_examples() -> tuple[set[str], set[str]]:
    """The rules (or their aliases) and the words that the examples use."""
    rules: set[str] = set()
    words: set[str] = set()
    parser = lark()
    for block in BLOCKS:
        tree = parser.parse(block.text)
        rules |= {str(t.data) for t in tree.iter_subtrees()}
        words |= {leaf.type for leaf in tree.scan_values(lambda leaf: isinstance(leaf, Token))}
    return rules, words


def rules_of_the_grammar() -> set[str]:
    """What a tree can call its nodes: each alternative by its alias, else by its rule."""
    names = {str(rule.alias or rule.origin.name) for rule in lark().rules}
    return {name for name in names if not name.startswith("_")}


def test_every_rule_of_the_grammar_is_used_by_an_example():
    # `statement` has one child always, and is replaced by it in every tree.
    rules, _ = used_in_examples()
    assert rules_of_the_grammar() - {"statement"} - rules == set()


def test_every_word_and_sign_of_the_grammar_is_used_by_an_example():
    terminals = {t.name for t in lark().terminals} - {"COMMENT"}
    ignored = {name for name in terminals if name.startswith("__IGNORE")}
    _, words = used_in_examples()
    assert terminals - ignored - words == set()


def test_every_keyword_that_leads_a_statement_leads_one_in_an_example():
    firsts = {
        line.split()[0] for block in BLOCKS for line in block.text.splitlines() if line.strip()
    }
    assert LINE_STARTERS - firsts == set()


def test_the_reference_lists_the_words_that_cannot_be_names():
    listed = re.search(r"words of the language cannot be names:(.*?)\.\s", REFERENCE, re.DOTALL)
    assert listed is not None
    assert set(re.findall(r"`(\w+)`", listed.group(1))) == RESERVED


EVENTS = re.findall(r"^\| ([a-z ]+) \| ([a-z]+) \| [^|]+ \|$", REFERENCE, re.MULTILINE)


def test_the_reference_tells_every_kind_of_event_once_and_by_whom_it_comes_about():
    kinds = [kind for kind, by in EVENTS if by in get_args(Actor)]
    assert sorted(kinds) == sorted({*get_args(EventKind)} - WITH_REPORTS)


def test_events_come_about_by_those_that_the_reference_names():
    events = {(e.kind, e.actor) for b in WHOLE for e in compiled(b.text).machine.events}
    assert events == {(kind, by) for kind, by in EVENTS if by in get_args(Actor)}


def test_what_the_reference_says_of_release_holds_for_its_examples():
    by_whole = [b for b in WHOLE if "release whole routes" in b.text]
    assert by_whole
    for block in WHOLE:
        locking = compiled(block.text).locking
        assert locking.sectional == (locking.derived and block not in by_whole)


def test_the_table_of_standard_fittings_agrees_with_their_definitions():
    from bellcrank.layout.fittings import standard_fittings

    rows = re.findall(r"^\| `([^`]*)` \| ([^|]*) \| ([^|]*) \| ([^|]*) \|$", REFERENCE, re.M)
    table = {kind.replace(" … ", " "): rest for kind, *rest in rows}
    kinds = standard_fittings()
    assert set(table) >= set(kinds)
    for name, kind in kinds.items():
        legs, drives, ways = table[name]
        assert tuple(legs.strip().split(", ")) == kind.legs
        for drive, positions in kind.drives.items():
            assert drive in drives
            assert ", ".join(positions) in drives
        told = {frozenset(pair.split("–")) for pair in re.findall(r"\w+–\w+", ways)}
        if "combinations" not in ways:
            assert told == {frozenset(way.legs) for way in kind.ways}
        else:
            assert len(kind.ways) == 4


def test_the_reference_explains_every_assumption_and_every_property():
    _, proved = REFERENCE.split("## What proved means")
    rows = re.findall(r"^\| ([a-z ]+) \| [^|]+ \| [^|]+ \|$", proved, re.MULTILINE)
    assert [name for name in rows if name != "name"] == [*ASSUMPTIONS, *OF_REPORTS]
    shown = re.findall(r"^\| ([a-z]+) \| [^|]+ \|$", proved, re.MULTILINE)
    assert shown == ["property", *PROPERTIES, "routes"]


def test_the_reference_tells_every_reason_for_a_conflict_by_its_letter():
    rows = re.findall(r"^\| ([A-Z]) \| ([a-z -]+) \|", REFERENCE, re.MULTILINE)
    assert rows == [(LETTERS[kind], kind) for kind in REASON_KINDS]
