"""Workers of a dask cluster, over which a proof is spread.

`dask scheduler` and `dask worker` start a cluster on any machines; `workers_at` joins it.
A worker answers only if it runs this very code with this very solver: what another version
says of a clause must not count. A worker that is lost while it examines something is no
matter, as whoever asked does it then; so is the loss of all.

Whoever reaches a scheduler can run code on its workers, and what these answer is believed
and unpickled here. A cluster belongs on a network of one's own, or behind TLS.
"""

from __future__ import annotations

import logging
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager, suppress
from functools import cache
from typing import TYPE_CHECKING, Any
from weakref import WeakSet

from bellcrank.proof.running_code import digest_of_code
from bellcrank.version import __version__

if TYPE_CHECKING:
    import distributed

CONNECTING = 10.0
"""Seconds to reach a scheduler, and then for a first worker to join it."""

MISSED = 10.0
"""Seconds without any worker after which nothing more is expected of a cluster."""

LOOKS = 0.5
"""Seconds from one look at the cluster to the next."""

MUCH = 100_000
"""Bytes that are worth being sent once to each worker, and not with each piece of work."""


class ClusterError(Exception):
    """A cluster that cannot be used, with the reason and what to do as a sentence."""


class OtherVersionError(Exception):
    """Raised in a worker that runs other code than whoever gives it work."""


# ------------------------------------------------------------------- versions


@cache
def running() -> tuple[str, str, str]:
    """What runs in this process: the version, a digest of all the code, and the solver's."""
    import z3

    return __version__, digest_of_code("bellcrank"), z3.get_version_string()


def different(ours: tuple[str, str, str], theirs: tuple[str, str, str]) -> str:
    """In what a worker differs; empty if it does not."""
    for what, one, other in zip(("bellcrank", "", "z3"), ours, theirs, strict=True):
        if one != other:
            return f"{what} {other}, not {one}" if what else f"other code of bellcrank {ours[0]}"
    return ""


# ----------------------------------------------------------------- in a worker

_working = threading.Lock()
"""Held in a worker by the thread that works: z3's context is for one thread at a time."""


def _work(wanted: tuple[str, str, str], function: Callable[..., Any], *arguments: Any) -> Any:
    """In a worker: do what is asked, if it is asked by the same code."""
    difference = different(wanted, running())
    if difference:
        raise OtherVersionError(difference)
    with _working:
        return function(*arguments)


# ------------------------------------------------------------------------ here


class Workers(Executor):
    """The workers of a cluster. When none is left it takes no more work, and what it had is
    cancelled."""

    def __init__(self, client: distributed.Client, count: int) -> None:
        self.count = count
        self._client = client
        self._pool = client.get_executor(pure=False)
        self._out: WeakSet[Future[Any]] = WeakSet()
        self._sent: dict[bytes, distributed.Future] = {}
        self._over = threading.Event()
        threading.Thread(target=self._watch, daemon=True).start()

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        """Have a worker do something. Raises RuntimeError if there is none any more."""
        if self._over.is_set():
            raise RuntimeError("the cluster has no workers any more")
        try:
            given = [self._once(arg) if isinstance(arg, bytes) else arg for arg in args]
            future: Future[Any] = self._pool.submit(_work, running(), fn, *given, **kwargs)
        except Exception as error:  # dask has many of its own
            raise RuntimeError(f"the cluster takes no work: {error}") from error
        self._out.add(future)
        return future

    def _once(self, data: bytes) -> bytes | distributed.Future:
        """Much data where it is on each worker; little data itself."""
        if len(data) < MUCH:
            return data
        if data not in self._sent:
            # What was sent before belongs to an earlier question.
            self._sent = {data: self._client.scatter(data, broadcast=True, hash=False)}
        return self._sent[data]

    def _watch(self) -> None:
        """See whether anybody is left to work; without it a lost cluster is waited for
        for ever."""
        seen = time.monotonic()
        while not self._over.wait(LOOKS):
            with suppress(Exception):  # no answer is as good as no worker
                if self._client.status == "running" and self._client.nthreads():
                    seen = time.monotonic()
            if self._client.status == "closed" or time.monotonic() - seen > MISSED:
                self.give_up()

    def give_up(self) -> None:
        """Take no more work, and wait for none."""
        self._over.set()
        for future in list(self._out):
            future.cancel()


@contextmanager
def workers_at(address: str) -> Iterator[Workers]:
    """The workers of the scheduler at an address, such as tcp://10.0.0.7:8786.

    Raises ClusterError if they cannot be used.
    """
    client = _connect(address)
    try:
        workers = Workers(client, _checked(client, address))
        try:
            yield workers
        finally:
            workers.give_up()
    finally:
        with suppress(Exception):
            client.close(timeout=2)


def _connect(address: str) -> distributed.Client:
    try:
        import distributed
    except ImportError:
        raise ClusterError(
            "dask.distributed is not installed; `pip install 'bellcrank[spread]'` brings it"
        ) from None
    # What it logs of workers that come and go is no matter of whoever wants a verdict.
    logging.getLogger("distributed").setLevel(logging.CRITICAL + 1)
    try:
        with warnings.catch_warnings(action="ignore"):  # of versions: they are checked below
            return distributed.Client(
                address, timeout=CONNECTING, set_as_default=False, name="bellcrank"
            )
    except Exception as error:  # OSError if nobody answers; for TLS others as well
        if isinstance(error, OSError):
            raise ClusterError(
                f"no scheduler answers at {address}; `dask scheduler` starts one and tells "
                "its address"
            ) from None
        raise ClusterError(f"the scheduler at {address} cannot be used: {error}") from None


def _checked(client: distributed.Client, address: str) -> int:
    """The number of workers, all of which must run what runs here."""
    with suppress(Exception):
        client.wait_for_workers(1, timeout=CONNECTING)
    try:
        found: dict[str, Any] = client.run(running, on_error="return")
    except Exception as error:
        raise ClusterError(f"the scheduler at {address} does not answer: {error}") from None
    if not found:
        raise ClusterError(
            f"no worker has joined the scheduler at {address}; `dask worker {address} "
            "--nthreads 1 --nworkers 4` starts four on a machine"
        )
    for worker, theirs in found.items():
        difference = "no such bellcrank"
        if isinstance(theirs, tuple):
            difference = different(running(), theirs)
        if difference:
            raise ClusterError(
                f"the worker at {worker} has {difference}; install one version on all machines, "
                "and start the workers again"
            )
    return len(found)
