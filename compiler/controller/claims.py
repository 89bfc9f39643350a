"""What is claimed of a controller, beside all that is claimed of the machine."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Literal, NamedTuple

from bellcrank.controller.controller_model import Input, Reaction
from bellcrank.controller.reactions import Paired
from bellcrank.controller.view import SAID_CLEAR, SAID_OCCUPIED, View, steps_from
from bellcrank.machine.frame import CLEAR, DERAILED, MEETING
from bellcrank.machine.machine_model import Clause, Invariant, is_, is_not

CLAIMS: Mapping[str, str] = {
    "alarms": "no report is ever unexplained: the controller raises no false alarm",
    "lamps": "a lamp shows what its signal shows, until a train that has just passed is reported",
    "acted on": "what has been reported is acted on: no train is overlooked",
}
"""Each as a sentence for people."""


class Unexplained(NamedTuple):
    """What comes in and raises the alarm.

    kind: `occupied` or `clear`: so a section is reported; `elsewhere`: a drive is reported not to
        lie where it should; `time over`: the time of a drive is over.
    value: of a drive that is elsewhere, the position that it does not lie in.
    """

    kind: Literal["occupied", "clear", "elsewhere", "time over"]
    of: str
    value: str = ""


Alarm = tuple[Unexplained, Invariant]
"""What may come in, and that it does not come unexplained."""


def claims(view: View, paired: Iterable[Paired]) -> Iterator[Invariant]:
    """Every clause of every claim."""
    yield from (claim for _, claim in alarms(view, paired))
    yield from lamps(view)
    yield from acted_on(view)


def alarms(
    view: View, paired: Iterable[Paired], unless: Callable[[Input], Clause] = lambda _: ()
) -> Iterator[Alarm]:
    """That every report is explained: if it can come, its reaction is possible.

    unless: where a report does not come though it is so.
    """
    frame = view.frame
    for pair in paired:
        if pair.input is None:
            continue
        section, silent = pair.input.of, unless(pair.input)
        if pair.input.kind == "occupied":
            for part in frame.parts.in_section[section]:
                # That there is no accident is shown for itself.
                none = is_(frame.track[part], CLEAR, MEETING, DERAILED)
                yield from unexplained(view, pair.reaction, pair.input, (none, *silent))
        elif pair.input.kind == "clear":
            occupied = frame.occupied(section)
            yield from unexplained(view, pair.reaction, pair.input, (*occupied, *silent))
    for drive in frame.layout.drives.values():
        lying, truth = view.lying[drive.name], frame.drive[drive.name]
        if not drive.detected:
            continue
        for position in drive.positions:
            sentence = f"a report that {drive.name} does not lie {position} is not explained"
            lies_there = (is_not(lying, position), is_(truth, position))
            raised_by = Unexplained("elsewhere", drive.name, position)
            yield raised_by, Invariant("alarms", lies_there, sentence)


def unexplained(view: View, reaction: Reaction, of: Input, not_come: Clause) -> Iterator[Alarm]:
    """That a report of a section is explained by a reaction, where that is the one for whom the
    section is held: else a clause for each thing that is missing.

    not_come: that the report does not come.
    """
    told = is_(view.said[of.of], SAID_OCCUPIED if of.kind == "occupied" else SAID_CLEAR)
    # The first clause says whom the section is held for; each holder has its reaction.
    (holder,), *explained = reaction.guard
    held = is_not(view.held[of.of], *holder.values)
    for clause in explained:
        sentence = f"a report that {of.of} is {of.kind} is not explained"
        raised_by = Unexplained("occupied" if of.kind == "occupied" else "clear", of.of)
        yield raised_by, Invariant("alarms", (*not_come, told, held, *clause), sentence)


def lamps(view: View) -> Iterator[Invariant]:
    """That what lamps show is so, until a train that has passed is reported."""
    frame = view.frame
    for route in frame.table.routes.values():
        lamp, signal = view.lamp[route.start], frame.signal[route.start]
        stage = frame.route[route.name]
        first = view.detected_after(route, 0)
        yield Invariant(
            "lamps",
            (is_not(lamp, route.name), is_(signal, route.name), is_(stage, *view.under_way(route))),
            f"the lamp of {route.start} is off for {route.name}, though the signal is at stop "
            "and no train has just passed it",
        )
        if first and not view.joins(route, first):
            # Once it is reported, the lamp is at stop.
            yield Invariant(
                "lamps",
                (
                    is_not(lamp, route.name),
                    is_(signal, route.name),
                    is_(view.said[route.sections[first - 1]], SAID_CLEAR),
                ),
                f"the lamp of {route.start} is off though its train has been reported",
            )


def acted_on(view: View) -> Iterator[Invariant]:
    """That once everything is reported, the controller knows how far each train has come: so
    that it is never kept waiting where the machine would go on."""
    frame = view.frame
    for route in frame.table.routes.values():
        progress, stage = view.progress[route.name], frame.route[route.name]
        for place, section in enumerate(route.sections, start=1):
            if section not in view.said or view.joins(route, place):
                continue
            yield Invariant(
                "acted on",
                (
                    is_not(stage, *view.steps_in(route, place)),
                    is_(view.said[section], SAID_CLEAR),
                    is_(progress, *view.as_far_as(route, place)),
                ),
                f"the train of {route.name} is reported in {section}, and the controller does "
                "not know it there",
            )
            beyond = view.detected_after(route, place)
            if beyond != place + 1 or view.joins(route, beyond):
                continue
            last = frame.last_step(route.name, place)
            further = steps_from(last + 1, len(frame.steps[route.name]))
            yield Invariant(
                "acted on",
                (
                    is_not(view.held[section], route.name),
                    is_not(stage, *further),
                    is_(view.said[section], SAID_OCCUPIED),
                    is_(progress, *view.as_far_as(route, beyond)),
                ),
                f"{section} is reported clear behind the train of {route.name}, and stays held",
            )
