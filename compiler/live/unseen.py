"""A railway of which only reports are seen: what happens on it that no report tells, or one does at
once; and how unlikely it is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from bellcrank.machine.machine_model import Event, EventKind, Machine, State
from bellcrank.running.explaining import Explaining, Fitting

UNLIKELY: Mapping[EventKind, int] = {
    "drive arrives": 0,
    "passes signal": 0,
    "enters": 0,
    "joins": 0,
    "tail leaves": 0,
    "wholly in": 0,
    "turns back": 0,
    "comes in": 0,
    "ready to leave": 1,
    "uncoupled": 2,
    "taken off": 3,
    "put down": 8,
    "stands": 8,
}
"""What trains, drives and people at the railway do, and how unlikely it is. What is done by hand is
thought of only where nothing else fits, and that something comes from nowhere last of all.
Accidents are none of it."""


class ReportsAlone:
    """A machine with reports, and the states that fit those that were seen.

    unlikely: the events that are not seen, by their number, with how unlikely each is.
    at_once, for_ever: as of `Explaining`.
    """

    def __init__(
        self,
        machine: Machine,
        unlikely: Mapping[int, int],
        at_once: Iterable[int] = (),
        *,
        for_ever: bool = False,
    ) -> None:
        self._occupying: defaultdict[str, list[int]] = defaultdict(list)
        self._standing: defaultdict[str, list[int]] = defaultdict(list)
        for number in unlikely:
            event = machine.events[number]
            section = _reported_by(event, machine)
            if section is not None:
                self._occupying[section].append(number)
                if event.kind == "stands":
                    self._standing[section].append(number)
        reports = [v.name for v in machine.variables.values() if v.kind == "report"]
        self._explaining = Explaining(machine, unlikely, at_once, reports, for_ever=for_ever)

    @property
    def likeliest(self) -> Fitting:
        return self._explaining.fitting[0]

    def state(self, fitting: Fitting) -> dict[str, str]:
        """A state by names."""
        return self._explaining.state(fitting)

    def begin(self, state: State, occupied: Iterable[str]) -> None:
        """Begin in a state without vehicles, with some that stand in these sections. A standing
        train is told by its section alone: any part of it will do."""
        self._explaining.begin([state])
        self._explaining.see([self._standing[section] for section in occupied])

    def see(self, events: Sequence[int], occupied: str | None) -> bool:
        """These events were seen to happen one after the other; whether anything fits that.

        occupied: the section that the first of them reports occupied, if it does. Where a train
        comes in or something is put down there, that reports it at once.
        """
        seen = [[number] for number in events]
        if seen and occupied is not None:
            seen[0] += self._occupying[occupied]
        return self._explaining.see(seen)


def _reported_by(event: Event, machine: Machine) -> str | None:
    """The section that a train's event reports occupied at once, if it does."""
    variables = (machine.variables[name] for name in event.updates)
    return next((variable.of for variable in variables if variable.kind == "report"), None)
