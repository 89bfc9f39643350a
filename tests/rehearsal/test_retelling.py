"""Runs as scripts: what is written of a run leads through the same states when it is played."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rehearsed import FORGETFUL, JUNCTION, OVERLAP, railway

from bellcrank.machine.machine_model import Event, State
from bellcrank.rehearsal.acts import first_moment, perform, run_script
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.retelling import script_of, what_could_be_done
from bellcrank.rehearsal.script import read_script
from bellcrank.running.simulator import replay
from bellcrank.running.state_search import Explorer, violated

EXAMPLES = Path(__file__).parents[2] / "examples"

CALLED_EITHER_WAY = """
run edge WEST - A - >H - B - stop
signal H shows stop, call, clear
route CALL = H to B calling on shows call
locking written { every route needs its positions }
"""
"""Two routes over the same track, which nothing keeps apart: sentences can be ambiguous."""

TWO_STRETCHES = """
run edge WEST - A - >H - B - >K - C - <D - E - stop
section MIDDLE = B, C
"""
"""A section with a signal in it."""

AT_THE_EDGE = "points P\nrun edge WEST - >H - P.toe\nrun P.straight - <S - B - stop\n" \
    "run P.diverging - C - edge EAST\n"  # fmt: skip
"""A train waits outside, at the signal."""

RAILWAYS = {
    "two stretches": railway(TWO_STRETCHES),
    "at the edge": railway(AT_THE_EDGE),
    "junction": railway(JUNCTION),
    "forgetful": railway(FORGETFUL),
    "overlap": railway(OVERLAP),
    "called either way": railway(CALLED_EITHER_WAY),
    "harbour": railway((EXAMPLES / "harbour-terminus.crank").read_text("utf-8")),
}


def walk(of: Railway, seed: int, length: int) -> tuple[State, list[Event]]:
    """A random start and a random run from there."""
    rng = random.Random(seed)
    start = {name: rng.choice(v.initial) for name, v in of.machine.variables.items()}
    state: State = start
    run = []
    for _ in range(length):
        able = of.simulator.possible(state)
        if not able:
            break  # trains block each other
        run.append(rng.choice(able))
        state = of.simulator.do(run[-1], state).state
    return start, run


def states_of(of: Railway, script: str) -> list[State]:
    """The states that the acts of a script lead through, the first one included."""
    lines, found = read_script(script, "script", of)
    assert not found
    outcomes = run_script(of, lines)
    assert not any(outcome.refused for outcome in outcomes)
    steps = [step for outcome in outcomes for step in outcome.steps]
    assert all(len(outcome.steps) <= 1 for outcome in outcomes)
    first = next((o.moment.state for o in reversed(outcomes) if o.line.key == "at first"),
                 first_moment(of).state)  # fmt: skip
    return [first, *(step.state for step in steps)]


@pytest.mark.parametrize("name", RAILWAYS)
@given(seed=st.integers(0, 2**32), length=st.integers(0, 60))
@settings(max_examples=25)
def test_a_run_written_as_a_script_leads_through_the_same_states(
    name: str, seed: int, length: int
) -> None:
    of = RAILWAYS[name]
    start, run = walk(of, seed, length)
    script = script_of(of.machine, run, start)
    assert states_of(of, script) == list(replay(of.machine, run, start))


@pytest.mark.parametrize("name", RAILWAYS)
@given(seed=st.integers(0, 2**32))
@settings(max_examples=10)
def test_a_start_is_found_for_a_run_that_is_handed_over_without_one(name: str, seed: int) -> None:
    of = RAILWAYS[name]
    _, run = walk(of, seed, 25)
    assert len(states_of(of, script_of(of.machine, run))) == len(run) + 1


def test_a_run_is_written_in_sentences_and_its_requests_as_requests() -> None:
    of = RAILWAYS["junction"]
    names = ["put down H", "request H to C", "signal clears H to C",
             "passes signal H for H to C: P1.toe to P1.diverging"]  # fmt: skip
    run = [next(e for e in of.machine.events if e.name == name) for name in names]
    assert script_of(of.machine, run) == (
        "at first P1 lies diverging\n"
        "a train stands in A, before H\n"
        "request H to C\n"
        "H clears for H to C\n"
        "a train passes H and enters P1 with P1 diverging\n"
    )


def test_where_two_events_have_one_sentence_the_event_is_named() -> None:
    of = RAILWAYS["called either way"]
    names = ["put down H", "request H to B", "signal clears H to B", "put back H to B",
             "time runs out H", "request CALL", "signal clears CALL", "put back CALL",
             "passes signal H for CALL: B.left to B.right"]  # fmt: skip
    run = [next(e for e in of.machine.events if e.name == name) for name in names]
    script = script_of(of.machine, run)
    assert script.splitlines()[-1] == "event passes signal H for CALL: B.left to B.right"
    assert states_of(of, script) == list(replay(of.machine, run))


def test_a_run_that_is_not_possible_is_not_written() -> None:
    of = RAILWAYS["junction"]
    clears = next(e for e in of.machine.events if e.kind == "signal clears")
    with pytest.raises(ValueError, match="event 1 of the run"):
        script_of(of.machine, [clears])


def test_what_the_search_finds_unsafe_is_unsafe_when_its_script_is_played() -> None:
    of = RAILWAYS["forgetful"]
    explorer = Explorer(of.machine)
    found = explorer.search(violated(explorer, of.machine), most=100_000)
    assert "meetings" in found.runs
    for name, run in found.runs.items():
        script = script_of(of.machine, run, explorer.unpack(found.starts[name]))
        lines, faults = read_script(script, "script", of)
        assert not faults
        broken = {i.of for o in run_script(of, lines) for step in o.steps for i in step.broken}
        assert name in broken


# ------------------------------------------------------------ what could be done


@pytest.mark.parametrize("name", RAILWAYS)
@pytest.mark.parametrize("seed", range(4))
def test_every_line_that_could_be_done_can_be_done(name: str, seed: int) -> None:
    of = RAILWAYS[name]
    start, run = walk(of, seed, 30)
    states = replay(of.machine, run, start)
    for state in states[::6]:
        moment = type(first_moment(of))(state, begun=True)
        lines = what_could_be_done(of, moment)
        assert len(set(lines)) == len(lines)
        read, found = read_script("\n".join(lines), "script", of)
        assert not found, found
        assert len(read) == len(lines)
        for line in read:
            outcome = perform(of, moment, line)
            several = any("more than one thing may happen" in r for r in outcome.refused)
            assert outcome.steps or several, (line.text, outcome.refused)


def test_at_the_start_routes_can_be_set_and_trains_come() -> None:
    of = RAILWAYS["junction"]
    assert what_could_be_done(of, first_moment(of)) == [
        "request H to B",
        "request H to C",
        "request S1 to WEST",
        "request S2 to WEST",
        "train comes in from WEST",
        "train stands before H",
        "train stands before S1",
        "train stands before S2",
        *(f"vehicles stand in {part}" for part in of.parts.parts),
    ]


def test_what_goes_on_by_itself_is_offered_when_something_would() -> None:
    of = RAILWAYS["junction"]
    (line,), _ = read_script("request H to C", "script", of)
    lines = what_could_be_done(of, perform(of, first_moment(of), line).moment)
    assert lines[-3:] == ["wait", "time passes", "go on"]
    assert "P1 comes to lie diverging" in lines
    assert "cancel H to C" in lines
