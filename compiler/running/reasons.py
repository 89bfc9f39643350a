"""What the variables of machine and controller say, in the operator's words, and why an event
may not happen.

A guard is a list of conditions, each true if any of its parts is. Where one is
false all its parts are, and what is the case instead is the reason. No rule is
known here; the words come from the variable's kind and the value it has.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from bellcrank.controller.view import NOT_KNOWN, STANDS_STILL
from bellcrank.machine.frame import (
    AT_STOP,
    CLEAR,
    CLOSING,
    DERAILED,
    FREE,
    GONE_ON,
    IDLE,
    INSIDE,
    MEETING,
    PUT_BACK,
    SET,
    STANDING,
    moving,
)
from bellcrank.machine.machine_model import (
    Clause,
    Event,
    State,
    Variable,
    VariableKind,
    holds,
)
from bellcrank.routes.sentences import listed

Variables = Mapping[str, Variable]

NOTHING_WANTED: frozenset[str] = frozenset()


def fact(variable: Variable, value: str, wanted: frozenset[str] = NOTHING_WANTED) -> str:
    """What is the case, as a sentence without its full stop.

    wanted: the values that would have been right, if any; they decide what is worth saying.
    """
    of = variable.of
    match variable.kind:
        case "track":
            return _on_track(variable, value, wanted)
        case "held":
            return f"{of} is not held" if value == FREE else f"{of} is held for {value}"
        case "route" | "progress":
            return _of_route(of, value)
        case "signal" | "lamp":
            known = {
                AT_STOP: f"{of} is at stop",
                PUT_BACK: f"{of} has only just been put back to stop",
            }
            return known.get(value, f"{of} is off for {value}")
        case "drive" | "lying":
            if value == NOT_KNOWN:
                return f"it is not known where {of} lies"
            goes = lies_to(variable, value)
            return f"{of} lies {value}" if goes is None else f"{of} is on its way to {goes}"
        case "edge":
            if value == INSIDE:
                return f"no part of a train is outside {of}"
            return f"part of a train is still outside {of}"
        case "report":
            return f"{of} is {value}"
        case "broken":
            return f"{of}: {value}"


def whereabouts(track: Variable, value: str) -> str:
    """Where a train is and which way it goes, as a sentence without its full stop."""
    return _on_track(track, value, frozenset(track.values[1:]))


def lies_to(drive: Variable, value: str) -> str | None:
    """Where a drive is on its way to; None if it lies still."""
    return next((position for position in drive.values if value == moving(position)), None)


def _on_track(track: Variable, value: str, wanted: frozenset[str]) -> str:
    of = track.of
    if value == CLEAR:
        return f"no train is in {of}"
    if value == MEETING:
        return f"two trains have met in {of}"
    if value == STANDING:
        return f"vehicles stand in {of} until they are taken off or ready to leave"
    if value == DERAILED:
        return f"a train is off the rails in {of}"
    train = track.trains.get(value)
    if train is None or not wanted or wanted == {CLEAR}:
        return f"a train is in {of}"
    if CLEAR in wanted:
        # All would be well if it did not reach across a joint.
        return f"the tail of a train is still in {of}"
    if not train.front:
        return f"the front of the train in {of} has gone on from there"
    passage = train.passage
    by_way = f" by way {passage.number}" if passage.number > 1 else ""
    return f"the train in {of} goes from {passage.entry} towards {passage.exit}{by_way}"


def _of_route(of: str, value: str) -> str:
    known = {
        IDLE: f"{of} is not set",
        SET: f"{of} is set",
        CLOSING: f"{of} is being cancelled",
        GONE_ON: f"{of} is kept for its overlap",
        STANDS_STILL: f"the train of {of} has arrived, and its time runs",
    }
    return known.get(value, f"the train of {of} is under way")


def false_clauses(event: Event, state: State) -> list[Clause]:
    """The conditions of an event that are not met."""
    return unmet(event.guard, state)


def unmet(guard: Iterable[Clause], state: State) -> list[Clause]:
    """The conditions of a guard that are not met."""
    return [clause for clause in guard if not holds(clause, state)]


def why_not(event: Event, state: State, variables: Variables) -> tuple[str, ...]:
    """Why an event may not happen in a state. See `what_is_instead`."""
    asked = event.route if event.kind == "request" else None
    return what_is_instead(event.guard, state, variables, asked)


def what_is_instead(
    guard: Iterable[Clause], state: State, variables: Variables, asked: str | None
) -> tuple[str, ...]:
    """What is the case instead of each condition of a guard that is not met, in sentences without
    their full stops.

    Empty if all are met. Sections of which the same is to be said are named together, and
    what has to change anyhow is said once.
    asked: the route, if the guard is that of asking for one.
    """
    alone: set[str] = set()
    said: dict[str, dict[str, str]] = {}
    joined: dict[frozenset[str], str] = {}
    for clause in unmet(guard, state):
        told = [(variables[x.variable], state[x.variable], x.values) for x in clause]
        facts = [fact(*each) for each in told]
        if len(told) > 1:
            joined.setdefault(frozenset(facts), _joined(told, facts))
            continue
        variable, value, wanted = told[0]
        if asked is not None and variable.kind == "held" and value == asked:
            continue  # it holds its sections for itself, being set
        alone.add(facts[0])
        words = sentence = facts[0]
        if asked is not None and variable.of == asked and value == SET:
            words = sentence = f"{asked} is set already"
        elif variable.kind == "held" and value != FREE:
            words = f"held for {value}"
        elif variable.kind == "track" and wanted == {CLEAR}:
            words = "not clear"
        said.setdefault(words, {})[variable.of] = sentence
    reasons = [
        f"{listed(names)} are {words}" if len(names) > 1 else next(iter(names.values()))
        for words, names in said.items()
    ]
    return (*reasons, *(s for facts, s in joined.items() if not facts & alone))


def _joined(told: list[tuple[Variable, str, frozenset[str]]], facts: list[str]) -> str:
    """Facts of which one would have had to be otherwise, as one sentence."""
    kinds = [KNOWN_OF.get(variable.kind, variable.kind) for variable, _, _ in told]
    named = [(kind, v.of, value) for kind, (v, value, _) in zip(kinds, told, strict=True)]
    routes = [(of, value) for kind, of, value in named if kind == "route"]
    held = [(of, value) for kind, of, value in named if kind == "held"]
    if len(routes) == 1 and all(value == routes[0][0] for _, value in held):
        route, stage = routes[0]
        whose = f"{route}, {WHICH.get(stage, 'whose train is under way')}"
        if kinds[0] == "drive" and sorted(kinds[1:]) in (["route"], ["held", "route"]):
            # The route keeps the drive from being thrown.
            return f"{facts[0]} and is kept so for {whose}"
        if sorted(kinds) == ["held", "route"]:
            return f"{held[0][0]} is held for {whose}"
    return listed(dict.fromkeys(facts))


KNOWN_OF: Mapping[VariableKind, VariableKind] = {
    "progress": "route",
    "lamp": "signal",
    "lying": "drive",
}
"""What a controller's variable tells of in the machine, and is spoken of alike."""

WHICH = {
    IDLE: "which is not set",
    SET: "which is set",
    CLOSING: "which is being cancelled",
    GONE_ON: "which is kept for its overlap",
    STANDS_STILL: "whose train has arrived",
}
