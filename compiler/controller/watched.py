"""The railway under its proved locking, whoever works it, and what is reported of it.

For watching beside another controller, of which only the reports of sections and drives are known.
Its machine may do whatever the layout's machine may, and where that keeps it from being wrong
without need, more:

- A route is set, its signal clears and its train passes it, all as one event: when it is set before
  that only keeps others from being set, and the other controller has seen to that. Whether a route
  that it needs is set too is not asked.
- What is held behind trains is released as soon as it may be.

- A drive is thrown by itself, where no train is under way that needs it and nothing is on it. One
  that reports is thrown when it reports that it lies: until then no signal clears over it.
- What stands where watching began goes on, with no signal before it: it may have been on its way.
- Where a section is reported occupied after a train has left it, vehicles of it stand there: the
  train may have been divided, and nobody knows that before the section is reported clear.

Whoever works it knows no more than is reported: where the locking asks that a section is clear, and
the section reports, it has to be reported clear as well. Reports come as late as is assumed of them
(`composition.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import NamedTuple

from bellcrank.controller.composition import reported_in_time
from bellcrank.controller.view import SAID_CLEAR, SAID_OCCUPIED, View
from bellcrank.layout.layout_model import Drive
from bellcrank.machine.frame import CLEAR, IDLE, STANDING, here, moving
from bellcrank.machine.in_one import in_one
from bellcrank.machine.interlocking import holds_not
from bellcrank.machine.machine_model import Clause, Event, Is, Machine, always, is_, is_not
from bellcrank.machine.standing import standing_events
from bellcrank.machine.trains import train_events


class Watched(NamedTuple):
    """The machine of a railway with its reports.

    trains, by_hand, goes_on, thrown: the events of trains under way, those done to vehicles by
    hand, those by which goes on what stood there, those that tell that something stayed behind, and
    drives that are thrown and do not report;
    released: what happens of itself at once. reports: what is seen, by what it is of and what is
    said of it.
    """

    machine: Machine
    trains: tuple[Event, ...]
    by_hand: tuple[Event, ...]
    goes_on: tuple[Event, ...]
    stayed: tuple[Event, ...]
    thrown: tuple[Event, ...]
    released: tuple[Event, ...]
    reports: Mapping[tuple[str, str], Event]


def watched(view: View, alone: Machine) -> Watched:
    """The railway with its reports. alone: the machine of its layout."""
    frame = view.frame
    moving_on = [
        reported_in_time(view, event)
        for event in train_events(frame)
        if event.kind not in ("meets", "derails")
    ]
    setting = {(e.kind, e.route): e for e in alone.events if e.kind in ("request", "signal clears")}
    passing = (
        _set_and_passed(
            view, alone, setting["request", e.route], setting["signal clears", e.route], e
        )
        for e in moving_on
        if e.route is not None
    )
    trains = (
        *(e for e in moving_on if e.kind not in ("passes signal", "put down") and not e.route),
        *(event for event in passing if event is not None),
    )
    standing = [reported_in_time(view, event) for event in standing_events(frame)]
    by_hand = (*(e for e in moving_on if e.kind == "put down"), *standing)
    goes_on = tuple(_goes_on(view))
    stayed = tuple(_stayed(view))
    silent = (drive for drive in frame.layout.drives.values() if not drive.detected)
    thrown = tuple(_thrown(view, drive, p) for drive in silent for p in drive.positions)
    released = tuple(
        replace(event, guard=_as_reported(view, event.guard))
        for event in alone.events
        if event.kind in ("section released", "route released")
    )
    reports = dict(_reports(view))
    said = {variable.name: variable for variable in view.said.values()}
    events = (*trains, *by_hand, *goes_on, *stayed, *thrown, *released, *reports.values())
    machine = Machine({**alone.variables, **said}, events, (), (), (), {})
    return Watched(machine, trains, by_hand, goes_on, stayed, thrown, released, reports)


def _set_and_passed(
    view: View, alone: Machine, request: Event, clears: Event, passes: Event
) -> Event | None:
    """A route is set and its train passes its signal. Drives that do not report are thrown for it;
    those that do lie right, or it would have been reported that they were thrown."""
    frame, route = view.frame, passes.route
    assert route is not None
    needed = {
        (is_not(frame.route[need.other], IDLE),)
        for need in frame.locking.needs_set
        if need.route == route
    }
    asked = tuple(clause for clause in request.guard if clause not in needed)
    arrive = {
        frame.drive[drive].name: {moving(position): position}
        for drive, position in frame.needs[route].items()
        if not frame.layout.drives[drive].detected
    }
    steps = (
        replace(request, guard=_as_reported(view, asked)),
        Event("drives arrive", "drive arrives", "surroundings", route, "", (), arrive),
        clears,
        passes,
    )
    said = {variable.name: variable for variable in view.said.values()}
    return in_one(steps, {**alone.variables, **said}, passes.name)


def _as_reported(view: View, guard: Iterable[Clause]) -> tuple[Clause, ...]:
    """A guard of the locking, with reports where it asks what is on the track."""
    found: dict[Clause, None] = {}
    for clause in guard:
        found[clause] = None
        found[tuple(_said(view, literal) for literal in clause)] = None
    return tuple(found)


def _said(view: View, literal: Is) -> Is:
    variable = view.frame.named[literal.variable]
    if variable.kind != "track":
        return literal
    said = view.said.get(view.frame.part(variable.of).section)
    return literal if said is None else is_(said, SAID_CLEAR)


def _reports(view: View) -> Iterator[tuple[tuple[str, str], Event]]:
    frame = view.frame
    for section, said in view.said.items():
        yield (
            (section, "occupied"),
            Event(
                f"{section} occupied",
                "reported occupied",
                "interlocking",
                section,
                f"{section} is reported occupied",
                ((is_(said, SAID_CLEAR),), frame.occupied(section)),
                {said.name: {SAID_CLEAR: SAID_OCCUPIED}},
            ),
        )
        yield (
            (section, "clear"),
            Event(
                f"{section} clear",
                "reported clear",
                "interlocking",
                section,
                f"{section} is reported clear",
                ((is_(said, SAID_OCCUPIED),), *frame.clear(section)),
                {said.name: {SAID_OCCUPIED: SAID_CLEAR}},
            ),
        )
    for name, drive in frame.layout.drives.items():
        if drive.detected:
            for position in drive.positions:
                yield (name, position), _thrown(view, drive, position)


def _thrown(view: View, drive: Drive, position: str) -> Event:
    """A drive is thrown, if it does not lie there."""
    frame = view.frame
    variable = frame.drive[drive.name]
    free: list[Clause] = []
    for section in frame.sections_of_drive[drive.name]:
        free += frame.clear(section)
    for route, needs in frame.needs.items():
        if needs.get(drive.name, position) != position:
            free += holds_not(frame, frame.table.routes[route], drive.name)
    there = is_(variable, position)
    return Event(
        f"{drive.name} thrown to {position}",
        "drive arrives",
        "surroundings",
        drive.name,
        f"{drive.name} is thrown to {position}",
        tuple((there, *clause) for clause in _as_reported(view, free)),
        {variable.name: always(variable, position)},
    )


def _goes_on(view: View) -> Iterator[Event]:
    frame = view.frame
    for part in frame.parts.parts.values():
        track = frame.track[part.name]
        for passage in part.passages:
            yield Event(
                f"goes on {part.name}: {passage.name}",
                "ready to leave",
                "surroundings",
                part.name,
                f"what stands in {part.name} goes on",
                (
                    (is_(track, STANDING),),
                    *((frame.lies(d, p),) for d, p in passage.positions),
                ),
                {track.name: {STANDING: here(passage)}},
            )


def _stayed(view: View) -> Iterator[Event]:
    frame = view.frame
    for part in frame.parts.parts.values():
        said = view.said.get(part.section)
        if said is None:
            continue
        yield Event(
            f"stayed {part.name}",
            "uncoupled",
            "surroundings",
            part.name,
            f"vehicles have stayed in {part.name}",
            ((is_(said, SAID_OCCUPIED),), *frame.clear(part.section)),
            {frame.track[part.name].name: {CLEAR: STANDING}},
        )
