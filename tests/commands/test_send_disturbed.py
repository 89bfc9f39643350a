"""The command `send` as a process that is disturbed: a few moments of each kind. The
campaign in `tests/campaigns` takes hundreds."""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from pathlib import Path

import pytest
from disturbances import KINDS, Disturbance
from disturbed_runs import Loaded
from peers import needs_broker


@pytest.fixture(scope="module")
def loaded() -> Iterator[Loaded]:
    program = Loaded()
    yield program
    program.close()


@pytest.fixture
def chance(request: pytest.FixtureRequest) -> random.Random:
    return random.Random(os.urandom(8).hex())


@pytest.mark.parametrize("kind", [k for k in KINDS if not k.slow], ids=str)
@needs_broker
def test_whenever_it_is_disturbed_signals_are_at_stop_or_told_as_not(
    loaded: Loaded, kind: Disturbance, tmp_path: Path, chance: random.Random
) -> None:
    kind.run(loaded, tmp_path, chance)
