"""People at a railway in continuous time, who ask for routes and confirm what they see."""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace

from clocked_controller import Reader
from clocked_handling import Habits, Handling
from clocked_railway import World
from clocked_track import EDGE, Json, Route, Track
from clocked_trains import Run, Train

PATIENCE = 40.0
"""How long a route may be set without a train passing before it is cancelled."""

FOR_EVER = 900.0
"""A route that is in use for so long is stuck."""


@dataclass
class Operator(Handling):
    """Whoever works a railway.

    confirmed: arrivals that had to be confirmed though reports could have shown them, by route.
    starting: whether everything is halted, to start anew. clearing: whether trains are only led
    away.
    """

    confirmed: dict[str, int] = field(default_factory=dict)
    starting: bool = False
    clearing: bool = False

    def __post_init__(self) -> None:
        super().__post_init__()
        self.world.passed = self._sees_it_pass  # type: ignore[method-assign]

    def begin(self) -> None:
        """Vehicles stand about, and the power comes on."""
        self.world.deaf = True
        for _ in range(self.rng.choice((0, 1, 2, 5))):
            self._stand_on(self.rng.choice(sorted(self.track.section_of)))
        self.world.start()
        self.world.after(1.0, self.look)

    # ------------------------------------------------------------------ looking

    def look(self) -> None:
        """Look round, and do something."""
        world, rng, habits = self.world, self.rng, self.habits
        world.after(rng.uniform(0.5, 3.5), self.look)
        if self.starting:
            return
        self._confirm_arrivals()
        if self.clearing:
            self._clear_the_track()
            return
        self._look_at_routes()
        for train in list(world.trains.values()):
            if train.moving:
                self._look_at_moving(train)
            else:
                self._look_at_standing(train)
        if rng.random() < habits.comes_in:
            self._let_in()
        if rng.random() < habits.ask:
            self._ask()
        if rng.random() < habits.ask_blindly:
            self._request(rng.choice(list(self.track.routes.values())))
        if rng.random() < habits.ask_ahead:
            self._ask_ahead()
        if rng.random() < habits.cancel:
            self._cancel(rng.choice(list(self.track.routes)))
        if rng.random() < habits.put_down:
            self._put_down()
        if rng.random() < habits.stand:
            self._stand_on(rng.choice(sorted(self.track.section_of)))
        if rng.random() < habits.uncouple:
            self._uncouple()
        if rng.random() < habits.restart:
            self._halt_all()

    def _clear_the_track(self) -> None:
        """Nothing more is asked for; whatever stands is taken off, and routes are cancelled."""
        for name in list(self.world.set_since):
            if name not in self.world.runs:
                self._cancel(name)
        for train in list(self.world.trains.values()):
            if train.driven and train.ended:
                self._give_up(train)
            elif not train.driven and not train.moving and not train.forgotten:
                self.world.remove(train)

    def _look_at_routes(self) -> None:
        world = self.world
        for name, since in list(world.set_since.items()):
            age = world.now - since
            if age > FOR_EVER:
                world.wrong(f"{name} is in use for ever")
                world.set_since[name] = world.now
            run = world.runs.get(name)
            if run is not None or age < PATIENCE:
                continue
            if name not in world.cleared and not self.occupied(self.track.routes[name].clear):
                world.wrong(f"the signal never clears for {name}")
            if self.rng.random() < 0.3:
                self._cancel(name)

    def _look_at_moving(self, train: Train) -> None:
        """Some trains turn back before they have come to the very end, or stop on the way."""
        world, rng = self.world, self.rng
        if train.halt_at is not None or not train.driven:
            return
        if rng.random() < self.habits.turn_early and train.ways and world.can_turn(train):
            world.halt(train)
            world.turn_back(train)
        elif rng.random() < self.habits.dawdle and not any(map(self._near_its_end, train.runs)):
            world.halt(train)
            world.note(f"train {train.number} stops on its way")
            world.after(rng.uniform(3.0, 60.0), self._goes_on, train)

    def _near_its_end(self, run: Run) -> bool:
        """Whether a front is in the last section of its route, where a time may run."""
        route = self.track.routes[run.route]
        return run.train.entered - 1 - run.first >= route.first_of_last

    def _goes_on(self, train: Train) -> None:
        there = train.number in self.world.trains and train.driven and not self.starting
        if there and not train.moving and not train.ended:
            self.world.go(train)

    def _look_at_standing(self, train: Train) -> None:
        world, rng = self.world, self.rng
        age = world.now - train.stood_since
        if train.forgotten:
            return
        if not train.driven:
            if rng.random() < self.habits.ready and self._ready(train):
                return
            if rng.random() < self.habits.take_off or age > 120:
                world.note(f"vehicles {train.number} are taken off")
                world.remove(train)
                world.seen.counts["taken off"] += 1
            return
        if not train.ended:
            return
        if train.waiting_at:
            if age > 6 and rng.random() < 0.02 and world.can_turn(train):
                world.turn_back(train)
            elif age > 90 and rng.random() < 0.1:
                if rng.random() < 0.5 and world.can_turn(train):
                    world.turn_back(train)
                else:
                    self._give_up(train)
        elif age > 2:
            if rng.random() < 0.3 and world.can_turn(train):
                world.turn_back(train)
            elif age > 8 and self._can_go_on(train) and rng.random() < 0.2:
                world.go(train)
            elif age > 60:
                self._give_up(train)

    def _can_go_on(self, train: Train) -> bool:
        """Whether there is track before its front: after it was coupled to others."""
        if self.world.is_called_to(train):
            return False
        return train.total - train.front > 1e-3 or (
            self.track.beyond[train.ways[-1].element, train.ways[-1].exit][0] != "stop"
        )

    def _give_up(self, train: Train) -> None:
        """All of a train whose route has ended is left standing, to be taken off."""
        if train.coming_from or train.leaving:
            return
        if any(run.arrived is None and not self._ends_here(run) for run in train.runs):
            return
        self._tell_all(train)
        self.world.take_stand(train)

    def _ends_here(self, run: Run) -> bool:
        return run.train.entered - run.first >= len(self.track.routes[run.route].ways)

    def _tell_all(self, train: Train) -> None:
        for way in train.ways:
            self.world.in_time(self.track.section_of[way.element])

    # ---------------------------------------------------------------- requests

    def _request(self, route: Route) -> None:
        """Ask for a route, having looked where nothing is detected."""
        if self.occupied(route.looked_at):
            return
        if route.calling_on and any(
            train.moving
            for e in self.track.elements_of[route.sections[-1]]
            for train in self.world.on[e]
        ):
            return  # nobody is called on to a train that moves
        self.world.tell("request", route.name)

    def _ask(self) -> None:
        """Ask for a route for somebody who waits."""
        world, rng = self.world, self.rng
        waiting: list[tuple[str, float]] = [
            (signal, train.length) for signal, train in world.waiting.items()
        ]
        for edge, train in world.outside.items():
            waiting.append((self.track.read_at[EDGE, edge], train.length))
        waiting = [w for w in waiting if not world.lamps[w[0]].shows]
        if not waiting:
            return
        signal, length = rng.choice(waiting)
        self._ask_from(signal, length)

    def _ask_from(self, signal: str, length: float) -> None:
        rng = self.rng
        routes = self.track.onward[signal]
        if not routes or any(not self.controller.is_idle(r.name) for r in routes):
            return
        routes = [r for r in routes if self.world.fits(length, r)]
        if rng.random() < 0.85:
            routes = [r for r in routes if self.controller.would("request", r.name)]
        if routes:
            self._request(rng.choice(routes))

    def _ask_ahead(self) -> None:
        """Ask for a route before its train is there."""
        signal = self.rng.choice(list(self.track.signals))
        if not self.world.lamps[signal].shows and signal not in self.world.waiting:
            longest = max((t.length for t in self.world.trains.values()), default=0.1)
            self._ask_from(signal, longest)

    def _cancel(self, name: str) -> None:
        if self.controller.is_idle(name):
            return
        run = self.world.runs.get(name)
        if run is not None and self._not_reported(run):
            self._confirm_passed(run)
            return
        if self.controller.would("cancel", name) or self.rng.random() < 0.1:
            self.world.tell("cancel", name)

    def _not_reported(self, run: Run) -> bool:
        """Whether nothing reports that a train has passed the signal of its route."""
        route = self.track.routes[run.route]
        first = route.sections[0]
        return first not in self.track.detected or (run.calling_on and len(route.sections) == 1)

    def _sees_it_pass(self, run: Run) -> None:
        if self._not_reported(run):
            # Who has cancelled a route looks whether its train came all the same.
            cancelled = self.world.lamps[self.track.routes[run.route].start].shows != run.route
            if cancelled or self.rng.random() < 0.7:
                self.world.after(self.rng.uniform(0.3, 2.0), self._confirm_passed, run)

    def _confirm_passed(self, run: Run) -> None:
        """Say that a train has passed its signal, once what it did is reported."""
        world = self.world
        if world.runs.get(run.route) is not run:
            return
        for section in self.track.routes[run.route].sections:
            detector = world.detectors.get(section)
            if detector is not None and world.count[section] and not detector.said:
                world.after(0.5, self._confirm_passed, run)
                return
        world.tell("confirm passed", run.route)

    def _confirm_arrivals(self) -> None:
        world = self.world
        for name, run in list(world.runs.items()):
            if run.arrived is None:
                world._look_at(run)
            if run.arrived is None:
                continue
            route = self.track.routes[name]
            if self.occupied(s for s in route.sections[:-1] if self.controller.holds(name, s)):
                run.behind_clear = None
                continue
            if run.behind_clear is None:
                run.behind_clear = world.now
            variable = self.controller.progress[name][0]
            patience = max(world.clear_after, world.occupied_after) + 2.0
            patience += sum(s for (v, _), s in world.timers.items() if v == variable)
            since = world.now - max(run.arrived, run.behind_clear)
            if since < patience:
                continue
            if since > 3 * patience or self._nothing_reports(route):
                answer = world.tell("confirm arrived", name)
                left = any(
                    not t.driven
                    for section in route.sections
                    for e in self.track.elements_of[section]
                    for t in world.on[e]
                )
                if not answer.refused and not left and not self._nothing_reports(route):
                    world.note(f"CONFIRMED {name}")
                    self.confirmed[name] = self.confirmed.get(name, 0) + 1

    def _nothing_reports(self, route: Route) -> bool:
        """Whether reports cannot show that a train has arrived."""
        return len(route.sections) == 1 or not self.track.detected.issuperset(route.sections)

    # ------------------------------------------------------------------ starting anew

    def _halt_all(self) -> None:
        """Everything stops, to start anew."""
        world = self.world
        self.starting = True
        world.note("power off")
        for train in world.trains.values():
            if train.moving:
                world.halt(train)
        world.deaf = True
        for lamp in world.lamps.values():
            lamp.shows, lamp.late = "", ""
        world.after(4.0 + max(world.clear_after, world.occupied_after), self._start_anew)

    def _start_anew(self) -> None:
        world = self.world
        for train in list(world.trains.values()):
            if train.coming_from or train.leaving:
                world.remove(train)
                continue
            self.world._forget_waiting(train)
            train.driven, train.ended = False, False
            train.halt_at = None
            train.stood_since = world.now
        world.outside.clear()
        world.start()
        self.starting = False


def railway(document: Json, seed: int, habits: Habits | None = None) -> tuple[World, Operator]:
    """A railway of a document with people who work it."""
    rng = random.Random(f"clocked {seed}")
    track = Track(document, rng)
    world = World(track, Reader(document["controller"]), rng)
    return world, Operator(world, rng, habits or _drawn_habits(rng))


def _drawn_habits(rng: random.Random) -> Habits:
    """No two railways are worked alike."""
    habits = Habits(most_trains=rng.choice((1, 2, 3, 3, 4, 6)))
    if rng.random() < 0.3:
        habits = replace(habits, cancel=0.15, ask_blindly=0.3)
    if rng.random() < 0.3:
        habits = replace(habits, uncouple=0.03, stand=0.03, take_off=0.06, put_down=0.06)
    if rng.random() < 0.3:
        habits = replace(habits, ask_ahead=0.6, comes_in=0.6)
    return habits
