"""What outcomes come to together: what is unsafe, before what is not known, before a wish."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bellcrank.compilation import Checked, Sound, compile_text, prove
from bellcrank.proof.verdict import Conclusion, Outcome, conclusion

UNMET = """\
layout "Marsh Halt"
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
expect H to B with H to C
"""


@pytest.fixture(scope="module")
def unmet() -> Checked:
    sound = compile_text(UNMET)
    assert isinstance(sound, Sound)
    return prove(sound)


@pytest.mark.parametrize(
    ("on_safety", "on_expectations", "said"),
    [
        ({"proved", "shown"}, set(), "proved"),
        ({"proved", "shown"}, {"proved", "shown"}, "proved"),
        ({"proved"}, {"refuted", "undecided"}, "unmet"),
        ({"proved"}, {"undecided"}, "undecided"),
        ({"proved", "undecided"}, {"refuted"}, "undecided"),
        ({"proved", "undecided", "refuted"}, {"proved"}, "refuted"),
    ],
)
def test_safety_comes_before_wishes(
    on_safety: set[str], on_expectations: set[str], said: Conclusion
) -> None:
    assert conclusion(on_safety, on_expectations) == said


def test_a_layout_that_is_safe_and_not_as_expected_is_unmet(unmet: Checked) -> None:
    assert (unmet.outcome, unmet.status) == ("unmet", "unmet")
    assert unmet.unmet == {"expect H to B with H to C"}
    assert unmet.refuted
    assert unmet.in_doubt
    assert unmet.standing.outcome == unmet.moving.outcome == "unmet"
    assert unmet.moving.safe


@pytest.mark.parametrize("of_property", ["refuted", "undecided"])
def test_it_is_not_called_safe_if_a_property_is_not_proved(
    unmet: Checked, of_property: Outcome
) -> None:
    first, *others = unmet.standing.properties
    standing = replace(unmet.standing, properties=(replace(first, outcome=of_property), *others))
    c = replace(unmet, standing=standing)
    assert (c.outcome, c.status) == (of_property, "UNPROVED")
    assert c.refuted


def test_nor_if_the_proof_was_cut_short(unmet: Checked) -> None:
    c = replace(unmet, moving=replace(unmet.moving, stopped="by the time limit"))
    assert (c.outcome, c.status) == ("undecided", "UNPROVED")
    assert not c.moving.safe


def test_nor_if_nothing_was_asked(unmet: Checked) -> None:
    for c in (
        replace(unmet, moving=replace(unmet.moving, results=())),
        replace(unmet, standing=replace(unmet.standing, properties=(), expectations=())),
    ):
        assert (c.outcome, c.status) == ("undecided", "UNPROVED")


def test_an_expectation_refuted_in_one_proof_need_not_be_decided_in_the_other(
    unmet: Checked,
) -> None:
    results = tuple(
        replace(r, outcome="undecided") if r.expectation else r for r in unmet.moving.results
    )
    c = replace(unmet, moving=replace(unmet.moving, results=results))
    assert c.moving.outcome == "undecided"
    assert c.outcome == "unmet"
