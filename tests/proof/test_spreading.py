"""The moving proof spread over workers gives the same verdict as one process alone."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path
from typing import Any

import pytest
from in_campaigns import in_campaigns

import bellcrank
from bellcrank.proof.moving import induction
from bellcrank.proof.moving.examine import Examiner
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.proof.moving.spreading import local
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


@pytest.mark.parametrize(
    "path", in_campaigns([TERMINUS, FORGETFUL], lambda p: p == FORGETFUL), ids=lambda p: p.stem
)
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


@pytest.mark.campaign
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


# ----------------------------------------------------- copies of this process

COPIED = pytest.mark.skipif(
    sys.platform in ("win32", "darwin"), reason="processes are not copied there"
)

ALONE = """
import multiprocessing, os, signal, sys, threading, time
import bellcrank
from bellcrank.proof.moving import induction, spreading
from bellcrank.proof.moving.examine import Examiner
from bellcrank.proof.moving.moving_proof import Effort, prove_moving

induction.WORTH_SPREADING = 1
os.cpu_count = lambda: 2
machine = bellcrank.compile_file({path!r}).machine
here = os.getpid()
teams = []
examine, work = Examiner.examine, spreading._Team.work

def counted(self):
    teams.append(len(self.workers))
    return work(self)

spreading._Team.work = counted

def in_a_worker(do):
    def examined(self, *more):
        if os.getpid() != here:
            do()
        return examine(self, *more)
    Examiner.examine = examined

{before}
began = time.monotonic()
verdict = prove_moving(machine, Effort(search=0, seconds={seconds}))
print(verdict.outcome, verdict.obligations, sorted(set(teams)), verdict.stopped)
print(time.monotonic() - began < 30, multiprocessing.active_children())
"""


def alone(before: str = "", seconds: float | None = None, path: Path = TERMINUS) -> list[str]:
    """What a process without other threads says that proves a layout with one worker.

    before: what it does before it begins.
    """
    script = ALONE.format(path=str(path), before=before, seconds=seconds)
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


@pytest.fixture(scope="module")
def undisturbed() -> list[str]:
    return alone()


@COPIED
def test_copies_of_this_process_come_to_the_same_verdict(undisturbed: list[str]) -> None:
    assert undisturbed[0].startswith("proved ")
    assert undisturbed[0].endswith("[1] ")
    assert undisturbed[1] == "True []"


KILLED = "in_a_worker(lambda: os.kill(os.getpid(), signal.SIGKILL))"

KILLED_WHILE_IT_ANSWERS = """
from multiprocessing.connection import Connection
send = Connection.send
def sends(self, what):
    if os.getpid() != here:
        os.write(self.fileno(), (1_000_000).to_bytes(4, "big") + bytes(10_000))
        os.kill(os.getpid(), signal.SIGKILL)
    send(self, what)
Connection.send = sends
"""

FAILS = "in_a_worker(lambda: 1 / 0)"

NO_PROCESS = """
def fails(): raise BlockingIOError("no more processes")
os.fork = fails
"""


@COPIED
@pytest.mark.parametrize(
    "before",
    in_campaigns(
        [KILLED, KILLED_WHILE_IT_ANSWERS, FAILS, NO_PROCESS], lambda b: b in (KILLED, FAILS)
    ),
)
def test_what_a_lost_worker_had_to_do_is_done_here(before: str, undisturbed: list[str]) -> None:
    told = alone(before)
    assert told[0].split()[:2] == undisturbed[0].split()[:2]
    assert told[1] == "True []"


@COPIED
def test_a_worker_that_is_stopped_holds_nobody_up_beyond_the_time_limit() -> None:
    told = alone(
        "spreading.GRACE = 0.5\nin_a_worker(lambda: os.kill(os.getpid(), signal.SIGSTOP))", 2.0
    )
    assert told[0].startswith("undecided ") and told[0].endswith("by the time limit")
    assert told[1] == "True []"


@COPIED
def test_ctrl_c_ends_the_workers_at_once() -> None:
    told = alone(
        """
