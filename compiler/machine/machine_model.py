"""The machine: interlocking, drives and trains as one guarded event system.

Plain immutable data and nothing else. Every variable has a few values, each a
word. All conditions are built from one kind of literal, "this variable has one
of these values": a clause is true if any of its literals is, a guard if all of
its clauses are. An event may happen while its guard is true; it then changes
variables all at once, and for each it says what every value becomes.

So what a reader has to understand of the machine is this: look up a value in a
set, look up what it becomes in a mapping. The rehearsal evaluates that, the
prover turns it into obligations, and every export prints it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal, NamedTuple

from bellcrank.diagnostics import Span
from bellcrank.layout.layout_model import Leg
from bellcrank.machine.parts import Passage

VariableKind = Literal[
    "track",
    "held",
    "route",
    "signal",
    "drive",
    "edge",
    "report",
    "progress",
    "lamp",
    "lying",
    "broken",
]
"""What a variable tells of: the train on a stretch of track, the route a section
is held for, how far a route has got, what a signal shows, where a drive lies,
whether part of a train is still outside an edge."""


class OnPassage(NamedTuple):
    """A train on a passage over a part of the track, its front with it or gone beyond."""

    passage: Passage
    front: bool


@dataclass(frozen=True, slots=True)
class Variable:
    """A variable of finite domain. Its name and its values are for people.

    of: the name in the layout of what it tells of.
    initial: the values it may have at the start; the rehearsal takes the first.
    trains: of track, what those values mean that are a train on a passage.
    literals: those of it that were asked for, by their values and by what they were asked for
        with: most of a machine is said of few of them again and again, and each is one object.
    """

    name: str
    kind: VariableKind
    of: str
    values: tuple[str, ...]
    initial: tuple[str, ...]
    trains: Mapping[str, OnPassage] = field(default_factory=dict, compare=False, repr=False)
    literals: dict[frozenset[str] | tuple[bool, tuple[str, ...]], Is] = field(
        default_factory=dict, init=False, compare=False, repr=False
    )


class Is(NamedTuple):
    """That a variable has one of some values."""

    variable: str
    values: frozenset[str]


Clause = tuple[Is, ...]
"""True if any of its literals is; without literals it is false."""

State = Mapping[str, str]
"""A value for every variable."""

Actor = Literal["operator", "interlocking", "train", "surroundings"]

EventKind = Literal[
    "request",
    "cancel",
    "drive arrives",
    "signal clears",
    "time runs out",
    "released by time",
    "section released",
    "route released",
    "passes signal",
    "enters",
    "joins",
    "meets",
    "derails",
    "tail leaves",
    "turns back",
    "comes in",
    "wholly in",
    "put down",
    "stands",
    "taken off",
    "uncoupled",
    "ready to leave",
    "reported occupied",
    "reported clear",
    "reported lying",
    "arrives",
    "confirmed",
    "breaks",
    "follows",
]

WITH_REPORTS: frozenset[EventKind] = frozenset(
    (
        "reported occupied",
        "reported clear",
        "reported lying",
        "arrives",
        "confirmed",
        "breaks",
        "follows",
    )
)
"""What happens only where a controller runs the railway from reports, where an assumption is
broken, or where it is asked whether the controller does what the machine alone may do."""

OF_INTERLOCKING: frozenset[EventKind] = frozenset(
    (
        "request",
        "cancel",
        "drive arrives",
        "signal clears",
        "time runs out",
        "released by time",
        "section released",
        "route released",
    )
)
"""What the interlocking and its drives do; the rest is done by trains and by people who handle
vehicles, or told by reports."""

BY_HAND: frozenset[EventKind] = frozenset(("stands", "taken off", "uncoupled", "ready to leave"))
"""What people do to vehicles that stand: put them on the track, lift them off, leave them
behind, couple an engine to them."""

AWAY_FROM_REST: frozenset[EventKind] = frozenset(("stands", "uncoupled"))
"""What nobody does who wants the railway to come to rest: it has to without more vehicles,
and without trains left standing, to be lifted off."""


@dataclass(frozen=True, slots=True)
class Event:
    """Something that may happen.

    name: unique in its machine, and for people.
    of: the name in the layout of what it is about: a route, drive, signal, edge or
        stretch of track.
    text: a sentence for people, without its full stop.
    guard: it may happen while all clauses are true.
    updates: what each value becomes, of each variable it changes; values that are
        not listed stay. All change at once.
    route: the route on whose account it happens, if there is one.
    span: the place in the source of what it is about.
    entry: the leg by which a front comes into a part, if one does.
    """

    name: str
    kind: EventKind
    actor: Actor
    of: str
    text: str
    guard: tuple[Clause, ...]
    updates: Mapping[str, Mapping[str, str]]
    route: str | None = None
    span: Span | None = None
    entry: Leg | None = field(default=None, compare=False)

    def changed(self, guard: tuple[Clause, ...], updates: Mapping[str, Mapping[str, str]]) -> Event:
        """The same event with another guard and other changes."""
        # Field by field: `replace` takes twice as long.
        return Event(
            self.name,
            self.kind,
            self.actor,
            self.of,
            self.text,
            guard,
            updates,
            self.route,
            self.span,
            self.entry,
        )


PropertyName = Literal[
    "meetings", "derailments", "drives", "signals", "overlaps", "release", "rest"
]

PROPERTIES: dict[PropertyName, str] = {
    "meetings": "no section ever holds two trains, except where one is called on to join another",
    "derailments": "no train meets points that are moving or lie against it",
    "drives": "no drive moves under a train, and none that a set route needs is thrown away "
    "from it",
    "signals": "a signal is off only while its route is set, the drives lie right, "
    "and its track is clear and held for it alone",
    "overlaps": "a train that overruns a signal within the overlap meets nothing",
    "release": "no section is released while a train under way is on it",
    "rest": "nothing stays held for ever: the railway can always come to rest",
}
"""Each property as a sentence for people. `rest` serves the operator, the others are
for safety."""


@dataclass(frozen=True, slots=True)
class Wish:
    """Routes whose signals must be able to be off together: an expectation, or a
    single route, as every route must be able to be set from rest."""

    text: str
    routes: tuple[str, ...]
    span: Span | None


@dataclass(frozen=True, slots=True)
class Invariant:
    """A clause that must be true in every reachable state.

    of: the property it belongs to, or the text of an expectation `never with`.
    sentence: what it means that it is false.
    """

    of: str
    clause: Clause
    sentence: str


@dataclass(frozen=True)
class Machine:
    """The one definition of behaviour of a layout.

    invariants: what must always hold, for each property and for each expectation
        that routes are never set together.
    wishes: what must be able to happen.
    lemmas: clauses that are thought always to hold and that help a proof by
        induction. They are candidates: nobody may rely on one without proving it.
    assumptions: what the machine assumes, by name, in sentences.
    properties: what is shown of it beside its expectations, each as a sentence.
    """

    variables: Mapping[str, Variable]
    events: tuple[Event, ...]
    invariants: tuple[Invariant, ...]
    wishes: tuple[Wish, ...]
    lemmas: tuple[Clause, ...]
    assumptions: Mapping[str, str]
    properties: Mapping[str, str] = field(default_factory=lambda: dict(PROPERTIES.items()))

    @cached_property
    def variable_of(self) -> Mapping[tuple[VariableKind, str], Variable]:
        """The variables by their kind and by what they tell of."""
        return {(v.kind, v.of): v for v in self.variables.values()}

    @property
    def clauses(self) -> tuple[Clause, ...]:
        """Its clauses as a proof numbers them: invariants, then lemmas."""
        return (*(i.clause for i in self.invariants), *self.lemmas)

    def start(self) -> dict[str, str]:
        """The state that the rehearsal begins with."""
        return {name: v.initial[0] for name, v in self.variables.items()}


def holds(clause: Clause, state: State) -> bool:
    """Whether a clause is true in a state."""
    return any(state[literal.variable] in literal.values for literal in clause)


def possible(event: Event, state: State) -> bool:
    """Whether an event may happen in a state."""
    return all(holds(clause, state) for clause in event.guard)


def changes(event: Event, state: State) -> dict[str, str]:
    """The new values of the variables that an event changes, whether or not it may happen."""
    changed = {}
    for variable, becomes in event.updates.items():
        value = state[variable]
        new = becomes.get(value, value)
        if new != value:
            changed[variable] = new
    return changed


def after(event: Event, state: State) -> dict[str, str]:
    """The state after an event, whether or not it may happen."""
    return {**state, **changes(event, state)}


def having(variable: Variable, values: frozenset[str]) -> Is:
    """That a variable has one of these values: one and the same object for each set of them."""
    made = variable.literals.get(values)
    if made is None:
        # A set made of another takes the room that it needs; one that grew, up to twice that.
        made = Is(variable.name, frozenset(set(values)))
        variable.literals[made.values] = made
    return made


def is_(variable: Variable, *values: str) -> Is:
    """That a variable has one of these values; those it can never have are left out."""
    made = variable.literals.get((True, values))
    if made is None:
        made = having(variable, frozenset(variable.values).intersection(values))
        variable.literals[True, values] = made
    return made


def is_not(variable: Variable, *values: str) -> Is:
    """That a variable has none of these values."""
    made = variable.literals.get((False, values))
    if made is None:
        made = having(variable, frozenset(variable.values).difference(values))
        variable.literals[False, values] = made
    return made


def always(variable: Variable, value: str, values: Iterable[str] | None = None) -> dict[str, str]:
    """The update that gives a variable a value, whatever it was."""
    return {v: value for v in (variable.values if values is None else values) if v != value}
