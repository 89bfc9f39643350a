"""The ways in which a run of `send` is disturbed, each at a moment left to chance."""

from __future__ import annotations

import random
import signal
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from disturbed_runs import (
    Loaded,
    Moment,
    Run,
    broker_peer,
    check,
    disturbed,
    network_peer,
    serial_peer,
)


@dataclass(frozen=True)
class Disturbance:
    """slow: whether a run may take as long as a peer is given to answer."""

    name: str
    act: Callable[[Loaded, Path, random.Random], str]
    slow: bool = False

    def __str__(self) -> str:
        return self.name

    def run(self, loaded: Loaded, folder: Path, chance: random.Random) -> str:
        """One run and its check; how it ended."""
        return self.act(loaded, folder, chance)


def _unplugged(loaded: Loaded, folder: Path, chance: random.Random) -> str:
    with serial_peer() as (peer, line):
        moment = Moment.any(chance)
        run = disturbed(loaded, folder, peer, moment, lambda _: line.unplug())
        return f"{check(run, peer, folder)}"


def _cut(loaded: Loaded, folder: Path, chance: random.Random) -> str:
    with network_peer() as (peer, server):
        run = disturbed(loaded, folder, peer, Moment.any(chance), lambda _: server.cut())
        return check(run, peer, folder)


def _killed(loaded: Loaded, folder: Path, chance: random.Random) -> str:
    away = chance.uniform(0, 3) if chance.random() < 0.8 else None
    with broker_peer(folder / "broker") as (peer, broker):

        def disturb(_: Run) -> None:
            broker.kill()
            if away is not None:
                time.sleep(away)
                broker.start()

        run = disturbed(loaded, folder, peer, Moment.any(chance), disturb)
        return check(run, peer, folder)


def _signalled(loaded: Loaded, folder: Path, chance: random.Random) -> str:
    kinds = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP]
    numbers = [chance.choice(kinds) for _ in range(chance.choice([1, 1, 1, 2, 3]))]
    pauses = [chance.choice([0.0, chance.uniform(0, 0.1)]) for _ in numbers]

    def disturb(run: Run) -> None:
        for number, pause in zip(numbers, pauses, strict=True):
            run.signal(number)
            time.sleep(pause)

    moment = Moment.any(chance)
    match chance.choice(["serial", "network", "broker"]):
        case "serial":
            with serial_peer() as (peer, _):
                return check(disturbed(loaded, folder, peer, moment, disturb), peer, folder)
        case "network":
            with network_peer() as (peer, _):
                return check(disturbed(loaded, folder, peer, moment, disturb), peer, folder)
    with broker_peer(folder / "broker") as (peer, _):
        return check(disturbed(loaded, folder, peer, moment, disturb), peer, folder)


def _stalled(loaded: Loaded, folder: Path, chance: random.Random) -> str:
    moment = Moment.any(chance)
    match chance.choice(["serial", "network", "broker"]):
        case "serial":
            with serial_peer() as (peer, line):
                run = disturbed(loaded, folder, peer, moment, lambda _: line.stall(), long=True)
                return check(run, peer, folder)
        case "network":
            with network_peer() as (peer, server):
                run = disturbed(loaded, folder, peer, moment, lambda _: server.stall(), long=True)
                return check(run, peer, folder)
    away = chance.uniform(0, 15) if chance.random() < 0.5 else None
    with broker_peer(folder / "broker") as (peer, broker):

        def disturb(run: Run) -> None:
            broker.freeze()
            end = time.monotonic() + (away or 0)
            while time.monotonic() < end and not run.over():
                time.sleep(0.01)
            if away is not None:
                broker.thaw()

        run = disturbed(loaded, folder, peer, moment, disturb)
        return check(run, peer, folder)


KINDS = (
    Disturbance("a serial line is unplugged", _unplugged),
    Disturbance("a network line is cut", _cut),
    Disturbance("a broker is killed and comes back", _killed),
    Disturbance("the process is told to stop", _signalled),
    Disturbance("a peer stalls", _stalled, slow=True),
)
