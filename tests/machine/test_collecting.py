"""Garbage is collected as before once the many things are made."""

from __future__ import annotations

import gc

import pytest

from bellcrank.machine.collecting import NEW_THINGS, collected_seldom


def test_the_collector_runs_seldom_only_within() -> None:
    before = gc.get_threshold()
    with pytest.raises(KeyError), collected_seldom():
        assert gc.get_threshold()[0] == NEW_THINGS > before[0]
        raise KeyError
    assert gc.get_threshold() == before
