"""What is taken over from a place that is alike is true of the place it is taken to."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import bellcrank
from bellcrank.machine.machine_model import Clause, Event, Is, Machine, Variable
from bellcrank.proof.moving.examine import Examiner, Place
from bellcrank.proof.moving.findings import Finding
from bellcrank.proof.moving.induction import Prover
from bellcrank.proof.moving.shapes import Shape, shape_of
from bellcrank.proof.moving.solving import Solving, decide
from bellcrank.proof.moving.symmetry import NEVER, Kind, Kinds, Likeness
from bellcrank.running.packed import Packed, PackedClause, PackedEvent

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.generate import FAMILIES, with_routes
from random_layouts import valid_layouts

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))


# ------------------------------------------------------------- a row of places


def row(places: int, *, without: int = -1) -> Machine:
    """Places of one kind: `x` goes on only while `y` is down, and `y` comes up only
    while `x` is off, so that they are never both up: with `x` comes `t`, and with `t` `z`. The
    place `without` lacks the first of the two clauses in which that is said."""
    variables: dict[str, Variable] = {}
    events: list[Event] = []
    lemmas: list[Clause] = []
    for i in range(places):
        x, y, t, z = f"x{i}", f"y{i}", f"t{i}", f"z{i}"
        for name in (x, y, t, z):
            variables[name] = Variable(name, "route", name, ("down", "up"), ("down",))
        up = {"down": "up"}
        events += [
            _event(f"{x} up", [(_is(z, "down"),), (_is(y, "down"),)], {x: up, t: up, z: up}),
            _event(f"{y} up", [(_is(z, "down"),), (_is(x, "down"),)], {y: up, z: up}),
            # It takes the helping clauses to know that this does no harm.
            _event(f"{x} and {y} up", [(_is(x, "up"),), (_is(z, "down"),)], {y: up}),
        ]
        lemmas.append((_is(x, "down"), _is(y, "down")))
        if i != without:
            lemmas.append((_is(x, "down"), _is(t, "up")))
        lemmas.append((_is(t, "down"), _is(z, "up")))
    return Machine(variables, tuple(events), (), (), tuple(lemmas), {})


def _is(variable: str, value: str) -> Is:
    return Is(variable, frozenset([value]))


def _event(name: str, guard: list[Clause], updates: dict[str, dict[str, str]]) -> Event:
    return Event(name, "request", "operator", name, name, tuple(guard), updates)


@pytest.fixture
def searches(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The events at which a search was made, as they come."""
    made: list[int] = []
    anew = Examiner._anew

    def counted(self: Examiner, place: Place, goals: list[int], finding: Finding) -> None:
        made.append(place.event.number)
        anew(self, place, goals, finding)

    monkeypatch.setattr(Examiner, "_anew", counted)
    return made


def shown(machine: Machine) -> list[bool]:
    """For each clause whether it is shown."""
    packed = Packed(machine)
    return Prover(Examiner(packed), Solving()).run(range(len(packed.clauses))).held


def test_a_search_is_made_at_two_places_only(searches: list[int]) -> None:
    assert all(shown(row(40)))
    assert searches
    assert max(searches) < 2 * 3


def test_where_the_helping_clause_is_missing_nothing_is_taken_over(searches: list[int]) -> None:
    held = shown(row(5, without=3))
    assert held == [True] * 9 + [False, True] + [True] * 3
    assert {number // 3 for number in searches} == {0, 1, 3}


def test_a_helping_clause_that_was_struck_out_helps_nowhere() -> None:
    machine = row(5)
    spoiler = _event("z3 down", [], {"z3": {"up": "down"}})
    spoilt = Machine(machine.variables, (*machine.events, spoiler), (), (), machine.lemmas, {})
    assert shown(spoilt) == [True] * 9 + [False, True, False] + [True] * 3


# ------------------------------------------------- obligations with their own names


class Watched:
    """Writes out, with its own names, every obligation that is taken over."""

    def __init__(self, examiner: Examiner) -> None:
        self.examiner = examiner
        self.questions: dict[Shape, None] = {}
        self.count = 0
        self._goal: PackedClause = ()
        kinds = examiner.kinds
        self._known, self._goal_of, self._of = kinds.known, kinds.goal, kinds.of
        kinds.known = self.known  # type: ignore[method-assign]
        kinds.goal = self.goal  # type: ignore[method-assign]
        kinds.of = self.of  # type: ignore[method-assign]

    def of(self, event: PackedEvent) -> tuple[Kind, list[int]]:
        self._event = event
        return self._of(event)

    def goal(self, clause: PackedClause, slots: list[int]) -> tuple[Likeness, list[int]]:
        self._goal = clause
        return self._goal_of(clause, slots)

    def known(
        self, kind: Kind, likeness: Likeness, slots: list[int]
    ) -> tuple[int, list[int]] | None:
        answer = self._known(kind, likeness, slots)
        if answer is not None:
            shape, helping = answer
            self.count += 1
            self.written_out(likeness, helping, self.examiner.shapes[shape])
        return answer

    def written_out(self, likeness: Likeness, helping: list[int], shape: Shape) -> None:
        packed, event = self.examiner.packed, self._event
        together: list[PackedClause] = [((v, mask),) for v, mask in event.units.items()]
        together += event.guard
        if likeness != NEVER:
            together += false_after(self._goal, event, packed.full)
        together += [packed.clauses[number] for number in helping]
        assert len(shape[1]) <= len(together)
        self.questions[shape_of(together, packed.full)] = None


def false_after(goal: PackedClause, event: PackedEvent, full: list[int]) -> list[PackedClause]:
    """That a clause is false after an event, said of the state before it; value by value."""
    said: list[PackedClause] = []
    for variable, mask in goal:
        before = 0
        for place in range(full[variable].bit_length()):
            value = 1 << place
            after = next(
                (new for old, new in event.updates.get(variable, ()) if old & value), value
            )
            if not after & mask:
                before |= value
        said.append(((variable, before),))
    return said


def machines() -> Iterator[Machine]:
    for path in EXAMPLES:
        if path.stem == "four-track-station":
            continue  # of its kind there are others here, in less time
        c = bellcrank.compile_file(path)
        yield c.machine
    for family in FAMILIES:
        c = bellcrank.compile(with_routes(family, 30))
        yield c.machine
    for _, c in valid_layouts(range(4_000, 4_003)):
        yield c.machine


def test_every_obligation_that_is_taken_over_holds_with_its_own_names() -> None:
    count = 0
    questions: dict[Shape, None] = {}
    for machine in machines():
        packed = Packed(machine)
        examiner = Examiner(packed)
        watched = Watched(examiner)
        examiner.examine(range(len(packed.clauses)))
        count += watched.count
        questions |= watched.questions
    assert count > 500
    assert set(decide("z3", list(questions), None)) == {"unsat"}


@pytest.mark.campaign
def test_the_same_is_shown_as_with_a_search_everywhere(monkeypatch: pytest.MonkeyPatch) -> None:
    found = [Packed(machine) for machine in machines()]
    quick = [shown_of(packed) for packed in found]
    monkeypatch.setattr(Kinds, "known", lambda *_: None)
    assert [shown_of(packed) for packed in found] == quick
    assert not all(all(held) for held in quick)


def shown_of(packed: Packed) -> list[bool]:
    """For each invariant whether induction shows it."""
    return Prover(Examiner(packed), Solving()).run(range(packed.stated)).held[: packed.stated]
