"""Controller and railway as one machine, for the proof.

Of the machine the trains, drives and vehicles stay as they are; what the interlocking did
there is done by the controller, whose guards read its own variables and reports alone. The
machine's route stages and signals are kept beside the controller's own as what is really so: a
train's front may be a section further than was reported, and a driver takes a signal that a
train has just passed to be at stop, though its lamp changes only with the report.

A report comes some time after what it tells. Assumed is (`reports in time`) that a section is
reported occupied before the front of the train leaves it and before its tail comes into it,
and at once where a train comes in at an edge or vehicles are put down. It may be reported
clear as late as it likes.

Times end at any moment at which what they tell is so: that of a drive which nothing reports when it
lies right (`drives arrive in time`). There is no last moment for it, so a throw that waits for its
coil or its supply, and the time that begins only after it, are among the runs that are proved. A
time that ran while the throw waits would not be: it could end before the drive lies right.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from bellcrank.controller.assumed import assumptions_of
from bellcrank.controller.claims import CLAIMS, claims
from bellcrank.controller.controller_model import InputKind
from bellcrank.controller.coupling import coupling
from bellcrank.controller.reactions import Control, Paired
from bellcrank.controller.view import SAID_CLEAR, SAID_OCCUPIED, View
from bellcrank.layout.layout_model import Leg
from bellcrank.machine.collecting import collected_seldom
from bellcrank.machine.machine_model import (
    OF_INTERLOCKING,
    PROPERTIES,
    Actor,
    Clause,
    Event,
    EventKind,
    Is,
    Machine,
    is_,
    is_not,
)
from bellcrank.machine.sharing import Shared

_KINDS: Mapping[InputKind, EventKind] = {
    "occupied": "reported occupied",
    "clear": "reported clear",
    "lies": "reported lying",
    "time over": "time runs out",
    "confirm passed": "confirmed",
    "confirm arrived": "confirmed",
}


@collected_seldom()
def compose(control: Control, alone: Machine) -> Machine:
    """The machine of controller and railway.

    alone: the layout's machine without them. What trains and drives do is theirs too, and what is
        claimed and expected of it and assumed; all that stays the same objects.
    """
    view, paired = control.view, control.paired
    shared = Shared()
    shared.know(alone)
    return Machine(
        {**alone.variables, **view.variables()},
        (
            *(shared.event(together(view, pair)) for pair in paired),
            *(event for event in alone.events if event.kind == "drive arrives"),
            *(
                shared.event(reported(view, event))
                for event in alone.events
                if event.kind not in OF_INTERLOCKING
            ),
        ),
        (*alone.invariants, *shared.stated(claims(view, paired))),
        alone.wishes,
        (*alone.lemmas, *_further(alone, shared.once_each(coupling(view)))),
        {**alone.assumptions, **assumptions_of(view)},
        {**dict(PROPERTIES.items()), **CLAIMS},
    )


def _further(alone: Machine, clauses: Iterable[Clause]) -> Iterator[Clause]:
    """Those of some clauses that are no lemmas of the machine alone, in whatever order."""
    known: set[frozenset[Is]] = set()
    for clause in clauses:
        if all(literal.variable in alone.variables for literal in clause):
            known = known or {frozenset(clause) for clause in alone.lemmas}
            if frozenset(clause) in known:
                continue
        yield clause


def together(view: View, pair: Paired) -> Event:
    """A reaction with what it does to the railway."""
    reaction, event = pair.reaction, pair.event
    updates = dict(reaction.updates)
    if event is not None:
        updates |= event.updates
    kind: EventKind = event.kind if event is not None else "arrives"
    actor: Actor = event.actor if event is not None else "interlocking"
    of = event.of if event is not None else reaction.route or ""
    if pair.input is not None:
        kind = _KINDS.get(pair.input.kind, kind)
        of = pair.input.of
    return Event(
        reaction.name,
        kind,
        actor,
        of,
        reaction.text,
        (*reaction.guard, *pair.given, *_world(view, pair)),
        updates,
        reaction.route,
    )


def _world(view: View, pair: Paired) -> Iterator[Clause]:
    """What is true on the track when a section's report changes."""
    if pair.input is None or pair.input.kind not in ("occupied", "clear"):
        return
    section = pair.input.of
    said = view.said[section]
    if pair.input.kind == "clear":
        yield (is_(said, SAID_OCCUPIED),)
        yield from view.frame.clear(section)
    else:
        yield (is_(said, SAID_CLEAR),)
        yield view.frame.occupied(section)


