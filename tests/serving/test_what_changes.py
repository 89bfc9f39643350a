"""What those who follow are told: only what is other than before, and all of it."""

from __future__ import annotations

from typing import Any

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from bellcrank.serving.standing import LinkState, SectionState, State, changed

NAMES = st.sampled_from(("A", "B", "C"))

STATES = st.builds(
    State,
    running=st.booleans(),
    because=st.none() | st.sampled_from(("x", "y")),
    missing=st.lists(NAMES, max_size=2),
    sections=st.dictionaries(
        NAMES,
        st.builds(
            SectionState, said=st.sampled_from(("occupied", "clear", None)), held=st.none() | NAMES
        ),
    ),
    signals=st.just({}),
    drives=st.just({}),
    routes=st.dictionaries(NAMES, st.sampled_from(("idle", "set"))),
    links=st.dictionaries(NAMES, st.builds(LinkState, up=st.booleans(), trouble=st.just(""))),
    can_confirm=st.dictionaries(NAMES, st.lists(st.sampled_from(("passed", "arrived")))),
    entry=st.integers(0, 5),
)


def merged(state: dict[str, Any], changes: dict[str, Any]) -> dict[str, Any]:
    """As the page does it; what is null in a mapping is gone from it."""
    now = {**state}
    for name, value in changes.items():
        if isinstance(value, dict):
            both = {**state[name], **value}
            now[name] = {k: v for k, v in both.items() if v is not None}
        else:
            now[name] = value
    return now


@given(STATES, STATES)
def test_what_changes_leads_from_one_state_to_the_other(before: State, after: State) -> None:
    old, new = msgspec.to_builtins(before), msgspec.to_builtins(after)
    assert merged(old, changed(before, after)) == new


@given(STATES)
def test_where_nothing_changes_nothing_is_told(state: State) -> None:
    assert changed(state, state) == {}


@given(STATES)
def test_at_first_everything_is_told(state: State) -> None:
    assert changed(None, state) == msgspec.to_builtins(state)
