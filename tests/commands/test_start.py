"""Where the program begins and ends as a process: what Ctrl-C does, whenever it comes."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

BOUND = 60.0


def test_before_it_can_answer_ctrl_c_it_loads_nothing_that_takes_long() -> None:
    program = "import bellcrank.commands.start, sys; print(len(sys.modules))"
    nothing = "import signal, sys, threading, typing, contextlib; print(len(sys.modules))"
    loaded, light = (
        int(subprocess.run([sys.executable, "-c", p], capture_output=True, check=True).stdout)
        for p in (program, nothing)
    )
    assert loaded - light <= 10


def test_while_a_command_runs_garbage_is_collected() -> None:
    """It is not while the program loads."""
    program = """
import gc, sys
import bellcrank.commands.cli, bellcrank.commands.start

during = []
bellcrank.commands.cli.load = lambda _: during.append(gc.isenabled())
bellcrank.commands.cli.main = lambda **_: during.append(gc.isenabled()) or 0
bellcrank.commands.start.main()
print(during)
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert done.stdout == "[False, True]\n", done.stderr


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
        if row.endswith("| bellcrank.commands.start\n"):
            break
    time.sleep(moment)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=BOUND)
    said = [row for row in err.splitlines() if not row.startswith("import time:")]
    assert (process.returncode, said) in ((130, ["stopped"]), (0, [])), (moment, said)
    if process.returncode == 0:
        assert out.startswith("bellcrank ")


def test_ctrl_c_that_falls_into_taking_an_object_down_is_not_lost(tmp_path: Path) -> None:
    program = """
import signal, sys, time
import bellcrank.commands.cli, bellcrank.commands.start

class Interrupted:
    def __del__(self):
        signal.raise_signal(signal.SIGINT)

class HalfMade:
    def __del__(self):
        self.owner

def command(**_):
    HalfMade()
    Interrupted()
    time.sleep(30)

bellcrank.commands.cli.main = command
sys.exit(bellcrank.commands.start.main())
"""
    command = [sys.executable, "-c", program]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=BOUND, cwd=tmp_path)
    assert (ended.returncode, ended.stderr) == (130, "stopped\n")


def test_once_a_command_has_come_to_its_end_ctrl_c_changes_nothing(tmp_path: Path) -> None:
    program = """
import atexit, signal, sys
import bellcrank.commands.cli, bellcrank.commands.start

atexit.register(lambda: [signal.raise_signal(n) for n in (signal.SIGINT, signal.SIGTERM)])
bellcrank.commands.cli.main = lambda **_: 3
sys.exit(bellcrank.commands.start.main())
"""
    command = [sys.executable, "-c", program]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=BOUND, cwd=tmp_path)
    assert (ended.returncode, ended.stderr) == (3, "")
