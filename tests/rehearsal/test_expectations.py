"""What a script may expect: met when it is so, not met when it is not, and what is told."""

from __future__ import annotations

import pytest
from rehearsed import JUNCTION, OVERLAP, last, met, played

SET = "request H to C\n"
OFF = "request H to B\nwait\n"
UNDER_WAY = "train stands before H\nrequest H to B\nwait\ntrain passes H\n"
CALLED_ON = "train stands before D\ntrain stands before H\nrequest CALL\nwait\n"
GONE_ON = """
train comes in from WEST
request H0 to H
wait
train passes H0
request H to T
wait
train passes H
"""


@pytest.mark.parametrize(
    ("script", "so", "not_so"),
    [
        ("", "H to B allowed", "H to B refused"),
        (SET, "H to B refused", "H to B allowed"),
        (SET, "H to B refused because of H to C", "H to B refused because of B"),
        (SET, "H to B refused because of P1", "H to B refused because of A"),
        ("", "H to B idle", "H to B refused because of H to B"),
        ("", "cancel H to B refused", "H to B set"),
        (SET, "H to C set", "cancel H to C refused"),
        (SET, "H to C set", "H to C under way"),
        (UNDER_WAY, "H to B under way", "H to B set"),
        (OFF + "cancel H to B\n", "H to B being cancelled", "H to B idle"),
        (OFF, "H off", "H at stop"),
        ("", "H at stop", "H off"),
        (OFF + "cancel H to B\n", "H at stop", "H off"),
        (OFF, "H off for H to B", "H off for H to C"),
        (OFF, "H shows proceed", "H shows stop"),
        (UNDER_WAY, "H shows stop", "H shows proceed"),
        ("", "P1 lies straight", "P1 lies diverging"),
        (SET, "P1 moving", "P1 lies straight"),
        (SET, "P1 moving", "P1 lies diverging"),
        (SET + "wait\n", "P1 lies diverging", "P1 moving"),
        ("train stands before H\n", "A occupied", "A clear"),
        (UNDER_WAY, "A clear", "B occupied"),
        (SET, "C held for H to C", "C not held"),
        ("", "C not held", "C held for H to C"),
        ("train stands before H\n", "train in A at a stand", "train in B at a stand"),
        ("", "all at rest", "train in A at a stand"),
        (SET, "H at stop", "all at rest"),
        (OFF, "H off", "all at rest"),
    ],
)
def test_an_expectation_is_met_exactly_when_it_is_so(script: str, so: str, not_so: str) -> None:
    assert met(JUNCTION, script, f"expect {so}")
    assert not met(JUNCTION, script, f"expect {not_so}")


def test_a_train_before_a_signal_that_is_off_is_not_at_a_stand() -> None:
    script = "train stands before H\n" + OFF
    outcome = last(JUNCTION, script + "expect train in A at a stand")
    assert outcome.met is False
    assert outcome.found == ("a train passes H and enters P1 with P1 straight",)


def test_a_route_whose_train_has_gone_on_is_kept_for_its_overlap() -> None:
    assert met(OVERLAP, GONE_ON, "expect H0 to H kept for its overlap")
    assert not met(OVERLAP, GONE_ON, "expect H0 to H under way")
    assert not met(OVERLAP, GONE_ON, "expect H0 to H idle")


def test_the_aspect_is_that_of_the_route_for_which_the_signal_is_off() -> None:
    assert met(OVERLAP, CALLED_ON, "expect H shows call")
    assert not met(OVERLAP, CALLED_ON, "expect H shows clear")
    assert met(OVERLAP, "request H to T\nwait\n", "expect H shows clear")


def test_an_expectation_changes_nothing() -> None:
    before, after = played(JUNCTION, SET + "expect H to B refused")
    assert after.moment == before.moment
    assert not after.steps
    assert after.good


@pytest.mark.parametrize(
    ("expectation", "found"),
    [
        ("H off", "H is at stop"),
        ("P1 lies straight", "P1 is on its way to diverging"),
        ("H to C idle", "H to C is set"),
        ("C not held", "C is held for H to C"),
        ("C occupied", "no train is in C"),
        ("H to C allowed", "H to C is set already"),
        ("H shows proceed", "H shows stop"),
    ],
)
def test_what_is_not_met_is_told_with_what_is_the_case(expectation: str, found: str) -> None:
    outcome = last(JUNCTION, SET + f"expect {expectation}")
    assert outcome.met is False
    assert outcome.found == (found,)
    assert not outcome.good


def test_not_all_at_rest_names_what_is_not() -> None:
    assert last(JUNCTION, SET + "expect all at rest").found == (
        "P1 is on its way to diverging",
        "H to C is set",
    )


FROG = JUNCTION + "decoder kind quad { outputs 4 }\nfrog P1 = quad\n"


@pytest.mark.parametrize(
    "line",
    ["frog P1 lies diverging", "P1 lies diverging"],
)
def test_a_frog_is_spoken_of_by_its_two_words(line: str) -> None:
    script = "at first frog P1 lies straight\nrequest H to C\nwait\n"
    assert met(FROG, script, f"expect {line}")
    assert not met(FROG, script, "expect H to C refused because of frog P1")  # but it is read
