"""The simulated railway: what is on it, and what happens next.

It goes from event to event (a discrete-event simulation): a front comes to a joint, a tail leaves
an element, a train has its speed or begins to brake, a drive has arrived, a report comes. Between
two of them all is known by formula (`motion.py`).

What drivers, people and detectors do is what is assumed of them (`controller/assumed.py`): drivers
stop before signals at stop and take one that was passed to be at stop until it was off anew; a
section is reported occupied before a front leaves it and before a tail comes into it. What breaks
that is a fault, and asked for.

Here its parts are put together: time (`agenda.py`), what is told (`news.py`), what stands beside
the track (`detectors.py`, `drives.py`, `lamps.py`), trains (`placing.py`, `coupling.py`,
`sight.py`, `driving.py`), and people (`handling.py`, `shunting.py`, `faults.py`).
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from math import inf

from bellcrank.layout.layout_model import Layout
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.simulated.acts import Act, Fault, IsPut
from bellcrank.simulated.agenda import Agenda
from bellcrank.simulated.detectors import Detectors
from bellcrank.simulated.drives import Drives
from bellcrank.simulated.driving import Driving
from bellcrank.simulated.faults import Faults
from bellcrank.simulated.ground import Ground, ground_of
from bellcrank.simulated.handling import Admits, Handling
from bellcrank.simulated.lamps import Lamps
from bellcrank.simulated.lying import Lying, lying
from bellcrank.simulated.news import Happened, News, Reported
from bellcrank.simulated.placing import Placing
from bellcrank.simulated.shunting import Shunting, ShuntingAct
from bellcrank.simulated.train import Train


class SimulationError(Exception):
    """Something that cannot be done on the railway now, as a sentence without its full stop."""


class SimulatedRailway:
    """seed: of lengths, speeds and all that is left to chance."""

    def __init__(self, layout: Layout, table: RouteTable, seed: int = 0) -> None:
        self.layout = layout
        self.table = table
        self.ground: Ground = ground_of(layout, table, seed)
        rng = random.Random(f"railway {seed}")
        self._agenda = Agenda()
        self._news = News(self._agenda)
        self._lamps = Lamps(self.ground)
        self._detectors = Detectors(layout, self._agenda, self._news, rng)
        self._drives = Drives(layout, self._agenda, self._news, rng)
        self._placing = Placing(self.ground, self._detectors, self._drives)
        self._driving = Driving(
            self.ground,
            self._agenda,
            self._news,
            rng,
            self._lamps,
            self._detectors,
            self._placing,
        )
        self._drives.arrived = self._driving.look_again
        self._handling = Handling(self._driving, self._news, self._lamps, self._detectors)
        self._shunting = Shunting(self._driving, self._handling, self._news)
        self._faults = Faults(self._driving, self._detectors, self._drives, self._news)

    @property
    def admits(self) -> Admits:
        """Who knows whether track is held for a route; as `Handling.admits`."""
        return self._handling.admits

    @admits.setter
    def admits(self, admits: Admits) -> None:
        self._handling.admits = admits

    # ---------------------------------------------------------------------- time

    @property
    def now(self) -> float:
        """Milliseconds by its own clock."""
        return self._agenda.milliseconds

    def next_at(self) -> float | None:
        """When something happens next of itself, in milliseconds."""
        return self._agenda.next_at()

    def run_until(self, at: float) -> None:
        """Let time pass until a moment, in milliseconds."""
        self._agenda.run_until(at)

    # ------------------------------------------------------------- what is told of it

    @property
    def accidents(self) -> list[Happened]:
        """What has gone wrong, in its order."""
        return self._news.accidents

    @property
    def counts(self) -> Mapping[str, int]:
        """What has happened, and how often."""
        return self._driving.counts

    @property
    def passes(self) -> Mapping[str, int]:
        """How often each signal was passed."""
        return self._driving.passes

    def take_reports(self) -> list[Reported]:
        """What has been reported since this was last asked, in its order."""
        return self._news.take_reports()

    def all_reports(self) -> list[Reported]:
        """How every detector and contact stands now."""
        self._news.take_reports()
        self._detectors.report_all()
        self._drives.report_all()
        return self._news.take_reports()

    def take_happened(self) -> list[Happened]:
        """What has happened since this was last asked."""
        return self._news.take_happened()

    # ------------------------------------------------------------ signals and drives

    def show(self, signal: str, aspect: str) -> None:
        """A signal shows an aspect from now on."""
        if self._lamps.show(signal, aspect):
            self._driving.shown(signal)

    def throw(self, drive: str, position: str) -> None:
        """A drive begins to move to a position."""
        if self._drives.throw(drive, position):
            self._driving.points_move(drive)

    @property
    def drivers_wait(self) -> bool:
        """Whether drivers pass a signal only once they are told to, though it is off."""
        return self._lamps.drivers_wait

    @drivers_wait.setter
    def drivers_wait(self, wait: bool) -> None:
        self._lamps.drivers_wait = wait

    def tell_drivers(self, signal: str | None = None) -> None:
        """Drivers who wait for it are told to go on: past a signal, or all of them."""
        if signal is None:
            self._lamps.drivers_wait = False
        else:
            self._lamps.tell_to_go(signal)
        self._driving.told_to_go()

    # ------------------------------------------------------------------ by people

    def may_do(self) -> list[Act]:
        """What people may do with trains now."""
        return [*self._handling.may_do(), *self._shunting.may_do()]

    @property
    def any_come(self) -> bool:
        """Whether there is an edge at which trains ever come in."""
        return self._handling.any_come

    def may_put(self) -> list[IsPut]:
        """Where a train may be put on the track: before a signal, where all is clear and no train
        is on its way from an edge."""
        return list(self._handling.may_put())

    def faults(self) -> list[Fault]:
        """What can be made to fail, or be mended."""
        return list(self._faults.possible())

    def do(self, act: Act | Fault) -> None:
        """Do something that is possible now. Raises SimulationError."""
        if act not in (*self.may_do(), *self.may_put(), *self.faults()):
            raise SimulationError("that is not possible on the railway now")
        if isinstance(act, Fault):
            self._faults.do(act)
        elif isinstance(act, ShuntingAct):
            self._shunting.do(act)
        else:
            self._handling.do(act)

    def can_turn(self, train: Train) -> bool:
        """Whether a train may turn back."""
        return self._handling.can_turn(train)

    # -------------------------------------------------------------- what is really so

    def trains(self) -> list[Train]:
        """All trains, on the track and waiting outside."""
        return self._driving.fleet.catch_up(self._agenda.now)

    def lying(self) -> dict[int, Lying]:
        """How each train on the track lies now, by its number."""
        return {train.number: lying(train) for train in self.trains() if train.ways}

    def is_on(self, section: str) -> bool:
        """Whether any vehicle is in a section."""
        return self._detectors.is_on(section)

    def is_off(self, signal: str) -> bool:
        """Whether a driver takes a signal to be off."""
        return self._lamps.is_off(signal)

    def lies(self, drive: str) -> str | None:
        """Where a drive lies; None while it moves."""
        return self._drives.lies(drive)

    def last_past(self, signal: str) -> tuple[bool, Train | None]:
        """Whether a train has passed a signal since it was shown off last; and the last one that
        passed it, if it is still on the track."""
        return self._driving.last_past(signal)

    def room_left(self, route: Route) -> float:
        """Metres where a route ends, up to what stands there; infinite at an edge."""
        if route.end_kind == "edge":
            return inf
        last = self.ground.stretch[route.ways[-1].element]
        room = 0.0
        for way in route.ways:
            if self.ground.stretch[way.element] != last:
                room = 0.0
                continue
            near = self._placing.nearest_on(way, self._agenda.now)
            if near is not None:
                return room + near
            room += self.ground.length[way.element]
        return room

    def stands_whole_in(self, section: str) -> Train | None:
        """The train that stands whole in a section, if one does."""
        for train in self._driving.fleet:
            if train.outside or not train.stands or not train.ways:
                continue
            if all(self.layout.section_of[w.element] == section for w in train.ways):
                return train
        return None