def reported(view: View, event: Event) -> Event:
    """An event of a train, with what has been reported when it happens."""
    timely = reported_in_time(view, event)
    if event.kind not in ("comes in", "put down", "stands"):
        return timely
    entered = _section_entered(view, event)
    assert entered is not None
    # The overlap of a route is kept as long as the controller keeps it.
    given_up = tuple(view.overlaps_given_up(entered))
    return timely.changed((*timely.guard, *given_up), timely.updates) if given_up else timely


def reported_in_time(view: View, event: Event) -> Event:
    """An event of a train, with the reports that must have come before it; see above."""
    frame = view.frame
    guard: list[Clause] = []
    updates: dict[str, Mapping[str, str]] = dict(event.updates)
    entered = _section_entered(view, event)
    if event.kind in ("comes in", "put down", "stands"):
        if entered in view.said:
            updates[view.said[entered].name] = {SAID_CLEAR: SAID_OCCUPIED}
    elif event.kind in ("tail leaves", "wholly in"):
        if entered in view.said:
            guard.append((is_(view.said[entered], SAID_OCCUPIED),))
    elif event.kind == "uncoupled":
        guard += _front_reported(view, event)
    elif event.kind in ("enters", "joins", "meets", "derails", "passes signal"):
        for name, becomes in event.updates.items():
            variable = frame.named[name]
            trains = [variable.trains[v] for v in becomes if v in variable.trains]
            if variable.kind != "track" or not any(train.front for train in trains):
                continue
            section = frame.part(variable.of).section
            goes_on = all(
                (after := variable.trains.get(v)) is not None and not after.front
                for v in becomes.values()
            )
            if goes_on and section != entered and section in view.said:
                guard.append((is_(view.said[section], SAID_OCCUPIED),))
    if not guard and len(updates) == len(event.updates):
        return event
    return event.changed((*event.guard, *guard), updates)


def _front_reported(view: View, event: Event) -> Iterator[Clause]:
    """That a train has been reported where it is divided, and its front beyond."""
    ((name, becomes),) = event.updates.items()
    variable = view.frame.named[name]
    own = view.said.get(view.frame.part(variable.of).section)
    if own is not None:
        yield (is_(own, SAID_OCCUPIED),)
    for value in becomes:
        train = variable.trains[value]
        beyond = view.frame.layout.joined.get(train.passage.exit)
        if not train.front and isinstance(beyond, Leg):
            section = view.frame.layout.section_of[beyond.element]
            if section in view.said:
                yield (is_not(variable, value), is_(view.said[section], SAID_OCCUPIED))


def _section_entered(view: View, event: Event) -> str | None:
    """The section that a front comes into, or that a tail comes into whole."""
    frame = view.frame
    if event.entry is not None:
        return frame.layout.section_of[event.entry.element]
    if event.kind == "wholly in":
        return frame.layout.section_of[frame.layout.edges[event.of].element]
    for name, becomes in event.updates.items():
        variable = frame.named[name]
        if variable.kind != "track":
            continue
        if event.kind == "tail leaves":
            (value,) = becomes
            beyond = frame.layout.joined[variable.trains[value].passage.exit]
            return frame.layout.section_of[beyond.element] if isinstance(beyond, Leg) else None
        if event.kind in ("comes in", "put down", "stands"):
            return frame.part(variable.of).section
    return None
