"""A share of the hours of `clocked.py`."""

from __future__ import annotations

import pytest
from clocked import as_decided, campaign


@pytest.mark.campaign
def test_nothing_happens_in_many_hours_of_railways_in_continuous_time() -> None:
    counts, wrong, _ = campaign(60, runs=90)
    assert not wrong
    assert counts["seconds"] > 57 * 3600
    assert counts["arrivals"] > 1_900


@pytest.mark.campaign
def test_what_comes_of_broken_assumptions_was_not_ruled_out() -> None:
    # `python tests/campaigns/clocked.py --noticed` does so on each example.
    counts, wrong = as_decided("hand-worked-branch", 12)
    assert not wrong
    assert counts["broken"] > 60
    assert counts["accident"] > 12
