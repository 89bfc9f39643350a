"""What the lines of a script do: acts that let events happen, and expectations.

Every act comes down to events of the machine, one after another; which of them may
happen is for the machine to say. A moment goes in, an outcome comes out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from bellcrank.machine.frame import GONE_ON
from bellcrank.machine.machine_model import Event, EventKind, State, after, possible
from bellcrank.rehearsal.expectations import expected
from bellcrank.rehearsal.railway import FRONT, TAIL, Railway
from bellcrank.rehearsal.script import SENTENCE, Line
from bellcrank.running.reasons import false_clauses, why_not
from bellcrank.running.simulator import Step

Turn = Literal["of itself", "in time", "tail", "front"]
"""When what nobody asks for happens: at once, when a time is over, when a train goes on."""

_OF_ITSELF: frozenset[EventKind] = frozenset(("drive arrives", "signal clears", "section released"))
"""What interlocking, drives and signals do without being asked."""

_IN_TIME: frozenset[EventKind] = frozenset(("time runs out", "released by time"))
"""What happens when a time is over. A route with an overlap is released by time too."""


@dataclass(frozen=True, slots=True)
class Moment:
    """A state, and what else a script has settled.

    long: tails follow only when told to.
    begun: something has happened, so that nothing can be laid down for the start.
    """

    state: State
    long: bool = False
    begun: bool = False


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a line.

    steps: the events that happened. refused: why the act could not be done.
    met: whether an expectation is met; None if the line is none.
    found: what is the case, where an expectation was looked at.
    note: a remark, if one is due.
    moment: how things stand now.
    """

    line: Line
    moment: Moment
    steps: tuple[Step, ...] = ()
    refused: tuple[str, ...] = ()
    met: bool | None = None
    found: tuple[str, ...] = ()
    note: str | None = None

    @property
    def unsafe(self) -> bool:
        return any(step.broken for step in self.steps)

    @property
    def good(self) -> bool:
        """Whether all went as the line says, and nothing unsafe came of it."""
        return not self.refused and self.met is not False and not self.unsafe


def first_moment(railway: Railway) -> Moment:
    """Before anything happens."""
    return Moment(railway.machine.start())


def perform(railway: Railway, moment: Moment, line: Line) -> Outcome:
    """Do what a line says."""
    if line.key in _ACTS:
        doing = _Doing(railway, moment)
        _ACTS[line.key](doing, line)
        return Outcome(
            line, doing.moment, tuple(doing.steps), tuple(doing.refused), note=doing.note
        )
    met, found = expected(railway, moment.state, line)
    return Outcome(line, moment, met=met, found=found)


@dataclass(slots=True)
class _Doing:
    """An act while it is done."""

    railway: Railway
    moment: Moment
    steps: list[Step] = field(default_factory=list)
    refused: Sequence[str] = ()
    note: str | None = None

    @property
    def state(self) -> State:
        return self.moment.state

    def do(self, event: Event) -> Step:
        step = self.railway.simulator.do(event, self.state)
        self.steps.append(step)
        self.moment = replace(self.moment, state=step.state, begun=True)
        return step

    def one_of(self, events: Sequence[Event]) -> Event | None:
        """Do the one event that may happen; if there is none, say why not."""
        able = [event for event in events if possible(event, self.state)]
        if not able:
            nearest = min(events, key=lambda e: len(false_clauses(e, self.state)))
            self.refused = why_not(nearest, self.state, self.railway.machine.variables)
            return None
        if any(after(event, self.state) != after(able[0], self.state) for event in able[1:]):
            ways = ", or ".join(f"`event {event.name}`" for event in able)
            self.refused = (f"more than one thing may happen; say which: {ways}",)
            return None
        self.do(able[0])
        return able[0]

    def go_on(self, following: Callable[[], Event | None]) -> None:
        """Let one event after another happen, until there is none or something goes wrong."""
        seen = set()
        while (event := following()) is not None:
            state = tuple(self.state.values())
            if state in seen:
                self.note = "and so on, round and round"
                return
            seen.add(state)
            if self.do(event).broken:
                return
        if not self.steps:
            self.note = "nothing is left to do"

    # ----------------------------------------------------------------- trains

    def take_on(self, events: Sequence[Event], *, tail_too: bool) -> None:
        """Let the front of a train go on, and its tail follow."""
        before = self.state
        event = self.one_of(events)
        if event is None or not tail_too or self.moment.long or event.kind in ("meets", "derails"):
            return
        left = self.railway.left_by(event, before)
        if left in self.railway.track:
            for behind in self.railway.reaches_back(left, self.state):
                self.let_follow(behind)
        self.let_follow(left)

    def let_follow(self, name: str) -> None:
        """Let a tail leave a part or come in from an edge, if it can."""
        for event in self.railway.tail_of(name, self.state):
            if possible(event, self.state):
                self.do(event)
                return

    def front_in(self, place: str) -> Sequence[Event]:
        """The events that take on the front of the train in a place, or why there are none."""
        railway = self.railway
        parts = railway.fronts(place, self.state)
        if len(parts) > 1:
            self.refused = (f"more than one train is in {place}",)
        elif parts:
            events = railway.going_on(parts[0], self.state)
            if not events:
                self.refused = (f"the track ends there for the train in {place}",)
            return events
        elif railway.occupied(place, self.state):
            self.refused = (f"the front of the train is not in {place}",)
        else:
            self.refused = (f"no train is in {place}",)
        return ()


