"""What the railway notices if an assumption is broken once, and what can happen until then."""

from __future__ import annotations

from itertools import islice

import pytest

from bellcrank.compilation import Sound, compile_text, prove
from bellcrank.controller.breakings import BREAKINGS, Breaking
from bellcrank.controller.broken import break_once
from bellcrank.controller.composition import compose
from bellcrank.controller.controller_model import Input
from bellcrank.machine.machine_model import Is, holds
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.noticed import Noticed, states_of, what_is_noticed
from bellcrank.proof.noticed_words import ACCIDENT, ALARM, HAPPENS, before_words, raised_words
from bellcrank.running.state_search import Explorer, violated

POINTS = """
    layout "Two roads" on two rails
    points P
    run edge W - A - >H - P.toe
    run P.straight - <S1 - T1 - stop
    run P.diverging - <S2 - T2 - stop
    drive P detected
"""

UNSEEN = POINTS.replace("drive P detected", "").replace("rails", "rails without detection", 1)

MOST_STATES = 20_000


def sound(text: str) -> Sound:
    c = compile_text(text)
    assert isinstance(c, Sound), c.diagnostics
    return c


def noticed(text: str, kind: Breaking) -> Noticed:
    c = sound(text)
    (one,) = what_is_noticed(c.control, compose(c.control, c.machine), [kind], Effort(seconds=60))
    return one


def outcomes(one: Noticed) -> dict[str, str]:
    return {answer.name: answer.outcome for answer in one.answers}


@pytest.mark.parametrize("kind", ["stuck at occupied", "vehicles left behind"])
def test_what_only_keeps_routes_from_being_set_brings_about_no_accident(kind: Breaking) -> None:
    one = noticed(POINTS, kind)
    assert {answer.outcome for _, answer in one.accidents} == {"proved"}
    assert before_words(one) == "nothing"


def test_a_report_of_clear_that_is_lost_is_never_noticed_and_harms_nobody() -> None:
    one = noticed(POINTS, "clear not reported")
    assert one.alarm == "none"
    assert before_words(one) == "nothing"


def test_trains_can_meet_before_the_alarm() -> None:
    one = noticed(POINTS, "signal passed at stop")
    assert one.alarm == "first report or later"
    meeting = one.answer("meetings")
    assert meeting is not None and meeting.story is not None
    assert meeting.story.ending.startswith("two trains meet in ")


def test_points_with_contacts_that_are_moved_by_hand_raise_the_alarm_at_once() -> None:
    """If the controller knows where they lie; it does not as long as nobody has thrown them."""
    one = noticed(POINTS, "points moved by hand")
    assert one.alarm == "first report or later"
    taken = one.answer("taken")
    assert taken is not None and taken.story is not None
    assert not any(step.event.startswith("lies") for step in taken.story.steps[:-1])


def test_points_that_do_not_move_are_found_out_by_their_time() -> None:
    one = noticed(POINTS, "points did not move")
    assert one.alarm == "later"
    assert before_words(one) == "nothing"


def test_without_contacts_a_train_may_run_over_points_that_did_not_move() -> None:
    one = noticed(POINTS.replace("drive P detected", ""), "points did not move")
    assert "a train may come off the rails" in before_words(one)


def test_where_nothing_is_detected_nothing_is_asked_of_detectors() -> None:
    c = sound(UNSEEN)
    kinds: list[Breaking] = ["stuck at clear", "occupied not reported", "asked without looking"]
    composed = compose(c.control, c.machine)
    found = list(what_is_noticed(c.control, composed, kinds, Effort(seconds=60)))
    assert [one.kind for one in found] == ["asked without looking"]
    assert found[0].alarm == "none"
    assert "trains may meet" in before_words(found[0])


@pytest.mark.campaign
@pytest.mark.parametrize("kind", BREAKINGS)
def test_what_is_shown_is_not_violated_in_any_state_that_a_search_finds(kind: Breaking) -> None:
    c = sound(POINTS)
    one = break_once(c.control, compose(c.control, c.machine), kind)
    if one is None:
        assert kind == "asked without looking"
        return
    of_kind = noticed(POINTS, kind)
    refuted = {answer.name for answer in of_kind.answers if answer.outcome == "refuted"}
    # What happens after an accident is not asked.
    accidents = {"meets": "meetings", "derails": "derailments"}
    events = [e for e in one.machine.events if accidents.get(e.kind) not in refuted]
    explorer = Explorer(one.machine, events)
    shown = {a.name for a in of_kind.answers if a.outcome == "proved"}
    tests = {name: test for name, test in violated(explorer, one.machine).items() if name in shown}
    assert not explorer.search(tests, MOST_STATES, None).runs


