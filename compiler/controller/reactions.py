"""What the controller does: the machine's interlocking with the guards that reports allow.

Each reaction is paired with the event of the machine that it stands for, if there is one, and
with what is assumed of the railway when it happens; the composition needs both, whoever runs
the controller needs neither.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from bellcrank.controller.controller_model import Input, Reaction
from bellcrank.controller.view import (
    NOT_KNOWN,
    SAID_CLEAR,
    SAID_OCCUPIED,
    STANDS_STILL,
    View,
    given_up,
    in_section,
)
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.collecting import collected_seldom
from bellcrank.machine.frame import (
    AT_STOP,
    CLEAR,
    CLOSING,
    FREE,
    GONE_ON,
    IDLE,
    PUT_BACK,
    SET,
    Frame,
    moving,
)
from bellcrank.machine.locking import Locking
from bellcrank.machine.machine_model import (
    OF_INTERLOCKING,
    Clause,
    Event,
    Machine,
    Variable,
    is_,
    is_not,
)
from bellcrank.routes.route_model import Route, RouteTable

Updates = dict[str, dict[str, str]]


@dataclass(frozen=True, slots=True)
class Paired:
    """A reaction, or a step if it has no input.

    event: what it stands for in the machine. given: what is so when it happens, by an
    assumption; over the machine's variables and the controller's.
    """

    reaction: Reaction
    input: Input | None
    event: Event | None = None
    given: tuple[Clause, ...] = ()


@dataclass(frozen=True, slots=True)
class Control:
    """A controller in the making: its variables, and all that it does."""

    view: View
    paired: tuple[Paired, ...]


@collected_seldom()
def control_of(layout: Layout, table: RouteTable, locking: Locking, machine: Machine) -> Control:
    """All that the controller of a layout without errors does, in the order of the layout.

    machine: that of the layout. What its interlocking does the controller is to do.
    """
    view = View(Frame(layout, table, locking, machine.variables))
    return Control(view, tuple(_reactions(view, machine.events)))


def _reactions(view: View, events: Iterable[Event]) -> Iterator[Paired]:
    for event in events:
        if event.kind in OF_INTERLOCKING:
            yield from _of_interlocking(view, event)
    for section, said in view.said.items():
        yield from _occupied(view, section, said)
        yield from _clear(view, section, said)


def _of_interlocking(view: View, event: Event) -> Iterator[Paired]:
    table = view.frame.table.routes
    match event.kind:
        case "request":
            yield _request(view, table[event.of], event)
        case "signal clears" | "released by time" | "section released":
            yield Paired(_as_told(view, event), None, event)
        case "cancel":
            yield Paired(_as_told(view, event), Input("cancel", event.of), event)
        case "route released":
            yield from _arrived(view, table[event.of], event)
        case "time runs out":
            yield _time_over(view, event)
        case "drive arrives":
            yield _lies(view, event)


def _as_told(view: View, event: Event) -> Reaction:
    """What an event does, where reports tell that it may."""
    guard = view.asked(event.guard, event.route).told
    return Reaction(event.name, event.text, guard, _updates(view, event), event.route)


def _updates(view: View, event: Event) -> Updates:
    """What an event of the interlocking changes, in the controller's variables. Where a
    train is, only reports tell it."""
    found: Updates = {}
    frame = view.frame
    for name, becomes in event.updates.items():
        variable = frame.named[name]
        match variable.kind:
            case "route":
                mine = view.progress[variable.of]
                kept = {old: new for old, new in becomes.items() if old in (IDLE, SET, CLOSING)}
                found[mine.name] = kept
            case "signal":
                found[view.lamp[variable.of].name] = dict(becomes)
            case "drive":
                (goal,) = set(becomes.values())
                found[view.lying[variable.of].name] = {**becomes, NOT_KNOWN: goal}
            case _:
                found[name] = dict(becomes)
    return found


def _request(view: View, route: Route, event: Event) -> Paired:
    told, looked_at = view.asked(event.guard, route.name)
    guard = [*told]
    # A drive that is on its way is let come to its end: it cannot be told from which throw
    # a report comes.
    for drive, position in view.frame.needs[route.name].items():
        lying = view.lying[drive]
        others = [moving(p) for p in view.frame.layout.drives[drive].positions if p != position]
        guard.append((is_not(lying, *others),))
    reaction = Reaction(
        event.name, event.text, tuple(dict.fromkeys(guard)), _updates(view, event), route.name
    )
    return Paired(reaction, Input("request", route.name), event, looked_at)


def _arrived(view: View, route: Route, event: Event) -> Iterator[Paired]:
    """The release at the end of a route: by what is reported, by time after that, or by a
    person who has seen that its train has arrived whole."""
    progress = view.progress[route.name]
    lamp = view.lamp[route.start]
    n = len(route.sections)
    idle = dict.fromkeys(view.as_far_as(route, 1), IDLE)
    whole, looked_at = view.asked(event.guard[1:], route.name)
    if not looked_at:
        here = [in_section(n)]
        if view.timed(route):
            text = f"the train of {route.name} has arrived whole"
            updates = {progress.name: {in_section(n): STANDS_STILL}}
            guard = ((is_(progress, *here),), *whole)
            yield Paired(Reaction(f"arrives {route.name}", text, guard, updates, route.name), None)
            yield Paired(
                Reaction(
                    event.name,
                    event.text,
                    ((is_(progress, STANDS_STILL),),),
                    {progress.name: {STANDS_STILL: IDLE}, **given_up(view, route)},
                    route.name,
                ),
                Input("time over", progress.name, STANDS_STILL),
                event,
                event.guard[:1],
            )
            here = [GONE_ON] if route.overlap is not None else []
        if here:
            name = event.name if not view.timed(route) else f"{event.name}, gone on"
            text = f"{route.name} is released: its train has arrived whole"
            updates = {progress.name: dict.fromkeys(here, IDLE), **given_up(view, route)}
            guard = ((is_(progress, *here),), *whole)
            yield Paired(Reaction(name, text, guard, updates, route.name), None, event)
    yield Paired(
        Reaction(
            f"seen to have arrived {route.name}",
            f"somebody has seen that the train of {route.name} has arrived whole",
            ((is_not(progress, IDLE, CLOSING),),),
            {
                progress.name: {**idle, SET: IDLE},
                lamp.name: {route.name: AT_STOP},
                **given_up(view, route),
            },
            route.name,
        ),
        Input("confirm arrived", route.name),
        event,
        (*event.guard, *_reported(view, route)),
    )
    if not view.passing_confirmed(route):
        return
    stage = view.frame.route[route.name]
    yield Paired(
        Reaction(
            f"seen to have passed {route.name}",
            f"somebody has seen that the train of {route.name} has passed {route.start}",
            ((is_(progress, SET, CLOSING),), (is_(lamp, route.name, PUT_BACK),)),
            {
                progress.name: dict.fromkeys((SET, CLOSING), in_section(1)),
                lamp.name: dict.fromkeys((route.name, PUT_BACK), AT_STOP),
            },
            route.name,
        ),
        Input("confirm passed", route.name),
        None,
        ((is_(stage, *view.under_way(route)),),),
    )


def _reported(view: View, route: Route) -> Iterator[Clause]:
    """That what stands on the way of a route has been reported."""
    for section in route.sections:
        if view.detected(section):
            for part in view.frame.parts.in_section[section]:
                clear = is_(view.frame.track[part], CLEAR)
                yield (clear, is_(view.said[section], SAID_OCCUPIED))


def _time_over(view: View, event: Event) -> Paired:
    """The time of approach locking at a signal."""
    frame = view.frame
    lamp = view.lamp[event.of]
    given = tuple(
        (
            is_not(view.progress[route.name], CLOSING),
            is_(frame.route[route.name], CLOSING),
        )
        for route in frame.onward[event.of]
    )
    reaction = Reaction(
        event.name,
        event.text,
        ((is_(lamp, PUT_BACK),),),
        {lamp.name: {PUT_BACK: AT_STOP}},
    )
    return Paired(reaction, Input("time over", lamp.name, PUT_BACK), event, given)


def _lies(view: View, event: Event) -> Paired:
    """A drive is reported where it was sent, or its time is over."""
    (becomes,) = event.updates.values()
    ((sent, position),) = becomes.items()
    drive = view.frame.layout.drives[event.of]
    lying, truth = view.lying[drive.name], view.frame.drive[drive.name]
    given = ((is_(truth, position),),)
    if drive.detected:
        others = [p for p in drive.positions if p != position]
        reaction = Reaction(
            f"lies {drive.name} {position}",
            f"{drive.name} is reported to lie {position}",
            ((is_not(lying, *others),),),
            {lying.name: {sent: position, NOT_KNOWN: position}},
        )
        return Paired(reaction, Input("lies", drive.name, position), None, given)
    reaction = Reaction(
        f"lies by now {drive.name} {position}",
        f"the time of {drive.name} is over, and it lies {position}",
        ((is_(lying, sent),),),
        {lying.name: {sent: position}},
    )
    return Paired(reaction, Input("time over", lying.name, sent), None, given)


# --------------------------------------------------------------- sections


def _gone_on(view: View, route: Route) -> Updates:
    """What a train that has passed a signal means for the routes that ended there."""
    found: Updates = {}
    for before in view.frame.ending[route.start]:
        if before.overlap is not None and before.name != route.name:
            last = in_section(len(before.sections))
            found[view.progress[before.name].name] = dict.fromkeys((last, STANDS_STILL), GONE_ON)
    return found


def _occupied(view: View, section: str, said: Variable) -> Iterator[Paired]:
    frame = view.frame
    held = view.held[section]
    told = {said.name: {SAID_CLEAR: SAID_OCCUPIED}}
    for route in frame.by_section[section]:
        progress, lamp = view.progress[route.name], view.lamp[route.start]
        place = route.sections.index(section) + 1
        before = view.detected_before(route, place)
        within = [in_section(k) for k in range(max(before, 1), place)]
        guard: list[Clause] = [(is_(held, route.name),)]
        updates: Updates = {**told}
        if before:
            guard.append((is_(progress, *within),))
        else:
            # Somebody may have said already that its train has passed.
            said_so = [in_section(1)] if view.passing_confirmed(route) else []
            guard.append((is_(progress, SET, CLOSING, *within, *said_so),))
            guard.append((is_not(progress, SET), is_(lamp, route.name)))
            within = [SET, CLOSING, *within]
            updates[lamp.name] = dict.fromkeys((route.name, PUT_BACK), AT_STOP)
            updates |= _gone_on(view, route)
        updates[progress.name] = dict.fromkeys(within, in_section(place))
        yield Paired(
            Reaction(
                f"{section} occupied for {route.name}",
                f"{section} is reported occupied by the train of {route.name}",
                tuple(guard),
                updates,
                route.name,
            ),
            Input("occupied", section),
        )
    yield Paired(
        Reaction(
            f"{section} occupied",
            f"{section} is reported occupied, and is held for no route",
            ((is_(held, FREE),), *view.overlaps_given_up(section)),
            told,
        ),
        Input("occupied", section),
    )


def _clear(view: View, section: str, said: Variable) -> Iterator[Paired]:
    held = view.held[section]
    told = {said.name: {SAID_OCCUPIED: SAID_CLEAR}}
    for route in view.frame.by_section[section]:
        progress = view.progress[route.name]
        place = route.sections.index(section) + 1
        after = view.detected_after(route, place)
        guard: list[Clause] = [(is_(held, route.name),)]
        updates: Updates = {**told}
        if after == place + 1 and view.joins(route, after):
            # Its train has drawn up to vehicles whose section was occupied before.
            guard.append((is_(progress, *view.as_far_as(route, place)),))
            updates[progress.name] = {in_section(place): in_section(after)}
        elif after == place + 1:
            guard.append((is_(progress, *view.as_far_as(route, after)),))
        yield Paired(
            Reaction(
                f"{section} clear for {route.name}",
                f"{section} is reported clear behind the train of {route.name}",
                tuple(guard),
                updates,
                route.name,
            ),
            Input("clear", section),
        )
    yield Paired(
        Reaction(f"{section} clear", f"{section} is reported clear", ((is_(held, FREE),),), told),
        Input("clear", section),
    )