# ----------------------------------------------------------------------- acts


def _at_first(doing: _Doing, line: Line) -> None:
    drive, position = line.names["DRIVE"], line.names["POSITION"]
    if doing.moment.begun:
        doing.refused = ("something has happened already; this belongs before all else",)
        return
    name = doing.railway.variable["drive", drive]
    doing.moment = replace(doing.moment, state={**doing.state, name: position})


def _request(doing: _Doing, line: Line) -> None:
    doing.one_of(doing.railway.events("request", line.names["ROUTE"]))


def _cancel(doing: _Doing, line: Line) -> None:
    doing.one_of(doing.railway.events("cancel", line.names["ROUTE"]))


def _comes_in(doing: _Doing, line: Line) -> None:
    edge = line.names["EDGE"]
    if doing.one_of(doing.railway.events("comes in", edge)) and not doing.moment.long:
        doing.let_follow(edge)


def _stands(doing: _Doing, line: Line) -> None:
    doing.one_of(doing.railway.events("put down", line.names["SIGNAL"]))


def _vehicles_stand(doing: _Doing, line: Line) -> None:
    doing.one_of(doing.railway.in_place("stands", line.names["PLACE"]))


def _taken_off(doing: _Doing, line: Line) -> None:
    doing.one_of(doing.railway.in_place("taken off", line.names["PLACE"]))


def _uncoupled(doing: _Doing, line: Line) -> None:
    doing.one_of(doing.railway.in_place("uncoupled", line.names["PLACE"]))


def _ready(doing: _Doing, line: Line) -> None:
    doing.one_of(doing.railway.events("ready to leave", line.names["SIGNAL"]))


def _passes(doing: _Doing, line: Line) -> None:
    doing.take_on(doing.railway.events_past(line.names["SIGNAL"]), tail_too=True)


def _front_passes(doing: _Doing, line: Line) -> None:
    doing.take_on(doing.railway.events_past(line.names["SIGNAL"]), tail_too=False)


def _moves(doing: _Doing, line: Line) -> None:
    events = doing.front_in(line.names["PLACE"])
    if events:
        doing.take_on(events, tail_too=True)


def _front_moves(doing: _Doing, line: Line) -> None:
    events = doing.front_in(line.names["PLACE"])
    if events:
        doing.take_on(events, tail_too=False)


def _turns_back(doing: _Doing, line: Line) -> None:
    place = line.names["PLACE"]
    if not doing.railway.occupied(place, doing.state):
        doing.refused = (f"no train is in {place}",)
        return
    doing.one_of(doing.railway.in_place("turns back", place))


def _tail_leaves(doing: _Doing, line: Line) -> None:
    place = line.names["PLACE"]
    parts = doing.railway.occupied(place, doing.state)
    if not parts:
        doing.refused = (f"no train is in {place}",)
        return
    events = [e for part in parts for e in doing.railway.tail_of(part, doing.state)]
    if events:
        doing.one_of(events)
    else:
        doing.refused = (f"the front of the train has not left {place}",)


