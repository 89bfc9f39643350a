"""The machine as Promela text, looked at without spin.

What the text means is tried in tests/outside/test_spin.py; here, that it says all
there is to say and that no name in a layout can spoil it.
"""

from __future__ import annotations

import re
from functools import cache

import pytest
from msgspec.structs import replace
from sound_layouts import undecided

import bellcrank
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED, Document
from bellcrank.document.machine_data import machine_data
from bellcrank.emit.description import default_targets
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target
from bellcrank.machine.machine_model import Event, Invariant, Is, Machine, Variable

LAYOUT = """
layout "Reedham Halt" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
expect W to B never with W to C
"""

ODD = """
layout "*/ #define odd \\" on two rails
points Pé, Pö
run edge WEST - A - >W - Pé.toe
run Pé.straight - <S - ΣB - stop
run Pé.diverging - Pö.toe
run Pö.straight - <D - C - stop
run Pö.diverging - <T - C_ - stop
"""

FULL = Variable("track A", "track", "A", ("clear", "left", "right"), ("clear",))


compiled = cache(undecided)


def promela(data: Document) -> str:
    return render_target(load_target("spin"), data)["machine.pml"].decode("utf-8")


def text_of(layout: str) -> str:
    return promela(build_document(compiled(layout), SPARED))


def with_machine(machine: Machine) -> str:
    return promela(replace(build_document(compiled(LAYOUT), SPARED), machine=machine_data(machine)))


def one_event(guard: tuple[tuple[Is, ...], ...], becomes: dict[str, str]) -> str:
    """The option of an event over one variable, on one line."""
    event = Event("e", "enters", "train", "A", "something happens", guard, {FULL.name: becomes})
    text = with_machine(
        Machine(
            variables={FULL.name: FULL},
            events=(event,),
            invariants=(Invariant("meetings", (Is(FULL.name, frozenset()),), "never so"),),
            wishes=(),
            lemmas=(),
            assumptions={},
        )
    )
    return " ".join(text.partition("/* something happens */")[2].partition(" od\n")[0].split())


def is_(*values: str) -> tuple[Is, ...]:
    return (Is(FULL.name, frozenset(values)),)


# -------------------------------------------------------------------- the file


def test_spin_is_built_only_where_it_is_asked_for() -> None:
    assert default_targets() == ("csv", "json")


def test_the_file_says_what_it_is_made_from_and_that_it_is_unproved() -> None:
    data = build_document(compiled(LAYOUT), SPARED)
    assert data.status == "UNPROVED"  # its movements have not been looked at
    head = promela(data).partition("*/")[0]
    for said in (
        "Reedham Halt", "status: UNPROVED", data.source.sha256, data.notice,
        f"bellcrank {bellcrank.__version__}",
    ):  # fmt: skip
        assert said in head


def test_a_proved_layout_says_proved() -> None:
    text = promela(replace(build_document(compiled(LAYOUT), SPARED), status="proved"))
    assert "status: proved" in text
    assert "UNPROVED" not in text


def test_each_variable_is_one_byte_with_a_constant_for_each_value() -> None:
    machine = compiled(LAYOUT).machine
    assert machine is not None
    text = text_of(LAYOUT)
    assert len(re.findall(r"^byte v\d+_", text, flags=re.M)) == len(machine.variables)
    constants = re.findall(r"^#define (V\d+_\d+_\w+) (\d+)$", text, flags=re.M)
    assert (
        len(constants)
        == len(dict(constants))
        == sum(len(v.values) for v in machine.variables.values())
    )


def test_a_variable_of_more_values_than_a_byte_holds_is_a_short() -> None:
    wide = Variable("held A", "held", "A", tuple(f"R{n}" for n in range(257)), ("R0",))
    event = Event("e", "enters", "train", "A", "it happens", (), {wide.name: {"R0": "R256"}})
    never = Invariant("meetings", (), "never so")
    text = with_machine(Machine({wide.name: wide}, (event,), (never,), (), (), {}))
    assert "short v1_held_A = V1_0_R0;" in text
    assert "#define V1_256_R256 256" in text


def test_each_event_tells_its_sentence_in_a_comment_and_in_a_replay() -> None:
    machine = compiled(LAYOUT).machine
    assert machine is not None
    text = text_of(LAYOUT)
    for event in machine.events:
        assert f"/* {event.text} */" in text
        assert f'printf("{event.text}\\n")' in text
    assert text.count(":: d_step {") == len(machine.events) + len(machine.invariants)


