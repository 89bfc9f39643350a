"""Runs of the hardware model checker abc on the machine of a layout, as `aiger` writes it.

Abc (Berkeley Logic Synthesis and Verification Group) is written by others and knows nothing
of railways. Its `pdr` is property directed reachability, also called IC3 (Bradley, "SAT-based
model checking without unrolling", 2011; Een, Mishchenko and Brayton, "Efficient implementation
of property directed reachability", 2011); its `bmc3` is bounded model checking, which finds a
shortest run to something wrong.
"""

from __future__ import annotations

import os
import re
import resource
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from aiger import Circuit

ABC = shutil.which("berkeley-abc") or shutil.which("abc")

AbcVerdict = Literal["holds", "violated", "no answer"]


class AbcError(Exception):
    """Abc refused the file, or said what nobody expected."""


@dataclass(frozen=True, slots=True)
class Used:
    """What a process and those it started used. code: its exit status, negative for a
    signal."""

    code: int
    said: str
    cpu: float
    megabytes: float


@dataclass(frozen=True, slots=True)
class AbcRun:
    """What abc found. events: of a run to something wrong; None if there is none."""

    verdict: AbcVerdict
    events: int | None
    cpu: float
    megabytes: float


def used_by(command: Sequence[str], seconds: int | None = None) -> Used:
    """Run a command; after so many seconds of the processor it is killed."""

    def limit() -> None:
        if seconds is not None:
            resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))

    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, preexec_fn=limit
    ) as process:
        assert process.stdout is not None
        said = process.stdout.read()
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    cpu = used.ru_utime + used.ru_stime
    return Used(process.returncode, said, cpu, used.ru_maxrss / 1024)


def pdr(circuit: Circuit, folder: Path, seconds: int = 60) -> AbcRun:
    """Whether the output can ever be 1."""
    return _run(circuit, folder, "pdr", seconds)


def shortest(circuit: Circuit, folder: Path, seconds: int = 60) -> AbcRun:
    """A shortest run after which the output is 1; no answer if there is none."""
    return _run(circuit, folder, "bmc3 -F 30", seconds)


def _run(circuit: Circuit, folder: Path, command: str, seconds: int) -> AbcRun:
    assert ABC is not None
    file = folder / "machine.aig"
    file.write_bytes(circuit.binary())
    # Limits that abc keeps itself are of the clock, which other work may hold up.
    used = used_by([ABC, "-c", f"read_aiger {file}; {command}"], seconds)
    verdict: AbcVerdict = "no answer"
    events = None
    if "Property proved" in used.said:
        verdict = "holds"
    elif found := re.search(r"was asserted in frame (\d+)", used.said):
        # The step that chooses the values at the start is no event.
        verdict, events = "violated", int(found[1]) - 1
    elif used.code >= 0 and not re.search(r"UNDECIDED|No output asserted", used.said):
        raise AbcError(used.said)
    return AbcRun(verdict, events, used.cpu, used.megabytes)
