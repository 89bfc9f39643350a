"""Sessions that are saved as scripts lead to the same state when they are played."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rehearsed import FORGETFUL, JUNCTION, OVERLAP, railway

from bellcrank.diagnostics import Span
from bellcrank.rehearsal.acts import Outcome, first_moment, perform, run_script
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.retelling import what_could_be_done
from bellcrank.rehearsal.script import Line, read_script
from bellcrank.rehearsal.sessions import Session, saved

CALLED_EITHER_WAY = """
run edge WEST - A - >H - B - stop
signal H shows stop, call, clear
route CALL = H to B calling on shows call
locking written { every route needs its positions }
"""
"""Two routes over the same track, which nothing keeps apart: sentences can be ambiguous."""

RAILWAYS = {
    "junction": railway(JUNCTION),
    "forgetful": railway(FORGETFUL),
    "overlap": railway(OVERLAP),
    "called either way": railway(CALLED_EITHER_WAY),
}


def line_of(of: Railway, text: str) -> Line:
    (line,), found = read_script(text, "typed", of)
    assert not found
    return line


def typed(of: Railway, session: Session, text: str) -> Session:
    return session.after(perform(of, session.moment, line_of(of, text)))


def script(of: Railway, session: Session) -> str:
    return saved(session, of.simulator, first_moment(of), "Halt")


def played(of: Railway, text: str) -> tuple[Outcome, ...]:
    lines, found = read_script(text, "saved", of)
    assert not found, found
    return run_script(of, lines)


def somewhere(of: Railway, seed: int, length: int) -> Session:
    """A session by chance: requests, trains, refusals, things taken back and begun again."""
    chance = random.Random(seed)
    session = Session(first_moment(of))
    for drive in of.layout.drives.values():
        if chance.random() < 0.3:
            session = typed(of, session, f"at first {drive.name} lies {drive.positions[-1]}")
    others = ["trains are long", "trains are short", "wait", "go on", "expect all at rest"]
    others += [f"request {name}" for name in of.table.routes]
    for _ in range(length):
        dice = chance.random()
        if dice < 0.1:
            back = session.taken_back()
            session = back[0] if back else session
        elif dice < 0.13:
            session = session.afresh(first_moment(of), "begin again")
        else:
            possible = what_could_be_done(of, session.moment)
            text = chance.choice(possible if possible and dice < 0.7 else others)
            session = typed(of, session, text)
    return session


@pytest.mark.parametrize("name", RAILWAYS)
@given(seed=st.integers(0, 2**32), length=st.integers(0, 25))
@settings(max_examples=25, deadline=None)
def test_a_session_that_is_saved_plays_to_the_same_state(name: str, seed: int, length: int) -> None:
    of = RAILWAYS[name]
    session = somewhere(of, seed, length)
    outcomes = played(of, script(of, session))
    assert not any(outcome.refused for outcome in outcomes)
    assert all(outcome.met is not False for outcome in outcomes)
    moment = outcomes[-1].moment if outcomes else first_moment(of)
    assert moment == session.moment


def test_what_was_typed_stands_before_the_events_that_came_of_it() -> None:
    of = RAILWAYS["junction"]
    session = Session(first_moment(of))
    acts = ["train comes in from WEST", "request H to C", "wait", "expect H off", "request H to B"]
    for text in acts:
        session = typed(of, session, text)
    assert script(of, session) == (
        "# Halt: a session\n\n"
        "# train comes in from WEST\n"
        "a train comes in from WEST to A\n"
        "the tail of the train comes in from WEST\n\n"
        "request H to C\n\n"
        "# wait\n"
        "P1 comes to lie diverging\n"
        "H clears for H to C\n\n"
        "expect H off\n"
    )


def test_undo_names_what_it_takes_back_with_the_expectations_after_it() -> None:
    of = RAILWAYS["junction"]
    session = typed(of, Session(first_moment(of)), "request H to C")
    session = typed(of, session, "expect H to C set")
    back = session.taken_back()
    assert back is not None
    session, was = back
    assert was == "request H to C"
    assert script(of, session) == "# Halt: a session\n"
    assert session.taken_back() is None


def test_to_begin_again_is_taken_back_like_an_act() -> None:
    of = RAILWAYS["junction"]
    before = typed(of, Session(first_moment(of)), "request H to C")
    begun = before.afresh(first_moment(of), "begin again")
    assert begun.moment == first_moment(of)
    assert begun.taken_back() == (before, "begin again")


def test_a_refused_act_leaves_nothing_behind() -> None:
    of = RAILWAYS["junction"]
    session = Session(first_moment(of))
    line = Line("passes", {"SIGNAL": "H"}, "train passes H", Span("", 1, 1, 1, 1))
    assert session.after(perform(of, session.moment, line)) is session
