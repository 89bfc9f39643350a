"""What people do at random, from a seed: trains come, routes are asked for, trains turn back,
are shunted, and leave. Where none can come in from an edge, as on an oval, they are put on the
track.

For exhibitions and for long trials. Whoever asks looks first whether something waits; a route that
leads a train out is liked better than one that brings another in, so that a railway does not fill
up.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from bellcrank.routes.route_model import Route
from bellcrank.simulated.acts import (
    Act,
    Comes,
    IsCoupled,
    IsDivided,
    IsLeft,
    IsPickedUp,
    IsTaken,
    TurnsBack,
)
from bellcrank.simulated.railway import SimulatedRailway
from bellcrank.simulated.train import Train

BUSY = 0.75
"""Trains on the track for each place to stand; no more come in then."""

ROUND = 0.5
"""Trains for each section in which a route ends, where none comes in or leaves: each of those
needs a free one before it."""


@dataclass(frozen=True, slots=True)
class Asks:
    """Somebody asks for a route."""

    route: str


@dataclass(frozen=True, slots=True)
class Cancels:
    """Somebody cancels a route."""

    route: str


Wish = Asks | Cancels | Act
"""What somebody wants: of the signal box, or done with a train."""


_Shunted = IsCoupled | IsDivided | IsLeft | IsPickedUp | IsTaken
"""What is done with a train that stands."""


class Habits:
    """is_idle: whether a route is not set. looked_at: of each route the sections of which no report
    tells, which whoever asks looks at first. patience: seconds after which a train that nobody lets
    on turns back or is taken off."""

    def __init__(
        self,
        railway: SimulatedRailway,
        is_idle: Callable[[str], bool],
        looked_at: Mapping[str, Sequence[str]],
        seed: int = 0,
        patience: float = 120.0,
    ) -> None:
        self._railway = railway
        self._is_idle = is_idle
        self._looked_at = looked_at
        self._rng = random.Random(f"habits {seed}")
        self._patience = patience
        self._since: dict[str, float] = {}
        ends = {r.end for r in railway.table.routes.values() if r.end_kind != "edge"}
        self._places = max(1, len(ends))
        self._any_come = railway.any_come
        berths = {r.berth for r in railway.table.routes.values()}
        self._most = BUSY * self._places if self._any_come else ROUND * len(berths)
        self._calling = [r for r in railway.table.routes.values() if r.calling_on]
        self._onward: dict[str, list[Route]] = {}
        for route in railway.table.routes.values():
            self._onward.setdefault(route.start, []).append(route)

    def next(self) -> list[Wish]:
        """What people want now. To be asked every few seconds."""
        railway, rng = self._railway, self._rng
        found: list[Wish] = []
        trains = railway.trains()
        now = railway.now / 1000
        for train in trains:
            age = now - train.stood_since
            if not train.stands or not train.ended or train.broken:
                continue
            if self._is_called_on_to(train):
                continue  # it stays where whoever comes expects it
            if not self._is_over(train.last_signal):
                continue  # what is known of it is to be said first
            if age > 5 and (shunted := self._shunts(train, trains, age)) is not None:
                found.append(shunted)
                continue
            if not train.driven:
                continue
            if train.waits_at and age > 2 and rng.random() < 0.6:
                routes = [r for r in self._onward.get(train.waits_at, ()) if self._fits(r, train)]
                if routes and all(self._is_idle(r.name) for r in self._onward[train.waits_at]):
                    liked = self._liked(routes)
                    if liked.calling_on:
                        # Nobody moves what it is called on to in the same moment.
                        return [Asks(liked.name)]
                    found.append(Asks(liked.name))
            if not train.waits_at and age > 5 and rng.random() < 0.4 and railway.can_turn(train):
                found.append(TurnsBack(train.number))
            elif age > self._patience and rng.random() < 0.2 and not train.outside:
                turns = railway.can_turn(train) and rng.random() < 0.7
                found.append(TurnsBack(train.number) if turns else IsTaken(train.number))
        for route in railway.table.routes.values():
            if self._is_idle(route.name):
                self._since.pop(route.name, None)
            elif (
                now - self._since.setdefault(route.name, now) > self._patience
                and rng.random() < 0.2
            ):
                found.append(Cancels(route.name))
        if rng.random() < 0.02:
            blind = rng.choice(list(railway.table.routes.values()))
            seen = self._looked_at.get(blind.name, ())
            # Nobody calls a train on without looking whether it finds room.
            if not blind.calling_on and not any(map(railway.is_on, seen)):
                found.append(Asks(blind.name))
        if rng.random() < 0.01:
            found.append(Cancels(rng.choice(list(railway.table.routes))))
        # Last: for what is asked somebody has looked along the track as it was.
        if len(trains) < self._most and rng.random() < 0.5:
            comes: Sequence[Act] = (
                [act for act in railway.may_do() if isinstance(act, Comes)]
                if self._any_come
                else railway.may_put()
            )
            if comes:
                found.append(rng.choice(comes))
        return found

    def _shunts(self, train: Train, trains: list[Train], age: float) -> Act | None:
        """What somebody does who shunts, now and then: leave a train or its rear standing, take
        along what touches it, or pick up what has stood for a while."""
        rng = self._rng
        if train.driven:
            left = sum(not other.driven for other in trains)
            often = 0.05 if self._is_for_calling(train) else 0.01
            if rng.random() > often:
                return None
            wanted: list[type[_Shunted]] = [IsCoupled]
            if left < max(1, self._places // 4):
                wanted += [IsDivided, IsDivided, IsLeft]
        else:
            if age < 20 or rng.random() > 0.1:
                return None
            wanted = [IsTaken if age > self._patience and rng.random() < 0.3 else IsPickedUp]
        able = [
            act
            for type_ in wanted
            for act in self._railway.may_do()
            if isinstance(act, type_) and act.train == train.number
        ]
        return rng.choice(able) if able else None

    def _is_for_calling(self, train: Train) -> bool:
        """Whether trains can be called on to where a train stands."""
        section_of = self._railway.layout.section_of
        sections = {section_of[way.element] for way in train.ways}
        return any(route.berth in sections for route in self._calling)

    def _is_called_on_to(self, train: Train) -> bool:
        """Whether another train is being called on to where a train stands."""
        section_of = self._railway.layout.section_of
        sections = {section_of[way.element] for way in train.ways}
        return any(r.berth in sections and not self._is_idle(r.name) for r in self._calling)

    def _is_over(self, signal: str) -> bool:
        """Whether no route from a signal is set any more."""
        return all(self._is_idle(route.name) for route in self._onward.get(signal, ()))

    def _fits(self, route: Route, train: Train) -> bool:
        """Whether there is room where a route ends, and nothing stands where no report would
        tell."""
        if any(map(self._railway.is_on, self._looked_at.get(route.name, ()))):
            return False
        if train.length + 0.1 > self._railway.room_left(route):
            return False
        if route.calling_on:
            train_there = self._railway.stands_whole_in(route.berth)
            return train_there is not None and train_there.stands and train_there.ended
        return route.end_kind == "edge" or not self._railway.is_on(route.berth)

    def _liked(self, routes: list[Route]) -> Route:
        out = [r for r in routes if r.end_kind == "edge"]
        if out and self._rng.random() < 0.7:
            return self._rng.choice(out)
        calm = [r for r in routes if not r.calling_on]
        if calm and len(calm) < len(routes) and self._rng.random() < 0.3:
            calm = [r for r in routes if r.calling_on]
        return self._rng.choice(calm or routes)