def interrupted(*_): raise KeyboardInterrupt
signal.signal(signal.SIGALRM, interrupted)
signal.setitimer(signal.ITIMER_REAL, 1.0)
in_a_worker(lambda: time.sleep(60))
"""
    )
    assert told[0].startswith("undecided ") and told[0].endswith("by Ctrl-C")
    assert told[1] == "True []"


@COPIED
@pytest.mark.parametrize(
    "before",
    [
        "threading.Thread(target=time.sleep, args=(120,), daemon=True).start()",
        'sys.platform = "darwin"',
    ],
)
def test_no_process_is_copied_where_that_is_not_safe(before: str, undisturbed: list[str]) -> None:
    told = alone(before)
    # Which clauses helped may differ, and with it the number of obligations.
    outcome, _, workers, *rest = undisturbed[0].split(" ")
    assert workers == "[1]"
    assert [w for i, w in enumerate(told[0].split(" ")) if i != 1] == [outcome, "[]", *rest]


def test_beside_another_thread_there_is_nothing_to_spread_over(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    over = threading.Event()
    other = threading.Thread(target=over.wait)
    other.start()
    try:
        assert local() is None
    finally:
        over.set()
        other.join()


# --------------------------------------------------------- executors that fail


class Failing(Executor):
    """Takes work that comes to nothing, and after a while takes no more."""

    def __init__(self, takes: int) -> None:
        self.takes = takes

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        if self.takes == 0:
            raise BrokenProcessPool("a worker is gone")
        self.takes -= 1
        future: Future[Any] = Future()
        future.set_exception(BrokenProcessPool("a worker is gone"))
        return future


@pytest.mark.parametrize(
    ("path", "takes"),
    [
        *((TERMINUS, takes) for takes in (0, 3, 10_000)),
        *(pytest.param(FORGETFUL, takes, marks=pytest.mark.campaign) for takes in (0, 3)),
    ],
)
def test_what_an_executor_loses_is_done_here(
    takes: int, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("bellcrank.proof.moving.solving.BATCH", 4)
    lost = verdict(path, executor=Failing(takes), workers=3)
    assert [r.outcome for r in lost.results] == [r.outcome for r in verdict(path).results]


def fall() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


@pytest.mark.skipif(sys.platform == "win32", reason="needs a signal that it has not")
def test_a_pool_whose_worker_was_killed_is_not_waited_for() -> None:
    with ProcessPoolExecutor(1) as pool:
        assert isinstance(pool.submit(fall).exception(), BrokenProcessPool)
        assert verdict(TERMINUS, executor=pool, workers=2).outcome == "proved"


class Silent(Executor):
    """Takes work and never answers."""

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        return Future()


def test_an_executor_that_never_answers_is_waited_for_within_the_time_limit_only(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("bellcrank.proof.moving.spreading.GRACE", 0.1)
    monkeypatch.setattr("bellcrank.proof.moving.solving.GRACE", 0.1)
    began = time.monotonic()
    v = verdict(TERMINUS, executor=Silent(), workers=2, seconds=0.5)
    assert (v.outcome, v.stopped) == ("undecided", "by the time limit")
    assert time.monotonic() - began < 30


# ----------------------------------------------------- threads of one process


def test_no_two_threads_share_an_examiner(monkeypatch: pytest.MonkeyPatch) -> None:
    used: set[tuple[int, int]] = set()
    examiners: list[Examiner] = []  # kept, so that no two have one identity
    examine = Examiner.examine

    def watched(self: Examiner, *more: Any) -> Any:
        used.add((id(self), threading.get_ident()))
        examiners.append(self)
        time.sleep(0.005)
        return examine(self, *more)

    monkeypatch.setattr(Examiner, "examine", watched)
    with ThreadPoolExecutor(3) as pool:
        assert verdict(TERMINUS, executor=pool, workers=3).outcome == "proved"
    assert len({thread for _, thread in used}) > 1
    assert len({examiner for examiner, _ in used}) == len(used)


def test_a_worker_forgets_what_an_earlier_proof_struck_out() -> None:
    with ThreadPoolExecutor(1) as pool:
        first, second = (told(verdict(FORGETFUL, executor=pool, workers=1)) for _ in range(2))
    assert first == second
