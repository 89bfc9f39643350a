"""People at the simulated railway: what the page shows of its trains, and what may be done with
them."""

from __future__ import annotations

import asyncio
import random

import msgspec

from bellcrank.live.box import Box
from bellcrank.live.decisions import Heard
from bellcrank.live.live import Live
from bellcrank.live.people import NAME, Confirming, asked
from bellcrank.live.simulated_link import SimulatedLink
from bellcrank.machine.frame import IDLE
from bellcrank.serving.act_names import act_named, name_of
from bellcrank.simulated.acts import Act, Fault
from bellcrank.simulated.habits import Asks, Cancels, Habits
from bellcrank.simulated.railway import SimulationError
from bellcrank.simulated.train import Train

_LOOKS = (1.0, 4.0)
"""Seconds of the railway between two looks of people who work it by themselves."""


class TrainState(msgspec.Struct, frozen=True):
    """A train on the simulated railway. told: what it does, as a sentence without its full stop.
    ways: those on which it lies, each as element and the legs."""

    name: str
    told: str
    ways: list[list[str]]


class ActState(msgspec.Struct, frozen=True):
    """Something that may be done there. key: its name (`act_names.py`)."""

    key: str
    text: str


class SimulatedPeople:
    """What people see and do at the simulated railway."""

    def __init__(self, link: SimulatedLink) -> None:
        self.link = link

    def look(self) -> tuple[list[TrainState], list[ActState], list[ActState]]:
        """Trains, what may be done with them, and what can be made to fail or be mended."""
        self.link.catch_up()
        railway = self.link.railway
        return (
            [_train(train) for train in railway.trains()],
            [ActState(name_of(act), act.text) for act in railway.may_do()],
            [ActState(name_of(act), act.text) for act in railway.faults()],
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


def _train(train: Train) -> TrainState:
    if train.broken:
        told = "has had an accident"
    elif train.outside:
        told = f"waits outside {train.outside}"
    elif train.waits_at and train.ended:
        told = f"waits at {train.waits_at}"
    elif train.ended:
        told = f"stands in {train.ways[-1].element}"
    else:
        told = f"runs in {train.ways[-1].element}"
    ways = [[way.element, way.entry, way.exit] for way in train.ways]
    return TrainState(train.name, f"{train.name.capitalize()} {told}", ways)
