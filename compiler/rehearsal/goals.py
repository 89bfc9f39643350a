"""What is wished for in a search for moves: from its words to conditions of states.

A goal is conditions joined by `and`, each in the words that may stand after `expect` in a script.
`wished` says of each what must hold of the machine's variables; that `expectations.py` says the
same of every state is a test.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

from bellcrank.diagnostics import Diagnostic, Span
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
from bellcrank.machine.machine_model import Clause, Event, Is
from bellcrank.rehearsal.forms import GOALS
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import WISHED, Line, Reader

MOST_WAYS = 500
"""Ways in which a goal may come to hold that are told apart."""


@dataclass(frozen=True, slots=True)
class All:
    """That all of some conditions hold."""

    of: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class Any:
    """That at least one of some conditions holds."""

    of: tuple[Condition, ...]


Condition = Is | All | Any


class TooManyWaysError(ValueError):
    """A goal can hold in more ways than can be told apart."""


def read_goal(
    text: str, file: str, railway: Railway
) -> tuple[tuple[Line, ...], tuple[Diagnostic, ...]]:
    """The conditions of a goal, and the diagnostics of those that cannot be read.

    file: what messages call the goal.
    """
    reader = Reader(railway, file, GOALS)
    words = list(re.finditer(r"\S+", text))
    if not words:
        reader.found.report("E705", "nothing is wished for", Span(file, 1, 1, 1, 2),
                            expected=WISHED)  # fmt: skip
    ends = [n for n, word in enumerate(words) if word.group() == "and"]
    lines = []
    for first, end in zip([0, *(n + 1 for n in ends)], [*ends, len(words)], strict=True):
        first += end > first + 1 and words[first].group() == "expect"
        condition = words[first:end] or words[max(0, end - 1) : end + 1][:1]
        if not condition:
            break
        start = condition[0].start()
        line = reader.line(" " * start + text[start : condition[-1].end()], 1)
        if line is not None:
            lines.append(line)
    return tuple(lines), reader.found.result()


def wished(railway: Railway, line: Line) -> Condition:
    """What must hold for a condition of a goal."""
    return _CONDITIONS[line.key](railway, line)


def ways(condition: Condition) -> tuple[tuple[Clause, ...], ...]:
    """A condition as ways in which it can hold, each all of some clauses.

    Raises TooManyWaysError.
    """
    return tuple(way.clauses() for way in _ways(condition))


@dataclass(frozen=True, slots=True)
class _Way:
    """What must hold together: of each variable the values it may have, and further clauses."""

    values: Mapping[str, frozenset[str]]
    further: frozenset[Clause] = frozenset()

    def clauses(self) -> tuple[Clause, ...]:
        alone: list[Clause] = [(Is(name, values),) for name, values in self.values.items()]
        return (*alone, *sorted(self.further, key=str))

    def beside(self, other: _Way) -> _Way | None:
        """Both at once; None if they contradict each other."""
        values = dict(self.values)
        for name, allowed in other.values.items():
            both = values[name] = values.get(name, allowed) & allowed
            if not both:
                return None
        return _Way(values, self.further | other.further)

    def allows(self, other: _Way) -> bool:
        """Whether this holds wherever another way does."""
        return self.further <= other.further and all(
            other.values.get(name, _ALL_OTHERS) <= values for name, values in self.values.items()
        )


_ALL_OTHERS = frozenset(("any value",))
"""Of a variable that a way says nothing of; no variable has this value."""


def _ways(condition: Condition) -> list[_Way]:
    match condition:
        case Is(variable, values):
            return [_Way({variable: values})] if values else []
        case Any(of):
            alone = tuple(part for part in of if isinstance(part, Is) and part.values)
            found = [_Way({}, frozenset((alone,)))] if len(alone) > 1 else []
            rest = of if len(alone) < 2 else [part for part in of if not isinstance(part, Is)]
            found += [way for part in rest for way in _ways(part)]
            return _needed(found)
        case All(of):
            merged = [_Way({})]
            for part in of:
                of_part = _ways(part)
                pairs = (one.beside(other) for one, other in product(merged, of_part))
                merged = _needed([way for way in pairs if way is not None])
            return merged


def _needed(found: Sequence[_Way]) -> list[_Way]:
    """Ways without those that hold only where another does."""
    kept: list[_Way] = []
    for way in sorted(found, key=lambda way: len(way.values) + len(way.further)):
        if not any(one.allows(way) for one in kept):
            kept.append(way)
            if len(kept) > MOST_WAYS:
                raise TooManyWaysError
    return kept


# ------------------------------------------------------------------- requests


def _possible(event: Event) -> Condition:
    return All(tuple(Any(tuple(clause)) for clause in event.guard))


def _not_possible(railway: Railway, event: Event) -> Condition:
    return Any(tuple(_false(railway, clause) for clause in event.guard))


def _false(railway: Railway, clause: Clause) -> Condition:
    return All(tuple(_other(railway, literal) for literal in clause))


def _other(railway: Railway, literal: Is) -> Is:
    values = frozenset(railway.machine.variables[literal.variable].values)
    return Is(literal.variable, values - literal.values)


def _refused(railway: Railway, line: Line) -> Condition:
    (event,) = railway.events("request", line.names["ROUTE"])
    return _not_possible(railway, event)


def _because(railway: Railway, line: Line) -> Condition:
    layout, cause = railway.layout, line.names["CAUSE"]
    meant = {cause, layout.drives_by_name().get(cause), layout.section_of.get(cause)}
    meant |= set(railway.parts_of.get(cause, ()))
    (event,) = railway.events("request", line.names["ROUTE"])
    found: list[Condition] = []
    for clause in event.guard:
        false = _false(railway, clause)
        variables = [railway.machine.variables[literal.variable] for literal in clause]
        if any(variable.of in meant for variable in variables):
            found.append(false)
            continue
        for variable in variables:
            if variable.kind == "held":
                held = Is(variable.name, frozenset(variable.values).intersection(
                    name for name in meant if name is not None))  # fmt: skip
                found.append(All((false, held)))
    return Any(tuple(found))


def _allowed(railway: Railway, line: Line) -> Condition:
    (event,) = railway.events("request", line.names["ROUTE"])
    return _possible(event)


def _kept(railway: Railway, line: Line) -> Condition:
    events = railway.events("cancel", line.names["ROUTE"])
    return All(tuple(_not_possible(railway, event) for event in events))


# --------------------------------------------------------------- single things


def _value(railway: Railway, kind: str, of: str, *wanted: str) -> Is:
    variable = railway.machine.variables[railway.variable[kind, of]]
    return Is(variable.name, frozenset(wanted).intersection(variable.values))


def _stage(*wanted: str) -> Callable[[Railway, Line], Condition]:
    def condition(railway: Railway, line: Line) -> Condition:
        return _value(railway, "route", line.names["ROUTE"], *wanted)

    return condition


def _under_way(railway: Railway, line: Line) -> Condition:
    route = line.names["ROUTE"]
    stages = railway.machine.variables[railway.variable["route", route]].values
    under = [stage for stage in stages if stage not in (IDLE, SET, CLOSING, GONE_ON)]
    return _value(railway, "route", route, *under)


def _at_stop(railway: Railway, line: Line) -> Is:
    return _value(railway, "signal", line.names["SIGNAL"], AT_STOP, PUT_BACK)


def _off(railway: Railway, line: Line) -> Condition:
    return _other(railway, _at_stop(railway, line))


def _off_for(railway: Railway, line: Line) -> Condition:
    return _value(railway, "signal", line.names["SIGNAL"], line.names["ROUTE"])


def _shows(railway: Railway, line: Line) -> Condition:
    signal, aspect = line.names["SIGNAL"], line.names["ASPECT"]
    routes = railway.table.routes
    variable = railway.machine.variables[railway.variable["signal", signal]]
    stop = railway.layout.signals[signal].aspects[0].name
    shown = {v: routes[v].aspect if v in routes else stop for v in variable.values}
    return Is(variable.name, frozenset(v for v, shows in shown.items() if shows == aspect))


def _lies(railway: Railway, line: Line) -> Condition:
    return _value(railway, "drive", line.names["DRIVE"], line.names["POSITION"])


def _moving(railway: Railway, line: Line) -> Condition:
    drive = railway.layout.drives[line.names["DRIVE"]]
    return _value(railway, "drive", drive.name, *map(moving, drive.positions))


def _clear(railway: Railway, line: Line) -> Condition:
    tracks = [railway.track[part] for part in railway.parts_of[line.names["PLACE"]]]
    return All(tuple(Is(track, frozenset((CLEAR,))) for track in tracks))


def _occupied(railway: Railway, line: Line) -> Condition:
    tracks = [railway.track[part] for part in railway.parts_of[line.names["PLACE"]]]
    return Any(tuple(_other(railway, Is(track, frozenset((CLEAR,)))) for track in tracks))


def _held(railway: Railway, line: Line) -> Condition:
    return _value(railway, "held", line.names["SECTION"], line.names["ROUTE"])


def _not_held(railway: Railway, line: Line) -> Condition:
    return _value(railway, "held", line.names["SECTION"], FREE)


# --------------------------------------------------------------------- trains


def _fronts(railway: Railway, line: Line) -> Iterator[tuple[str, Is]]:
    """For each part of a place that a front is there, and before the signal if one is named."""
    signal = line.names.get("SIGNAL")
    for part in railway.parts_of[line.names["PLACE"]]:
        values = railway.fronts_in(part)
        if signal is not None:
            values &= railway.fronts_before(part, signal)
        if values:
            yield part, Is(railway.track[part], values)


def _train(railway: Railway, line: Line) -> Condition:
    return Any(tuple(front for _, front in _fronts(railway, line)))


def _train_from(railway: Railway, line: Line) -> Condition:
    following = followed(line.names["START"])
    return Any(
        tuple(
            All((Is(following, frozenset((part,))), front))
            for part, front in _fronts(railway, line)
        )
    )


def followed(start: str) -> str:
    """The name of the variable that says where the train is that was in a place at first."""
    return f"train from {start}"


def _vehicles(railway: Railway, line: Line) -> Condition:
    tracks = [railway.track[part] for part in railway.parts_of[line.names["PLACE"]]]
    return Any(tuple(Is(track, frozenset((STANDING,))) for track in tracks))


def _stands_still(railway: Railway, line: Line) -> Condition:
    """A front is there, and none of those there can go on."""
    of_parts: list[Condition] = []
    for part, front in _fronts(railway, line):
        ways_on: list[Condition] = [_other(railway, front)]
        for value in sorted(front.values):
            events = railway.fronts_going_on(part, value)
            ways_on.append(
                All(
                    (
                        Is(front.variable, frozenset((value,))),
                        *(_not_possible(railway, event) for event in events),
                    )
                )
            )
        of_parts.append(Any(tuple(ways_on)))
    return All((_train(railway, line), *of_parts))


def _rest(railway: Railway, line: Line) -> Condition:
    variables = railway.machine.variables.values()
    return All(
        tuple(
            Is(v.name, frozenset(v.initial))
            for v in variables
            if v.kind in ("route", "signal", "drive")
        )
    )


_CONDITIONS: dict[str, Callable[[Railway, Line], Condition]] = {
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
    "train in": _train,
    "train before": _train,
    "vehicles in": _vehicles,
    "came to": _train_from,
    "came before": _train_from,
    "stands still": _stands_still,
    "rest": _rest,
}
"""For each form of a condition what must hold."""


def all_ways(conditions: Iterable[Condition]) -> Sequence[Sequence[Clause]]:
    """Ways in which all conditions can hold together. Raises TooManyWaysError."""
    return ways(All(tuple(conditions)))
