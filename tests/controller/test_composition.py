"""Controller and railway as one machine: what trains and drives do there is what they do alone."""

from __future__ import annotations

from operator import is_
from pathlib import Path

import pytest

import bellcrank
from bellcrank.compilation import compile_file
from bellcrank.machine.frame import Frame
from bellcrank.machine.interlocking import interlocking_events
from bellcrank.machine.lemmas import lemmas
from bellcrank.machine.machine_model import OF_INTERLOCKING, WITH_REPORTS
from bellcrank.machine.standing import standing_events
from bellcrank.machine.trains import train_events

EXAMPLES = Path(__file__).parents[2] / "examples"


@pytest.fixture(params=["turning-loop", "harbour-terminus"])
def of(request: pytest.FixtureRequest) -> bellcrank.Sound:
    compiled = compile_file(EXAMPLES / f"{request.param}.crank")
    assert isinstance(compiled, bellcrank.Sound)
    return compiled


def frame_of(of: bellcrank.Sound) -> Frame:
    return Frame(of.layout, of.table, of.locking)


def test_trains_and_people_do_all_that_they_do_alone_and_ask_no_less(of: bellcrank.Sound) -> None:
    frame = frame_of(of)
    composed = {event.name: event for event in of.composed.events}
    for event in (*train_events(frame), *standing_events(frame)):
        its = composed[event.name]
        assert {*event.guard} <= {*its.guard}
        assert event.updates.items() <= its.updates.items()
        assert (its.kind, its.of, its.entry) == (event.kind, event.of, event.entry)


def test_of_what_the_interlocking_does_only_drives_arrive_by_themselves(
    of: bellcrank.Sound,
) -> None:
    done = {e.name for e in interlocking_events(frame_of(of)) if e.kind == "drive arrives"}
    reactions = {pair.reaction.name for pair in of.control.paired}
    trains = {e.name for e in (*train_events(frame_of(of)), *standing_events(frame_of(of)))}
    assert {event.name for event in of.composed.events} == reactions | done | trains


def test_each_lemma_is_there_once_with_those_of_the_machine_alone_first(
    of: bellcrank.Sound,
) -> None:
    found = [frozenset(clause) for clause in of.composed.lemmas]
    assert len(found) == len({*found})
    assert {*map(frozenset, lemmas(frame_of(of)))} <= {*found}
    assert of.composed.lemmas[: len(of.machine.lemmas)] == of.machine.lemmas


def test_what_is_of_the_machine_alone_stays_the_same_objects(of: bellcrank.Sound) -> None:
    alone = {event.name: event for event in of.machine.events}
    kept = [event for event in of.composed.events if event.kind not in WITH_REPORTS]
    assert kept
    for event in kept:
        if event.kind in OF_INTERLOCKING and event.kind != "drive arrives":
            continue  # the controller asks in its own words
        its = alone[event.name].guard
        assert all(map(is_, event.guard, its))
        assert len(event.guard) >= len(its)
    assert {*map(id, of.machine.clauses)} <= {*map(id, of.composed.clauses)}
