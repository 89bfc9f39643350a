"""The events by which an assumption is broken: of each kind one or more at each place where it
may be, once, at any moment."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import permutations

from bellcrank.controller.breakings import Breaking
from bellcrank.controller.composition import reported, together
from bellcrank.controller.controller_model import InputKind
from bellcrank.controller.reactions import Control
from bellcrank.controller.view import SAID_CLEAR, SAID_OCCUPIED, View
from bellcrank.machine.frame import (
    AT_STOP,
    CLEAR,
    DERAILED,
    INSIDE,
    MEETING,
    OUTSIDE,
    STANDING,
    Frame,
    here,
    moving,
)
from bellcrank.machine.machine_model import (
    Clause,
    Event,
    EventKind,
    Is,
    Variable,
    is_,
    is_not,
)
from bellcrank.machine.parts import Part, Passage
from bellcrank.machine.standing import standing_events
from bellcrank.machine.trains import passed_at_stop

NOT_YET = "not yet"


def at(place: str) -> str:
    """Something is broken at a place."""
    return f"at {place}"


def taken(place: str) -> str:
    """Likewise, and what was reported of it has been explained in another way."""
    return f"at {place}, taken for something else"


@dataclass(slots=True)
class Broken:
    """What is broken, in the making.

    variable: whether it is broken, and where.
    known: all variables of the machine, by name.
    events: those by which it is broken.
    names: of each of them what people may call the place by.
    """

    control: Control
    variable: Variable
    known: Mapping[str, Variable]
    events: list[Event] = field(default_factory=list)
    names: dict[str, frozenset[str]] = field(default_factory=dict)

    @property
    def view(self) -> View:
        return self.control.view

    @property
    def frame(self) -> Frame:
        return self.control.view.frame

    def here(self, place: str) -> Is:
        """That it is broken at this place, whatever was reported since."""
        return is_(self.variable, at(place), taken(place))

    def still(self, place: str) -> Is:
        """That it is broken at this place, and nothing was reported of it yet."""
        return is_(self.variable, at(place))

    def not_here(self, place: str) -> Is:
        return is_not(self.variable, at(place), taken(place))

    def by(self, event: Event, place: str, text: str, names: Collection[str] = ()) -> None:
        """It is broken by an event that nothing else of the machine brings about. names: what
        people call the place by, if not as it is called here."""
        self.names[event.name] = frozenset(names or (place,))
        self.events.append(
            replace(
                event,
                text=text,
                guard=(*event.guard, (is_(self.variable, NOT_YET),)),
                updates={**event.updates, self.variable.name: {NOT_YET: at(place)}},
                route=None,
            )
        )

    def happens(
        self,
        place: str,
        name: str,
        text: str,
        guard: Iterable[Clause] = (),
        updates: Mapping[str, Mapping[str, str]] | None = None,
        kind: EventKind = "breaks",
        names: Collection[str] = (),
    ) -> None:
        own = tuple(guard)
        event = Event(name, kind, "surroundings", place, text, own, updates or {})
        self.by(event, place, text, names)

    def only_at(self, wanted: Collection[str]) -> None:
        """It is broken at these places and nowhere else."""
        self.events = [
            event
            for event in self.events
            if event.name not in self.names or self.names[event.name].intersection(wanted)
        ]

    def over(self, place: str, guard: Iterable[Clause]) -> None:
        """From now on it makes no difference any more."""
        text = f"what is reported of {place} is right again"
        updates = {self.variable.name: {at(place): taken(place)}}
        own = (*guard, (self.still(place),))
        self.events.append(
            Event(f"right again {place}", "breaks", "surroundings", place, text, own, updates)
        )


def places(view: View, kind: Breaking) -> dict[str, tuple[str, ...]]:
    """Where it may be broken, with the routes that lead there: sections, drives, routes, or
    variables of which a time is told."""
    frame = view.frame
    if kind in ("points moved by hand", "points did not move"):
        return {drive: _needing(frame, drive) for drive in frame.layout.drives}
    if kind in ("asked without looking", "confirmed wrongly"):
        return {route: (route,) for route in frame.table.routes}
    if kind != "time too short":
        sections = frame.layout.sections
        return {section: tuple(r.name for r in frame.by_section[section]) for section in sections}
    found = {lying.name: _needing(frame, lying.of) for lying in view.lying.values()}
    found |= {v.name: tuple(r.name for r in frame.onward[v.of]) for v in view.lamp.values()}
    return found | {v.name: (v.of,) for v in view.progress.values()}


def _needing(frame: Frame, drive: str) -> tuple[str, ...]:
    return tuple(route for route, needed in frame.needs.items() if drive in needed)


TOLD: Mapping[Breaking, InputKind] = {
    "signal passed at stop": "occupied",
    "came in unasked": "occupied",
    "turned back on the way": "clear",
    "vehicles put down": "occupied",
    "train taken off": "clear",
    "points moved by hand": "lies",
    "stuck at occupied": "occupied",
    "stuck at clear": "clear",
    "occupied reported late": "occupied",
    "occupied reported again": "occupied",
    "clear reported again": "clear",
}
"""The report by which the controller hears of it, where there is one."""


# ------------------------------------------------------------ trains and vehicles


def _passed_at_stop(broken: Broken) -> None:
    for signal in broken.frame.layout.signals.values():
        section = broken.frame.layout.section_of[signal.beyond.element]
        for event in passed_at_stop(broken.frame, signal):
            broken.by(reported(broken.view, event), section, event.text, (signal.name, section))


def _came_in(broken: Broken) -> None:
    frame = broken.frame
    for name, approach in frame.approaches.items():
        if not approach:
            continue
        first, outside = approach[0], frame.edge[name]
        track = frame.track[first.part]
        section = frame.part(first.part).section
        nobody_asked = f"a train comes in from {name}, and nobody has looked whether it may"
        outside_now = {outside.name: {INSIDE: OUTSIDE}}
        broken.happens(
            section,
            f"comes in unasked {name}",
            nobody_asked,
            ((is_(outside, INSIDE),), (is_(track, CLEAR),)),
            {track.name: {CLEAR: here(first)}, **outside_now},
            names=(name, section),
        )
        others = [v for v in track.values if v not in (CLEAR, MEETING, DERAILED)]
        broken.happens(
            section,
            f"comes in unasked {name}, meets",
            f"{nobody_asked}: it meets another in {first.part}",
            ((is_(outside, INSIDE),), (is_(track, *others),)),
            {track.name: dict.fromkeys(others, MEETING), **outside_now},
            "meets",
            names=(name, section),
        )


def _on_one_stretch(frame: Frame) -> Iterator[tuple[Part, Passage, tuple[Clause, ...]]]:
    """Where a train may be that is wholly on one stretch, and that it is there."""
    for part in frame.parts.parts.values():
        for passage in part.passages:
            there = (is_(frame.track[part.name], here(passage)),)
            yield part, passage, (there, *frame.nothing_into(passage.entry))


def _turned_back(broken: Broken) -> None:
    for part, passage, there in _on_one_stretch(broken.frame):
        for back in part.passages:
            if (back.entry, back.exit) == (passage.exit, passage.entry):
                broken.happens(
                    part.section,
                    f"turns back on the way {part.name}: {passage.name}",
                    f"the train in {part.name} turns back on its way",
                    there,
                    {broken.frame.track[part.name].name: {here(passage): here(back)}},
                )


def _left_behind(broken: Broken) -> None:
    for event in standing_events(broken.frame):
        if event.kind == "uncoupled":
            text = f"vehicles come off the train and stay behind in {event.of}"
            left = replace(event, name=f"left behind {event.of}", kind="breaks")
            broken.by(left, broken.frame.part(event.of).section, text)


def _put_down(broken: Broken) -> None:
    for part in broken.frame.parts.parts.values():
        track = broken.frame.track[part.name]
        broken.happens(
            part.section,
            f"put down unannounced {part.name}",
            f"vehicles are put down in {part.name}, and nobody has looked whether they may be",
            ((is_(track, CLEAR),),),
            {track.name: {CLEAR: STANDING}},
        )


def _taken_off(broken: Broken) -> None:
    for part, passage, there in _on_one_stretch(broken.frame):
        broken.happens(
            part.section,
            f"train taken off {part.name}: {passage.name}",
            f"the train in {part.name} is lifted off the track",
            there,
            {broken.frame.track[part.name].name: {here(passage): CLEAR}},
        )


# ------------------------------------------------------------------------ drives


def _moved_by_hand(broken: Broken) -> None:
    frame = broken.frame
    for drive in frame.layout.drives.values():
        truth = frame.drive[drive.name]
        over = frame.over(drive).items()
        nothing_over = [(is_not(frame.track[part], *values),) for part, values in over]
        for position, other in permutations(drive.positions, 2):
            broken.happens(
                drive.name,
                f"by hand {drive.name} {position} {other}",
                f"{drive.name} is moved {other} by hand",
                ((is_(truth, position),), *nothing_over),
                {truth.name: {position: other}},
            )


def _did_not_move(broken: Broken) -> None:
    frame = broken.frame
    for drive in frame.layout.drives.values():
        truth = frame.drive[drive.name]
        for position, other in permutations(drive.positions, 2):
            sent = moving(position)
            broken.happens(
                drive.name,
                f"does not move {drive.name} {position} {other}",
                f"{drive.name} is to move {position} and stays {other}",
                ((is_(truth, sent),),),
                {truth.name: {sent: other}},
            )


# ----------------------------------------------------------------------- reports


def _at_any_time(name: str, text: str) -> Callable[[Broken], None]:
    """Something that a detector may do at any time; `text` says it of a section."""

    def breaks(broken: Broken) -> None:
        for section in broken.view.said:
            broken.happens(section, f"{name} {section}", text.format(section))

    return breaks


def _occupied_unsaid(broken: Broken, name: str, what: str) -> None:
    for section, said in broken.view.said.items():
        text = f"{section} is occupied, and that is {what}"
        unsaid = (broken.frame.occupied(section), (is_(said, SAID_CLEAR),))
        broken.happens(section, f"{name} {section}", text, unsaid)


def _occupied_lost(broken: Broken) -> None:
    _occupied_unsaid(broken, "lost", "not reported")
    for section in broken.view.said:
        broken.over(section, broken.frame.clear(section))


def _occupied_late(broken: Broken) -> None:
    _occupied_unsaid(broken, "late", "reported too late")


def _clear_lost(broken: Broken) -> None:
    for section, said in broken.view.said.items():
        text = f"{section} is clear, and that is not reported"
        unsaid = (*broken.frame.clear(section), (is_(said, SAID_OCCUPIED),))
        broken.happens(section, f"lost {section}", text, unsaid)
        broken.over(section, (broken.frame.occupied(section),))


# ------------------------------------------------------- what people say, and times


def _asked(broken: Broken) -> None:
    for pair in broken.control.paired:
        if pair.input is not None and pair.input.kind == "request" and pair.given:
            event = together(broken.view, replace(pair, given=()))
            text = f"{event.text} and does not look where nothing is reported"
            broken.by(replace(event, name=f"{event.name}, not looked"), pair.input.of, text)


def _confirmed(broken: Broken) -> None:
    frame = broken.frame
    for pair in broken.control.paired:
        if pair.input is not None and pair.input.kind in ("confirm passed", "confirm arrived"):
            route = frame.table.routes[pair.input.of]
            event = together(broken.view, replace(pair, given=(), event=None))
            at_stop = {frame.signal[route.start].name: {route.name: AT_STOP}}
            event = replace(
                event, name=f"{event.name}, wrongly", updates={**event.updates, **at_stop}
            )
            broken.by(event, route.name, f"{event.text}, which is not so")


def _too_short(broken: Broken) -> None:
    for pair in broken.control.paired:
        if pair.input is not None and pair.input.kind == "time over" and pair.given:
            event = together(broken.view, replace(pair, given=(), event=None))
            event = replace(event, name=f"{event.name}, too soon")
            names = (broken.known[pair.input.of].of,)
            broken.by(event, pair.input.of, f"{event.text}, which is too soon", names)


BREAKS: Mapping[Breaking, Callable[[Broken], None]] = {
    "signal passed at stop": _passed_at_stop,
    "came in unasked": _came_in,
    "turned back on the way": _turned_back,
    "vehicles left behind": _left_behind,
    "vehicles put down": _put_down,
    "train taken off": _taken_off,
    "points moved by hand": _moved_by_hand,
    "points did not move": _did_not_move,
    "stuck at occupied": _at_any_time("sticks", "the detector of {} sticks at occupied"),
    "stuck at clear": _at_any_time("sticks", "the detector of {} sticks at clear"),
    "occupied not reported": _occupied_lost,
    "clear not reported": _clear_lost,
    "occupied reported late": _occupied_late,
    "occupied reported again": _at_any_time("again", "that {} was occupied is reported once more"),
    "clear reported again": _at_any_time("again", "that {} was clear is reported once more"),
    "asked without looking": _asked,
    "confirmed wrongly": _confirmed,
    "time too short": _too_short,
}
"""Adds the events of each kind."""
