"""Every proved layout of the corpus runs six minutes on the simulated railway, which is
the judge, with the observer of `tests/outside` beside it. What its journal tells of that plays in a
rehearsal, and whoever watches the reports sees nothing that could not be."""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "outside"))

from observed_railway import watched
from sessions_told import scripts_of, wrong_in

from bellcrank.live.watching import Watch

pytestmark = pytest.mark.campaign

CORPUS = Path(__file__).parents[1] / "corpus"

PROVED = sorted(
    name
    for name, expected in tomllib.loads((CORPUS / "expected.toml").read_text("utf-8")).items()
    if expected["verdict"] == "proved"
)


@pytest.mark.parametrize("name", PROVED)
def test_a_proved_layout_has_no_accident_no_alarm_and_nothing_that_cannot_be(name: str) -> None:
    run = watched(CORPUS / name)
    run.watch(360_000)
    assert run.observer.wrong == [], run.story
    assert run.railway.accidents == [], run.story
    assert run.box.running, run.story
    c = run.c
    beginning = [decision for decision in run.written if decision.at < 240_000]
    for script in scripts_of(c, beginning):
        assert script.cut_short == ""
        assert wrong_in(c, script.text) == []
    watch = Watch(c.layout, c.table, c.control, c.machine)
    reports = [d.heard for d in beginning if d.heard.kind in ("occupied", "clear", "lies")]
    alarms = [
        told
        for d in (watch.decide(heard, 0.0) for heard in reports)
        if d.outcome == "alarm"
        for told in d.told
    ]
    # Where none can come in they are put there, which is said of each, and of nothing else.
    put = tuple(f"{section} is reported occupied, and" for section in run.put)
    assert all(t.startswith(put) and "unless a train was put down" in t for t in alarms), alarms
    assert len(alarms) <= len(run.put)
