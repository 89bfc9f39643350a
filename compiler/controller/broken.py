"""Controller and railway with one assumption broken: the machine in which is decided what the
controller notices of it, and what can happen until then.

To the machine of the two (`composition.py`) comes a variable that says whether, and where, an
assumption is broken. Everything goes on from there as the controller has it. A report to which
there is no reaction is the alarm, and what comes after an alarm is left to people: so no such
report comes in here, and a train waits that must have been reported. What happens all the same
has happened before the alarm.

What always holds while nothing is broken helps to show what holds afterwards. Each clause is a
candidate in several forms: as it is, until anything is broken, and unless something is broken in
a section that it speaks of.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from typing import NamedTuple

from bellcrank.controller.breaking import BREAKS, NOT_YET, TOLD, Broken, at, places, taken
from bellcrank.controller.breakings import Breaking, NoSuchPlaceError
from bellcrank.controller.claims import Alarm, Unexplained, alarms, unexplained
from bellcrank.controller.coupling import how_far
from bellcrank.controller.reactions import Control
from bellcrank.controller.view import SAID_CLEAR, SAID_OCCUPIED, in_section
from bellcrank.controller.while_broken import FALSELY, changed, silent
from bellcrank.machine.frame import AT_STOP, CLOSING, GONE_ON, PUT_BACK, SET, implies, moving
from bellcrank.machine.machine_model import (
    PROPERTIES,
    Clause,
    Invariant,
    Is,
    Machine,
    Variable,
    is_,
    is_not,
)
from bellcrank.machine.safety import drives_under_trains
from bellcrank.machine.sharing import Shared

ASKED: Mapping[str, str] = {
    "meetings": PROPERTIES["meetings"],
    "derailments": PROPERTIES["derailments"],
    "drives": "no drive moves under a train",
    "alarms": "no report comes that is not explained",
    "taken": "what is reported of it is never explained in another way",
}
"""What is asked of a machine in which something is broken, each as a sentence for people."""


class Spot(NamedTuple):
    """Where something may be broken: the routes that lead there, and stretches of track."""

    routes: tuple[str, ...]
    parts: frozenset[str]


class OneBroken(NamedTuple):
    """The machine in which an assumption may be broken once, and where.

    alarms: what may come in and raise the alarm, and that it does not.
    """

    machine: Machine
    spots: tuple[Spot, ...]
    alarms: tuple[Alarm, ...]


def break_once(
    control: Control, composed: Machine, kind: Breaking, only: Collection[str] = ()
) -> OneBroken | None:
    """The machine with an assumption broken once; None where there is nothing of that kind.

    composed: controller and railway, as `compose` puts them together. only: places, if it may be
    broken at these alone: sections, drives, routes, signals that are passed, edges at which a
    train comes in. Raises NoSuchPlaceError if it cannot be broken at one of them.
    """
    where = places(control.view, kind)
    broken = _broken(control, composed, kind, where)
    if only:
        _looked_up(broken, kind, only)
        broken.only_at(only)
    if not broken.events:
        return None
    known = broken.known
    pairs = {pair.reaction.name: pair for pair in control.paired}
    events = [changed(broken, kind, pairs.get(e.name), e) for e in composed.events]
    raised = tuple(_alarms(broken, kind))
    asked = list(_asked(broken, composed, kind, where, raised))
    usual = composed.clauses
    shared = Shared()
    machine = Machine(
        known,
        tuple(map(shared.event, (*events, *broken.events))),
        shared.stated(asked),
        (),
        shared.once_each(_helping(broken, usual)),
        composed.assumptions,
        {name: ASKED[name] for name in ASKED if any(i.of == name for i in asked)},
    )
    return OneBroken(machine, tuple(_spots(broken, where)), raised)


def look_up(control: Control, composed: Machine, kind: Breaking, names: Collection[str]) -> None:
    """Raises NoSuchPlaceError if something of a kind cannot be broken at one of these places."""
    _looked_up(_broken(control, composed, kind, places(control.view, kind)), kind, names)


def _broken(control: Control, composed: Machine, kind: Breaking, where: Iterable[str]) -> Broken:
    where = tuple(where)
    values = (NOT_YET, *map(at, where), *map(taken, where))
    variable = Variable("broken", "broken", kind, values, (NOT_YET,))
    broken = Broken(control, variable, {**composed.variables, variable.name: variable})
    BREAKS[kind](broken)
    return broken


def _looked_up(broken: Broken, kind: Breaking, names: Iterable[str]) -> None:
    known = dict.fromkeys(name for each in broken.names.values() for name in sorted(each))
    for name in names:
        if name not in known:
            raise NoSuchPlaceError(kind, name, tuple(sorted(known)))


def _spots(broken: Broken, where: Mapping[str, tuple[str, ...]]) -> Iterator[Spot]:
    parts: dict[str, set[str]] = {}
    for event in broken.events:
        place = event.updates[broken.variable.name].get(NOT_YET)
        if place is not None:
            touched = (broken.known[name] for name in event.updates)
            parts.setdefault(place, set()).update(v.of for v in touched if v.kind == "track")
    for place, routes in where.items():
        if at(place) in parts:
            yield Spot(routes, frozenset(parts[at(place)]))


def _alarms(broken: Broken, kind: Breaking) -> Iterator[Alarm]:
    """What may come in unexplained."""
    yield from alarms(broken.view, broken.control.paired, lambda of: silent(broken, kind, of))
    if kind == "points did not move":
        yield from _time_over(broken)
    for pair in broken.control.paired:
        if pair.input is not None and pair.input.kind == FALSELY.get(kind):
            not_come = (is_not(broken.variable, at(pair.input.of)),)
            yield from unexplained(broken.view, pair.reaction, pair.input, not_come)


def _asked(
    broken: Broken,
    composed: Machine,
    kind: Breaking,
    where: Iterable[str],
    raised: Iterable[Alarm],
) -> Iterator[Invariant]:
    yield from (i for i in composed.invariants if i.of in ("meetings", "derailments"))
    yield from drives_under_trains(broken.frame)
    yield from (claim for _, claim in raised)
    inputs = {pair.input.kind for pair in broken.control.paired if pair.input is not None}
    if TOLD.get(kind) in inputs:
        sentence = "what is reported of it is taken for something else"
        yield Invariant("taken", (is_not(broken.variable, *map(taken, where)),), sentence)


def _time_over(broken: Broken) -> Iterator[Alarm]:
    """The time of a drive that should have been reported is over, and that is not explained."""
    for drive in broken.frame.layout.drives.values():
        if drive.detected:
            sent = [moving(position) for position in drive.positions]
            waited_for = is_not(broken.view.lying[drive.name], *sent)
            sentence = f"the time of {drive.name} is over, and it is not reported where it was sent"
            not_so = (is_not(broken.variable, at(drive.name)), waited_for)
            yield Unexplained("time over", drive.name), Invariant("alarms", not_so, sentence)


# --------------------------------------------------------------- what helps to show it


def _helping(broken: Broken, usual: Iterable[Clause]) -> Iterator[Clause]:
    candidates = [*usual, *_farther(broken), *_falsely_at_stop(broken)]
    yield from candidates
    for clause in candidates:
        yield (*clause, is_not(broken.variable, NOT_YET))
    for clause in candidates:
        yield from _elsewhere(broken, clause)
    for section, said in broken.view.said.items():
        for word in (SAID_OCCUPIED, SAID_CLEAR):
            yield implies([(broken.variable, (taken(section),))], [is_(said, word)])


def _elsewhere(broken: Broken, clause: Clause) -> Iterator[Clause]:
    """That a clause holds unless something is broken where it speaks of."""
    where = dict.fromkeys(place for literal in clause for place in _spoken_of(broken, literal))
    if where:
        explained = [taken(place) for place in where]
        yield (*clause, is_(broken.variable, *map(at, where), *explained))
        yield (*clause, is_(broken.variable, *explained))


def _spoken_of(broken: Broken, literal: Is) -> Iterator[str]:
    """The sections, or the drive, that a literal speaks of."""
    frame = broken.frame
    variable = broken.known[literal.variable]
    match variable.kind:
        case "report" | "held" | "lying" | "drive":
            yield variable.of
        case "track":
            yield frame.part(variable.of).section
        case "progress":
            route = frame.table.routes[variable.of]
            for place, section in enumerate(route.sections, start=1):
                if in_section(place) not in literal.values or (
                    place == 1 and SET not in literal.values
                ):
                    yield section
            if GONE_ON in variable.values and GONE_ON not in literal.values:
                yield from (onward.sections[0] for onward in frame.onward[route.end])
        case "lamp" | "signal":
            yield from (route.sections[0] for route in frame.onward[variable.of])


def _farther(broken: Broken) -> Iterator[Clause]:
    """A train is at most one detected section farther than usual from where the controller
    thinks it, or less far."""
    view, frame = broken.view, broken.frame
    for route in frame.table.routes.values():
        known = list(how_far(view, route))
        stages = [[*own, *may] for _, own, may in known]
        for place, (believed, _, _) in enumerate(known):
            before, after = stages[max(place - 1, 0)], stages[min(place + 1, len(known) - 1)]
            for may in (before, after, [*before, *after]):
                stage = is_(frame.route[route.name], *stages[place], *may)
                yield implies([(view.progress[route.name], believed)], [stage])
        if route.overlap is not None:
            # It is thought to have gone on from the end of its route.
            gone_on = (view.progress[route.name], (GONE_ON,))
            last = view.under_way(route, frame.first_step(route.name, len(route.sections)))
            yield implies([gone_on], [is_(frame.route[route.name], *last)])


def _falsely_at_stop(broken: Broken) -> Iterator[Clause]:
    """A lamp was put to stop though no train had passed: a route is thought to have its train."""
    view, frame = broken.view, broken.frame
    for name, lamp in view.lamp.items():
        signal = frame.signal[name]
        late = (signal, (PUT_BACK,))
        gone = [is_(view.progress[r.name], *view.as_far_as(r, 1)) for r in frame.onward[name]]
        for route, its in zip(frame.onward[name], gone, strict=True):
            progress = view.progress[route.name]
            closing = (frame.route[route.name], (CLOSING,))
            yield implies([(lamp, (AT_STOP,)), closing, late], [its])
            yield implies([(progress, (SET,)), closing], [])
            yield implies([(progress, (CLOSING,)), late], [is_(lamp, PUT_BACK)])
        yield (is_not(lamp, AT_STOP), is_(signal, AT_STOP), *gone)
