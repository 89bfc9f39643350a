"""What comes of it when an assumption is broken once, at a moment left to chance."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal, get_args

from clocked_operator import Operator, railway
from clocked_railway import World
from clocked_track import EDGE, Json, Way
from clocked_trains import Train

FaultKind = Literal[
    "signal passed at stop",
    "turned back on the way",
    "came in without asking",
    "vehicles left behind",
    "vehicles put down",
    "train taken off",
    "points moved by hand",
    "points do not move",
    "detector stuck occupied",
    "detector stuck clear",
    "report lost",
    "report doubled",
    "report late",
]

KINDS: tuple[FaultKind, ...] = get_args(FaultKind)

LATER: frozenset[FaultKind] = frozenset(
    (
        "points do not move",
        "detector stuck occupied",
        "detector stuck clear",
        "report lost",
        "report doubled",
        "report late",
    )
)
"""What makes a difference only some time after it was broken; times count from then."""

OutcomeKind = Literal["alarm", "accident", "two in a section", "nothing granted", "harmless"]

OUTCOMES: tuple[OutcomeKind, ...] = get_args(OutcomeKind)

WATCHED = 1200.0
"""How long a railway goes on after something was broken, in seconds."""


@dataclass(frozen=True)
class Outcome:
    """What came of it, and how many seconds later.

    harmless: routes over the place are granted again once the track is clear.
    """

    kind: OutcomeKind
    after: float | None = None
    what: str = ""


Where = set[str]
"""The sections where something was broken."""


def broken(document: Json, kind: FaultKind, seed: int) -> Outcome | None:
    """Play a railway, break one thing, and see; None if it never could be broken, or that made
    no difference."""
    world, operator = railway(document, seed)
    rng = random.Random(f"fault {seed}")
    operator.begin()
    world.until(rng.uniform(100, 900))
    where: Where = set()
    for _ in range(400):
        found = _FAULTS[kind](world, operator, rng)
        if found is not None:
            where = found
            break
        world.until(world.now + rng.uniform(0.1, 5.0))
    else:
        return None
    begun = world.now
    world.note(f"BROKEN {kind} {where}")
    shared = len(world.seen.wrong)
    world.until(begun + WATCHED)
    if not world.stopped:
        operator.clearing = True
        world.until(world.now + 400)
    if kind in LATER:
        if world.went_wrong is None:
            return None
        begun = world.went_wrong
    if world.seen.accident is not None:
        when, what = world.seen.accident
        return Outcome("accident", when - begun, what)
    if world.seen.alarm is not None:
        when, what = world.seen.alarm
        return Outcome("alarm", when - begun, what)
    if any("where others are" in what for what in world.seen.wrong[shared:]):
        return Outcome("two in a section")
    if not where:
        return Outcome("harmless")
    over = [r for r in world.track.routes.values() if where.intersection(r.sections)]
    refused = [
        r.name
        for r in over
        if operator.occupied(r.looked_at) or not world.controller.would("request", r.name)
    ]
    if refused:
        return Outcome("nothing granted", None, ", ".join(refused))
    return Outcome("harmless")


# --------------------------------------------------------------------------- faults


def _passed_at_stop(world: World, operator: Operator, rng: random.Random) -> Where | None:
    stopped = [
        (signal, train)
        for signal, train in world.waiting.items()
        if not world.lamps[signal].shows
        and world.track.beyond[world.track.signals[signal]][0] in world.track.section_of
    ]
    if not stopped or operator.starting:
        return None
    signal, train = rng.choice(stopped)
    world.disobeys = train
    world.go(train)
    beyond = world.track.beyond[world.track.signals[signal]]
    return {world.track.section_of[beyond[0]]}


def _turned_back(world: World, operator: Operator, rng: random.Random) -> Where | None:
    under_way = [
        t
        for t in world.trains.values()
        if t.moving and t.runs and t.runs[-1].arrived is None and not t.leaving
        and not t.coming_from and t.halt_at is None
    ]  # fmt: skip
    if not under_way:
        return None
    train = rng.choice(under_way)
    world.halt(train)
    where = _under(world, train.ways)
    _nobody_confirms_for(world, train)
    world.turn_back(train)
    return where


def _came_in(world: World, operator: Operator, rng: random.Random) -> Where | None:
    edges = []
    for edge, approach in world.track.approach.items():
        sections = {world.track.section_of[e] for e in approach}
        asked = not operator.occupied(sections) and not any(map(operator.kept, sections))
        outside = any(t.coming_from == edge for t in world.trains.values())
        if approach and not asked and not outside:
            edges.append(edge)
    if not edges:
        return None
    edge = rng.choice(edges)
    world.comes_in(edge, operator.drawn_length())
    return _under_elements(world, world.track.approach[edge][:1])


def _left_behind(world: World, operator: Operator, rng: random.Random) -> Where | None:
    trains = [
        t
        for t in world.trains.values()
        if t.driven and not t.coming_from and not t.leaving and t.length > 0.06
    ]
    if not trains:
        return None
    train = rng.choice(trains)
    train.catch_up(world.now)
    rest = world.cut(train, rng.uniform(0.02, train.length - 0.02))
    rest.forgotten = True
    return _under(world, rest.ways)


def _put_down(world: World, operator: Operator, rng: random.Random) -> Where | None:
    free = [e for e in sorted(world.track.section_of) if not world.on[e]]
    if not free:
        return None
    element = rng.choice(free)
    ways = [w for (name, _), found in world.track.ways.items() if name == element
            for w, _ in found]  # fmt: skip
    room = world.track.length[element]
    train = world.new_train(0.5 * room, driven=False)
    train.forgotten = True
    world.put(train, [rng.choice(ways)], 0.8 * room)
    return _under_elements(world, (element,))


def _taken_off(world: World, operator: Operator, rng: random.Random) -> Where | None:
    trains = [t for t in world.trains.values() if t.runs and t.runs[-1].arrived is None]
    if not trains:
        return None
    train = rng.choice(trains)
    where = _under(world, train.ways)
    _nobody_confirms_for(world, train)
    world.remove(train)
    return where


def _nobody_confirms_for(world: World, train: Train) -> None:
    """Nobody has seen what became of it."""
    for run in train.runs:
        world.runs.pop(run.route, None)
    train.runs.clear()


def _moved_by_hand(world: World, operator: Operator, rng: random.Random) -> Where | None:
    drives = [
        name
        for name, drive in world.drives.items()
        if not drive.moving and not any(world.on[e] for e in world.track.on_drive[name])
    ]
    if not drives:
        return None
    name = rng.choice(drives)
    drive = world.drives[name]
    drive.lies = rng.choice([p for p in world.track.drives[name] if p != drive.lies])
    if name in world.track.contacts:
        world.tell("lies", name, drive.lies)
    return _under_elements(world, world.track.on_drive[name])


def _does_not_move(world: World, operator: Operator, rng: random.Random) -> Where | None:
    drives = [name for name, drive in world.drives.items() if not drive.moving]
    if not drives:
        return None
    name = rng.choice(drives)
    world.drives[name].dead = True
    return _under_elements(world, world.track.on_drive[name])


def _stuck(occupied: bool) -> Fault:
    def stuck(world: World, operator: Operator, rng: random.Random) -> Where | None:
        if not world.detectors:
            return None
        section = rng.choice(sorted(world.detectors))
        detector = world.detectors[section]
        detector.stuck = occupied
        detector.version += 1
        if occupied != (world.count[section] > 0):
            world.goes_wrong()
        if detector.said != occupied:
            world.report(section, occupied)
        return {section}

    return stuck


def _next_report(change: Callable[[World, str, str, random.Random], bool]) -> Fault:
    """The next report is not as it should be; `change` says whether it was that one."""

    def fault(world: World, operator: Operator, rng: random.Random) -> Where | None:
        if not world.detectors:
            return None
        where: Where = set()

        def once(section: str, kind: str) -> bool:
            if world.deaf or not change(world, section, kind, rng):
                return False
            world.next_report = None
            world.goes_wrong()
            where.add(section)
            return True

        world.next_report = once
        return where

    return fault


def _lost(world: World, section: str, kind: str, rng: random.Random) -> bool:
    del world, section, kind, rng
    return True


def _doubled(world: World, section: str, kind: str, rng: random.Random) -> bool:
    world.tell(kind, section)
    world.tell(kind, section)
    return True


def _late(world: World, section: str, kind: str, rng: random.Random) -> bool:
    if kind == "occupied":
        world.after(rng.uniform(5, 20), world.tell, kind, section)
    return kind == "occupied"


Fault = Callable[[World, Operator, random.Random], Where | None]

_FAULTS: Mapping[FaultKind, Fault] = {
    "signal passed at stop": _passed_at_stop,
    "turned back on the way": _turned_back,
    "came in without asking": _came_in,
    "vehicles left behind": _left_behind,
    "vehicles put down": _put_down,
    "train taken off": _taken_off,
    "points moved by hand": _moved_by_hand,
    "points do not move": _does_not_move,
    "detector stuck occupied": _stuck(True),
    "detector stuck clear": _stuck(False),
    "report lost": _next_report(_lost),
    "report doubled": _next_report(_doubled),
    "report late": _next_report(_late),
}


def _under(world: World, ways: list[Way]) -> Where:
    return {world.track.section_of[way.element] for way in ways}


def _under_elements(world: World, elements: Iterator[str] | tuple[str, ...] | list[str]) -> Where:
    return {world.track.section_of[e] for e in elements if e != EDGE}
