"""Time and memory from text to verdict, for growing lines of stations.

    python tests/bench/routes.py            100, 1,000 and 3,000 routes
    python tests/bench/routes.py 100 500    other sizes

Each measurement runs in a process of its own, so that peak memory is that of
one layout and starting up counts as it does for a user. The growth exponent
is the slope between the first and the last size on a double logarithmic scale:
1 is time in proportion to the routes.
"""

from __future__ import annotations

import json
import math
import resource
import subprocess
import sys
import time
from itertools import pairwise
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from bench.generate import FAMILIES, with_routes
from cpu_time import cpu_seconds

SIZES = (100, 1_000, 3_000)


def measure(family: str, routes: int) -> dict[str, float]:
    """Seconds a stage, and peak memory in megabytes, in this process."""
    from bellcrank.layout.build_layout import build_layout
    from bellcrank.machine.rules import build_locking
    from bellcrank.proof.standing.standing_check import check_standing
    from bellcrank.routes.derive import build_routes
    from bellcrank.syntax.load import load_text

    text = with_routes(family, routes)
    used = cpu_seconds()
    marks = [time.perf_counter()]
    program, bad = load_text(text, "bench.crank")
    marks.append(time.perf_counter())
    layout, more = build_layout(program)
    marks.append(time.perf_counter())
    table, worse = build_routes(program, layout)
    locking, worst = build_locking(program, layout, table)
    marks.append(time.perf_counter())
    assert not any(d.severity == "error" for d in (*bad, *more, *worse, *worst))
    verdict = check_standing(layout, table, locking)
    marks.append(time.perf_counter())
    assert verdict.outcome == "proved"
    stages = dict(
        zip(
            ("parse", "layout", "derive", "check"),
            (b - a for a, b in pairwise(marks)),
            strict=True,
        )
    )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {
        "routes": len(table.routes),
        "pairs": len(table.conflicts),
        **stages,
        "total": marks[-1] - marks[0],
        "cpu": cpu_seconds() - used,
        "megabytes": peak,
    }


def measure_apart(family: str, routes: int) -> dict[str, float]:
    """`measure` in a fresh process."""
    run = subprocess.run(
        [sys.executable, __file__, "--one", family, str(routes)],
        capture_output=True,
        text=True,
        check=True,
    )
    result: dict[str, float] = json.loads(run.stdout)
    return result


def growth(rows: list[dict[str, float]], what: str) -> float:
    """The growth exponent of a column against the routes, first row to last."""
    first, last = rows[0], rows[-1]
    return math.log(last[what] / first[what]) / math.log(last["routes"] / first["routes"])


def main(sizes: tuple[int, ...]) -> None:
    """Print a table for each family."""
    columns = ("parse", "layout", "derive", "check", "total")
    for family in FAMILIES:
        print(f"{family}\n{'routes':>8}{'pairs':>9}" + "".join(f"{c + ' s':>10}" for c in columns)
              + f"{'peak MB':>10}")  # fmt: skip
        rows = []
        for size in sizes:
            row = measure_apart(family, size)
            rows.append(row)
            print(f"{row['routes']:>8.0f}{row['pairs']:>9.0f}"
                  + "".join(f"{row[c]:>10.2f}" for c in columns)
                  + f"{row['megabytes']:>10.0f}", flush=True)  # fmt: skip
        if len(rows) > 1:
            print("  growth" + " " * 9 + "".join(f"{growth(rows, c):>10.2f}" for c in columns)
                  + f"{growth(rows, 'megabytes'):>10.2f}")  # fmt: skip
        print()


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        print(json.dumps(measure(sys.argv[2], int(sys.argv[3]))))
    else:
        main(tuple(int(a) for a in sys.argv[1:]) or SIZES)
