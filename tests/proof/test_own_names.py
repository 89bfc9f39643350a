"""With a recheck, or written down, every obligation is stated by the names of its own place."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from sound_layouts import compiled_file

from bellcrank.commands.reading_layout import check_layout
from bellcrank.machine.machine_model import Clause, Event, Invariant, Is, Machine, Variable
from bellcrank.proof.moving.examine import Examiner
from bellcrank.proof.moving.induction import Prover
from bellcrank.proof.moving.moving_proof import Effort, Moving, prove_moving
from bellcrank.proof.moving.own_names import own_question
from bellcrank.proof.moving.solving import Solving
from bellcrank.proof.moving.symmetry import Kinds, Recipe
from bellcrank.proof.verdict import MovingOutcome
from bellcrank.running.packed import Packed

sys.path.insert(0, str(Path(__file__).parents[1]))

from random_layouts import valid_layouts

EXAMPLES = Path(__file__).parents[2] / "examples"


def is_(variable: str, value: str) -> Is:
    return Is(variable, frozenset([value]))


def places(count: int, *, spoilt: int = -1) -> Machine:
    """Places of one kind, at each of which `x` and `y` are never both up, as `t` and `z` come
    up with either of them and stay; but at the spoilt place `z` may come down again."""
    variables: dict[str, Variable] = {}
    events: list[Event] = []
    wrong: list[Invariant] = []
    lemmas: list[Clause] = []
    up = {"down": "up"}
    for i in range(count):
        x, y, t, z = (f"{letter}{i}" for letter in "xytz")
        for name in (x, y, t, z):
            variables[name] = Variable(name, "route", name, ("down", "up"), ("down",))
        events += [
            event(f"{x} up", [(is_(z, "down"),), (is_(y, "down"),)], {x: up, t: up, z: up}),
            event(f"{y} up", [(is_(z, "down"),)], {y: up, t: up, z: up}),
        ]
        wrong.append(Invariant("meetings", (is_(x, "down"), is_(y, "down")), f"both at {i}"))
        lemmas += [(is_(x, "down"), is_(t, "up")), (is_(t, "down"), is_(z, "up"))]
    if spoilt >= 0:
        events.append(event("spoils", [], {f"z{spoilt}": {"up": "down"}}))
    return Machine(variables, tuple(events), tuple(wrong), (), tuple(lemmas), {})


def event(name: str, guard: list[Clause], updates: dict[str, dict[str, str]]) -> Event:
    return Event(name, "request", "operator", name, name, tuple(guard), updates)


@pytest.fixture
def taken_over_wrongly(monkeypatch: pytest.MonkeyPatch) -> None:
    """A clause that helped elsewhere is taken to help here, though it is not there."""
    follow = Kinds.follow

    def careless(self: Kinds, recipe: Recipe, slots: list[int]) -> list[int] | None:
        found = follow(self, recipe, slots)
        return [] if found is None else found

    monkeypatch.setattr(Kinds, "follow", careless)


def meetings(machine: Machine, effort: Effort) -> MovingOutcome:
    return next(r.outcome for r in prove_moving(machine, effort).results if r.name == "meetings")


def test_a_machine_in_which_one_place_is_wrong_is_refuted() -> None:
    assert meetings(places(4), Effort()) == "proved"
    assert meetings(places(4, spoilt=3), Effort()) == "refuted"


@pytest.mark.usefixtures("taken_over_wrongly")
@pytest.mark.parametrize("effort", [Effort(recheck=True), Effort(own_names=True)])
def test_what_is_taken_over_wrongly_is_noticed_by_its_own_names(effort: Effort) -> None:
    assert meetings(places(4, spoilt=3), Effort(search=0)) == "proved"  # the planted fault
    assert meetings(places(4, spoilt=3), effort) == "refuted"
    assert meetings(places(4), effort) == "proved"


@pytest.mark.parametrize("name", ["harbour-terminus", "turning-loop", "hand-worked-branch"])
def test_every_obligation_by_its_own_names_shows_what_the_likes_of_it_showed(name: str) -> None:
    machine = compiled_file(EXAMPLES / f"{name}.crank").machine
    plain, own = prove_moving(machine), prove_moving(machine, Effort(own_names=True))
    assert [(r.name, r.outcome) for r in own.results] == [
        (r.name, r.outcome) for r in plain.results
    ]
    assert own.obligations == plain.obligations
    assert {q.answer for q in own.questions} == {"unsat"}


@pytest.mark.parametrize(
    "seeds", [range(4_101, 4_102), pytest.param(range(4_102, 4_109), marks=pytest.mark.campaign)]
)
def test_on_random_layouts_the_same_clauses_are_shown_by_their_own_names(seeds: range) -> None:
    for _, c in valid_layouts(seeds):
        packed = Packed(c.machine)
        both = [
            Prover(Examiner(packed, own_names=own), Solving()).run(range(packed.stated)).held
            for own in (False, True)
        ]
        assert both[0] == both[1]


def test_an_obligation_by_its_own_names_is_its_goal_guard_and_help_and_no_more() -> None:
    packed = Packed(places(1))
    ups, (goal, first, second) = packed.events[1], packed.clauses
    x, y, t, z = range(4)
    down, up = 0b01, 0b10
    assert own_question(ups, goal, [first, second], packed.full) == [
        ((x, up),),
        ((y, down | up),),  # wherever y was, it is up afterwards
        ((z, down),),
        ((x, down), (t, up)),
        ((t, down), (z, up)),
    ]
    assert own_question(ups, None, [], packed.full) == [((z, down),)]


def test_obligations_that_are_written_down_are_stated_by_their_own_names() -> None:
    path = EXAMPLES / "harbour-terminus.crank"
    own = check_layout(path, own_names=True)
    plain = check_layout(path)
    assert len(own.moving.questions) > len(plain.moving.questions)
    assert (
        Moving(compiled_file(path).machine, Effort(recheck=True), print)
        .examiner(thorough=False)
        .own_names
    )