def _tail_comes_in(doing: _Doing, line: Line) -> None:
    events = doing.railway.events("wholly in", line.names["EDGE"])
    if events:
        doing.one_of(events)
    else:
        doing.refused = (f"no train comes in from {line.names['EDGE']}",)


def _long(doing: _Doing, line: Line) -> None:
    doing.moment = replace(doing.moment, long=True)


def _short(doing: _Doing, line: Line) -> None:
    doing.moment = replace(doing.moment, long=False)


def _wait(doing: _Doing, line: Line) -> None:
    doing.go_on(lambda: _first(doing, _of_itself))


def _time(doing: _Doing, line: Line) -> None:
    doing.go_on(lambda: _first(doing, _of_itself, _in_time))


def _go_on(doing: _Doing, line: Line) -> None:
    if doing.moment.long:
        doing.go_on(lambda: _first(doing, _of_itself, _front, _in_time))
    else:
        doing.go_on(lambda: _first(doing, _of_itself, _tail, _front, _in_time))


def _sentence(doing: _Doing, line: Line) -> None:
    text = line.names["SENTENCE"]
    doing.one_of([event for event in doing.railway.machine.events if event.text == text])


def _event(doing: _Doing, line: Line) -> None:
    name = line.names["EVENT"]
    doing.one_of([event for event in doing.railway.machine.events if event.name == name])


_ACTS: dict[str, Callable[[_Doing, Line], None]] = {
    "at first": _at_first,
    "request": _request,
    "cancel": _cancel,
    "comes in": _comes_in,
    "stands": _stands,
    "vehicles stand": _vehicles_stand,
    "taken off": _taken_off,
    "uncoupled": _uncoupled,
    "ready": _ready,
    "passes": _passes,
    "front passes": _front_passes,
    "moves": _moves,
    "front moves": _front_moves,
    "turns back": _turns_back,
    "tail leaves": _tail_leaves,
    "tail comes in": _tail_comes_in,
    "long": _long,
    "short": _short,
    "wait": _wait,
    "time": _time,
    "go on": _go_on,
    "event": _event,
    SENTENCE: _sentence,
}


# --------------------------------------------------- what happens of itself

Test = Callable[[Railway, Event, State], bool]


def _first(doing: _Doing, *tests: Test) -> Event | None:
    """The first event that may happen, of the kind that comes first."""
    railway, state = doing.railway, doing.state
    able = railway.simulator.possible(state)
    return next((e for test in tests for e in able if test(railway, e, state)), None)


def happens(railway: Railway, event: Event) -> Turn | None:
    """When an event happens without being asked for; None if somebody has to."""
    if event.kind == "route released":
        stages = railway.machine.variables[railway.variable["route", event.of]].values
        return "in time" if GONE_ON in stages else "of itself"
    if event.kind in _IN_TIME:
        return "in time"
    if event.kind in _OF_ITSELF:
        return "of itself"
    if event.kind in TAIL:
        return "tail"
    return "front" if event.kind in FRONT else None


def _of_itself(railway: Railway, event: Event, state: State) -> bool:
    return happens(railway, event) == "of itself"


def _in_time(railway: Railway, event: Event, state: State) -> bool:
    return happens(railway, event) == "in time"


def _tail(railway: Railway, event: Event, state: State) -> bool:
    return happens(railway, event) == "tail"


def _front(railway: Railway, event: Event, state: State) -> bool:
    """A train goes on; none passes a signal that has just been put back to stop, for it
    need not, and whether it does is for the script to say."""
    return happens(railway, event) == "front" and not railway.overruns(event, state)


def run_script(railway: Railway, lines: Iterable[Line]) -> tuple[Outcome, ...]:
    """What comes of each line of a script, from the start."""
    moment = first_moment(railway)
    outcomes = []
    for line in lines:
        outcome = perform(railway, moment, line)
        moment = outcome.moment
        outcomes.append(outcome)
    return tuple(outcomes)
