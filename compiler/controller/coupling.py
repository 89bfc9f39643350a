"""How far what the controller believes may be from what is so.

Clauses that help to show by induction what is claimed of controller and railway together.
Like the machine's lemmas they are candidates, which the prover must show like anything else.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from bellcrank.controller.view import (
    SAID_CLEAR,
    SAID_OCCUPIED,
    STANDS_STILL,
    View,
    in_section,
    steps_from,
)
from bellcrank.layout.layout_model import Edge, Leg, TrackEnd
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
    Frame,
    here,
    implies,
    moving,
    passing,
    under_way,
)
from bellcrank.machine.machine_model import Clause, Is, having, is_, is_not
from bellcrank.machine.safety import onward
from bellcrank.routes.route_model import Route


def coupling(view: View) -> Iterator[Clause]:
    """All candidate clauses of a controller and its railway."""
    yield from _reports(view)
    yield from _drives(view)
    yield from _lamps(view)
    for route in view.frame.table.routes.values():
        yield from _how_far(view, route)
        yield from _passed(view, route)
        for place in range(1, len(route.sections) + 1):
            yield from _section(view, route, place)
        yield from _stands_still(view, route)
        if route.overlap is not None:
            yield from _overlap(view, route)


# ----------------------------------------------------------------- reports


def _reports(view: View) -> Iterator[Clause]:
    """What is known of track whose section is reported clear: what is on it has just come
    in, and reaches back to where it came from."""
    frame = view.frame
    approached: dict[str, list[Leg]] = defaultdict(list)
    for approach in frame.approaches.values():
        for passage in approach[1:]:
            approached[passage.part].append(passage.entry)
    for section, said in view.said.items():
        occupied = is_(said, SAID_OCCUPIED)
        for name in frame.parts.in_section[section]:
            track, part = frame.track[name], frame.part(name)
            yield (is_not(track, STANDING), occupied)
            # It is held for what comes in, unless that comes from an edge.
            coming = [having(v, of) for leg in approached[name] for v, of in frame.into(leg)]
            yield (is_(track, CLEAR), occupied, is_not(view.held[section], FREE), *coming)
            for leg in dict.fromkeys(p.entry for p in part.passages):
                came = is_not(track, *_entered(frame, leg))
                yield (came, occupied, *_reaching(frame, leg))
                before = frame.layout.joined.get(leg)
                if before is not None and leg not in approached[name]:
                    routes = [route.name for route in _over(frame, before)]
                    yield (came, occupied, is_(view.held[section], *routes))
            for passage in part.passages:
                beyond = frame.layout.joined.get(passage.exit)
                within = isinstance(beyond, Leg) and frame.layout.section_of[beyond.element]
                if within != section:
                    yield (is_not(track, passing(passage)), occupied)


def _entered(frame: Frame, leg: Leg) -> list[str]:
    return [value for p in frame.parts.by_entry[leg] for value in (here(p), passing(p))]


def _reaching(frame: Frame, leg: Leg) -> list[Is]:
    """That a train reaches back across a joint, over which it has come unreported."""
    before = frame.layout.joined.get(leg)
    if isinstance(before, Edge) and frame.approaches.get(before.name):
        return []  # that it comes in is reported at once
    return [having(variable, values) for variable, values in frame.into(leg)]


def _over(frame: Frame, before: TrackEnd) -> list[Route]:
    """The routes that lead on from a leg or an edge."""
    signal = frame.parts.signals.get(before)
    if signal is not None:
        return frame.onward[signal.name]
    return [route for route, _ in frame.crossing[before]] if isinstance(before, Leg) else []


# --------------------------------------------------------- drives and lamps


def _drives(view: View) -> Iterator[Clause]:
    for drive in view.frame.layout.drives.values():
        lying, truth = view.lying[drive.name], view.frame.drive[drive.name]
        for position in drive.positions:
            sent = moving(position)
            yield (is_not(lying, position), is_(truth, position))
            yield (is_not(lying, sent), is_(truth, position, sent))
            yield (is_not(truth, sent), is_(lying, sent))


def _lamps(view: View) -> Iterator[Clause]:
    for name, lamp in view.lamp.items():
        signal = view.frame.signal[name]
        yield (is_not(lamp, AT_STOP), is_(signal, AT_STOP))
        yield (is_not(lamp, PUT_BACK), is_(signal, PUT_BACK, AT_STOP))
        for shown in signal.values[1:]:
            yield (is_not(signal, shown), is_(lamp, shown))
        routes = view.frame.onward[name]
        yield implies([(lamp, (PUT_BACK,))], [is_(view.progress[r.name], CLOSING) for r in routes])


def _passed(view: View, route: Route) -> Iterator[Clause]:
    """A train that has passed the signal, of which the controller does not know yet."""
    progress, stage = view.progress[route.name], view.frame.route[route.name]
    lamp, signal = view.lamp[route.start], view.frame.signal[route.start]
    gone = view.under_way(route)
    yield (is_not(lamp, route.name), is_(progress, SET))
    yield implies([(lamp, (route.name,))], [is_(signal, route.name), is_(stage, *gone)])
    yield implies([(progress, (SET,)), (stage, gone)], [is_(lamp, route.name)])
    yield implies([(progress, (CLOSING,)), (stage, gone)], [is_(lamp, PUT_BACK)])
    off = [(progress, (SET,)), (stage, (SET,)), (lamp, (route.name,))]
    yield implies(off, [is_(signal, route.name)])


# ------------------------------------------------------------------ routes


def _how_far(view: View, route: Route) -> Iterator[Clause]:
    """The front is where it was reported, or so far beyond that it was not reported yet: at
    most in the next detected section."""
    frame = view.frame
    progress, stage = view.progress[route.name], frame.route[route.name]
    yield (is_not(progress, IDLE), is_(stage, IDLE))
    for place, (values, _, may) in enumerate(how_far(view, route)):
        after = view.detected_after(route, place)
        for value in values:
            own = [value] if place == 0 else []
            yield implies([(progress, (value,))], [is_(stage, *own, *may)])
        if after and not view.joins(route, after):
            said = view.said[route.sections[after - 1]]
            ahead = view.steps_in(route, after)
            yield implies([(progress, values), (stage, ahead)], [is_(said, SAID_CLEAR)])
            if place == 0:
                yield implies([(progress, (IDLE, *values))], [is_(stage, IDLE, *values, *may)])
    if route.overlap is not None:
        yield implies([(progress, (GONE_ON,))], [is_(stage, GONE_ON)])


def how_far(view: View, route: Route) -> Iterator[tuple[list[str], list[str], list[str]]]:
    """For no section of a route and for each, in their order: what the controller believes, the
    stages in which no train has come, and those in which it may have come farther."""
    frame = view.frame
    n = len(route.sections)
    for place in range(n + 1):
        after = view.detected_after(route, place)
        first = frame.first_step(route.name, place) if place else 1
        may = view.under_way(route, first)
        if after and not view.joins(route, after):
            may = steps_from(first, frame.last_step(route.name, after))
        values = [SET, CLOSING] if place == 0 else [in_section(place)]
        if place == n and view.timed(route):
            values.append(STANDS_STILL)
        yield values, values if place == 0 else [], may


def _section(view: View, route: Route, place: int) -> Iterator[Clause]:
    """What a section of a route is like while its train comes, is there, and has gone."""
    frame = view.frame
    section = route.sections[place - 1]
    progress, stage = view.progress[route.name], frame.route[route.name]
    held, said = view.held[section], view.said.get(section)
    for_it = (held, (route.name,))
    before = [SET, CLOSING, *map(in_section, range(1, place))]
    yield implies([(progress, [*before, in_section(place)])], [is_(held, route.name)])
    yield implies([for_it], [is_not(progress, IDLE)])
    if said is None:
        return
    parts = frame.parts.in_section[section]
    steps = [step for step in frame.steps[route.name] if step.section == place]
    passage = steps[0].passage if len(steps) == 1 else None
    if section in route.sections_clear:
        yield implies([(progress, before)], [is_(said, SAID_CLEAR)])
        if passage is not None:
            # Not reported yet: the front is there still.
            first = view.detected_before(route, place)
            values = [in_section(k) for k in range(first, place)] if first else before
            step = under_way(frame.first_step(route.name, place))
            there = is_(frame.track[passage.part], here(passage))
            yield implies([(progress, values), (stage, (step,))], [there])
    if view.joins(route, place):
        # What came in unreported is its train, though vehicles may have stood there before.
        came = is_(stage, *view.under_way(route, frame.first_step(route.name, place)))
        for part in parts:
            yield implies([for_it], [is_(frame.track[part], CLEAR), is_(said, SAID_OCCUPIED), came])
    for part in () if place == 1 and view.passing_confirmed(route) else parts:
        # It was reported when its train came.
        reported = [is_(frame.track[part], CLEAR), is_(said, SAID_OCCUPIED)]
        yield implies([(progress, view.as_far_as(route, place)), for_it], reported)
    after = view.detected_after(route, place)
    if after != place + 1:
        return
    if passage is not None and not view.joins(route, after):
        # Its tail has not left the section behind.
        there = is_(frame.track[passage.part], here(passage), passing(passage))
        yield implies([(progress, (in_section(place),))], [there])
    beyond = view.as_far_as(route, place if view.joins(route, after) else after)
    for part in parts:
        # What its train left there, it left when it had been reported further on.
        yield implies([for_it, (frame.track[part], (STANDING,))], [is_(progress, *beyond)])


def _stands_still(view: View, route: Route) -> Iterator[Clause]:
    """While the time runs of a train that has arrived, nothing is left behind it."""
    if not view.timed(route):
        return
    still = [(view.progress[route.name], (STANDS_STILL,))]
    last = len(route.sections)
    entry = next(s.entry for s in view.frame.steps[route.name] if s.section == last)
    for clause in view.frame.nothing_into(entry):
        yield implies(still, clause)
    for section in route.sections[:-1]:
        if view.frame.released_by_section(route):
            yield implies(still, [is_not(view.held[section], route.name)])
        else:
            for clause in view.frame.clear(section):
                yield implies(still, clause)


def _overlap(view: View, route: Route) -> Iterator[Clause]:
    """As long as its overlap is kept, nothing comes there but what goes on from its end."""
    frame = view.frame
    progress, stage = view.progress[route.name], frame.route[route.name]
    n = len(route.sections)
    coming = [SET, CLOSING, *map(in_section, range(1, n))]
    for section in route.overlap_sections:
        if section in view.said:
            yield (is_(progress, IDLE, GONE_ON), is_(view.said[section], SAID_CLEAR))
        for further in onward(frame, route, section):
            if view.detected(further.sections[0]):
                # The way on may be set, but no train that came before is still on it.
                last = frame.last_step(further.name, further.sections.index(section) + 1)
                held = (view.held[section], (further.name,))
                yield implies(
                    [(progress, coming), held],
                    [is_not(frame.route[further.name], *steps_from(1, last))],
                )
    for further in frame.onward[route.end] if route.end_kind == "signal" else ():
        if view.detected(further.sections[0]):
            # A train that has passed the signal where the route ends, and is not reported yet.
            yield implies(
                [
                    (progress, (in_section(n), STANDS_STILL)),
                    (view.progress[further.name], (SET, CLOSING)),
                    (
                        frame.route[further.name],
                        steps_from(1, len(frame.steps[further.name])),
                    ),
                ],
                [is_(stage, GONE_ON)],
            )
