"""The comparison as a whole."""

from __future__ import annotations

from bellcrank.comparing.bench_compared import bench_of, commands_compared, moved, tasks
from bellcrank.comparing.differences import Comparison
from bellcrank.comparing.routes_compared import (
    assumptions_compared,
    expectations_compared,
    pairs_compared,
    routes_compared,
)
from bellcrank.compilation import Sound


def compared(old: Sound, new: Sound) -> Comparison:
    """All that is different between two layouts without errors."""
    before, now = bench_of(old), bench_of(new)
    return Comparison(
        tuple(routes_compared(old, new)),
        tuple(pairs_compared(old, new)),
        tuple(expectations_compared(old, new)),
        tuple(assumptions_compared(old, new)),
        tuple(tasks(before, now)),
        tuple(commands_compared(before, now)),
        tuple(moved(before, now)),
    )
