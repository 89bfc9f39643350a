"""CPU time and memory of the moving proof, for growing lines of stations.

    python tests/bench/moving.py            100, 1,000 and 10,000 routes
    python tests/bench/moving.py 100 500    other sizes

Each measurement runs in a process of its own and counts everything from the text
to the verdict, in all its processes. Peak memory is that of all its processes together. The growth
exponent is the slope between the first and the last size on a double logarithmic
scale: 1 is time in proportion to the routes.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from bench.generate import FAMILIES, with_routes
from bench.routes import growth
from cpu_time import cpu_seconds

SIZES = (100, 1_000, 10_000)


def measure(text: str) -> dict[str, float]:
    """CPU seconds for each stage, and obligations, in this process, of a layout that is
    proved. cells: those of its control table, one for each section of each route."""
    from bellcrank.layout.build_layout import build_layout
    from bellcrank.machine.build_machine import build_machine
    from bellcrank.machine.rules import build_locking
    from bellcrank.proof.moving.moving_proof import prove_moving
    from bellcrank.routes.derive import build_routes
    from bellcrank.syntax.load import load_text

    marks = [cpu_seconds()]
    program, _ = load_text(text, "bench.crank")
    layout, _ = build_layout(program)
    table, bad = build_routes(program, layout)
    locking, worse = build_locking(program, layout, table)
    assert not any(d.severity == "error" for d in (*bad, *worse))
    marks.append(cpu_seconds())
    machine = build_machine(layout, table, locking)
    marks.append(cpu_seconds())
    verdict = prove_moving(machine)
    marks.append(cpu_seconds())
    assert verdict.outcome == "proved", verdict.outcome
    stages = dict(
        zip(("derive", "machine", "prove"), (b - a for a, b in pairwise(marks)), strict=True)
    )
    return {
        "routes": len(table.routes),
        "cells": sum(len(route.sections) for route in table.routes.values()),
        "obligations": verdict.obligations,
        "shapes": len(verdict.questions),
        **stages,
        "cpu": marks[-1] - marks[0],
    }


def measure_apart(family: str, routes: int) -> dict[str, float]:
    """`measure` in a fresh process, with the peak of its memory in megabytes."""
    return apart(__file__, "--one", family, str(routes))


def apart(*words: str) -> dict[str, float]:
    """What a program in Python prints as JSON, with the peak of its memory in megabytes."""
    command = [sys.executable, *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        peak = 0.0
        while process.poll() is None:
            began = time.process_time()
            peak = max(peak, memory_of(process.pid))
            # Looking through much memory takes long, and is not to slow down what is measured.
            time.sleep(max(0.1, 20 * (time.process_time() - began)))
        assert process.returncode == 0
        assert process.stdout is not None
        result: dict[str, float] = json.load(process.stdout)
    return result | {"megabytes": peak}


def memory_of(pid: int) -> float:
    """Megabytes of a process and those it started, what they share counted once: the
    proportional set size of Linux, see proc(5), smaps_rollup."""
    total = 0.0
    try:
        found = re.search(r"^Pss: +(\d+) kB", Path(f"/proc/{pid}/smaps_rollup").read_text(), re.M)
        total += int(found[1]) / 1024 if found else 0
        children = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except OSError:  # it has ended
        return total
    return total + sum(memory_of(int(child)) for child in children)


def main(sizes: tuple[int, ...]) -> None:
    """Print a table for each family."""
    columns = ("derive", "machine", "prove", "cpu")
    for family in FAMILIES:
        print(f"{family}\n{'routes':>8}{'obligations':>13}{'shapes':>8}"
              + "".join(f"{c + ' s':>11}" for c in columns) + f"{'peak MB':>10}")  # fmt: skip
        rows = []
        for size in sizes:
            row = measure_apart(family, size)
            rows.append(row)
            print(f"{row['routes']:>8.0f}{row['obligations']:>13,.0f}{row['shapes']:>8.0f}"
                  + "".join(f"{row[c]:>11.2f}" for c in columns)
                  + f"{row['megabytes']:>10.0f}", flush=True)  # fmt: skip
        if len(rows) > 1:
            print("  growth" + " " * 21 + "".join(f"{growth(rows, c):>11.2f}" for c in columns)
                  + f"{growth(rows, 'megabytes'):>10.2f}")  # fmt: skip
        print()


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(json.dumps(measure(with_routes(sys.argv[2], int(sys.argv[3])))))
    else:
        main(tuple(int(a) for a in sys.argv[1:]) or SIZES)
