"""Every obligation can be read: by names, and as the solver is asked it."""

from __future__ import annotations

from pathlib import Path

from sound_layouts import compiled, compiled_file

import bellcrank
from bellcrank.machine.machine_model import Clause, Event, Invariant, Is, Machine, Variable
from bellcrank.proof.moving.moving_proof import prove_moving
from bellcrank.proof.moving.obligation_words import clause_in_words, in_words, shape_in_words
from bellcrank.proof.smt_files import IN_WORDS, obligation_files
from bellcrank.proof.verdict import Question


def one(variable: str, *values: str) -> Clause:
    return (Is(variable, frozenset(values)),)


def guarded() -> Machine:
    """The signal clears only while the points lie straight and the key is out, and the
    points are thrown only while it is in."""
    points = Variable("drive P", "drive", "P", ("straight", "diverging"), ("straight",))
    signal = Variable("signal S", "signal", "S", ("stop", "A", "B"), ("stop",))
    key = Variable("held K", "held", "K", ("in", "out"), ("in", "out"))
    clears = Event(
        "clears", "signal clears", "interlocking", "S", "S clears for A",
        (one("drive P", "straight"), one("signal S", "stop"), one("held K", "out")),
        {"signal S": {"stop": "A"}},
    )  # fmt: skip
    throws = Event(
        "throws", "drive arrives", "surroundings", "P", "P goes over",
        (one("held K", "in"),), {"drive P": {"straight": "diverging"}},
    )  # fmt: skip
    wrong = Invariant(
        "signals",
        (Is("signal S", frozenset(["stop", "B"])), Is("drive P", frozenset(["straight"]))),
        "S is off though P lies wrong",
    )
    at_stop = (Is("held K", frozenset(["out"])), Is("signal S", frozenset(["stop"])))
    return Machine(
        {v.name: v for v in (points, signal, key)},
        (clears, throws), (wrong,), (), (at_stop,), {},
    )  # fmt: skip


def words_of(machine: Machine) -> list[str]:
    questions = prove_moving(machine).questions
    return [in_words(q.example, machine.variables) for q in questions]


def test_an_obligation_names_its_clause_its_event_and_what_helps() -> None:
    assert """\
after: P goes over
it must be that
  signal S is not A or drive P is straight
  (if not: S is off though P lies wrong)
the event may happen while
  held K is in
it changes
  drive P: straight to diverging
and before it
  held K is out or signal S is stop""" in words_of(guarded())


def test_an_obligation_that_the_guard_alone_shows_says_that_it_is_enough() -> None:
    assert """\
after: S clears for A
it must be that
  signal S is not A or drive P is straight
  (if not: S is off though P lies wrong)
the event may happen while
  drive P is straight
  signal S is stop
  held K is out
it changes
  signal S: stop to A
and that is enough""" in words_of(guarded())


def test_an_obligation_at_the_start_names_the_values_at_the_start() -> None:
    assert """\
at the start
it must be that
  signal S is not A or drive P is straight
  (if not: S is off though P lies wrong)
as at the start
  signal S is stop
  drive P is straight""" in words_of(guarded())


def test_literals_are_said_in_the_shorter_way() -> None:
    five = Variable("route R", "route", "R", tuple("abcde"), ("a",))
    said = {
        values: clause_in_words(one("route R", *values), {"route R": five})
        for values in ("a", "ab", "abc", "abcd")
    }
    assert said == {
        "a": "route R is a",
        "ab": "route R is one of {a, b}",
        "abc": "route R is none of {d, e}",
        "abcd": "route R is not e",
    }
    assert clause_in_words((), {}) == "what can never be"


def test_a_question_is_told_with_letters_and_numbers() -> None:
    shape = ((2, 3), (((0, 0b01), (1, 0b110)), ((1, 0b001),), ()))
    assert (
        shape_in_words(shape)
        == """\
can all of this be true together?
  a is one of {1, 2}
  b is one of {1, 2, 3}
  a in {1} or b in {2, 3}
  b in {1}
  what can never be"""
    )


def nothing_is_missing(question: Question, machine: Machine) -> bool:
    """Whether the clauses of a question are no more than those that are told of it."""
    when, helping = question.example.when, question.example.helping
    guard = when.guard if isinstance(when, Event) else ()
    told = len(guard) + len(helping) + len(question.example.clause)
    if when == "at the start":
        told += len(question.example.clause)
    return len(question.shape[1]) <= told


def test_what_is_told_of_an_obligation_is_all_that_its_question_is_made_of() -> None:
    path = Path(__file__).parents[2] / "examples" / "harbour-terminus.crank"
    machine = compiled_file(path).machine
    questions = prove_moving(machine).questions
    assert len(questions) > 20
    assert all(nothing_is_missing(q, machine) for q in questions)
    assert {type(q.example.when) for q in questions} == {Event, str}


STATION = """
points P
run edge W - A - >H - P.toe
run P.straight - <S1 - T1 - stop
run P.diverging - <S2 - T2 - stop
"""


def test_the_file_in_words_tells_of_every_obligation_file() -> None:
    c = bellcrank.prove(compiled(STATION))
    files = obligation_files(c.layout, c.table, c.locking, c.machine, c.standing, c.moving)
    told = files[IN_WORDS].decode()
    moving = [name for name in files if name.startswith("moving-") and name.endswith(".smt2")]
    assert len(moving) == len(c.moving.questions)
    for name in moving:
        assert f"{name}, answered: unsat\n" in told
        words = [line[2:] for line in files[name].decode().splitlines() if line.startswith("; ")]
        assert "\n".join(words[:-1]) in told
    events = [q.example.when for q in c.moving.questions if isinstance(q.example.when, Event)]
    assert events
    assert all(event.text in told for event in events)
