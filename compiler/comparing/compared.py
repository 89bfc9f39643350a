"""The comparison as a whole."""

from __future__ import annotations

from bellcrank.comparing.bench_compared import commands_compared, tasks
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
    return Comparison(
        tuple(routes_compared(old, new)),
        tuple(pairs_compared(old, new)),
        tuple(expectations_compared(old, new)),
        tuple(assumptions_compared(old, new)),
        tuple(tasks(old, new)),
        tuple(commands_compared(old, new)),
    )
