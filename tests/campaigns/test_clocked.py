"""A share of the hours of `clocked.py`."""

from __future__ import annotations

import pytest
from clocked import campaign


@pytest.mark.campaign
def test_nothing_happens_in_many_hours_of_railways_in_continuous_time() -> None:
    counts, wrong, _ = campaign(300)
    assert not wrong
    assert counts["seconds"] > 290 * 3600
    assert counts["arrivals"] > 10_000
