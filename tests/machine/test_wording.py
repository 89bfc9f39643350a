"""Rules in words: what is written out is read back as the same rule."""

from __future__ import annotations

import pytest
from sound_layouts import compiled

from bellcrank.machine.locking import Locking, Locks, Needs, NeedsClear, NeedsSet, OnlyOneOver
from bellcrank.machine.wording import WIDTH, Every, Rule, rule_lines, rule_text, rule_with_place

TRACK = """
points P
double slip X with two drives
run edge WEST - A - >W - P.toe
run P.straight - <S - B - X.a1
run P.diverging - C - >U - X.b1
run X.a2 - <F - G - stop
run X.b2 - <H - J - stop
section BODY = B, C
route MAIN = W to U
"""

RULES: dict[str, Rule] = {
    "MAIN locks F to S": Locks("MAIN", "F to S"),
    "U to J locks F to S when X.end1 b2, P straight": Locks(
        "U to J", "F to S", (("X.end1", "b2"), ("P", "straight"))
    ),
    "S to WEST needs P straight": Needs("S to WEST", "P", "straight"),
    "U to G needs X.end1 a2": Needs("U to G", "X.end1", "a2"),
    "U to J needs F to S set": NeedsSet("U to J", "F to S"),
    "U to J needs MAIN set": NeedsSet("U to J", "MAIN"),
    "U to J needs BODY clear": NeedsClear("U to J", "BODY"),
}


def read(*lines: str) -> Locking:
    text = TRACK + "locking written {\n" + "".join(f"  {line}\n" for line in lines) + "}\n"
    locking = compiled(text).locking
    assert locking is not None
    return locking


def rules_of(locking: Locking) -> set[Rule]:
    return {*locking.locks, *locking.needs, *locking.needs_set, *locking.needs_clear}


@pytest.mark.parametrize("text", RULES)
def test_a_rule_is_written_as_it_is_read(text: str) -> None:
    assert rule_text(RULES[text]) == text
    assert rules_of(read(text)) == {RULES[text]}


def test_a_rule_for_all_is_written_as_it_is_read() -> None:
    lines = [rule_text(Every(n)) for n in ("positions", "sections clear", "section clear")]
    assert lines == [
        "every route needs its positions",
        "every route needs its sections clear",
        "every drive needs its section clear",
    ]
    assert Needs("MAIN", "P", "diverging") in read(lines[0]).needs
    assert NeedsClear("MAIN", "BODY") in read(lines[1]).needs_clear
    assert read(lines[2]).drives_need_clear


def test_a_rule_with_its_place_says_where_it_was_written() -> None:
    [lock] = read("MAIN locks F to S").locks
    assert rule_with_place(lock) == "MAIN locks F to S (layout.crank:12:14)"
    assert rule_with_place(Locks("A", "B")) == "A locks B (derived)"


def test_a_pair_that_is_kept_apart_by_its_section_is_told_as_it_was_written() -> None:
    [lock, *_] = read("only one route over P").locks
    assert rule_with_place(lock) == "only one route over P (layout.crank:12:23)"


def test_places_over_which_there_is_one_route_become_a_list() -> None:
    one, other = OnlyOneOver("P", ("MAIN",)), OnlyOneOver("BODY", ("MAIN",))
    assert rule_lines([one]) == ["only one route over P"]
    assert rule_lines([one, Every("positions"), other]) == [
        "only one route over each of P, BODY",
        "every route needs its positions",
    ]
    assert read("only one route over each of P, BODY").locks == (
        *read("only one route over P").locks,
        *read("only one route over BODY").locks,
    )


def test_rules_that_begin_alike_become_a_list_in_the_place_of_the_first() -> None:
    rules = [
        Locks("MAIN", "F to S"),
        Every("positions"),
        Needs("U to J", "P", "straight"),
        Locks("MAIN", "H to S"),
        NeedsClear("U to J", "BODY"),
        Every("sections clear"),
        Locks("MAIN", "U to G", (("P", "straight"),)),
    ]
    assert rule_lines(rules) == [
        "MAIN locks F to S, H to S",
        "every route needs its positions",
        "U to J needs P straight, BODY clear",
        "every route needs its sections clear",
        "MAIN locks U to G when P straight",
    ]


def test_a_list_that_grows_too_long_goes_on_in_another_rule() -> None:
    rules = [Locks("MAIN", f"SIGNAL_{n} to PLATFORM_{n}") for n in range(9)]
    lines = rule_lines(rules)
    assert len(lines) > 1
    assert all(line.startswith("MAIN locks SIGNAL_") and len(line) <= WIDTH for line in lines)
    told = [name for line in lines for name in line.removeprefix("MAIN locks ").split(", ")]
    assert told == [rule.second for rule in rules]


def test_lists_are_read_back_as_the_same_rules() -> None:
    assert rules_of(read(*rule_lines(RULES.values()))) == set(RULES.values())
