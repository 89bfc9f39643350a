"""People who put trains and vehicles on the track of a railway in continuous time, and divide
and lead them off, as the printed assumptions allow.
"""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass, field

from clocked_controller import Reader
from clocked_railway import World
from clocked_track import EDGE, End, Track, Way
from clocked_trains import Train


@dataclass
class Habits:
    """How often things are done, as chances at each look, which is every two seconds or so."""

    most_trains: int = 3
    comes_in: float = 0.25
    ask: float = 0.85
    ask_blindly: float = 0.05
    ask_ahead: float = 0.2
    cancel: float = 0.02
    put_down: float = 0.02
    stand: float = 0.006
    take_off: float = 0.02
    ready: float = 0.1
    uncouple: float = 0.004
    turn_early: float = 0.01
    dawdle: float = 0.01
    restart: float = 0.0005


@dataclass
class Handling:
    """Whoever handles vehicles.

    longest: how long trains are at most.
    """

    world: World
    rng: random.Random
    habits: Habits = field(default_factory=Habits)
    longest: float = field(init=False)

    def __post_init__(self) -> None:
        lengths = sorted(self.track.room(r) for r in self.track.routes.values())
        self.longest = 0.9 * min(1.2, lengths[len(lengths) // 2])

    @property
    def track(self) -> Track:
        return self.world.track

    @property
    def controller(self) -> Reader:
        return self.world.controller

    def occupied(self, sections: Iterable[str]) -> bool:
        return any(self.world.count[s] for s in sections)

    def drawn_length(self) -> float:
        return self.rng.uniform(min(0.1, self.longest / 2), self.longest)

    def _let_in(self) -> None:
        world, rng = self.world, self.rng
        if len(world.trains) + len(world.outside) >= self.habits.most_trains:
            return
        if not self.track.approach:
            return
        edge = rng.choice(list(self.track.approach))
        approach = self.track.approach[edge]
        if any(train.coming_from == edge for train in world.trains.values()):
            return
        if not approach:
            if edge not in world.outside:
                world.outside[edge] = world.new_train(self.drawn_length())
            return
        sections = {self.track.section_of[e] for e in approach}
        if self.occupied(sections) or any(map(self.kept, sections)):
            return
        world.comes_in(edge, self.drawn_length())

    def kept(self, section: str) -> bool:
        """Whether a section is held for a route, or has its overlap in it."""
        return self.controller.is_held(section) or any(
            not self.controller.is_idle(r) for r in self.track.overlapping[section]
        )

    def _comes_to(self, section: str, *, from_others: bool) -> bool:
        """Whether a train is on its way from an edge to a section, before it reads a signal."""
        of = self.track.section_of
        for approach in self.track.approach.values():
            for place, element in enumerate(approach):
                if of[element] != section:
                    continue
                for before in approach[:place]:
                    if from_others and of[before] == section:
                        continue
                    if any(train.driven for train in self.world.on[before]):
                        return True
                    if from_others and self.world.count[of[before]]:
                        return True
        return False

    def _put_down(self) -> None:
        """A train is put down before a signal."""
        world = self.world
        if len(world.trains) >= self.habits.most_trains:
            return
        signal = self.rng.choice(list(self.track.signals))
        end = self.track.signals[signal]
        if end[0] == EDGE:
            return
        ways = self._leading_to(end)
        if len(ways) != 1 or ways[0][1]:
            return
        way = ways[0][0]
        section = self.track.section_of[way.element]
        room = self.track.length[way.element]
        if world.count[section] or self.kept(section) or self._comes_to(section, from_others=True):
            return
        train = world.new_train(self.rng.uniform(0.3, 0.9) * min(room, self.longest))
        world.note(f"train {train.number} is put down before {signal}")
        world.put(train, [way], room)
        train.ended, train.waiting_at = True, signal
        world.waiting[signal] = train
        world.seen.counts["put down"] += 1
        if world.lamps[signal].shows:
            world.after(self.rng.uniform(0.5, 3.0), world._departs, train, signal)

    def _leading_to(self, end: End) -> list[tuple[Way, tuple[tuple[str, str], ...]]]:
        return [
            (way, lies)
            for (name, _), ways in self.track.ways.items()
            if name == end[0]
            for way, lies in ways
            if way.exit == end[1]
        ]

    def _stand_on(self, element: str) -> None:
        """Vehicles are put down, to stand where they are."""
        world, track = self.world, self.track
        section = track.section_of[element]
        stretch = track.stretch_of[element]
        if len(world.trains) > self.habits.most_trains or self.kept(section):
            return
        there = {t for e in track.elements_of[section] for t in world.on[e]}
        if world.on_stretch(element) or any(train.driven for train in there):
            return
        if self._comes_to(section, from_others=False):
            return
        for drive, elements in track.on_drive.items():
            if world.drives[drive].moving and any(track.stretch_of[e] == stretch for e in elements):
                return
        ways = [
            way
            for (name, _), found in track.ways.items()
            if name == element
            for way, lies in found
            if all(world.lies(d, p) for d, p in lies)
        ]
        if not ways:
            return
        room = track.length[element]
        length = self.rng.uniform(0.2, 0.9) * min(room, self.longest)
        train = world.new_train(length, driven=False)
        world.note(f"vehicles {train.number} are put on {element}")
        world.put(train, [self.rng.choice(ways)], self.rng.uniform(length, room))
        world.seen.counts["vehicles stand"] += 1

    def _ready(self, train: Train) -> bool:
        """Vehicles before a signal become a train, if they may."""
        world, track = self.world, self.track
        stretch = track.stretch_of[train.ways[0].element]
        if any(track.stretch_of[w.element] != stretch for w in train.ways):
            return False
        if world.on_stretch(train.ways[0].element) != [train] * len(train.ways):
            return False
        if len(world.trains) > self.habits.most_trains:
            return False
        section = track.section_of[train.ways[0].element]
        holders = [r for r in track.routes.values()
                   if section in r.sections and self.controller.holds(r.name, section)]  # fmt: skip
        if any(r.sections[-1] != section for r in holders):
            return False
        if self.rng.random() < 0.5:
            train.turn()
        signal = self._signal_before(train)
        if signal is None or not track.onward[signal] or signal in world.waiting:
            return False
        train.driven = True
        world.note(f"vehicles {train.number} are ready to leave past {signal}")
        world.seen.counts["ready to leave"] += 1
        world.go(train)
        return True

    def _signal_before(self, train: Train) -> str | None:
        """The signal that a train comes to on its stretch, as the drives lie."""
        track = self.track
        if not all(
            self.world.lies(d, p)
            for way in train.ways
            for w, lies in track.ways[way.element, way.entry]
            if w == way
            for d, p in lies
        ):
            return None
        end: End = (train.ways[-1].element, train.ways[-1].exit)
        seen = {w.element for w in train.ways}
        while end not in track.read_at:
            beyond = track.beyond[end]
            if beyond not in track.ways or beyond[0] in seen:
                return None
            if track.stretch_of[beyond[0]] != track.stretch_of[train.ways[0].element]:
                return None
            ways = [
                w for w, lies in track.ways[beyond] if all(self.world.lies(d, p) for d, p in lies)
            ]
            if not ways:
                return None
            seen.add(beyond[0])
            end = (beyond[0], ways[0].exit)
        return track.read_at[end]

    def _uncouple(self) -> None:
        """The rear of a train is left standing, in a section in which its front is not."""
        world, track = self.world, self.track
        able = []
        for train in world.trains.values():
            if train.driven and not train.coming_from:
                train.catch_up(world.now)
                stretch = track.stretch_of[train.ways[-1].element]
                free = 0.0
                for way, length in zip(train.ways, train.lengths, strict=True):
                    if track.stretch_of[way.element] == stretch and not train.leaving:
                        break
                    free += length
                if free - train.tail > 0.05:
                    able.append((train, min(free - train.tail, train.length - 0.02)))
        if not able:
            return
        train, most = self.rng.choice(able)
        at = self.rng.uniform(0.02, most)
        if at >= most - 0.01 or train.length - at < 0.02:
            return
        for way in train.ways[1:]:
            world.in_time(track.section_of[way.element])
        if world.stopped or train.number not in world.trains:
            return
        world.cut(train, at)
        world.seen.counts["uncoupled"] += 1
