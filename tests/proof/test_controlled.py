"""Controller and railway together: what is proved of them, and what is found out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from by_hand import without_hands
from fault_layouts import SMALL
from in_campaigns import in_campaigns
from machine_faults import Campaign, faults
from random_railways import random_railway

from bellcrank.compilation import Sound, compile_file, compile_text, prove
from bellcrank.controller.claims import CLAIMS
from bellcrank.controller.composition import compose
from bellcrank.machine.machine_model import Machine
from bellcrank.proof.controlled import prove_controlled
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.proof.moving.shapes import Shape
from bellcrank.proof.moving.solving import Answer, SolverName, decide
from bellcrank.proof.verdict import MovingVerdict
from bellcrank.running.state_search import Explorer, violated

EXAMPLES = Path(__file__).parents[2] / "examples"
SOUND_EXAMPLES = [
    "four-track-station",
    "hand-worked-branch",
    "harbour-terminus",
    "turning-loop",
]

POINTS = """
    layout "Two roads" on two rails
    points P
    run edge W - A - >H - P.toe
    run P.straight - <S1 - T1 - stop
    run P.diverging - <S2 - T2 - stop
    drive P detected
"""

FORGETFUL = f"""{POINTS}
    locking written {{
      every route needs its positions
      every route needs its sections clear
      every drive needs its section clear
    }}
"""

MOST_STATES = 60_000


def sound(text: str) -> Sound:
    c = compile_text(text)
    assert isinstance(c, Sound), c.diagnostics
    return c


def controlled(c: Sound, effort: Effort = Effort()) -> MovingVerdict:
    control = c.control
    return prove_controlled(control, compose(control, c.machine), effort)


def composed(c: Sound) -> Machine:
    return compose(c.control, c.machine)


def refuted(verdict: MovingVerdict) -> set[str]:
    return {r.name for r in verdict.results if r.outcome == "refuted"}


@pytest.mark.parametrize(
    "name", in_campaigns(SOUND_EXAMPLES, lambda name: name == "four-track-station")
)
def test_the_controller_of_each_sound_example_is_proved(name: str) -> None:
    c = compile_file(EXAMPLES / f"{name}.crank")
    assert isinstance(c, Sound)
    verdict = controlled(c)
    assert verdict.outcome == "proved"
    of_its_own = {r.name for r in verdict.results if r.outcome == "proved"}
    assert of_its_own >= {*CLAIMS, "doubts", "meetings", "rest"}


def test_a_forgetful_notebook_is_refuted_with_a_story_from_both_sides() -> None:
    verdict = controlled(sound(FORGETFUL))
    assert "meetings" in refuted(verdict)
    story = next(r.story for r in verdict.results if r.name == "meetings")
    assert story is not None
    told = " ".join(step.sentence for step in story.steps)
    # What the controller does, what is reported to it, and what happens.
    assert "the operator asks for" in told
    assert "P is reported to lie straight" in told
    assert "runs into P" in told


@pytest.mark.parametrize("name", ["points", "single line", "line of two", "overlap"])
def test_the_proof_agrees_with_looking_at_every_state(name: str) -> None:
    c = sound(f'layout "Small" on two rails\n{SMALL[name]}')
    machine = without_hands(composed(c))
    assert prove_moving(machine).outcome == "proved"
    explorer = Explorer(machine, machine.events)
    found = explorer.search(violated(explorer, machine), MOST_STATES)
    assert found.complete
    assert not found.runs


@pytest.mark.parametrize("every", [15, pytest.param(5, marks=pytest.mark.campaign)])
def test_a_controller_that_forgets_a_condition_is_refuted_or_does_no_harm(every: int) -> None:
    """Each clause of each guard left out, one in so many: the proof and all states agree."""
    machine = without_hands(composed(sound(f'layout "Small" on two rails\n{SMALL["single line"]}')))
    campaign = Campaign(most=MOST_STATES)
    for number, fault in enumerate(faults(machine)):
        if number % every == 0 and fault.kind.endswith("a clause dropped"):
            counts = campaign.judge(fault, "single line")
            campaign.seen.setdefault(fault.kind, Counter()).update(("seeded", *counts))
    assert not campaign.wrong
    assert campaign.total["seeded"] > 25 // every
    assert campaign.total["refuted"] > 10 // every


def test_a_section_that_is_released_on_a_late_report_is_found_out() -> None:
    """The machine releases a section when its train has gone; a controller that believed a
    report of clear that was not preceded by one of occupied would do so too soon."""
    machine = composed(sound(POINTS))
    name = "section released P by H to T1"
    changed = tuple(
        replace(e, guard=tuple(c for c in e.guard if all("progress" not in x.variable for x in c)))
        if e.name == name
        else e
        for e in machine.events
    )
    assert changed != machine.events
    assert "release" in refuted(prove_moving(replace(machine, events=changed)))


def proved_railways(seeds: range) -> Iterator[Sound]:
    """Those that induction proves: of the others the states are too many with a controller."""
    by_induction = Effort(seconds=3, search=0)
    for seed in seeds:
        c = compile_text(random_railway(seed), f"railway-{seed}.crank")
        if isinstance(c, Sound) and prove_moving(c.machine, by_induction).outcome == "proved":
            yield c


@pytest.mark.parametrize(
    "seeds",
    [range(7, 12), pytest.param(range(12, 20), marks=pytest.mark.campaign)],
    ids=["a few", "many"],
)
def test_a_railway_that_is_proved_has_a_controller_that_is_proved(seeds: range) -> None:
    """Drawn by lot, with every feature of the language among them."""
    outcomes = Counter(
        controlled(c, Effort(seconds=20, search=0)).outcome for c in proved_railways(seeds)
    )
    assert outcomes["proved"] >= len(seeds) // 3
    assert outcomes["refuted"] == 0
    assert outcomes["undecided"] <= len(seeds) // 30


def test_what_z3_answered_of_the_machine_alone_it_is_not_asked_again_of_the_controller(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[Shape] = []

    def deciding(
        solver: SolverName, shapes: Sequence[Shape], seconds: float | None
    ) -> list[Answer]:
        asked.extend(shapes)
        return decide(solver, shapes, seconds)

    monkeypatch.setattr("bellcrank.proof.moving.solving.decide", deciding)
    c = prove(sound(POINTS), controller=True)
    assert c.controlled is not None
    assert c.controlled.outcome == "proved"
    of_both = {q.shape for q in c.controlled.questions} & c.moving.unsolvable
    assert len(of_both) > 5
    assert all(asked.count(shape) == 1 for shape in of_both)
