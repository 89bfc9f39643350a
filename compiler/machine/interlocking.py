"""What operator and interlocking do: request, throw, clear, cancel, release.

The guards of a request come from the locking in force and from nothing else. A
request is granted if every rule would hold once it is, and then takes effect as
one: the sections are held, the drives are thrown.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from bellcrank.layout.layout_model import Position
from bellcrank.machine.frame import (
    AT_STOP,
    CLOSING,
    FREE,
    GONE_ON,
    IDLE,
    PUT_BACK,
    SET,
    Frame,
    moving,
    under_way,
)
from bellcrank.machine.locking import Locks, NeedsSet
from bellcrank.machine.machine_model import Clause, Event, Is, Variable, is_, is_not
from bellcrank.machine.safety import onward
from bellcrank.routes.route_model import Route


def interlocking_events(frame: Frame) -> Iterator[Event]:
    """All events of operator, interlocking, signals and drives."""
    rules = _Rules(frame)
    for route in frame.table.routes.values():
        yield _request(frame, rules, route)
        yield _signal_clears(frame, rules, route)
        yield from _cancelled(frame, rules, route)
        yield from _released(frame, route)
    for name, variable in frame.signal.items():
        if not frame.onward[name]:
            continue
        yield Event(
            f"time runs out {name}",
            "time runs out",
            "surroundings",
            name,
            f"a train that could not stop at {name} any more would have passed it by now",
            ((is_(variable, PUT_BACK),),),
            {variable.name: {PUT_BACK: AT_STOP}},
            span=frame.layout.signals[name].span,
        )
    for drive in frame.layout.drives.values():
        variable = frame.drive[drive.name]
        for position in drive.positions:
            yield Event(
                f"drive arrives {drive.name} {position}",
                "drive arrives",
                "surroundings",
                drive.name,
                f"{drive.name} comes to lie {position}"
                if drive.frog is None
                else f"{drive.name} takes its polarity from {position}",
                ((is_(variable, moving(position)),),),
                {variable.name: {moving(position): position}},
                span=drive.span,
            )


@dataclass(slots=True)
class _Rules:
    """The rules in force, by route and by drive."""

    frame: Frame
    locks: dict[str, list[tuple[str, Locks]]] = field(default_factory=lambda: defaultdict(list))
    conditional: dict[str, list[Locks]] = field(default_factory=lambda: defaultdict(list))
    needing: dict[str, dict[str, list[str]]] = field(
        default_factory=lambda: defaultdict(lambda: defaultdict(list))
    )
    clear: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    needs_set: dict[str, list[NeedsSet]] = field(default_factory=lambda: defaultdict(list))
    needed_by: dict[str, list[NeedsSet]] = field(default_factory=lambda: defaultdict(list))

    def __post_init__(self) -> None:
        locking = self.frame.locking
        for lock in locking.locks:
            self.locks[lock.first].append((lock.second, lock))
            self.locks[lock.second].append((lock.first, lock))
            for drive, _ in lock.when:
                self.conditional[drive].append(lock)
        for route, needs in self.frame.needs.items():
            for drive, position in needs.items():
                self.needing[drive][position].append(route)
        for need in locking.needs_clear:
            self.clear[need.route].append(need.section)
        for need_set in locking.needs_set:
            self.needs_set[need_set.route].append(need_set)
            self.needed_by[need_set.other].append(need_set)


# -------------------------------------------------------------------- request


def _request(frame: Frame, rules: _Rules, route: Route) -> Event:
    stage = frame.route[route.name]
    guard: list[Clause] = [(is_(stage, IDLE),)]
    derived = frame.locking.derived
    if derived:
        guard += [(is_(frame.held[s], FREE),) for s in route.sections]
        guard += _way_on(frame, route)
    for section in dict.fromkeys(rules.clear[route.name]):
        guard += frame.clear(section)
    for need_set in rules.needs_set[route.name]:
        guard.append((is_not(frame.route[need_set.other], IDLE),))
    guard += _locks(frame, rules, route)
    guard += _drives(frame, rules, route)
    updates: dict[str, dict[str, str]] = {stage.name: {IDLE: SET}}
    for section in route.sections:
        held = frame.held[section]
        others = [FREE] if derived else [v for v in held.values if v != route.name]
        updates[held.name] = dict.fromkeys(others, route.name)
    for drive, position in frame.needs[route.name].items():
        updates[frame.drive[drive].name] = thrown(frame.drive[drive], position)
    return Event(
        f"request {route.name}",
        "request",
        "operator",
        route.name,
        f"the operator asks for {route.name}",
        tuple(dict.fromkeys(guard)),
        updates,
        route.name,
        route.span,
    )


def _way_on(frame: Frame, route: Route) -> Iterator[Clause]:
    """That no train which came before is still on its way over the overlap. The way on
    may be set already: the overlap gives way to it."""
    for section in route.overlap_sections:
        for further in onward(frame, route, section):
            yield (
                is_not(frame.held[section], further.name),
                is_(frame.route[further.name], IDLE, SET, CLOSING),
            )


def thrown(drive: Variable, position: str) -> dict[str, str]:
    """The update of a drive that is commanded to a position."""
    settled = (position, moving(position))
    return {value: moving(position) for value in drive.values if value not in settled}


def _locks(frame: Frame, rules: _Rules, route: Route) -> Iterator[Clause]:
    own = frame.needs[route.name]
    for other_name, lock in rules.locks[route.name]:
        other = frame.table.routes[other_name]
        if frame.locking.derived and lock.span is None:
            # Derived: where two routes share a section, its being held keeps them apart;
            # an overlap is held longer than the sections.
            overlap = other.overlap_entered_by(route) or route.overlap_entered_by(other)
            if not overlap and set(route.sections) & set(other.sections):
                continue
        away = _when(frame, own, lock.when)
        if away is not None:
            for clause in _lets(frame, other, route):
                yield (*clause, *away)
    for drive, position in own.items():
        for lock in rules.conditional[drive]:
            if route.name in (lock.first, lock.second) or (drive, position) not in lock.when:
                continue
            away = _when(frame, own, lock.when)
            if away is not None:
                routes = (frame.route[lock.first], frame.route[lock.second])
                yield (frame.lies_or_goes(drive, position), *(is_(r, IDLE) for r in routes), *away)


def _when(frame: Frame, own: Mapping[str, str], when: tuple[Position, ...]) -> list[Is] | None:
    """Literals that say that the conditions of a lock are not all met once the drives
    are thrown; None if they then cannot be met."""
    away = []
    for drive, position in when:
        thrown_to = own.get(drive)
        if thrown_to is None:
            variable = frame.drive[drive]
            away.append(is_not(variable, position, moving(position)))
        elif thrown_to != position:
            return None
    return away


def _lets(frame: Frame, other: Route, route: Route) -> Iterator[Clause]:
    """That another route, which is locked with this one, does not stand in its way:
    it is not set, or has released the last section on which they meet."""
    last = _last_meeting(frame, other, route)
    if last is None or not frame.released_by_section(other):
        yield (is_(frame.route[other.name], IDLE),)
    else:
        yield from _has_released(frame, other, last)


def _has_released(frame: Frame, other: Route, place: int) -> Iterator[Clause]:
    """That a route is not set, or has released its section of this place."""
    stage = frame.route[other.name]
    held = frame.held[other.sections[place - 1]]
    yield (is_(stage, IDLE), is_not(held, other.name))
    if not frame.locking.derived:
        # Another route may have taken the section over, and that is no release.
        yield (is_(stage, IDLE, *_beyond(frame, other, place)),)


def _last_meeting(frame: Frame, other: Route, route: Route) -> int | None:
    """The place of the last section of the other route on which the two meet; None if
    it must be wholly released."""
    places = [
        other.sections.index(s) + 1
        for s in (*route.sections, *route.overlap_sections)
        if s in other.sections
    ]
    if other.overlap_entered_by(route):
        return None
    mine = route.demands
    for drive, position in other.demands.items():
        if mine.get(drive, position) != position:
            place = frame.drive_section(other, drive)
            if not place:
                return None
            places.append(place)
    return max(places) if places else None


def _drives(frame: Frame, rules: _Rules, route: Route) -> Iterator[Clause]:
    derived = frame.locking.derived
    for drive, position in frame.needs[route.name].items():
        there = frame.lies_or_goes(drive, position)
        frog = frame.layout.drives[drive].frog is not None
        if derived or frame.locking.drives_need_clear or frog:
            for section in frame.sections_of_drive[drive]:
                for clause in frame.clear(section):
                    yield (there, *clause)
        for against, names in rules.needing[drive].items():
            if against == position:
                continue
            for name in names:
                other = frame.table.routes[name]
                place = frame.drive_section(other, drive)
                if derived and place and other.sections[place - 1] in route.sections:
                    # The section with the points is held, and that keeps the two apart.
                    continue
                for clause in holds_not(frame, other, drive):
                    yield (there, *clause)


def holds_not(frame: Frame, other: Route, drive: str) -> Iterator[Clause]:
    """That a route does not hold a drive, being idle or having released it."""
    place = frame.drive_section(other, drive)
    if not place or not frame.released_by_section(other):
        yield (is_(frame.route[other.name], IDLE),)
    else:
        yield from _has_released(frame, other, place)


# ------------------------------------------------------------ clear and cancel


def _signal_clears(frame: Frame, rules: _Rules, route: Route) -> Event:
    signal = frame.signal[route.start]
    guard: list[Clause] = [(is_(frame.route[route.name], SET),), (is_(signal, AT_STOP),)]
    guard += [(frame.lies(d, p),) for d, p in frame.needs[route.name].items()]
    for section in dict.fromkeys(rules.clear[route.name]):
        guard += frame.clear(section)
    shows = "clears" if route.aspect == "proceed" else f"shows {route.aspect}"
    return Event(
        f"signal clears {route.name}",
        "signal clears",
        "interlocking",
        route.start,
        f"{route.start} {shows} for {route.name}",
        tuple(guard),
        {signal.name: {AT_STOP: route.name}},
        route.name,
        route.span,
    )


def _cancelled(frame: Frame, rules: _Rules, route: Route) -> Iterator[Event]:
    stage, signal = frame.route[route.name], frame.signal[route.start]
    needed: list[Clause] = [
        (is_(frame.route[need.route], IDLE),) for need in rules.needed_by[route.name]
    ]
    text = f"the operator cancels {route.name}"
    yield Event(
        f"cancel {route.name}",
        "cancel",
        "operator",
        route.name,
        text + f"; {route.start} has not cleared for it, and it is released at once",
        ((is_(stage, SET),), (is_not(signal, route.name),), *needed),
        {stage.name: {SET: IDLE}, **_all_given_up(frame, route)},
        route.name,
        route.span,
    )
    yield Event(
        f"put back {route.name}",
        "cancel",
        "operator",
        route.name,
        text + f"; {route.start} goes to stop",
        ((is_(stage, SET),), (is_(signal, route.name),), *needed),
        {stage.name: {SET: CLOSING}, signal.name: {route.name: PUT_BACK}},
        route.name,
        route.span,
    )
    yield Event(
        f"released by time {route.name}",
        "released by time",
        "interlocking",
        route.name,
        f"the time of approach locking is over and {route.name} is released",
        ((is_(stage, CLOSING),), (is_not(signal, route.name, PUT_BACK),)),
        {stage.name: {CLOSING: IDLE}, **_all_given_up(frame, route)},
        route.name,
        route.span,
    )


def _all_given_up(frame: Frame, route: Route) -> dict[str, dict[str, str]]:
    return {frame.held[s].name: {route.name: FREE} for s in route.sections}


# -------------------------------------------------------------------- release


def _released(frame: Frame, route: Route) -> Iterator[Event]:
    """Release behind the train: section by section, or the whole route at once."""
    stage = frame.route[route.name]
    steps = frame.steps[route.name]
    last = len(route.sections)
    sectional = frame.released_by_section(route)
    behind: list[Clause] = []
    for place, section in enumerate(route.sections[:-1], start=1):
        held = frame.held[section]
        if not sectional:
            behind += frame.clear(section)
            continue
        guard: list[Clause] = [
            (is_(held, route.name),),
            (is_(stage, *_beyond(frame, route, place)),),
            *frame.clear(section),
        ]
        if place > 1:
            guard.append((is_not(frame.held[route.sections[place - 2]], route.name),))
        behind.append((is_not(held, route.name),))
        yield Event(
            f"section released {section} by {route.name}",
            "section released",
            "interlocking",
            section,
            f"{section} is released behind the train of {route.name}",
            tuple(guard),
            {held.name: {route.name: FREE}},
            route.name,
            route.span,
        )
    # The front is in the last part, and nothing reaches back across the joint into it.
    arrived = [under_way(len(steps))]
    if route.overlap is not None:
        arrived.append(GONE_ON)
    entry = next(s for s in steps if s.section == last).entry
    text = f"{route.name} is released: its train has arrived whole"
    if route.overlap is not None:
        text = f"the overlap of {route.name} times out and the route is released"
    yield Event(
        f"route released {route.name}",
        "route released",
        "interlocking",
        route.name,
        text,
        ((is_(stage, *arrived),), *behind, *frame.nothing_into(entry)),
        {stage.name: dict.fromkeys(arrived, IDLE), **_all_given_up(frame, route)},
        route.name,
        route.span,
    )


def _beyond(frame: Frame, route: Route, place: int) -> list[str]:
    """The stages in which a route's front has gone beyond its section of this place."""
    last = frame.last_step(route.name, place)
    stages = [under_way(k) for k in range(last + 1, len(frame.steps[route.name]) + 1)]
    return stages + ([GONE_ON] if route.overlap is not None else [])
