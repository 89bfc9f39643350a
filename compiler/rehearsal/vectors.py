"""Test vectors: what a machine does, step by step, for whoever writes another reader.

Runs begin where the machine may begin and go from event to event, each time towards
one that has not happened yet; on the way they name events that are not possible. Not
all that a machine says shows in runs: what its guards keep from happening never does.
So there are cases as well, each in a state that is set up, whether it is reachable
or not: for each clause of a guard one in which it alone is false, for each event that
did not happen one in which it does, for each value that an event changes one in which
it does. For guards that is modified condition/decision coverage (J. J. Chilenski and
S. P. Miller, "Applicability of modified condition/decision coverage to software testing",
1994), with a clause for a condition.

Whatever is expected is what the simulator's machine does (`machine_model.py`). Always the
same vectors are made for the same machine; how many is bounded by counts, not by time.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import cycle
from typing import TypeVar

from bellcrank.machine.machine_model import Clause, Event, Machine, State, after
from bellcrank.rehearsal.leading import Leading
from bellcrank.running.stepping import Stepper

MOST_IN_RUNS = 3000
MOST_IN_CASES = 4000
"""So many steps of runs, and so many of cases, make a megabyte of text."""

MOST_REFUSED = 12
"""So many events that are not possible are named in one state of a run; the start of a
large railway would have thousands."""

MOST_WORK = 4_000_000
"""Of looking ahead, about a second of it."""

TRIES = 2
"""How often an event is aimed at in vain before it is given up."""

MOST_CHOICES = 200
"""Of literals to set up one state with; guards leave few choices."""


T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Step:
    """An event, whether it is possible in the state before it, and what it changes then."""

    event: str
    possible: bool
    changes: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Run:
    """Steps one after another.

    start: the variables that do not start with the first of their initial values.
    """

    start: Mapping[str, str]
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Case:
    """A state that is set up, and what each of some events does in it.

    given: the variables whose values are not the first of their initial values.
    """

    given: Mapping[str, str]
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Covered:
    """How many of one sort of things were tried.

    in_runs: in runs, and maybe in cases too. in_cases: in cases alone. left_out: not at
    all, for there would be too many. impossible: not at all, as no state shows them.
    """

    in_runs: int
    in_cases: int
    left_out: int
    impossible: int


@dataclass(frozen=True, slots=True)
class Vectors:
    """All vectors of a machine, and what they leave out.

    events: that happen. conditions: clauses of guards that alone keep an event from
    happening. changes: values that an event changes.
    """

    runs: tuple[Run, ...]
    cases: tuple[Case, ...]
    events: Covered
    conditions: Covered
    changes: Covered


Condition = tuple[int, int]
"""An event and a clause of its guard, by number."""

Change = tuple[int, str, str]
"""An event by number, a variable and its value before."""


@dataclass(slots=True)
class _Tried:
    """What was tried so far."""

    events: set[int] = field(default_factory=set)
    conditions: set[Condition] = field(default_factory=set)
    changes: set[Change] = field(default_factory=set)


def make_vectors(
    machine: Machine, most_in_runs: int = MOST_IN_RUNS, most_in_cases: int = MOST_IN_CASES
) -> Vectors:
    """The test vectors of a machine."""
    stepper = Stepper(machine)
    tried = _Tried()
    runs = _Walks(stepper, tried, most_in_runs).runs()
    in_runs = _Tried(set(tried.events), set(tried.conditions), set(tried.changes))
    setting = _Cases(stepper, tried)
    cases = []
    left = most_in_cases
    for case in setting.cases() if left > 0 else ():
        cases.append(case)
        left -= len(case.steps)
        if left <= 0:
            break
    numbers = range(len(machine.events))
    conditions = {(e, c) for e in numbers for c in stepper.guard(e)}
    changes = {c for e in numbers for c in _changes(machine.events[e], e)}
    return Vectors(
        runs,
        tuple(cases),
        _covered(set(numbers), in_runs.events, tried.events, setting.impossible.events),
        _covered(conditions, in_runs.conditions, tried.conditions, setting.impossible.conditions),
        _covered(changes, in_runs.changes, tried.changes, setting.impossible.changes),
    )


def _covered(every: set[T], ran: set[T], tried: set[T], impossible: set[T]) -> Covered:
    left_out = every - tried - impossible
    return Covered(len(ran), len(tried) - len(ran), len(left_out), len(impossible))


def _changes(event: Event, number: int) -> Iterator[Change]:
    for variable, becomes in event.updates.items():
        for before, to in becomes.items():
            if before != to:
                yield number, variable, before


# ----------------------------------------------------------------------- runs


class _Walks:
    """Runs that try as many events as they can."""

    def __init__(self, stepper: Stepper, tried: _Tried, most_steps: int) -> None:
        self.stepper = stepper
        self.tried = tried
        self.left = most_steps
        self.leading = Leading(stepper)
        self.vain: Counter[int] = Counter()
        self.steps: list[Step] = []
        self.useful = 0

    def runs(self) -> tuple[Run, ...]:
        """Runs from the first and the last of the states that the machine may start in,
        in turn, until neither brings more."""
        machine = self.stepper.machine
        usual = machine.start()
        other = {name: v.initial[-1] for name, v in machine.variables.items()}
        runs = []
        starts: list[State] = [usual] if other == usual else [usual, other]
        fruitless = 0
        for start in cycle(starts):
            before = len(self.tried.events)
            steps = self._run(start)
            if steps:
                runs.append(Run({v: x for v, x in start.items() if x != usual[v]}, steps))
            fruitless = fruitless + 1 if len(self.tried.events) == before else 0
            if fruitless == len(starts) or self.left <= 0:
                break
        return tuple(runs)

    def _run(self, start: State) -> tuple[Step, ...]:
        """One run, without the steps at its end that try nothing new."""
        self.stepper.set_to(start)
        self.steps = []
        self.useful = 0
        self._look()
        failed: set[int] = set()
        while self.left > 0 and self.leading.work < MOST_WORK:
            wanted = {
                event
                for event in range(len(self.stepper.events))
                if event not in self.tried.events
                and event not in failed
                and self.vain[event] < TRIES
            }
            found = self.leading.towards(wanted)
            if found is None:
                break
            target, plan = found
            self._follow(plan)
            if target not in self.tried.events:
                failed.add(target)
                self.vain[target] += 1
        self.left += len(self.steps) - self.useful
        return tuple(self.steps[: self.useful])

    def _follow(self, plan: Sequence[int]) -> None:
        """Let the events of a plan happen, each once, as far as they can."""
        left = dict.fromkeys(plan)
        while left and self.left > 0:
            event = next((e for e in left if e in self.stepper.possible), None)
            if event is None:
                return
            del left[event]
            changed = self.stepper.do(event)
            done = {(event, variable, before) for variable, (before, _) in changed.items()}
            new = event not in self.tried.events or not done <= self.tried.changes
            self.tried.events.add(event)
            self.tried.changes |= done
            name = self.stepper.events[event].name
            self._add(Step(name, True, {v: to for v, (_, to) in changed.items()}), new)
            self._look()

    def _look(self) -> None:
        """Name events that one clause alone keeps from happening, if it is new."""
        most = len(self.steps) + MOST_REFUSED
        for event in sorted(self.stepper.touched):
            if self.stepper.false[event] != 1 or self.left <= 0 or len(self.steps) == most:
                continue
            (clause,) = self.stepper.lacking(event)
            if (event, clause) not in self.tried.conditions:
                self.tried.conditions.add((event, clause))
                self._add(Step(self.stepper.events[event].name, False, {}), True)
        self.stepper.touched.clear()

    def _add(self, step: Step, new: bool) -> None:
        self.steps.append(step)
        self.left -= 1
        if new:
            self.useful = len(self.steps)


# ---------------------------------------------------------------------- cases


class _Cases:
    """States set up for what did not show in runs.

    impossible: what no state at all can show.
    """

    def __init__(self, stepper: Stepper, tried: _Tried) -> None:
        self.stepper = stepper
        self.machine = stepper.machine
        self.tried = tried
        self.impossible = _Tried()
        self.usual = self.machine.start()
        self.choices = 0

    def cases(self) -> Iterator[Case]:
        """A case for each event that has not happened; then, event by event and round
        again, one for the next clause of its guard or the next values that it changes."""
        numbers = range(len(self.stepper.events))
        for event in numbers:
            if event in self.tried.events:
                continue
            given = self._set_up(event, None, {})
            if given is not None:
                yield self._case(event, given)
            elif self.choices <= MOST_CHOICES:
                self.impossible.events.add(event)
        turns = deque(self._more(event) for event in numbers)
        while turns:
            turn = turns.popleft()
            case = next(turn, None)
            if case is not None:
                yield case
                turns.append(turn)

    def _more(self, event: int) -> Iterator[Case]:
        for clause in self.stepper.guard(event):
            if (event, clause) in self.tried.conditions:
                continue
            given = self._set_up(event, clause, {})
            if given is not None:
                yield self._case(event, given)
            elif self.choices <= MOST_CHOICES:
                self.impossible.conditions.add((event, clause))
        left = list(_changes(self.stepper.events[event], event))
        while left := [c for c in left if c not in self.tried.changes]:
            change = left.pop(0)
            values = {change[1]: change[2]}
            given = self._set_up(event, None, values)
            if given is None:
                if self.choices <= MOST_CHOICES:
                    self.impossible.changes.add(change)
                continue
            for _, variable, before in left:
                if variable in values:
                    continue
                further = self._set_up(event, None, {**values, variable: before})
                if further is not None:
                    given = further
                    values[variable] = before
            yield self._case(event, given)

    def _case(self, event: int, given: Mapping[str, str]) -> Case:
        """The state set up for an event, and all in it that was not tried before."""
        stepper, tried = self.stepper, self.tried
        state = {**self.usual, **given}
        stepper.touched.clear()
        stepper.set_to(state)
        steps = []
        for number in sorted({event, *stepper.touched}):
            of = stepper.events[number]
            if stepper.false[number] == 1:
                (clause,) = stepper.lacking(number)
                if (number, clause) not in tried.conditions:
                    tried.conditions.add((number, clause))
                    steps.append(Step(of.name, False, {}))
            elif not stepper.false[number]:
                following = after(of, state)
                changes = {v: following[v] for v in of.updates if following[v] != state[v]}
                done = {(number, variable, state[variable]) for variable in changes}
                if number not in tried.events or not done <= tried.changes:
                    tried.events.add(number)
                    tried.changes |= done
                    steps.append(Step(of.name, True, changes))
        return Case(given, tuple(steps))

    def _set_up(
        self, event: int, false: int | None, values: Mapping[str, str]
    ) -> dict[str, str] | None:
        """The unusual values of a state in which the guard of an event is true, except for
        one clause that is to be false, and some variables have given values.

        None if there is no such state, or if `choices` has grown too large to say.
        """
        self.choices = 0
        variables = self.machine.variables
        allowed: dict[str, tuple[str, ...]] = {v: (value,) for v, value in values.items()}

        def left(variable: str, some: frozenset[str], inside: bool) -> tuple[str, ...]:
            now = allowed.get(variable) or variables[variable].values
            return tuple(value for value in now if (value in some) is inside)

        several: list[Clause] = []
        for number in self.stepper.guard(event):
            clause = self.stepper.clauses[number]
            if number != false and len(clause) != 1:
                several.append(clause)
                continue
            for variable, some in clause:
                allowed[variable] = left(variable, some, number != false)
                if not allowed[variable]:
                    return None
        found = self._settle(several, allowed)
        if found is None:
            return None
        return {
            name: found[name][0]
            for name in variables
            if name in found and self.usual[name] not in found[name]
        }

    def _settle(
        self, clauses: Sequence[Clause], allowed: Mapping[str, tuple[str, ...]]
    ) -> Mapping[str, tuple[str, ...]] | None:
        """Values that make one literal of each clause true, the usual ones if they can."""
        variables = self.machine.variables
        for index, clause in enumerate(clauses):
            if any(some.issuperset(allowed.get(v, variables[v].values)) for v, some in clause):
                continue
            choices = []
            for variable, some in clause:
                now = allowed.get(variable, variables[variable].values)
                left = tuple(value for value in now if value in some)
                if left:
                    choices.append((self.usual[variable] not in left, variable, left))
            for _, variable, left in sorted(choices, key=lambda choice: choice[0]):
                self.choices += 1
                if self.choices > MOST_CHOICES:
                    return None
                found = self._settle(clauses[index + 1 :], {**allowed, variable: left})
                if found is not None:
                    return found
            return None
        return allowed
