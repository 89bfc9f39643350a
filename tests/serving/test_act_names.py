"""Acts on the simulated railway have names by which pages and programs ask for them."""

from __future__ import annotations

from dataclasses import fields
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellcrank.serving.act_names import act_named, name_of
from bellcrank.simulated.acts import Act, Comes, Disobeys, Fault, Sticks, TurnsBack

NAMES = st.from_regex(r"[A-Za-z][A-Za-z0-9_.-]{0,8}", fullmatch=True)
NUMBERS = st.integers(0, 10**9)
OPERANDS = {"train": NUMBERS, "other": NUMBERS, "says": st.sampled_from(("occupied", "clear"))}
ACTS = st.one_of(
    *(
        st.builds(
            type_,
            **{field.name: OPERANDS.get(field.name, NAMES) for field in fields(type_)},
        )
        for type_ in (*get_args(Act), *get_args(Fault))
    )
)


@given(ACTS)
def test_a_name_leads_back_to_its_act(act: Act | Fault) -> None:
    assert act_named(name_of(act)) == act


@given(st.lists(ACTS, min_size=2, max_size=2, unique=True))
def test_no_two_acts_have_one_name(acts: list[Act | Fault]) -> None:
    assert name_of(acts[0]) != name_of(acts[1])


def test_names_as_programs_write_them() -> None:
    assert name_of(Comes("WEST")) == "come WEST"
    assert name_of(TurnsBack(3)) == "turn 3"
    assert name_of(Sticks("B", "occupied")) == "stick B occupied"
    assert name_of(Disobeys(3, "W")) == "disobey 3 W"


@pytest.mark.parametrize(
    "name",
    ["", " ", "come", "come WEST EAST", "dance 3", "turn x", "turn ²",
     "stick B perhaps"],
)  # fmt: skip
def test_what_is_no_name_is_none(name: str) -> None:
    assert act_named(name) is None
