"""Questions and answers of a commissioning, without a terminal."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sound_layouts import compiled

from bellcrank.commission.checks import Checklist, DriveCheck, RouteCheck
from bellcrank.commission.commission_checklist import checklist_of
from bellcrank.commission.findings import (
    changes,
    drive_findings,
    is_sound,
    is_whole,
    route_findings,
)
from bellcrank.commission.questions import (
    NO,
    NOTHING,
    SKIP,
    SKIP_ALL,
    YES,
    Answer,
    Refuses,
    Stands,
    Throw,
)
from bellcrank.commission.record import record_text, summary
from bellcrank.commission.run import Run, next_question

STRAIGHT, DIVERGING = Answer("lies", "straight"), Answer("lies", "diverging")


def drive(name: str = "P", *positions: str, crossed: bool = False) -> DriveCheck:
    return DriveCheck(name, (name,), positions or ("straight", "diverging"), crossed)


def run_of(check: DriveCheck, *answers: Answer) -> Run:
    run = Run(Checklist((check,), ()))
    for answer in answers:
        run = run.answer(answer)
    return run


def verdict(check: DriveCheck, *answers: Answer) -> str:
    return drive_findings(run_of(check, *answers))[0].verdict


def test_a_drive_is_thrown_each_way_and_to_the_first_again() -> None:
    run = Run(Checklist((drive(),), ()))
    thrown = []
    while isinstance(question := next_question(run), Throw):
        thrown.append(question.position)
        run = run.answer(Answer("lies", question.position))
    assert thrown == ["straight", "diverging", "straight"]
    assert next_question(run) is None
    assert is_whole(run) and is_sound(run)


@pytest.mark.parametrize("first", [STRAIGHT, NOTHING])
def test_a_drive_that_goes_where_it_is_thrown_is_right(first: Answer) -> None:
    assert verdict(drive(), first, DIVERGING, STRAIGHT) == "right"


@pytest.mark.parametrize("first", [DIVERGING, NOTHING])
@pytest.mark.parametrize("crossed", [False, True])
def test_a_drive_that_goes_the_other_way_is_to_be_crossed_or_no_longer(
    first: Answer, crossed: bool
) -> None:
    run = run_of(drive(crossed=crossed), first, STRAIGHT, DIVERGING)
    assert drive_findings(run)[0].verdict == "wrong way"
    assert changes(run) == {"P": not crossed}
    assert is_sound(run)


@pytest.mark.parametrize(
    ("answers", "why"),
    [
        ((STRAIGHT, NOTHING, STRAIGHT), "thrown to diverging nothing moved"),
        ((STRAIGHT, NOTHING, NOTHING), "thrown to straight nothing moved"),
        ((STRAIGHT, STRAIGHT, STRAIGHT), "thrown to diverging it lay straight"),
        ((STRAIGHT, STRAIGHT, DIVERGING), "thrown to straight it did not do the same both times"),
        ((DIVERGING, DIVERGING, STRAIGHT), "thrown to straight it did not do the same both times"),
    ],
)
def test_any_other_drive_is_faulty_and_its_wiring_is_left_alone(
    answers: tuple[Answer, ...], why: str
) -> None:
    run = run_of(drive(), *answers)
    finding = drive_findings(run)[0]
    assert finding.verdict == "faulty"
    assert why in finding.why
    assert changes(run) == {}
    assert not is_sound(run)


def lies(name: str) -> Answer:
    return Answer("lies", name)


def test_the_sides_of_each_output_are_swapped_where_there_are_two() -> None:
    four = drive("S", "a", "b", "c", "d")
    assert verdict(four, lies("b"), *map(lies, "adc"), lies("b")) == "wrong way"
    assert verdict(four, lies("c"), *map(lies, "dab"), lies("c")) == "faulty"
    three = drive("S", "a", "b", "c")
    assert verdict(three, lies("b"), lies("a"), NOTHING, lies("b")) == "wrong way"
    assert verdict(three, lies("b"), lies("a"), lies("c"), lies("b")) == "faulty"


@given(st.booleans(), st.booleans(), st.sampled_from(["straight", "diverging"]))
def test_a_real_drive_is_told_right_whatever_its_wires_and_wherever_it_lay(
    swapped: bool, crossed: bool, lay: str
) -> None:
    """The wires of a simulated drive are swapped or not, and the layout says so or not."""
    check = drive(crossed=crossed)
    run = Run(Checklist((check,), ()))
    while isinstance(question := next_question(run), Throw):
        goes = question.position == "straight"
        goes = goes if swapped == crossed else not goes
        now = "straight" if goes else "diverging"
        run = run.answer(NOTHING if now == lay else lies(now))
        lay = now
    assert changes(run) == ({} if swapped == crossed else {"P": swapped})


# --------------------------------------------------------------------- routes

ROUTES = (
    RouteCheck("A to B", (("P", "straight"),), "A", "proceed", ("C to D", "E to F")),
    RouteCheck("C to D", (), "C", "proceed", ("A to B",)),
)


def asked(run: Run, *answers: Answer) -> list[str]:
    """The questions, the last of them not answered."""
    questions = []
    for answer in (*answers, None):
        question = next_question(run)
        match question:
            case Stands(route):
                questions.append(f"{route.name}?")
            case Refuses(route, other):
                questions.append(f"{route.name} refuses {other}?")
        if answer is not None:
            run = run.answer(answer)
    return questions


def test_each_route_is_set_and_each_that_conflicts_asked_for() -> None:
    run = Run(Checklist((), ROUTES))
    assert asked(run, YES, YES, YES, YES, YES) == [
        "A to B?",
        "A to B refuses C to D?",
        "A to B refuses E to F?",
        "C to D?",
        "C to D refuses A to B?",
    ]


def test_what_is_passed_over_is_not_asked_and_the_run_is_not_whole() -> None:
    run = Run(Checklist((drive(),), ROUTES))
    assert asked(run.answer(SKIP), SKIP) == ["A to B?", "C to D?"]
    assert asked(run.answer(SKIP), YES, SKIP_ALL)[-1] == "C to D?"
    assert asked(run.answer(SKIP), YES, SKIP)[-1] == "A to B refuses E to F?"
    assert not is_whole(run.answer(SKIP))


def test_what_is_wrong_with_a_route_is_kept() -> None:
    run = Run(Checklist((), ROUTES))
    for answer in (NO, YES, NO, YES):
        run = run.answer(answer)
    first, second = route_findings(run)
    assert (first.stands, first.refused, first.let) == (False, ("C to D",), ("E to F",))
    assert (second.stands, second.not_asked) == (True, ("A to B",))
    assert not is_sound(run) and not is_whole(run)


def test_an_answer_is_taken_back() -> None:
    run = run_of(drive(), STRAIGHT, NOTHING)
    assert next_question(run.back()) == Throw(drive(), "diverging", 2)
    assert run.back().back().back() == Run(Checklist((drive(),), ()))


def test_what_is_no_answer_is_not_taken() -> None:
    run = Run(Checklist((drive(),), ()))
    for answer in (YES, SKIP_ALL, lies("sideways")):
        with pytest.raises(ValueError, match="not an answer"):
            run.answer(answer)


# ------------------------------------------------------------------------ frogs

WITH_FROGS = """
points P1
double slip S1 with one drive
run edge WEST - A - >H - P1.toe
run P1.straight - S1.a1
run P1.diverging - <N - B - stop
run edge YARD - Y - >YH - S1.b1
run S1.a2 - <D1 - T1 - stop
run S1.b2 - <D2 - T2 - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
drive P1 = K1.1
drive S1 = K1.2
frog P1 with drive
frog S1.end1 = K1.3
frog S1.end2 dead
"""


def frogs_checked() -> tuple[DriveCheck, DriveCheck]:
    c = compiled(WITH_FROGS)
    checks = checklist_of(c.layout, c.table, c.commands).drives
    assert [check.name for check in checks] == ["P1", "S1", "frog P1", "frog S1.end1"]
    return checks[2], checks[3]


def tried(check: DriveCheck, joined: dict[str, str]) -> Run:
    """A frog tried at the bench. joined: the leg whose rail it really is joined to, by what is
    asked for; none where it hangs loose."""
    run = Run(Checklist((check,), ()))
    while isinstance(question := next_question(run), Throw):
        leg = joined.get(question.position)
        run = run.answer(Answer("lies", leg) if leg else NOTHING)
    return run


def test_a_frog_is_tried_by_its_output_or_by_the_drive_whose_contact_serves_it() -> None:
    contact, output = frogs_checked()
    assert contact.positions == ("straight", "diverging")
    assert [contact.to_throw(p) for p in contact.positions] == [
        ("P1", "straight"),
        ("P1", "diverging"),
    ]
    assert [output.to_throw(p) for p in output.positions] == [
        ("frog S1.end1", "a1"),
        ("frog S1.end1", "b1"),
    ]


@pytest.mark.parametrize("number", [0, 1], ids=["contact", "output"])
def test_a_frog_with_swapped_feed_wires_is_found(number: int) -> None:
    check = frogs_checked()[number]
    one, other = check.positions
    right = tried(check, {one: one, other: other})
    assert is_sound(right) and is_whole(right) and changes(right) == {}
    swapped = tried(check, {one: other, other: one})
    assert drive_findings(swapped)[0].verdict == "wrong way"
    if number == 0:  # nothing in the layout can put it right
        assert changes(swapped) == {} and not is_sound(swapped)
        assert summary(swapped)[-1] == (
            "REWIRE: swap the two wires that feed the frog P1 at its contact"
        )
    else:
        assert changes(swapped) == {"frog S1.end1": True} and is_sound(swapped)


@pytest.mark.parametrize("number", [0, 1], ids=["contact", "output"])
def test_a_frog_that_hangs_loose_or_never_changes_is_faulty(number: int) -> None:
    check = frogs_checked()[number]
    one, other = check.positions
    for joined in ({}, {one: one}, {one: one, other: one}):
        run = tried(check, joined)
        assert drive_findings(run)[0].verdict == "faulty" and not is_sound(run)


def test_the_record_tells_of_frogs_by_the_lamp() -> None:
    run = tried(frogs_checked()[0], {"straight": "straight"})
    text = record_text([], run, [])
    assert "Faulty: frog P1." in text
    assert "P1 thrown to straight: the lamp stays dark at straight" in text
    assert "P1 thrown to diverging: the lamp lights at both" in text