def test_each_property_can_be_chosen_by_its_number() -> None:
    machine = compiled(LAYOUT).machine
    assert machine is not None
    text = text_of(LAYOUT)
    names = list(dict.fromkeys(i.of for i in machine.invariants))
    assert {"meetings", "expect W to B never with W to C"} <= set(names)
    for number, name in enumerate(names, start=1):
        assert f" *   {number}  {name}\n" in text
        (part,) = re.findall(
            rf"^#if !defined\(PROPERTY\) \|\| PROPERTY == {number}$(.*?)^#endif$",
            text, flags=re.M | re.S,
        )  # fmt: skip
        of_it = [i for i in machine.invariants if i.of == name]
        assert part.count(f"assert(property_{number}_") == part.count("assert(") == len(of_it)
        for invariant in of_it:
            assert f"/* {invariant.sentence} */" in part


def test_it_may_start_with_points_either_way() -> None:
    start = text_of(LAYOUT).partition("atomic {")[2].partition("}")[0]
    assert re.findall(r":: v\d+_drive_P = V\d+_\d_(\w+)", start) == ["straight", "diverging"]


def test_a_layout_without_points_starts_in_one_state() -> None:
    text = text_of('layout "L" on two rails\nrun edge WEST - A - >V - B - <X - C - edge EAST\n')
    assert "atomic" not in text


# ------------------------------------------------------------- guards, changes


@pytest.mark.parametrize(
    ("guard", "becomes", "printed"),
    [
        # What the guard says of the variable makes a choice needless.
        ((is_("clear"),), {"clear": "left"}, "v1_track_A = V1_1_left;"),
        ((is_("clear", "left"),), {"clear": "left"}, "v1_track_A = V1_1_left;"),
        ((), {"clear": "left", "right": "left"}, "v1_track_A = V1_1_left;"),
        (
            (),
            {"clear": "left"},
            "v1_track_A = (v1_track_A == V1_0_clear -> V1_1_left : v1_track_A);",
        ),
        (
            (is_("clear", "right"),),
            {"clear": "left", "left": "right"},
            "v1_track_A = (v1_track_A == V1_0_clear -> V1_1_left : v1_track_A);",
        ),
        (
            (),
            {"clear": "left", "left": "right"},
            "v1_track_A = (v1_track_A == V1_0_clear -> V1_1_left : "
            "(v1_track_A == V1_1_left -> V1_2_right : v1_track_A));",
        ),
        # It cannot be clear then, so it stays as it is.
        ((is_("left"),), {"clear": "right"}, ""),
    ],
)  # fmt: skip
def test_a_change_is_printed_as_short_as_its_guard_allows(
    guard: tuple[tuple[Is, ...], ...], becomes: dict[str, str], printed: str
) -> None:
    option = one_event(guard, becomes)
    assert option.partition(" -> ")[2].partition("printf")[0].strip() == printed


@pytest.mark.parametrize(
    ("guard", "printed"),
    [
        ((), "true"),
        ((is_("left"),), "((v1_track_A == V1_1_left))"),
        ((is_("clear", "left"),), "((v1_track_A == V1_0_clear || v1_track_A == V1_1_left))"),
        ((is_("clear", "left", "right"),), "((true))"),
        ((is_(),), "((false))"),
        (((),), "((false))"),
        (
            (is_("left"), (*is_("left"), *is_("clear"))),
            "((v1_track_A == V1_1_left) && (v1_track_A == V1_1_left || v1_track_A == V1_0_clear))",
        ),
    ],
)
def test_a_guard_is_printed_as_all_of_its_clauses(
    guard: tuple[tuple[Is, ...], ...], printed: str
) -> None:
    assert one_event(guard, {"clear": "left"}).startswith(f":: d_step {{ {printed} ->")


# ------------------------------------------------------------------- odd names


def outside_comments(text: str) -> str:
    return re.sub(r"/\*.*?\*/", "", text, flags=re.S)


def test_a_title_cannot_end_the_comment_that_it_stands_in() -> None:
    text = text_of(ODD)
    assert text.startswith("/* * / #define odd \\")
    assert "odd" not in outside_comments(text)


def test_spin_sees_only_plain_letters_outside_sentences() -> None:
    code = re.sub(r'printf\("[^"\n]*"\)', "", outside_comments(text_of(ODD)))
    assert code.isascii()
    assert "Pé" in text_of(ODD)


def test_names_that_would_read_the_same_stay_apart() -> None:
    machine = compiled(ODD).machine
    assert machine is not None
    declared = re.findall(r"^byte (v\d+_\w+)", text_of(ODD), flags=re.M)
    assert len(set(declared)) == len(declared) == len(machine.variables)
    read_alike = [re.sub(r"^v\d+_", "", name) for name in declared]
    assert len(set(read_alike)) < len(declared)
