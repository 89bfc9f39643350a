"""The events by which an assumption is broken, and what else is different then.

For each kind there is one event or more at each place where it may be broken, and for some a
change of other events: a detector that sticks reports what is not so, a train goes on though it
was not reported. An assumption is broken once, at any moment.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from bellcrank.controller.breakings import Breaking
from bellcrank.controller.composition import reported, together
from bellcrank.controller.controller_model import Input, InputKind
from bellcrank.controller.reactions import Control, Paired
from bellcrank.controller.view import SAID_CLEAR, SAID_OCCUPIED, View
from bellcrank.machine.frame import (
    AT_STOP,
    CLEAR,
    CLOSING,
    DERAILED,
    INSIDE,
    MEETING,
    OUTSIDE,
    PUT_BACK,
    SET,
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
    """

    control: Control
    variable: Variable
    known: Mapping[str, Variable]
    events: list[Event] = field(default_factory=list)

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

    def by(self, event: Event, place: str, text: str) -> None:
        """It is broken by an event that nothing else of the machine brings about."""
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
    ) -> None:
        own = tuple(guard)
        event = Event(name, kind, "surroundings", place, text, own, updates or {})
        self.by(event, place, text)

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
            broken.by(reported(broken.view, event), section, event.text)


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
        )
        others = [v for v in track.values if v not in (CLEAR, MEETING, DERAILED)]
        broken.happens(
            section,
            f"comes in unasked {name}, meets",
            f"{nobody_asked}: it meets another in {first.part}",
            ((is_(outside, INSIDE),), (is_(track, *others),)),
            {track.name: dict.fromkeys(others, MEETING), **outside_now},
            "meets",
        )


