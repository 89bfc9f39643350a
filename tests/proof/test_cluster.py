"""A proof over the workers of a dask cluster: the same verdict, whatever becomes of them."""

from __future__ import annotations

import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from bench.generate import with_routes
from sound_layouts import compiled

from bellcrank.commands.cli import main
from bellcrank.proof.moving import cluster, induction
from bellcrank.proof.moving.cluster import OtherVersionError, Workers, _work, running, workers_at
from bellcrank.proof.moving.moving_proof import Effort, prove_moving

distributed = pytest.importorskip("distributed")

TERMINUS = str(Path(__file__).parents[2] / "examples" / "harbour-terminus.crank")
FORGETFUL = TERMINUS.replace("terminus.crank", "terminus-forgetful.crank")


@pytest.fixture(scope="module")
def two_workers() -> Iterator[Any]:
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=2, processes=True, dashboard_address=":0"
    ) as made:
        yield made


@pytest.fixture(autouse=True)
def little_is_worth_spreading(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(induction, "WORTH_SPREADING", 1)
    monkeypatch.setattr(cluster, "MUCH", 1_000)


@pytest.fixture
def submitted(monkeypatch: pytest.MonkeyPatch) -> list[Future[Any]]:
    """What has been given to workers."""
    futures: list[Future[Any]] = []
    submit = Workers.submit

    def counted(self: Workers, *args: Any, **kwargs: Any) -> Future[Any]:
        future = submit(self, *args, **kwargs)
        futures.append(future)
        return future

    monkeypatch.setattr(Workers, "submit", counted)
    return futures


def told(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    status = main(["check", *words])
    said = capsys.readouterr()
    return status, said.out, said.err


def address(of: Any) -> str:
    return str(of.scheduler_address)


@pytest.mark.parametrize(
    "file",
    [
        pytest.param(TERMINUS, id="sound"),
        pytest.param(FORGETFUL, id="forgetful", marks=pytest.mark.campaign),
    ],
)
def test_a_cluster_comes_to_the_same_verdict(
    two_workers: Any, submitted: list[Future[Any]], capsys: Any, file: str
) -> None:
    alone = told(capsys, file)
    spread = told(capsys, file, "--scheduler", address(two_workers))
    assert spread == alone
    assert len(submitted) > 2
    assert all(future.exception() is None for future in submitted)


def test_what_is_much_is_sent_once(
    two_workers: Any, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    scattered: list[int] = []
    scatter = distributed.Client.scatter

    def counted(self: Any, data: bytes, **more: Any) -> Any:
        scattered.append(len(data))
        return scatter(self, data, **more)

    monkeypatch.setattr(distributed.Client, "scatter", counted)
    assert told(capsys, TERMINUS, "--scheduler", address(two_workers))[0] == 0
    assert len(scattered) == 1


# ------------------------------------------------------------------------- lost


def after_some(count: int, act: Callable[[], None], monkeypatch: pytest.MonkeyPatch) -> None:
    """Have something happen once so much work has been given to the workers."""
    given = [0]
    submit = Workers.submit

    def counted(self: Workers, *args: Any, **kwargs: Any) -> Future[Any]:
        given[0] += 1
        if given[0] == count:
            act()
        return submit(self, *args, **kwargs)

    monkeypatch.setattr(Workers, "submit", counted)


@pytest.mark.campaign
@pytest.mark.skipif(sys.platform == "win32", reason="signals as POSIX has them")
def test_a_worker_that_is_killed_at_its_work_changes_nothing() -> None:
    machine = compiled(with_routes("ladders of six", 200)).machine
    alone = prove_moving(machine)
    with (
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=":0"
        ) as made,
        distributed.Client(made) as watching,
    ):
        killed: list[int] = []

        def kill() -> None:
            """One worker after the other, each in the midst of a piece of work."""
            while len(killed) < 2:
                for nanny in list(made.workers.values()):
                    pid = nanny.process.pid if nanny.process is not None else None
                    if pid in (None, *killed) or not watching.processing().get(
                        nanny.worker_address
                    ):
                        continue
                    os.kill(pid, signal.SIGKILL)
                    killed.append(pid)
                    break
                time.sleep(0.01)

        threading.Thread(target=kill, daemon=True).start()
        with workers_at(address(made)) as workers:
            spread = prove_moving(machine, Effort(executor=workers, workers=workers.count))
    assert len(killed) == 2
    assert spread.outcome == alone.outcome == "proved"
    assert [(r.name, r.outcome) for r in spread.results] == [
        (r.name, r.outcome) for r in alone.results
    ]
    # Which clauses help is found in the order of the work, so it need not be the same ones.
    for verdict in (spread, alone):
        assert {q.answer for q in verdict.questions} == {"unsat"}


@pytest.mark.campaign
def test_a_cluster_that_is_lost_changes_nothing(
    capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "MISSED", 1.0)
    alone = told(capsys, TERMINUS)
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=True, dashboard_address=":0"
    ) as made:
        closed: list[Any] = []

        def close() -> None:
            closed.append(made.scale(0))

        after_some(5, close, monkeypatch)
        began = time.monotonic()
        assert told(capsys, TERMINUS, "--scheduler", address(made)) == alone
        assert time.monotonic() - began < 60
    assert closed


def test_a_worker_does_nothing_for_other_code() -> None:
    ours = running()
    assert _work(ours, len, "four") == 4
    for place in range(3):
        theirs = tuple("another" if i == place else part for i, part in enumerate(ours))
        with pytest.raises(OtherVersionError):
            _work(theirs, len, "four")  # type: ignore[arg-type]


def test_a_worker_does_one_thing_at_a_time_as_the_solver_is_for_one_thread() -> None:
    at_once: list[int] = [0, 0]

    def work() -> None:
        at_once[0] += 1
        at_once[1] = max(at_once)
        time.sleep(0.02)
        at_once[0] -= 1

    with ThreadPoolExecutor(3) as pool:
        for future in [pool.submit(_work, running(), work) for _ in range(5)]:
            future.result()
    assert at_once == [0, 1]


# ------------------------------------------------------------- cannot be used


def test_workers_of_another_version_are_refused(
    two_workers: Any, capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "__version__", "0.0.9")
    running.cache_clear()
    try:
        status, out, err = told(capsys, TERMINUS, "--scheduler", address(two_workers))
    finally:
        running.cache_clear()
    assert (status, out) == (2, "")
    assert "not 0.0.9; install one version on all machines" in err


def test_workers_of_the_same_version_with_other_code_are_refused() -> None:
    version, _, solver = running()
    said = cluster.different(running(), (version, "another digest", solver))
    assert said == f"other code of bellcrank {version}"
    assert cluster.different(running(), (version, running()[1], "1.0.0")).startswith("z3 1.0.0")
    assert cluster.different(running(), running()) == ""


def test_a_scheduler_without_workers_is_told_with_what_to_do(
    capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "CONNECTING", 1.0)
    with distributed.LocalCluster(
        n_workers=0, processes=False, dashboard_address=":0", host="127.0.0.1", protocol="tcp"
    ) as made:
        status, out, err = told(capsys, TERMINUS, "--scheduler", address(made))
    assert (status, out) == (2, "")
    assert "no worker has joined the scheduler at tcp://127.0.0.1:" in err
    assert "`dask worker tcp://127.0.0.1:" in err


def test_where_no_scheduler_listens_it_is_told_with_what_to_do(
    capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster, "CONNECTING", 0.5)
    with socket.socket() as taken:  # bound, but nobody listens
        taken.bind(("127.0.0.1", 0))
        where = f"tcp://127.0.0.1:{taken.getsockname()[1]}"
        status, out, err = told(capsys, TERMINUS, "--scheduler", where)
    assert (status, out) == (2, "")
    assert err == (
        f"bellcrank: no scheduler answers at {where}; `dask scheduler` starts one and tells its "
        "address\n"
    )


def test_without_dask_it_is_told_what_brings_it(
    capsys: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    status, out, err = told(capsys, TERMINUS, "--scheduler", "tcp://127.0.0.1:8786")
    assert (status, out) == (2, "")
    assert "pip install 'bellcrank[spread]'" in err


@pytest.mark.parametrize(
    "words", ["here", "127.0.0.1:8786", "tcp://127.0.0.1", "tcp://:8786", "tcp://a:b", "tcp://a:0"]
)
def test_what_is_not_an_address_is_said_to_be_none(capsys: Any, words: str) -> None:
    status, out, err = told(capsys, TERMINUS, "--scheduler", words)
    assert (status, out) == (2, "")
    assert f"`{words}` is not the address of a scheduler, such as tcp://10.0.0.7:8786" in err
