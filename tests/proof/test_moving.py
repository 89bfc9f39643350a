"""The moving proof: what it says of a layout, and what it makes of limits."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import pytest
from by_hand import without_hands
from fault_layouts import SMALL
from machine_faults import disagreement, replayed, small_machine
from sound_layouts import machine_of

from bellcrank.machine.machine_model import PROPERTIES, Invariant, Is, Machine
from bellcrank.proof.moving import moving_proof as moving
from bellcrank.proof.moving import solving
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.proof.moving.story import NotReplayedError, tell
from bellcrank.proof.verdict import MovingVerdict
from bellcrank.running.state_search import Explorer, Found, violated

STATION = """
points P
run edge W - A - >H - P.toe
run P.straight - <S1 - T1 - stop
run P.diverging - <S2 - T2 - stop
"""

FORGETFUL = """
locking written {
  every route needs its positions
  every route needs its sections clear
  H to T1 locks S1 to W
}
"""


def outcomes(verdict: MovingVerdict) -> dict[str, str]:
    return {result.name: result.outcome for result in verdict.results}


def searched(machine: Machine) -> Found:
    explorer = Explorer(machine)
    found = explorer.search(violated(explorer, machine))
    assert found.complete
    return found


@pytest.mark.parametrize("name", SMALL)
def test_derived_locking_is_proved_by_induction_without_looking_at_states(name: str) -> None:
    machine = small_machine(name)
    verdict = prove_moving(replace(machine, wishes=()), Effort(search=0))
    assert set(outcomes(verdict).values()) <= {"proved", "shown"}
    assert verdict.states == 0


def test_every_property_has_its_result_and_its_obligations() -> None:
    verdict = prove_moving(machine_of(STATION))
    assert verdict.outcome == "proved"
    found = {result.name: result for result in verdict.results}
    assert set(PROPERTIES) <= set(found)
    for name in ("meetings", "derailments", "drives", "signals", "release", "rest"):
        assert found[name].outcome == "proved"
        assert found[name].obligations > 0
    # There is no overlap to run into.
    assert found["overlaps"].obligations == 0
    assert verdict.obligations > 100
    assert verdict.states == 0
    assert verdict.solvers[0].startswith("z3 ")


def test_what_is_expected_never_to_be_set_together_is_proved_or_refuted_by_a_story() -> None:
    text = STATION + "expect H to T1 never with S1 to W\nexpect H to T1 never with H to T2\n"
    assert prove_moving(machine_of(text)).outcome == "proved"
    machine = machine_of(text + "locking written { every route needs its positions }\n")
    found = {result.name: result for result in prove_moving(machine).results}
    head_on = found["expect H to T1 never with S1 to W"]
    assert head_on.outcome == "refuted"
    assert head_on.story is not None and replayed(machine, head_on.story) == ""
    assert [s.event for s in head_on.story.steps] == ["request H to T1", "request S1 to W"]
    # These need the points in two positions, and that keeps them apart.
    assert found["expect H to T1 never with H to T2"].outcome == "proved"


def test_written_locking_that_forgets_a_pair_is_refuted_as_all_states_say() -> None:
    machine = without_hands(machine_of(STATION + FORGETFUL))
    verdict = prove_moving(machine)
    found = searched(machine)
    assert verdict.outcome == "refuted"
    assert disagreement(verdict, machine, found) == ""
    stated = {i.of for i in machine.invariants}
    found.runs.pop("rest", None)  # a clause of it is false, and the railway can come to rest
    assert {n: o for n, o in outcomes(verdict).items() if n in stated} == {
        name: "refuted" if name in found.runs else "shown" if name == "rest" else "proved"
        for name in stated
    }


def test_a_story_is_found_with_a_few_routes_where_there_are_too_many_states() -> None:
    machine = machine_of(STATION + FORGETFUL)
    verdict = prove_moving(machine, Effort(search=20))
    stories = [r.story for r in verdict.results if r.outcome == "refuted" and r.story]
    assert {story.of for story in stories} >= {"signals", "release"}
    for story in stories:
        assert replayed(machine, story) == ""
    assert not any(story.shortest for story in stories)


def test_a_property_of_any_other_name_is_decided_too() -> None:
    machine = replace(machine_of(STATION), wishes=())
    drive = machine.variables["drive P"]
    true = Invariant("mine", (Is(drive.name, frozenset(drive.values)),), "P lies nowhere")
    false = Invariant("yours", (Is(drive.name, frozenset(drive.initial)),), "P is moving")
    changed = replace(machine, invariants=(*machine.invariants, true, false))
    found = {result.name: result for result in prove_moving(changed).results}
    assert found["mine"].outcome == "proved"
    assert found["yours"].outcome == "refuted"
    story = found["yours"].story
    assert story is not None and story.ending == "P is moving" and len(story.steps) == 1


# ---------------------------------------------------------------- candidate clauses


def test_a_wrong_candidate_does_no_harm_and_helps_nobody() -> None:
    machine = machine_of(STATION)
    wrong = tuple((Is(v.name, frozenset(v.initial)),) for v in machine.variables.values())
    assert prove_moving(replace(machine, lemmas=(*wrong, *machine.lemmas))).outcome == "proved"
    faulty = machine_of(STATION + FORGETFUL)
    plain = outcomes(prove_moving(faulty))
    assert outcomes(prove_moving(replace(faulty, lemmas=(*wrong, *faulty.lemmas)))) == plain


@pytest.mark.parametrize("name", ["single line", "diamond", "crossover", "nothing detected"])
def test_without_candidates_of_its_own_a_small_layout_is_still_proved(name: str) -> None:
    verdict = prove_moving(replace(small_machine(name), lemmas=()))
    assert set(outcomes(verdict).values()) <= {"proved", "shown"}


# --------------------------------------------------------------------------- limits


def test_without_time_nothing_is_proved_and_nothing_refuted() -> None:
    for text in (STATION, STATION + FORGETFUL):
        machine = replace(machine_of(text), wishes=())
        verdict = prove_moving(machine, Effort(seconds=0))
        stated = {i.of for i in machine.invariants}
        assert {o for n, o in outcomes(verdict).items() if n in stated} == {"undecided"}
        assert verdict.outcome == "undecided"
        assert verdict.stopped == "by the time limit"
        for result in verdict.results:
            assert bool(result.open) == (result.outcome == "undecided")


@pytest.mark.parametrize("answer", ["unknown", "sat"])
def test_nothing_is_proved_that_the_solver_does_not_confirm(
    answer: solving.Answer, monkeypatch: pytest.MonkeyPatch
) -> None:
    def says(
        solver: solving.SolverName, shapes: Sequence[object], seconds: float | None
    ) -> list[solving.Answer]:
        return [answer for _ in shapes]

    monkeypatch.setattr(solving, "decide", says)
    # z3's other engine is asked without this.
    monkeypatch.setattr(moving, "SECONDS_FOR_HORN", 0.2)
    machine = small_machine("single line")
    verdict = prove_moving(machine)
    stated = {i.of for i in machine.invariants}
    found = {r.name: r.outcome for r in verdict.results if r.name in stated}
    assert found.pop("rest") == "shown"  # by its states, of which nobody was asked
    assert set(found.values()) == {"undecided"}
    assert verdict.states > 0


def test_two_proofs_of_one_machine_say_the_same() -> None:
    machine = machine_of(STATION + FORGETFUL)
    assert prove_moving(machine) == prove_moving(machine)


def test_a_second_solver_confirms_every_answer() -> None:
    verdict = prove_moving(machine_of(STATION), Effort(recheck=True))
    assert verdict.outcome == "proved"
    assert [name.split()[0] for name in verdict.solvers] == ["z3", "cvc5"]
    assert verdict.disagreement == ""


def test_a_second_solver_that_does_not_confirm_leaves_the_verdict_open(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    decide = solving.decide

    def otherwise(
        solver: solving.SolverName, shapes: Sequence[object], seconds: float | None
    ) -> list[solving.Answer]:
        if solver == "cvc5":
            return ["sat" for _ in shapes]
        return decide(solver, shapes, seconds)  # type: ignore[arg-type]

    monkeypatch.setattr(solving, "decide", otherwise)
    verdict = prove_moving(machine_of(STATION), Effort(recheck=True))
    assert verdict.disagreement
    assert verdict.outcome == "undecided"


def test_a_second_solver_that_ran_out_of_time_contradicts_nothing(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    decide = solving.decide
    proof = moving.Moving(machine_of(STATION), Effort(recheck=True), lambda _: None)

    def late(
        solver: solving.SolverName, shapes: Sequence[object], seconds: float | None
    ) -> list[solving.Answer]:
        if solver == "cvc5":
            proof.deadline = 0.0
            return ["unknown" for _ in shapes]
        return decide(solver, shapes, seconds)  # type: ignore[arg-type]

    monkeypatch.setattr(solving, "decide", late)
    verdict = proof.verdict()
    assert (verdict.disagreement, verdict.stopped) == ("", "by the time limit")
    assert verdict.outcome == "undecided"
    assert {r.outcome for r in verdict.results} == {"proved", "shown"}


NEVER = """\
run edge W - A - >H - <K - B - >J - <S - C - edge E
locking derive {
  H to J needs S to K set
}
"""


def test_a_route_that_needs_one_set_which_it_conflicts_with_can_never_be_set() -> None:
    verdict = prove_moving(machine_of(NEVER), Effort(recheck=True, search=0))
    (routes,) = (r for r in verdict.results if r.name == "routes")
    assert (routes.outcome, routes.never_set) == ("refuted", ("H to J",))
    assert verdict.disagreement == ""


def test_work_that_is_spread_out_gives_the_same_results() -> None:
    machine = machine_of(STATION + FORGETFUL)
    with ThreadPoolExecutor(2) as executor:
        spread = prove_moving(machine, Effort(executor=executor))
    assert spread.results == prove_moving(machine).results


def test_one_is_told_how_far_it_has_come() -> None:
    said: list[str] = []
    prove_moving(machine_of(STATION + FORGETFUL), progress=said.append)
    assert any("induction" in words for words in said)
    assert any("story" in words for words in said)


# -------------------------------------------------------------------------- stories


def test_a_run_that_cannot_happen_is_not_told() -> None:
    machine = machine_of(STATION + FORGETFUL)
    explorer = Explorer(machine)
    found = explorer.search(violated(explorer, machine))
    run, start = found.runs["release"], explorer.unpack(found.starts["release"])
    assert len(tell(machine, "release", run, start, True).steps) == len(run)
    with pytest.raises(NotReplayedError, match="is not possible"):
        tell(machine, "release", run[1:], start, True)
    with pytest.raises(NotReplayedError, match="nothing is wrong"):
        tell(machine, "release", run[:-1], start, True)
    with pytest.raises(NotReplayedError, match="at the start"):
        tell(machine, "release", run, {**start, "track A": "two trains"}, True)


def test_of_what_is_looked_for_in_vain_it_is_said_within_how_many_events() -> None:
    machine = machine_of(STATION)
    proof = moving.Moving(machine, Effort(search=3_000), lambda _: None)
    proof.open = dict.fromkeys(["meetings", "signals"])
    proof.look()
    explorer = Explorer(machine)
    layer, seen, depth = set(explorer.initial()), set(explorer.initial()), 0
    while True:
        layer = {then for s in layer for _, then in explorer.successors(s)} - seen
        if len(seen | layer) > 3_000:
            break
        seen, depth = seen | layer, depth + 1
    assert depth > 5
    assert proof.result("meetings").no_story_within == depth
    assert proof.result("release").no_story_within == 0