@pytest.mark.parametrize("kind", ["confirmed wrongly", "time too short"])
def test_a_story_breaks_its_assumption_once(kind: Breaking) -> None:
    c = sound(POINTS)
    one = break_once(c.control, compose(c.control, c.machine), kind)
    assert one is not None
    breaking = {e.name for e in one.machine.events if "not yet" in e.updates.get("broken", {})}
    stories = [a.story for a in noticed(POINTS, kind).answers if a.story is not None]
    assert stories
    for story in stories:
        assert sum(step.event in breaking for step in story.steps) == 1


@pytest.mark.parametrize(
    ("kind", "inputs"),
    [
        ("signal passed at stop", {"occupied"}),
        ("stuck at clear", {"clear"}),
        ("points moved by hand", {"elsewhere"}),
        ("points did not move", {"time over"}),
    ],
)
def test_a_story_of_an_alarm_ends_with_what_the_controller_cannot_explain(
    kind: Breaking, inputs: set[str]
) -> None:
    c = sound(POINTS)
    one = break_once(c.control, compose(c.control, c.machine), kind)
    answer = noticed(POINTS, kind).answer("alarms")
    assert one is not None
    assert answer is not None
    assert answer.story is not None
    by = answer.raised_by
    assert by is not None
    assert by.kind in inputs
    end = states_of(one.machine, answer.story)[-1]
    # By what the controller itself does at the report, which is new to it.
    if by.kind in ("occupied", "clear"):
        assert end[f"report {by.of}"] != f"reported {by.kind}"
        reactions = c.controller.inputs[Input(by.kind, by.of)]
        assert not any(all(holds(clause, end) for clause in r.guard) for r in reactions)
    if by.kind == "elsewhere":
        drive = c.control.view.frame.drive[by.of].name
        assert end[c.control.view.lying[by.of].name] == by.value != end[drive]
    assert raised_words(by).startswith(by.of if by.kind != "time over" else "the time of")


def test_no_other_story_ends_with_an_alarm() -> None:
    for answer in noticed(POINTS, "signal passed at stop").answers:
        assert (answer.raised_by is not None) == (answer.name == "alarms")


def test_while_nothing_is_broken_everything_goes_as_usual() -> None:
    """The machine with what may be broken has each event of the one without."""
    c = sound(POINTS)
    composed = compose(c.control, c.machine)
    usual = Explorer(composed, composed.events).search({}, 3_000, None).seen
    for kind in BREAKINGS:
        one = break_once(c.control, composed, kind)
        if one is None:
            continue
        own = [e for e in one.machine.events if e.name in {u.name for u in composed.events}]
        found = Explorer(one.machine, own).search({}, 3_000, None).seen
        assert {state[:-1] for state in islice(found, 2_000)} <= set(usual), kind


@pytest.mark.parametrize("kind", BREAKINGS)
def test_every_kind_can_be_broken(kind: Breaking) -> None:
    """Else what is shown of it would say nothing."""
    c = sound(UNSEEN if kind == "asked without looking" else POINTS)
    one = break_once(c.control, compose(c.control, c.machine), kind)
    assert one is not None
    explorer = Explorer(one.machine, one.machine.events)
    broken = one.machine.variables["broken"]
    never = explorer.test([(Is(broken.name, frozenset(broken.initial)),)])
    assert explorer.search({"broken": lambda state: not never(state)}, MOST_STATES, None).runs


def test_nothing_is_asked_of_a_controller_that_is_not_proved() -> None:
    c = prove(sound(POINTS), seconds=0, controller=True, broken=["stuck at clear"])
    assert c.noticed is None


def test_every_kind_has_its_words() -> None:
    assert set(HAPPENS) == set(BREAKINGS)
    assert len(set(HAPPENS.values())) == len(BREAKINGS)
    assert len(set(ALARM.values())) == len(ALARM)
    assert len(set(ACCIDENT.values())) == len(ACCIDENT)
