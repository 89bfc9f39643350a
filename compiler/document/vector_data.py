"""Test vectors, for the document."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping

from bellcrank.controller.controller_model import Input
from bellcrank.document import vector_types
from bellcrank.document.controller_types import Controller
from bellcrank.document.part import DrivePosition
from bellcrank.document.vector_types import SignalAspect
from bellcrank.machine.machine_model import State
from bellcrank.rehearsal.input_vectors import InputVectors, Shown
from bellcrank.rehearsal.input_walk import InputRun
from bellcrank.rehearsal.vectors import Covered, Step, Vectors


def vectors_data(
    vectors: Vectors, controller: vector_types.ControllerVectors | None
) -> vector_types.Vectors:
    """What is tried, what must come of it, and how much of machine and controller that covers."""
    return vector_types.Vectors(
        runs=[
            vector_types.Run(start=dict(run.start), steps=[_tried(step) for step in run.steps])
            for run in vectors.runs
        ],
        cases=[
            vector_types.Case(given=dict(case.given), tries=[_tried(step) for step in case.steps])
            for case in vectors.cases
        ],
        covered=vector_types.Coverage(
            events=_covered(vectors.events),
            conditions=_covered(vectors.conditions),
            changes=_covered(vectors.changes),
        ),
        controller=controller,
    )


def _tried(step: Step) -> vector_types.TriedEvent:
    return vector_types.TriedEvent(
        event=step.event, possible=step.possible, changes=dict(step.changes)
    )


def _covered(covered: Covered) -> vector_types.Covered:
    return vector_types.Covered(
        in_runs=covered.in_runs,
        in_cases=covered.in_cases,
        left_out=covered.left_out,
        impossible=covered.impossible,
    )


def controller_vectors_data(
    vectors: InputVectors, controller: Controller
) -> vector_types.ControllerVectors:
    """What is put in, what must come out, and how much of the controller that covers."""
    outputs = _Outputs(controller)
    return vector_types.ControllerVectors(
        runs=[_run(run, outputs) for run in vectors.runs],
        covered=vector_types.ControllerCoverage(
            reactions=_shown(vectors.reactions),
            steps=_shown(vectors.steps),
            refused=_shown(vectors.refused),
            alarms=_shown(vectors.alarms),
        ),
    )


def _shown(shown: Shown) -> vector_types.Tried:
    return vector_types.Tried(in_runs=shown.in_runs, not_shown=shown.not_shown)


class _Outputs:
    """What the variables of a controller mean for signals and drives."""

    def __init__(self, controller: Controller) -> None:
        self.lamps = controller.lamps
        self._shows = {lamp.variable: {s.value: s for s in lamp.shows} for lamp in self.lamps}
        self._throws = {
            throw.variable: (throw.drive, {m.value: m.thrown_to for m in throw.meanings})
            for throw in controller.throws
        }
        order = [*self._shows, *self._throws]
        self._place = {name: place for place, name in enumerate(order)}
        self._signal = {lamp.variable: lamp.signal for lamp in self.lamps}
        self.start = {v.name: v.initial for v in controller.variables}

    def signals(self, before: State, changes: Mapping[str, str]) -> Iterator[SignalAspect]:
        """The signals that show another aspect."""
        for name in self._in_order(changes):
            shows = self._shows.get(name)
            if shows and shows[before[name]].aspect != shows[changes[name]].aspect:
                yield SignalAspect(self._signal[name], shows[changes[name]].aspect)

    def throws(self, changes: Mapping[str, str]) -> Iterator[DrivePosition]:
        """The drives that are thrown."""
        for name in self._in_order(changes):
            drive, thrown = self._throws.get(name, ("", {}))
            position = thrown.get(changes[name])
            if position:
                yield DrivePosition(drive, position)

    def to_stop(self, state: State) -> Iterator[SignalAspect]:
        """The signals that an alarm puts to stop."""
        for lamp in self.lamps:
            if self._shows[lamp.variable][state[lamp.variable]].off:
                stop = self._shows[lamp.variable][self.start[lamp.variable]].aspect
                yield SignalAspect(lamp.signal, stop)

    def _in_order(self, changes: Mapping[str, str]) -> list[str]:
        return sorted((v for v in changes if v in self._place), key=self._place.__getitem__)


def _run(run: InputRun, outputs: _Outputs) -> vector_types.InputRun:
    state = dict(run.start)
    inputs: list[vector_types.GivenInput] = []
    alarms: list[vector_types.UnexplainedInput] = []
    unexplained: dict[int, list[Input]] = defaultdict(list)
    for alarm in run.alarms:
        unexplained[alarm.after].append(alarm.input)

    def look(after: int) -> None:
        signals = list(outputs.to_stop(state))
        for kind, of, value in unexplained[after]:
            alarms.append(vector_types.UnexplainedInput(after, kind, of, value or None, signals))

    for number, given in enumerate(run.inputs):
        look(number)
        kind, of, value = given.input
        inputs.append(
            vector_types.GivenInput(
                kind=kind,
                of=of,
                value=value or None,
                granted=given.granted,
                signals=list(outputs.signals(state, given.changes)),
                throws=list(outputs.throws(given.changes)),
                changes=dict(given.changes),
            )
        )
        state.update(given.changes)
    look(len(run.inputs))
    return vector_types.InputRun(
        occupied=list(run.occupied),
        lies=[DrivePosition(d, p) for d, p in run.lies.items()],
        inputs=inputs,
        alarms=alarms,
    )
