"""One walk through controller and railway as one machine, written down as runs of inputs.

The railway says what may come in; what the controller does then is told by the controller itself
(`running/reacting.py`), which does all its steps at once.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from bellcrank.controller.controller_model import Controller, Input
from bellcrank.machine.machine_model import Machine, State
from bellcrank.running.reacting import BY_PEOPLE, Reacting
from bellcrank.running.stepping import Stepper

MOST_ALARMS = 1000
"""Of inputs that raise the alarm."""

MOST_REFUSED = 6
"""So many requests that are refused are put in at one place of a run."""


@dataclass(frozen=True, slots=True)
class Given:
    """An input and what it has led to.

    granted: whether it took effect. changes: the variables that have other values after it.
    """

    input: Input
    granted: bool
    changes: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Unexplained:
    """An input that raises the alarm.

    after: how many inputs of its run come before it.
    """

    after: int
    input: Input


@dataclass(frozen=True, slots=True)
class InputRun:
    """Inputs one after another, from a start.

    start: the controller's state at the start.
    occupied: the sections that are reported occupied at the start.
    lies: the positions that drives are reported in then; of others nothing is reported.
    alarms: each an input that raises the alarm if it comes in that place.
    """

    start: State
    occupied: tuple[str, ...]
    lies: Mapping[str, str]
    inputs: tuple[Given, ...]
    alarms: tuple[Unexplained, ...]


@dataclass(slots=True)
class _Run:
    """A run as it is made, and how many of its inputs show something new."""

    start: State
    occupied: tuple[str, ...]
    lies: Mapping[str, str]
    inputs: list[Given] = field(default_factory=list)
    alarms: list[Unexplained] = field(default_factory=list)
    useful: int = 0

    def finished(self) -> InputRun:
        kept = tuple(self.inputs[: self.useful])
        return InputRun(self.start, self.occupied, self.lies, kept, tuple(self.alarms))


class Walk:
    """A walk of many runs.

    happened: the events of the machine that are reactions or steps, and have happened.
    shown: the inputs that were shown not to be possible, each with the clauses that were shown
        to be the only one of a guard that is false, by their number in the stepper.
    every: the events of the machine that are reactions or steps.
    state: the controller's, after the last input.
    """

    def __init__(self, controller: Controller, machine: Machine, most: int) -> None:
        self.controller = controller
        self.machine = machine
        self.reacting = Reacting(controller)
        self.stepper = Stepper(machine)
        self.left = most
        self.alarms_left = MOST_ALARMS
        self.happened: set[int] = set()
        self.shown: dict[Input, set[int]] = {}
        self.state: State = {}
        self.run = _Run({}, (), {})
        self.number_of = {event.name: number for number, event in enumerate(machine.events)}
        self.input_of = {
            self.number_of[reaction.name]: given
            for given, reactions in controller.inputs.items()
            for reaction in reactions
        }
        self.events_of = {
            given: [self.number_of[reaction.name] for reaction in reactions]
            for given, reactions in controller.inputs.items()
        }
        clauses = {clause: number for number, clause in enumerate(self.stepper.clauses)}
        self._own = {
            self.number_of[reaction.name]: {clauses[clause] for clause in reaction.guard}
            for reactions in controller.inputs.values()
            for reaction in reactions
        }
        self.every = [*self.input_of, *(self.number_of[step.name] for step in controller.steps)]
        self._times: dict[str, list[Input]] = defaultdict(list)
        for timer in controller.timers:
            self._times[timer.variable].append(Input("time over", timer.variable, timer.value))

    def begin(self, *, last: bool, reported: bool, standing: Iterable[int] = ()) -> None:
        """Start a run, on a railway where nothing moves.

        last: whether drives lie in their last position, or in their first.
        reported: whether those with contacts are reported at the start.
        standing: events that put down vehicles before it.
        """
        variables = self.machine.variables.values()
        self.stepper.set_to({v.name: v.initial[-1 if last else 0] for v in variables})
        lies = {}
        for event, given in self.input_of.items() if reported else ():
            if given.kind == "lies" and event in self.stepper.possible:
                self.stepper.do(event)
                lies[given.of] = given.value
        occupied: list[str] = []
        for event in standing:
            if event in self.stepper.possible:
                occupied += self._sections_reported(self.stepper.do(event))
        self.state = self.reacting.start(occupied, lies)
        self.run = _Run(self.state, tuple(occupied), lies)
        self.stepper.touched.update(range(len(self.machine.events)))
        self._look(self._times)

    def finish(self) -> InputRun | None:
        """The run without the inputs at its end that show nothing new; None if none does."""
        self.left += len(self.run.inputs) - self.run.useful
        return self.run.finished() if self.run.useful or self.run.alarms else None

    def let_happen(self, event: int) -> Sequence[int]:
        """Let an event happen, and whatever the controller does at it; what has happened."""
        given = self.input_of.get(event)
        if given is None:
            reported = self._sections_reported(self.stepper.do(event))
            if not reported:
                return ()
            [section] = reported
            given = Input("occupied", section)
            answer = self.reacting.input(given, self.state)
        else:
            answer = self.reacting.input(given, self.state)
            first = self.number_of[answer.done[0].name]
            if first not in self.stepper.possible:
                return ()  # it may come only where another reaction takes effect
            self.stepper.do(first)
        for step in answer.done[1:]:
            self.stepper.do(self.number_of[step.name])
        # Or what is proved of the two together would not be of this controller.
        assert answer.changes.items() <= self.stepper.state.items(), given
        changes = answer.changes
        self.state = answer.state
        done = [self.number_of[reaction.name] for reaction in answer.done]
        self._add(Given(given, True, changes), not self.happened.issuperset(done))
        self.happened.update(done)
        self._look(changes)
        return done

    def _sections_reported(self, changed: Iterable[str]) -> list[str]:
        """The sections that are reported by an event of a train itself, at once."""
        variables = (self.machine.variables[name] for name in changed)
        return [v.of for v in variables if v.kind == "report"]

    def _look(self, changed: Iterable[str]) -> None:
        """Show inputs that are not possible now, if that shows something new."""
        touched = (self.input_of.get(event) for event in sorted(self.stepper.touched))
        self.stepper.touched.clear()
        inputs = dict.fromkeys(given for given in touched if given is not None)
        inputs.update(dict.fromkeys(given for v in changed for given in self._times.get(v, ())))
        refused = 0
        for given in inputs:
            false = [self._false(event) for event in self.events_of[given]]
            if not all(false) or not self.reacting.is_new(given, self.state):
                continue
            if given.kind in BY_PEOPLE:
                if refused < MOST_REFUSED and self.left > 0 and self._lacks(given, false):
                    refused += 1
                    self._add(Given(given, False, {}), True)
            elif self.alarms_left and self._lacks(given, false):
                self.alarms_left -= 1
                self.run.alarms.append(Unexplained(len(self.run.inputs), given))
                self.run.useful = len(self.run.inputs)

    def _false(self, event: int) -> list[int]:
        """The clauses of a reaction's guard that are false."""
        return [c for c in self.stepper.lacking(event) if c in self._own[event]]

    def _lacks(self, given: Input, false: Iterable[Sequence[int]]) -> bool:
        """Whether it shows something new that an input is not possible.

        false: of each of its reactions the clauses that are.
        """
        new = given not in self.shown
        found = self.shown.setdefault(given, set())
        alone = {clauses[0] for clauses in false if len(clauses) == 1}
        new |= not alone <= found
        found |= alone
        return new

    def _add(self, given: Given, new: bool) -> None:
        self.run.inputs.append(given)
        self.left -= 1
        if new:
            self.run.useful = len(self.run.inputs)
