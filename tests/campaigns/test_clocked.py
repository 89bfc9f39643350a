"""A share of the hours of `clocked.py`."""

from __future__ import annotations

import pytest
from clocked import as_decided, campaign


@pytest.mark.campaign
def test_nothing_happens_in_many_hours_of_railways_in_continuous_time() -> None:
    counts, wrong, _ = campaign(200)
    assert not wrong
    assert counts["seconds"] > 190 * 3600
    assert counts["arrivals"] > 6_500


@pytest.mark.campaign
@pytest.mark.parametrize("name", ["turning-loop", "hand-worked-branch"])
def test_what_comes_of_broken_assumptions_was_not_ruled_out(name: str) -> None:
    counts, wrong = as_decided(name, 40)
    assert not wrong
    assert counts["broken"] > 200
    assert counts["accident"] > 50
