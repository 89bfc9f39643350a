"""A railway in continuous time: how trains move on it.

Written from the JSON document alone. Trains have a length and a speed and lie on track of
lengths drawn at random. They obey signals and go where drives lie.
"""

from __future__ import annotations

from collections.abc import Callable

from clocked_equipment import Equipment
from clocked_track import EDGE, STOP, End, Route, Way
from clocked_trains import Run, Train

TOUCHING = 1e-6
"""Closer than this, in metres, two trains touch."""


class World(Equipment):
    """A railway with all that is on it."""

    def _occupy(self, train: Train, element: str, *, at_once: bool = False) -> None:
        section = self.track.section_of[element]
        self.on[element].append(train)
        self.count[section] += 1
        if self.count[section] == 1:
            self._changed(section, at_once=at_once)

    def _vacate(self, train: Train, element: str) -> None:
        section = self.track.section_of[element]
        self.on[element].remove(train)
        self.count[section] -= 1
        if not self.count[section]:
            self._changed(section)

    def new_train(self, length: float, *, driven: bool = True) -> Train:
        self.number += 1
        speed = self.slowest * self.rng.uniform(1.0, 4.0)
        return Train(self.number, length, speed, [], [], 0.0, driven, since=self.now)

    def put(self, train: Train, ways: list[Way], front: float) -> None:
        """Put vehicles on the track, which is reported at once."""
        train.ways, train.lengths = ways, [self.track.length[w.element] for w in ways]
        train.front, train.since, train.stood_since = front, self.now, self.now
        train.entered = len(ways)
        self.trains[train.number] = train
        for way in ways:
            self._occupy(train, way.element, at_once=True)

    def remove(self, train: Train) -> None:
        """Vehicles are lifted off, or have left."""
        for run in train.runs:
            self._look_at(run)
        del self.trains[train.number]
        train.version += 1
        train.moving = False
        for run in train.runs:
            run.gone = True
            if run.arrived is None:
                run.arrived = self.now
        self._forget_waiting(train)
        for way in train.ways:
            self._vacate(train, way.element)

    def _forget_waiting(self, train: Train) -> None:
        if train.waiting_at:
            if self.waiting.get(train.waiting_at) is train:
                del self.waiting[train.waiting_at]
            train.waiting_at = ""

    def halt(self, train: Train) -> None:
        train.catch_up(self.now)
        train.moving = False
        train.version += 1
        train.stood_since = self.now

    def plan(self, train: Train) -> None:
        """When the next thing happens to a train that moves."""
        train.version += 1
        if not train.moving:
            return
        ways: list[tuple[float, Callable[..., None]]] = []
        if not train.leaving:
            if train.halt_at is not None:
                ways.append((train.halt_at - train.front, self._draws_up))
            else:
                ways.append((train.total - train.front, self._front_at_end))
        if train.coming_from:
            ways.append((-train.tail, self._wholly_in))
        else:
            ways.append((train.lengths[0] - train.tail, self._tail_leaves))
        distance, act = min(ways, key=lambda w: w[0])
        self.after(max(0.0, distance) / train.speed, self._happens, train, train.version, act)

    def _happens(self, train: Train, version: int, act: Callable[[Train], None]) -> None:
        if train.version == version:
            train.catch_up(self.now)
            act(train)

    def go(self, train: Train) -> None:
        """A train begins to move, or goes on."""
        train.catch_up(self.now)
        train.moving = True
        self._forget_waiting(train)
        train.ended = False
        self._look_ahead(train)
        self.plan(train)

    def _wholly_in(self, train: Train) -> None:
        self.in_time(self.track.section_of[train.ways[0].element])
        train.front = train.length
        train.coming_from = ""
        self.plan(train)

    def _tail_leaves(self, train: Train) -> None:
        first = train.ways[0]
        if len(train.ways) == 1:
            self.remove(train)
            self.seen.counts["left"] += 1
            return
        section = self.track.section_of[train.ways[1].element]
        if section != self.track.section_of[first.element]:
            self.in_time(section)
        train.front -= train.lengths[0]
        if train.halt_at is not None:
            train.halt_at -= train.lengths[0]
        train.ways.pop(0)
        train.lengths.pop(0)
        self._vacate(train, first.element)
        for run in train.runs:
            self._look_at(run)
        self.plan(train)

    def _look_at(self, run: Run) -> None:
        """Whether a train has arrived whole where its route ends."""
        if run.arrived is not None:
            return
        train, route = run.train, self.track.routes[run.route]
        if run.gone:
            run.arrived = self.now
            return
        rear = train.entered - len(train.ways) - run.first
        front = train.entered - 1 - run.first
        last = self.track.stretch_of[route.ways[-1].element]
        k = len(route.ways) - 1
        while k > 0 and self.track.stretch_of[route.ways[k - 1].element] == last:
            k -= 1
        if rear >= route.first_of_last and front >= k and not train.coming_from:
            run.arrived = self.now

    def _front_at_end(self, train: Train) -> None:
        train.front = train.total
        way = train.ways[-1]
        end = (way.element, way.exit)
        beyond = self.track.beyond[end]
        signal = self.track.read_at.get(end)
        if beyond[0] == STOP:
            self.halt(train)
            train.ended = True
            return
        at_stop = signal is not None and not self.may_pass(signal, train)
        if signal is not None and at_stop and self.disobeys is not train:
            self.halt(train)
            train.ended = True
            train.waiting_at = signal
            self.waiting[signal] = train
            return
        section = self.track.section_of[way.element]
        if beyond[0] == EDGE or self.track.section_of[beyond[0]] != section:
            self.in_time(section)
            if self.stopped:
                return
        if signal is not None:
            self._pass(train, signal)
        if beyond[0] == EDGE:
            train.leaving = True
            self.plan(train)
            return
        self._cross(train, beyond)

    def _pass(self, train: Train, signal: str) -> None:
        lamp = self.lamps[signal]
        route = lamp.shows if lamp.shows and not lamp.passed else lamp.late
        if self.disobeys is train:
            self.disobeys = None
            if self.now >= lamp.until and not (lamp.shows and not lamp.passed):
                route = ""
        lamp.passed, lamp.late = True, ""
        self.note(f"train {train.number} passes {signal} for {route or 'none'}")
        self.seen.counts["signals passed"] += 1
        train.ended = False
        if route:
            r = self.track.routes[route]
            if not self.controller.is_idle(route):
                run = Run(route, train, train.entered, r.calling_on)
                self.runs[route] = run
                train.runs.append(run)
                self.passed(run)
            else:
                self.wrong(f"{signal} is off for {route}, which is not set")

    def passed(self, run: Run) -> None:
        """For whoever watches: a train is on its way."""

    def _departs(self, train: Train, signal: str) -> None:
        waits = train.number in self.trains and train.waiting_at == signal and not train.moving
        if waits and self.may_pass(signal, train):
            self.go(train)

    def _passes_edge(self, edge: str, signal: str) -> None:
        if edge not in self.outside or any(t.coming_from == edge for t in self.trains.values()):
            return
        if not self.may_pass(signal, self.outside[edge]):
            return
        train = self.outside.pop(edge)
        train.coming_from, train.moving, train.since = edge, True, self.now
        self.trains[train.number] = train
        self._pass(train, signal)
        self._cross(train, self.track.beyond[EDGE, edge])

    def comes_in(self, edge: str, length: float) -> None:
        """A train comes in where no signal stands; it is reported at once."""
        train = self.new_train(length)
        train.coming_from, train.moving = edge, True
        self.trains[train.number] = train
        self.note(f"train {train.number} comes in from {edge}")
        self.seen.counts["came in"] += 1
        self._cross(train, self.track.beyond[EDGE, edge], at_once=True)

    def _cross(self, train: Train, leg: End, *, at_once: bool = False) -> None:
        """A front comes on to the element beyond a joint."""
        element, section = leg[0], self.track.section_of[leg[0]]
        inside = bool(train.ways) and self.track.section_of[train.ways[-1].element] == section
        # Who was called on draws up to others at sight, though its route is released meanwhile:
        # that is, once it has come into the berth whole.
        called = self._called_on(train, element) or train.called_into == section
        train.called_into = section if called else ""
        others = self.on[element]
        if others and not called:
            self.accident(f"train {train.number} runs into others on {element}")
            return
        if not inside and self.count[section] and not called:
            self.wrong(f"train {train.number} comes into {section}, where others are")
        way = next(
            (
                way
                for way, lies in self.track.ways[leg]
                if all(self.lies(drive, position) for drive, position in lies)
            ),
            None,
        )
        if way is None:
            self.accident(f"train {train.number} comes off the rails in {element}")
            return
        train.ways.append(way)
        train.lengths.append(self.track.length[element])
        train.entered += 1
        self._occupy(train, element, at_once=at_once)
        for run in train.runs:
            self._look_at(run)
        if self.stopped:
            return
        self._look_ahead(train)
        self.plan(train)

    def _called_on(self, train: Train, element: str) -> bool:
        """Whether a train comes by a calling-on route into its last section there."""
        for run in train.runs:
            route = self.track.routes[run.route]
            place = train.entered - run.first
            if route.calling_on and route.first_of_last <= place:
                last = self.track.section_of[element] == route.sections[-1]
                if last and (place >= len(route.ways) or route.ways[place].element == element):
                    return True
        return False

    def _look_ahead(self, train: Train) -> None:
        """Stop before other vehicles on the element where the front is."""
        train.halt_at = None
        if train.leaving:
            return
        way, start = train.ways[-1], train.total - train.lengths[-1]
        nearest = None
        for other in self.on[way.element]:
            if other is train:
                continue
            place = _nearest(other, way, self.now)
            if place is None:
                self.accident(f"train {train.number} runs into the middle of others, {way.element}")
                return
            if start + place >= train.front - TOUCHING and (nearest is None or place < nearest):
                nearest = place
        if nearest is not None:
            train.halt_at = max(train.front, start + nearest)

    def _draws_up(self, train: Train) -> None:
        """The front has come to where other vehicles stood."""
        assert train.halt_at is not None
        train.front = train.halt_at
        way, start = train.ways[-1], train.total - train.lengths[-1]
        for other in self.on[way.element]:
            if other is train:
                continue
            place = _nearest(other, way, self.now)
            if place is not None and abs(start + place - train.front) < 1e-3:
                if other.moving:
                    break
                self._join(train, other)
                return
        self._look_ahead(train)
        if train.halt_at is not None and train.halt_at <= train.front + TOUCHING:
            train.halt_at = train.front + 0.01  # it follows a train that draws away
        self.plan(train)

    def _join(self, train: Train, other: Train) -> None:
        """They move as one from now on."""
        way = train.ways[-1]
        self.halt(train)
        if other.coming_from or (other.leaving and other.ways[0] != way):
            self.accident(f"train {train.number} runs into one that comes in")
            return
        stretch = self.track.stretch_of
        if any(stretch[w.element] != stretch[way.element] for w in other.ways):
            # They reach beyond the place to which it was called on: it may not move them.
            train.ended = True
            return
        self._forget_waiting(other)
        if other.ways[0] != way:
            for run in other.runs:
                self._look_at(run)
            other.turn()
        if other.ways[0] != way:
            self.accident(f"train {train.number} runs into the middle of another")
            return
        start = train.total - train.lengths[-1]
        tail = train.tail
        for element in other.ways:
            self.on[element.element].remove(other)
            self.count[self.track.section_of[element.element]] -= 1
        for element in other.ways[1:]:
            self.on[element.element].append(train)
            self.count[self.track.section_of[element.element]] += 1
        del self.trains[other.number]
        other.version += 1
        train.front = start + other.front
        train.length = train.front - tail
        train.ways += other.ways[1:]
        train.lengths += other.lengths[1:]
        train.entered += len(other.ways) - 1
        train.halt_at = None
        train.ended = True
        train.leaving = other.leaving
        for run in train.runs:
            self._look_at(run)
        for run in other.runs:
            if run.arrived is None:
                run.arrived = self.now
            run.gone = True
        self.note(f"train {train.number} is coupled to {other.number}")
        self.seen.counts["joined"] += 1

    def can_turn(self, train: Train) -> bool:
        """Whether a train may turn back: its route has ended, it stands whole in one stretch, and
        a signal right behind it lets it out."""
        track = self.track
        if train.coming_from or train.leaving or not train.driven:
            return False
        stretch = track.stretch_of[train.ways[-1].element]
        if any(track.stretch_of[w.element] != stretch for w in train.ways):
            return False
        if any(run.arrived is None for run in train.runs) or self.is_called_to(train):
            return False
        end: End = (train.ways[0].element, train.ways[0].entry)
        passed = {w.element for w in train.ways}
        while end not in track.read_at:
            beyond = track.beyond[end]
            if beyond not in track.ways or track.stretch_of[beyond[0]] != stretch:
                return False
            if beyond[0] in passed or self.on[beyond[0]]:
                return False
            ways = [w for w, lies in track.ways[beyond] if all(self.lies(d, p) for d, p in lies)]
            if not ways:
                return False
            passed.add(beyond[0])
            end = (beyond[0], ways[0].exit)
        return bool(track.onward[track.read_at[end]])

    def turn_back(self, train: Train) -> None:
        self.note(f"train {train.number} turns back")
        self.seen.counts["turned back"] += 1
        self._forget_waiting(train)
        for run in train.runs:
            run.gone = True
        train.runs.clear()
        train.turn()
        self.go(train)

    def is_called_to(self, train: Train) -> bool:
        """Whether another is being called on to where a train stands: it then stays there."""
        sections = {self.track.section_of[way.element] for way in train.ways}
        return any(
            route.calling_on
            and route.sections[-1] in sections
            and not self.controller.is_idle(route.name)
            and all(run.route != route.name for run in train.runs)
            for route in self.track.routes.values()
        )

    def take_stand(self, train: Train) -> None:
        """A train becomes vehicles that stand."""
        self.halt(train)
        self._forget_waiting(train)
        train.driven = False

    def cut(self, train: Train, at: float) -> Train:
        """Leave the rear of a train behind, so much of it; what is left standing."""
        train.catch_up(self.now)
        rest = Train(0, at, train.speed, [], [], 0.0, driven=False, since=self.now)
        self.number += 1
        rest.number, rest.stood_since = self.number, self.now
        point = train.tail + at
        start = 0.0
        kept = 0
        for place, (way, length) in enumerate(zip(train.ways, train.lengths, strict=True)):
            if start < point:
                rest.ways.append(way)
                rest.lengths.append(length)
            if start + length <= point:
                kept = place + 1
            start += length
        rest.front = point
        rest.entered = len(rest.ways)
        gone = sum(train.lengths[:kept])
        for way in rest.ways:
            self.on[way.element].append(rest)
            self.count[self.track.section_of[way.element]] += 1
        for way in train.ways[:kept]:
            self.on[way.element].remove(train)
            self.count[self.track.section_of[way.element]] -= 1
        train.ways, train.lengths = train.ways[kept:], train.lengths[kept:]
        train.front -= gone
        train.length -= at
        if train.halt_at is not None:
            train.halt_at -= gone
        self.trains[rest.number] = rest
        self.note(f"train {train.number} leaves vehicles {rest.number} on {rest.ways}")
        for run in train.runs:
            self._look_at(run)
        self.plan(train)
        return rest

    def on_stretch(self, element: str) -> list[Train]:
        """Vehicles on the stretch of an element."""
        stretch = self.track.stretch_of[element]
        section = self.track.section_of[element]
        found = []
        for other in self.track.elements_of[section]:
            if self.track.stretch_of[other] == stretch:
                found += self.on[other]
        return found

    def route(self, name: str) -> Route:
        return self.track.routes[name]


def _nearest(other: Train, way: Way, now: float) -> float | None:
    """How far from the beginning of a way the nearest vehicle of others on its element is."""
    front = other.front + (other.speed * (now - other.since) if other.moving else 0.0)
    tail = front - other.length
    start = 0.0
    for its, length in zip(other.ways, other.lengths, strict=True):
        if its == way:
            return max(0.0, tail - start)
        if its == way.back():
            return max(0.0, length - (front - start))
        start += length
    return None
