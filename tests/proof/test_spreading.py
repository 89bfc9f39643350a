"""The moving proof spread over workers gives the same verdict as one process alone."""

from __future__ import annotations

import sys
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

import bellcrank
from bellcrank.proof.moving import induction
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.proof.moving.spreading import OverProcesses
from bellcrank.proof.verdict import MovingVerdict

TERMINUS = Path(__file__).parents[2] / "examples" / "harbour-terminus.crank"
FORGETFUL = TERMINUS.with_stem("harbour-terminus-forgetful")


class Counting(Executor):
    """Passes work on to another executor and counts it."""

    def __init__(self, other: Executor) -> None:
        self.other = other
        self.count = 0

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        self.count += 1
        return self.other.submit(fn, *args, **kwargs)


def verdict(path: Path, **effort: Any) -> MovingVerdict:
    compilation = bellcrank.compile_file(path)
    return prove_moving(compilation.machine, Effort(search=2_000, **effort))


def told(v: MovingVerdict) -> object:
    shapes = {(q.shape, q.answer) for q in v.questions}
    return [(r.name, r.outcome, r.story) for r in v.results], shapes, v.obligations


@pytest.fixture(autouse=True)
def little_is_worth_spreading(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(induction, "WORTH_SPREADING", 1)


@pytest.mark.parametrize("path", [TERMINUS, FORGETFUL], ids=lambda p: p.stem)
def test_threads_come_to_the_same_verdict(path: Path) -> None:
    with ThreadPoolExecutor(3) as pool:
        counting = Counting(pool)
        spread = verdict(path, executor=counting, workers=3)
    assert counting.count > 3
    assert [r.outcome for r in spread.results] == [r.outcome for r in verdict(path).results]


def test_processes_that_are_sent_the_machine_come_to_the_same_verdict() -> None:
    with ProcessPoolExecutor(2) as pool:
        spread = verdict(TERMINUS, executor=pool, workers=2)
    assert spread.outcome == "proved"
    assert told(spread)[0] == told(verdict(TERMINUS))[0]


@pytest.mark.skipif(sys.platform == "win32", reason="processes are not copied there")
def test_copies_of_this_process_come_to_the_same_verdict(monkeypatch: pytest.MonkeyPatch) -> None:
    used = []
    original = OverProcesses.__call__

    def counted(self: OverProcesses, *args: Any) -> Any:
        used.append(self.workers)
        return original(self, *args)

    monkeypatch.setattr(OverProcesses, "__call__", counted)
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    assert verdict(TERMINUS).outcome == "proved"
    assert set(used) == {2}


def test_a_cluster_of_dask_comes_to_the_same_verdict() -> None:
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        counting = Counting(client.get_executor())
        spread = verdict(TERMINUS, executor=counting, workers=2)
    assert counting.count > 2
    assert spread.outcome == "proved"
    assert told(spread)[0] == told(verdict(TERMINUS))[0]
