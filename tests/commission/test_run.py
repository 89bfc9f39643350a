"""Questions and answers of a commissioning, without a terminal."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellcrank.commission.commission_checklist import Checklist, DriveCheck, RouteCheck
from bellcrank.commission.run import (
    NO,
    NOTHING,
    SKIP,
    SKIP_ALL,
    YES,
    Answer,
    Refuses,
    Run,
    Stands,
    Throw,
    changes,
    drive_findings,
    is_sound,
    is_whole,
    next_question,
    route_findings,
)

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
