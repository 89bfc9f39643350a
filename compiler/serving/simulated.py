"""People at the simulated railway: what the page shows of its trains, and what may be done with
them."""

from __future__ import annotations

import asyncio
import random
from collections import deque
from collections.abc import Collection
from typing import Literal, NamedTuple

import msgspec

from bellcrank.live.box import Box
from bellcrank.live.clock import time_of_day
from bellcrank.live.decisions import Heard
from bellcrank.live.live import Live
from bellcrank.live.people import NAME, Confirming, asked
from bellcrank.live.simulated_link import SimulatedLink
from bellcrank.machine.frame import IDLE
from bellcrank.serving.act_names import act_named, name_of
from bellcrank.simulated.acts import (
    Act,
    Comes,
    DetectorMended,
    Dies,
    DriveMended,
    Fault,
    IsDivided,
    IsLeft,
    IsPut,
    IsTaken,
    Sticks,
)
from bellcrank.simulated.habits import Asks, Cancels, Habits
from bellcrank.simulated.news import Happened
from bellcrank.simulated.railway import SimulationError
from bellcrank.simulated.train import Train

_TOLD = 100
"""Things that happened last, which are told to whoever comes later."""

_SELDOM = IsPut, IsTaken, IsDivided, IsLeft
_WITHOUT_TRAIN = Comes, IsPut, Sticks, DetectorMended, Dies, DriveMended

_LOOKS = (1.0, 4.0)
"""Seconds of the railway between two looks of people who work it by themselves."""


class TrainState(msgspec.Struct, frozen=True):
    """A train on the simulated railway. told: what it does, as a sentence without its full stop.
    accident: what has happened to it, if it has had one, else null. ways: those on which it lies,
    each as element and the legs."""

    number: int
    told: str
    accident: str | None
    ways: list[list[str]]


class ActState(msgspec.Struct, frozen=True):
    """Something that may be done there. key: what it is asked for by. text: what it is. train: the
    number of the train with which it is done, or null. seldom: whether it is done seldom."""

    key: str
    text: str
    train: int | None
    seldom: bool


class HappenedState(msgspec.Struct, frozen=True):
    """Something that has happened there. number: counts them from 1 on. wall: the time of day (ISO
    8601). text: a sentence without its full stop."""

    number: int
    wall: str
    kind: Literal["train", "accident", "fault"]
    text: str


class SimulatedState(NamedTuple):
    """What people see and can do there, as in the state of the railway (`standing.py`)."""

    trains: list[TrainState]
    may: list[ActState]
    faults: list[ActState]
    happened: list[HappenedState]


class SimulatedPeople:
    """What people see and do at the simulated railway."""

    def __init__(self, link: SimulatedLink) -> None:
        self.link = link
        self._happened: deque[HappenedState] = deque(maxlen=_TOLD)
        self._count = 0
        link.followers.append(self._follow)

    def _follow(self, happened: Happened) -> None:
        self._count += 1
        self._happened.append(
            HappenedState(self._count, time_of_day(), happened.kind, happened.text)
        )

    def look(self) -> SimulatedState:
        """Trains, what may be done with them, what can be made to fail or be mended, and what has
        happened last."""
        self.link.catch_up()
        railway = self.link.railway
        trains = railway.trains()
        broken = {train.number for train in trains if train.broken}
        return SimulatedState(
            [_train(train) for train in trains],
            [_act(act, broken) for act in (*railway.may_do(), *railway.may_put())],
            [_act(fault, broken) for fault in railway.faults()],
            list(self._happened),
        )

    def do(self, key: str) -> str:
        """Do something, by its name; what is wrong with it as a sentence, or nothing."""
        act = act_named(key)
        return f"nothing is called `{key}` there" if act is None else self._do(act)

    def _do(self, act: Act | Fault) -> str:
        try:
            self.link.do(act)
        except SimulationError as error:
            return str(error)
        return ""

    async def go_on(self, live: Live, box: Box, seed: int) -> None:
        """Work it at random until cancelled: trains come and go, and routes are asked for."""
        railway = self.link.railway
        rng = random.Random(f"looks {seed}")
        habits = Habits(
            railway, lambda route: box.stage(route) == IDLE, box.sentences.looked_at, seed
        )
        confirming = Confirming(box, railway)
        while True:
            await asyncio.sleep(rng.uniform(*_LOOKS) / live.clock.speed)
            self.link.catch_up()
            if not box.running:
                if not box.missing().any and all(train.stands for train in railway.trains()):
                    live.hear((Heard("start", who=NAME),))
                continue
            live.hear(confirming.seen())
            for wish in habits.next():
                if isinstance(wish, Asks | Cancels):
                    # Decided before a train comes in over what is held then.
                    await live.ask(asked(wish))
                else:
                    self._do(wish)


def _act(act: Act | Fault, broken: Collection[int]) -> ActState:
    """broken: the trains of which there is nothing to be done but to take them off."""
    train = None if isinstance(act, _WITHOUT_TRAIN) else act.train
    return ActState(name_of(act), act.text, train, isinstance(act, _SELDOM) and train not in broken)


def _train(train: Train) -> TrainState:
    if train.broken:
        told = f"has had an accident: {train.accident}"
    elif train.outside:
        told = f"waits outside {train.outside}"
    elif not train.driven:
        told = f"stands in {train.ways[-1].element} without a driver"
    elif train.waits_at and train.ended:
        told = f"waits at {train.waits_at}"
    elif train.ended:
        told = f"stands in {train.ways[-1].element}"
    else:
        told = f"runs in {train.ways[-1].element}"
    ways = [[way.element, way.entry, way.exit] for way in train.ways]
    return TrainState(
        train.number, f"{train.name.capitalize()} {told}", train.accident or None, ways
    )
