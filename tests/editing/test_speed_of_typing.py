"""An editor is told of a change before a person notices that it waits."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from bellcrank.editing.analysis import Superseding, analyse

STATION = Path(__file__).parents[2] / "examples" / "four-track-station.crank"

SECONDS = 0.1
"""Of CPU time from a change to its diagnostics."""

SLOWER = 3
"""By how much a machine may be slower than the one for which limits are stated."""

TEXT = STATION.read_text("utf-8")


@pytest.mark.parametrize(
    "text",
    [TEXT, TEXT.replace(">H1 -", ">H1"), TEXT.replace("signal D1", "signal D9")],
    ids=["sound", "a line that cannot be read", "an unknown name"],
)
def test_the_diagnostics_of_the_station_take_less_than_100_ms(text: str) -> None:
    used = []
    for _ in range(4):
        begun = time.process_time()
        analyse(STATION, {STATION: text}, Superseding())
        used.append(time.process_time() - begun)
    assert min(used) < SLOWER * SECONDS, used
