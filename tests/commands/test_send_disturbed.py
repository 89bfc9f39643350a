"""The command `send` as a process that is disturbed: a few moments of each kind. The
campaign in `tests/campaigns` takes hundreds."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from disturbances import KINDS, Disturbance
from disturbed_runs import BOUND, Loaded
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
@pytest.mark.parametrize("number", range(3))
@needs_broker
def test_whenever_it_is_disturbed_signals_are_at_stop_or_told_as_not(
    loaded: Loaded, kind: Disturbance, number: int, tmp_path: Path, chance: random.Random
) -> None:
    kind.run(loaded, tmp_path, chance)


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="signals as POSIX has them")
@pytest.mark.parametrize("number", range(3))
def test_ctrl_c_while_the_program_loads_ends_it_with_one_word(number: int) -> None:
    moment = random.uniform(0, 0.8)
    process = subprocess.Popen(
        [sys.executable, "-X", "importtime", "-m", "bellcrank", "--version"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    for row in process.stderr:  # from then on it is our code that runs
        if row.endswith("| bellcrank.start\n"):
            break
    time.sleep(moment)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=BOUND)
    said = [row for row in err.splitlines() if not row.startswith("import time:")]
    assert (process.returncode, said) in ((130, ["stopped"]), (0, [])), (moment, said)
    if process.returncode == 0:
        assert out.startswith("bellcrank ")
