"""Events told as lines of a script: a run to replay, and what could be done next."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bellcrank.diagnostics import Span
from bellcrank.machine.machine_model import Event, Machine, State
from bellcrank.rehearsal.acts import Moment, perform
from bellcrank.rehearsal.forms import ACTS
from bellcrank.rehearsal.railway import FRONT, Railway
from bellcrank.rehearsal.script import Line
from bellcrank.running.simulator import Simulator, replay, start_of


def script_of(machine: Machine, run: Sequence[Event], start: State | None = None) -> str:
    """A run of events as a script, which leads through the same states when it is played.

    start: where the run begins; if not said, a state from which it is possible.
    Raises ValueError if an event of the run is not possible.
    """
    if start is None:
        start = start_of(machine, run)
    states = replay(machine, run, start)
    lines = [
        f"at first {variable.of} lies {states[0][name]}"
        for name, variable in machine.variables.items()
        if variable.kind == "drive" and states[0][name] != variable.initial[0]
    ]
    simulator = Simulator(machine)
    for event, state in zip(run, states[:-1], strict=True):
        lines.append(line_for(simulator, event, state))
    return "".join(f"{line}\n" for line in lines)


def line_for(simulator: Simulator, event: Event, state: State) -> str:
    """The line that does this one event in a state, and no other."""
    if event.kind in ("request", "cancel"):
        return f"{event.kind} {event.of}"
    alike = [other for other in simulator.possible(state) if other.text == event.text]
    return event.text if alike == [event] else f"event {event.name}"


def what_could_be_done(railway: Railway, moment: Moment) -> list[str]:
    """Lines that would do something now, each in its shortest form."""
    able = railway.simulator.possible(moment.state)
    said = dict.fromkeys(line for event in able for line in in_short(railway, moment, event))
    for form in ACTS:
        if form.key in ("wait", "time", "go on"):
            line = Line(form.key, {}, form.words, Span("", 1, 1, 1, 1))
            if perform(railway, moment, line).steps:
                said[form.words] = None
    return list(said)


def in_short(railway: Railway, moment: Moment, event: Event) -> Iterator[str]:
    """The line that does an event, in its shortest form, and perhaps more than it."""
    state = moment.state
    match event.kind:
        case "request" | "cancel":
            yield f"{event.kind} {event.of}"
        case "comes in":
            yield f"train comes in from {event.of}"
        case "put down":
            yield f"train stands before {event.of}"
        case "stands":
            yield f"vehicles stand in {_place(railway, event.of)}"
        case "taken off" | "uncoupled":
            yield f"vehicles in {_place(railway, event.of)} are {event.kind}"
        case "ready to leave":
            yield f"vehicles before {event.of} are ready"
        case "turns back":
            yield f"train in {_place(railway, event.of)} turns back"
        case "wholly in":
            yield f"tail of train from {event.of} follows"
        case kind if kind in FRONT:
            signal = railway.signal_passed(event)
            if signal is not None:
                yield f"train passes {signal}"
            else:
                yield f"train in {_place(railway, railway.left_by(event, state))} moves"
        case "tail leaves":
            yield f"tail of train in {_place(railway, event.of)} follows"
        case _:
            yield line_for(railway.simulator, event, state)


def _place(railway: Railway, part: str) -> str:
    """What a script calls a part: its own name, or a piece in it where the section has more."""
    return part if part in railway.parts_of else railway.parts.parts[part].elements[0]
