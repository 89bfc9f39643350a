"""Whether what a script expects is the case, and what is. Nothing here changes a state."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from bellcrank.machine.frame import (
    AT_STOP,
    CLEAR,
    CLOSING,
    FREE,
    GONE_ON,
    IDLE,
    PUT_BACK,
    SET,
    STANDING,
    moving,
)
from bellcrank.machine.machine_model import State, possible
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import Line
from bellcrank.running.reasons import fact, false_clauses, whereabouts, why_not

Answer = tuple[bool, tuple[str, ...]]
"""Whether it is so, and what is the case."""


def expected(railway: Railway, state: State, line: Line) -> Answer:
    """Whether an expectation is met, and what is the case."""
    return _EXPECTATIONS[line.key](railway, state, line)


# ------------------------------------------------------------------- requests


def _refused(railway: Railway, state: State, line: Line) -> Answer:
    allowed, found = _allowed(railway, state, line)
    return not allowed, found


def _because(railway: Railway, state: State, line: Line) -> Answer:
    """Refused, and a condition that is not met has to do with what is named."""
    layout, cause = railway.layout, line.names["CAUSE"]
    meant = {cause, layout.drives_by_name().get(cause), layout.section_of.get(cause)}
    meant |= set(railway.parts_of.get(cause, ()))
    (event,) = railway.events("request", line.names["ROUTE"])
    concerned = set()
    for clause in false_clauses(event, state):
        for literal in clause:
            variable = railway.machine.variables[literal.variable]
            concerned.add(variable.of)
            if variable.kind == "held":
                concerned.add(state[variable.name])
    _, found = _allowed(railway, state, line)
    return not meant.isdisjoint(concerned), found


def _allowed(railway: Railway, state: State, line: Line) -> Answer:
    route = line.names["ROUTE"]
    (event,) = railway.events("request", route)
    if possible(event, state):
        return True, (f"{route} could be set",)
    return False, why_not(event, state, railway.machine.variables)


def _kept(railway: Railway, state: State, line: Line) -> Answer:
    route = line.names["ROUTE"]
    events = railway.events("cancel", route)
    if any(possible(event, state) for event in events):
        return False, (f"{route} could be cancelled",)
    reasons = (why_not(event, state, railway.machine.variables) for event in events)
    return True, min(reasons, key=len)


# --------------------------------------------------------------- single things


def _stage(*wanted: str) -> Callable[[Railway, State, Line], Answer]:
    def answer(railway: Railway, state: State, line: Line) -> Answer:
        return _value(railway, state, "route", line.names["ROUTE"], *wanted)

    return answer


def _value(railway: Railway, state: State, kind: str, of: str, *wanted: str) -> Answer:
    name = railway.variable[kind, of]
    return state[name] in wanted, (fact(railway.machine.variables[name], state[name]),)


def _under_way(railway: Railway, state: State, line: Line) -> Answer:
    route = line.names["ROUTE"]
    stages = railway.machine.variables[railway.variable["route", route]].values
    under = [stage for stage in stages if stage not in (IDLE, SET, CLOSING, GONE_ON)]
    return _value(railway, state, "route", route, *under)


def _at_stop(railway: Railway, state: State, line: Line) -> Answer:
    return _value(railway, state, "signal", line.names["SIGNAL"], AT_STOP, PUT_BACK)


def _off(railway: Railway, state: State, line: Line) -> Answer:
    at_stop, found = _at_stop(railway, state, line)
    return not at_stop, found


def _off_for(railway: Railway, state: State, line: Line) -> Answer:
    return _value(railway, state, "signal", line.names["SIGNAL"], line.names["ROUTE"])


def _shows(railway: Railway, state: State, line: Line) -> Answer:
    signal = line.names["SIGNAL"]
    value = railway.value("signal", signal, state)
    route = railway.table.routes.get(value)
    shown = route.aspect if route else railway.layout.signals[signal].aspects[0].name
    return shown == line.names["ASPECT"], (f"{signal} shows {shown}",)


def _lies(railway: Railway, state: State, line: Line) -> Answer:
    return _value(railway, state, "drive", line.names["DRIVE"], line.names["POSITION"])


def _moving(railway: Railway, state: State, line: Line) -> Answer:
    drive = railway.layout.drives[line.names["DRIVE"]]
    return _value(railway, state, "drive", drive.name, *map(moving, drive.positions))


def _occupied(railway: Railway, state: State, line: Line) -> Answer:
    place = line.names["PLACE"]
    tracks = [railway.track[part] for part in railway.occupied(place, state)]
    if not tracks:
        return False, (f"no train is in {place}",)
    return True, tuple(fact(railway.machine.variables[name], state[name]) for name in tracks)


def _clear(railway: Railway, state: State, line: Line) -> Answer:
    occupied, found = _occupied(railway, state, line)
    return not occupied, found


def _held(railway: Railway, state: State, line: Line) -> Answer:
    return _value(railway, state, "held", line.names["SECTION"], line.names["ROUTE"])


def _not_held(railway: Railway, state: State, line: Line) -> Answer:
    return _value(railway, state, "held", line.names["SECTION"], FREE)


# --------------------------------------------------------------------- trains


def _train_in(railway: Railway, state: State, line: Line) -> Answer:
    place = line.names["PLACE"]
    parts = railway.fronts(place, state)
    if not parts:
        return False, _of_track(railway, state, place)
    return True, _whereabouts(railway, state, parts)


def _train_before(railway: Railway, state: State, line: Line) -> Answer:
    place, signal = line.names["PLACE"], line.names["SIGNAL"]
    parts = railway.fronts(place, state)
    if not parts:
        return False, _of_track(railway, state, place)
    before = any(state[railway.track[p]] in railway.fronts_before(p, signal) for p in parts)
    return before, _whereabouts(railway, state, parts)


def _vehicles_in(railway: Railway, state: State, line: Line) -> Answer:
    place = line.names["PLACE"]
    standing = any(state[railway.track[p]] == STANDING for p in railway.parts_of[place])
    return standing, _of_track(railway, state, place)


def _of_track(railway: Railway, state: State, place: str) -> tuple[str, ...]:
    """What there is in a place of which no front is."""
    variables = [railway.machine.variables[railway.track[p]] for p in railway.parts_of[place]]
    facts = [fact(v, state[v.name]) for v in variables if state[v.name] != CLEAR]
    return tuple(facts) or (f"no train is in {place}",)


def _whereabouts(railway: Railway, state: State, parts: Iterable[str]) -> tuple[str, ...]:
    tracks = (railway.machine.variables[railway.track[part]] for part in parts)
    return tuple(whereabouts(track, state[track.name]) for track in tracks)


# -------------------------------------------------------------------- the rest


def _stands_still(railway: Railway, state: State, line: Line) -> Answer:
    place = line.names["PLACE"]
    parts = railway.fronts(place, state)
    if not parts:
        return False, (f"the front of no train is in {place}",)
    able = [e for part in parts for e in railway.going_on(part, state) if possible(e, state)]
    if able:
        return False, tuple(dict.fromkeys(event.text for event in able))
    return True, (f"the train in {place} cannot go on",)


def _rest(railway: Railway, state: State, line: Line) -> Answer:
    variables = railway.machine.variables
    busy = tuple(
        fact(variable, state[name])
        for name, variable in variables.items()
        if variable.kind in ("route", "signal", "drive") and state[name] not in variable.initial
    )
    return not busy, busy or ("all is at rest",)


_EXPECTATIONS: dict[str, Callable[[Railway, State, Line], Answer]] = {
    "refused": _refused,
    "because": _because,
    "allowed": _allowed,
    "kept": _kept,
    "idle": _stage(IDLE),
    "set": _stage(SET),
    "under way": _under_way,
    "overlap kept": _stage(GONE_ON),
    "closing": _stage(CLOSING),
    "at stop": _at_stop,
    "off": _off,
    "off for": _off_for,
    "shows": _shows,
    "lies": _lies,
    "moving": _moving,
    "occupied": _occupied,
    "clear": _clear,
    "held": _held,
    "not held": _not_held,
    "train in": _train_in,
    "train before": _train_before,
    "vehicles in": _vehicles_in,
    "stands still": _stands_still,
    "rest": _rest,
}
