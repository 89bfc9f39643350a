"""What those who follow are told: only what is other than before, and all of it."""

from __future__ import annotations

from typing import Any

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from bellcrank.serving.simulated import HappenedState
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


@given(st.integers(0, 30), st.integers(0, 30), st.integers(1, 12))
def test_of_what_has_happened_only_what_is_new_is_told(before: int, more: int, kept: int) -> None:
    """However much of it is kept: as long as no more happens between two tellings."""
    all_ = [HappenedState(n, "now", "train", "it goes") for n in range(1, before + more + 1)]
    one, two = all_[:before][-kept:], all_[-kept:]
    plain: dict[str, Any] = {
        key: {} for key in ("sections", "signals", "drives", "routes", "links")
    }
    rest = {"running": True, "because": None, "missing": [], "can_confirm": {}, "entry": 1}
    told = changed(State(**plain, **rest, happened=one), State(**plain, **rest, happened=two))
    assert [e["number"] for e in told.get("happened", [])] == [
        e.number for e in two[-more:] if more
    ]
