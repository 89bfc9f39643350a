"""What else is different while an assumption is broken: the events of controller and railway as
they are then. A detector that sticks reports what is not so, a train goes on though it was not
reported, and what is reported may be explained in another way.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace

from bellcrank.controller.breaking import TOLD, Broken, at, taken
from bellcrank.controller.breakings import Breaking
from bellcrank.controller.controller_model import Input, InputKind
from bellcrank.controller.reactions import Paired
from bellcrank.machine.frame import CLOSING, PUT_BACK, SET
from bellcrank.machine.machine_model import Clause, Event, Is, Variable, is_not


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


NEVER: Mapping[Breaking, InputKind] = {
    "stuck at occupied": "clear",
    "stuck at clear": "occupied",
    "clear reported again": "occupied",
}
"""The report that no longer comes where it is broken."""

LOST: Mapping[Breaking, InputKind] = {
    "occupied not reported": "occupied",
    "clear not reported": "clear",
}
"""The report that does not come until it makes no difference any more."""

FALSELY: Mapping[Breaking, InputKind] = {
    "stuck at occupied": "occupied",
    "stuck at clear": "clear",
    "occupied reported again": "occupied",
    "clear reported again": "clear",
}
"""The report that comes though it is not so."""


def silent(broken: Broken, kind: Breaking, of: Input) -> Clause:
    """Where a report does not come though it is so: a clause that is false where it does."""
    if NEVER.get(kind) == of.kind:
        return (broken.here(of.of),)
    return (broken.still(of.of),) if LOST.get(kind) == of.kind else ()
