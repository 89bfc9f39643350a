"""Runs of the model checker spin on the machine of a layout, as the target prints it.

Spin is written by others and knows nothing of railways. It makes a program in C
of the Promela text; that program goes through every state there is.
A run that did not get to its end answers nothing, except that what it found to be
violated is.
"""

from __future__ import annotations

import os
import re
import resource
import shutil
import signal
import subprocess
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from sound_layouts import undecided

from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED, Document
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target

SpinVerdict = Literal["holds", "violated", "no answer"]

TOOLS = ("spin", "gcc")


class SpinError(Exception):
    """Spin or the C compiler refused the text, with what they said."""


@dataclass(frozen=True, slots=True)
class SpinRun:
    """What spin found.

    verdicts: for each property of the invariants.
    unfinished: why not every state was looked at; None if every one was.
    states: how many the railway can come to, or how many were looked at.
    building, seconds: the time to make the program, and the time it ran. cpu: what that took
        of the processors.
    megabytes: the memory it took; of what was set aside for the way that the search
        has come, as much as it filled.
    """

    verdicts: dict[str, SpinVerdict]
    unfinished: str | None
    states: int
    building: float
    seconds: float
    cpu: float
    megabytes: float

    @property
    def violated(self) -> set[str]:
        return {name for name, verdict in self.verdicts.items() if verdict == "violated"}


def missing_tools() -> list[str]:
    """Which of the programs needed are not installed."""
    return [tool for tool in TOOLS if shutil.which(tool) is None]


def verify(
    data: Document,
    folder: Path,
    *,
    depth: int = 1_000_000,
    seconds: float = 60,
    megabytes: int = 2_000,
    optimise: str = "-O1",
) -> SpinRun:
    """Every property of a layout's document, checked in one run over all states.

    data: the document; only its `machine` is looked at.
    folder: an empty one to work in.
    depth: how long a run of events may become before the search is given up.
    seconds: of the processor, after which it is.
    Raises SpinError if there is nothing to run.
    """
    began = time.perf_counter()
    text = render_target(load_target("spin"), data)["machine.pml"]
    (folder / "machine.pml").write_bytes(text)
    vector = max(1024, 2 * len(data.machine.variables) + 256)
    _tool(folder, "spin", "-a", "machine.pml")
    # One process: there is no order of processes to reduce. The rest are limits.
    options = ["-DSAFETY", "-DNOREDUCE", f"-DVECTORSZ={vector}", f"-DMEMLIM={megabytes}"]
    _tool(folder, "gcc", "-w", optimise, *options, "-o", "pan", "pan.c")
    building = time.perf_counter() - began
    return _run(folder, data, depth, seconds, building)


def measure(layout: str, folder: Path, *, seconds: float = 60, megabytes: int = 2_000) -> SpinRun:
    """How spin fares with a layout given as text, such as one of tests/bench/generate.py."""
    compilation = undecided(layout)
    # Half of the memory may go to the way that the search has come.
    depth = megabytes * 1_000_000 // 2 // 50
    return verify(
        build_document(compilation, SPARED), folder,
        depth=depth, seconds=seconds, megabytes=megabytes, optimise="-O2",
    )  # fmt: skip


def _tool(folder: Path, *command: str) -> None:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, errors="replace")
    # Spin may find a fault and still end well.
    if done.returncode != 0 or re.search(r"\berror\b", done.stdout + done.stderr, re.I):
        raise SpinError(f"{' '.join(command)}: {(done.stdout + done.stderr).strip()}")


def _run(folder: Path, data: Document, depth: int, limit: float, building: float) -> SpinRun:
    properties = list(dict.fromkeys(i.of for i in data.machine.invariants))
    broken: set[str] = set()
    said = []
    late, ended = threading.Event(), threading.Event()
    began = time.perf_counter()
    before = _children()
    # -b: a way that becomes too long is an error; -c0: no error ends the search.
    command = ["./pan", "-b", "-c0", "-n", "-w20", f"-m{depth}"]
    with subprocess.Popen(
        command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    ) as pan:

        def stop() -> None:
            late.set()
            pan.send_signal(signal.SIGINT)

        def watch() -> None:
            while not ended.wait(0.2):
                if _used_by(pan.pid) > limit:
                    stop()
                    return

        watching = threading.Thread(target=watch)
        watching.start()
        assert pan.stdout is not None
        for line in pan.stdout:
            # There may be many of these, though not one for each fault: of like ones
            # that follow each other pan tells only the first.
            if found := re.match(r"pan:\d+: assertion violated \(?property_(\d+)_", line):
                broken.add(properties[int(found[1]) - 1])
            else:
                said.append(line)
        ended.set()
        watching.join()
    spent = time.perf_counter() - began
    summary = "".join(said)
    unfinished = f"not done in {limit:g} s" if late.is_set() else _unfinished(
        pan.returncode, summary, bool(broken)
    )  # fmt: skip
    otherwise: SpinVerdict = "holds" if unfinished is None else "no answer"
    # Where there is a choice at the start, what is before it counts as a state.
    choice = any(len(v.initial) > 1 for v in data.machine.variables)
    return SpinRun(
        {name: "violated" if name in broken else otherwise for name in properties},
        unfinished,
        int(_number(r"^\s*(\d+) states, stored", summary)) - choice,
        building,
        spent,
        _children() - before,
        _megabytes(summary, depth),
    )


def _children() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def _used_by(pid: int) -> float:
    """Seconds of the processor of a running process: proc(5), stat, utime and stime."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:  # it has ended
        return 0.0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _unfinished(code: int, summary: str, broken: bool) -> str | None:
    """Why the run is no look at every state: anything that is not as it is after one."""
    for sign in (
        "max search depth too small", "depth limit", "out of memory", "MEMLIM",
        "Search not completed", "Interrupted", "VECTORSZ", "hash-compact", "truncated",
    ):  # fmt: skip
        if sign in summary:
            return f"pan says: {sign}"
    errors = re.search(r"^State-vector \d+ byte, depth reached \d+, errors: (\d+)$", summary, re.M)
    if code != 0 or errors is None or "Full statespace search" not in summary:
        return f"pan ended with {code}: {summary.strip()[-400:]}"
    other = re.search(r"^pan:\d+: .*", summary, re.M)
    if other is not None or (int(errors[1]) > 0) != broken:
        return f"pan tells of errors that are not about properties: {other and other[0]}"
    return None


def _megabytes(summary: str, depth: int) -> float:
    way = _number(r"^\s*([\d.]+)\s+memory used for DFS stack", summary)
    filled = _number(r"depth reached (\d+)", summary) / depth
    total = _number(r"^\s*([\d.]+)\s+total actual memory usage", summary)
    return total - way * (1 - min(filled, 1))


def _number(pattern: str, summary: str) -> float:
    found = re.search(pattern, summary, re.M)
    return float(found[1]) if found else 0.0