def _turned_back(broken: Broken) -> None:
    frame = broken.frame
    for part in frame.parts.parts.values():
        track = frame.track[part.name]
        for passage in part.passages:
            for back in part.passages:
                if (back.entry, back.exit) == (passage.exit, passage.entry):
                    broken.happens(
                        part.section,
                        f"turns back on the way {part.name}: {passage.name}",
                        f"the train in {part.name} turns back on its way",
                        ((is_(track, here(passage)),), *frame.nothing_into(passage.entry)),
                        {track.name: {here(passage): here(back)}},
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
    frame = broken.frame
    for part in frame.parts.parts.values():
        track = frame.track[part.name]
        for passage in part.passages:
            broken.happens(
                part.section,
                f"train taken off {part.name}: {passage.name}",
                f"the train in {part.name} is lifted off the track",
                ((is_(track, here(passage)),), *frame.nothing_into(passage.entry)),
                {track.name: {here(passage): CLEAR}},
            )


# ------------------------------------------------------------------------ drives


def _moved_by_hand(broken: Broken) -> None:
    frame = broken.frame
    for drive in frame.layout.drives.values():
        truth = frame.drive[drive.name]
        over = frame.over(drive).items()
        nothing_over = [(is_not(frame.track[part], *values),) for part, values in over]
        for position in drive.positions:
            for other in drive.positions:
                if other != position:
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
        for position in drive.positions:
            sent = moving(position)
            for other in drive.positions:
                if other != position:
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
            broken.by(event, pair.input.of, f"{event.text}, which is too soon")


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


# --------------------------------------------------------- what else is different


def changed(broken: Broken, kind: Breaking, pair: Paired | None, event: Event) -> Event:
    """An event of controller and railway as it is while something of a kind may be broken.

    pair: the reaction that it is, if it is one.
    """
    event = _explained(broken, kind, pair, event)
    match kind:
        case "points did not move":
            return _thought_to_lie(broken, pair, event)
        case "stuck at occupied":
            return _sticking(broken, pair, event, "clear")
        case "stuck at clear":
            return _unreported(
                broken, pair, _sticking(broken, pair, event, "occupied"), broken.here
            )
        case "occupied not reported":
            return _unreported(broken, pair, _lost(broken, pair, event, "occupied"), broken.still)
        case "clear not reported":
            return _lost(broken, pair, event, "clear")
        case "occupied reported late":
            return _unreported(broken, pair, event, broken.still)
        case "occupied reported again":
            return _whatever_is_so(broken, pair, event, "occupied", broken.still)
        case "clear reported again":
            false = _whatever_is_so(broken, pair, event, "clear", broken.still)
            return _unreported(broken, pair, false, broken.here)
    return event


def _explained(broken: Broken, kind: Breaking, pair: Paired | None, event: Event) -> Event:
    """A reaction to what is reported where something is broken explains it in another way.

    If it puts a signal to stop for a train that is not there, one that comes may still pass.
    """
    if pair is None or pair.input is None:
        return event
    updates = dict(event.updates)
    if pair.input.kind == TOLD.get(kind):
        place = pair.input.of
        updates[broken.variable.name] = {at(place): taken(place)}
    if pair.input.kind == "occupied" and pair.reaction.route is not None:
        route = broken.frame.table.routes[pair.reaction.route]
        if broken.view.lamp[route.start].name in updates:
            updates[broken.frame.signal[route.start].name] = {route.name: PUT_BACK}
            updates[broken.frame.route[route.name].name] = {SET: CLOSING}
    return replace(event, updates=updates)


def _time_of(broken: Broken, pair: Paired | None) -> Variable | None:
    """The variable whose time is over."""
    if pair is None or pair.input is None or pair.input.kind != "time over":
        return None
    return broken.known[pair.input.of]


def _unless(event: Event, clauses: Iterable[Clause], unless: Iterable[Is]) -> Event:
    """An event that may also happen where some clauses of its guard are false, if one of
    these is true."""
    some, also = set(clauses), tuple(unless)
    guard = tuple((*c, *also) if c in some else c for c in event.guard)
    return replace(event, guard=guard)


def _thought_to_lie(broken: Broken, pair: Paired | None, event: Event) -> Event:
    """The time of a drive is over, and wherever it lies nothing reports it."""
    of = _time_of(broken, pair)
    if pair is None or of is None or of.kind != "lying":
        return event
    return _unless(event, pair.given, [broken.here(of.of)])


def _sticking(broken: Broken, pair: Paired | None, event: Event, never: InputKind) -> Event:
    """A detector that sticks never reports the one, and the other whatever is so."""
    if pair is None or pair.input is None or pair.input.kind not in ("occupied", "clear"):
        return event
    if pair.input.kind == never:
        return replace(event, guard=(*event.guard, (broken.not_here(pair.input.of),)))
    return _whatever_is_so(broken, pair, event, pair.input.kind, broken.here)


def _whatever_is_so(
    broken: Broken,
    pair: Paired | None,
    event: Event,
    report: InputKind,
    where: Callable[[str], Is],
) -> Event:
    """A report that may come though it is not so, while something is broken there."""
    if pair is None or pair.input is None or pair.input.kind != report:
        return event
    section = pair.input.of
    world = broken.frame.clear(section)
    if report == "occupied":
        world = [broken.frame.occupied(section)]
    return _unless(event, world, [where(section)])


def _lost(broken: Broken, pair: Paired | None, event: Event, report: InputKind) -> Event:
    if pair is None or pair.input is None or pair.input.kind != report:
        return event
    lost = (is_not(broken.variable, at(pair.input.of)),)
    return replace(event, guard=(*event.guard, lost))


def _unreported(
    broken: Broken, pair: Paired | None, event: Event, where: Callable[[str], Is]
) -> Event:
    """What waits for a report goes on without it: a train that leaves the section, and the time
    of approach locking, in which it must have been reported."""
    of = _time_of(broken, pair)
    if pair is not None and of is not None and of.kind == "lamp":
        first = [where(route.sections[0]) for route in broken.frame.onward[of.of]]
        return _unless(event, pair.given, first)
    if pair is not None or event.actor not in ("train", "surroundings"):
        return event
    variables = {said.name: section for section, said in broken.view.said.items()}
    for clause in event.guard:
        if len(clause) == 1 and clause[0].variable in variables:
            event = _unless(event, [clause], [where(variables[clause[0].variable])])
    return event


def false_reports(broken: Broken, kind: Breaking) -> Iterator[tuple[str, InputKind, Variable, str]]:
    """The reports that come though they are not so: section, input, what was said last and
    what is said now."""
    for section, said in broken.view.said.items():
        if kind in ("stuck at occupied", "occupied reported again"):
            yield section, "occupied", said, SAID_OCCUPIED
        if kind in ("stuck at clear", "clear reported again"):
            yield section, "clear", said, SAID_CLEAR


def silent(broken: Broken, kind: Breaking, of: Input) -> Clause:
    """Where a report does not come though it is so: a clause that is false where it does."""
    never: Mapping[Breaking, InputKind] = {
        "stuck at occupied": "clear",
        "stuck at clear": "occupied",
        "clear reported again": "occupied",
    }
    lost: Mapping[Breaking, InputKind] = {
        "occupied not reported": "occupied",
        "clear not reported": "clear",
    }
    if never.get(kind) == of.kind:
        return (broken.here(of.of),)
    return (broken.still(of.of),) if lost.get(kind) == of.kind else ()
