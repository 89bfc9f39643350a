"""What trains do: the events by which they come, move on, turn back and leave.

A train has a front and a tail and any length between. It moves on where the
drives actually lie, whatever the interlocking meant. It passes a signal only
while that is off, or has only just been put back to stop; between signals it
goes on of itself. It turns back only where its route has ended and a signal can
let it out again.
"""

from __future__ import annotations

from collections.abc import Iterator

from bellcrank.layout.layout_model import Edge, Leg, Signal
from bellcrank.machine.entries import Crossing, Updates, calls_on, drawn_up_to, entries
from bellcrank.machine.frame import (
    AT_STOP,
    CLEAR,
    CLOSING,
    FREE,
    GONE_ON,
    IDLE,
    INSIDE,
    OUTSIDE,
    PUT_BACK,
    SET,
    Frame,
    here,
    passing,
    under_way,
)
from bellcrank.machine.machine_model import Clause, Event, always, is_, is_not
from bellcrank.machine.parts import Part, Passage
from bellcrank.routes.route_model import Route


def train_events(frame: Frame) -> Iterator[Event]:
    """All events of trains, in the order of the layout."""
    yield from _arrivals(frame)
    yield from _put_down(frame)
    for part in frame.parts.parts.values():
        exits = dict.fromkeys(p.exit for p in part.passages)
        for leg in exits:
            yield from _front_leaves(frame, part, leg)
        for passage in part.passages:
            yield from _tail_leaves(frame, passage)
            yield from _turns_back(frame, passage)
    for name, leg in frame.layout.edges.items():
        signal = frame.parts.signals.get(Edge(name))
        if signal is not None and name in frame.edge:
            yield from _passes(frame, signal, None, leg, None)


# ------------------------------------------------------------ coming and going


def free_and_clear(frame: Frame, section: str) -> list[Clause]:
    """That no train is in a section, and no route holds it or has its overlap there."""
    return [*frame.clear(section), *not_held(frame, section)]


def not_held(frame: Frame, section: str) -> list[Clause]:
    """That no route holds a section or has its overlap there."""
    return [
        (is_(frame.held[section], FREE),),
        *((is_(frame.route[route.name], IDLE, GONE_ON),) for route in frame.overlapping[section]),
    ]


def _arrivals(frame: Frame) -> Iterator[Event]:
    for name, approach in frame.approaches.items():
        outside = frame.edge[name]
        span = frame.layout.where.get(name)
        if approach:
            guard: list[Clause] = [(is_(outside, INSIDE),)]
            for section in dict.fromkeys(frame.part(p.part).section for p in approach):
                guard += free_and_clear(frame, section)
            first = approach[0]
            yield Event(
                f"comes in {name}",
                "comes in",
                "surroundings",
                name,
                f"a train comes in from {name} to {first.part}",
                tuple(guard),
                {
                    frame.track[first.part].name: {CLEAR: here(first)},
                    outside.name: {INSIDE: OUTSIDE},
                },
                span=span,
            )
        yield Event(
            f"wholly in {name}",
            "wholly in",
            "train",
            name,
            f"the tail of the train comes in from {name}",
            ((is_(outside, OUTSIDE),),),
            {outside.name: {OUTSIDE: INSIDE}},
            span=span,
        )


def _put_down(frame: Frame) -> Iterator[Event]:
    for signal in frame.layout.signals.values():
        if not isinstance(signal.before, Leg):
            continue
        passage = next((p for p in frame.parts.by_exit[signal.before] if not p.positions), None)
        if passage is None:
            continue
        section = frame.part(passage.part).section
        guard = free_and_clear(frame, section)
        for before in frame.coming_from[section]:
            guard += frame.clear(before)
        yield Event(
            f"put down {signal.name}",
            "put down",
            "surroundings",
            signal.name,
            f"a train stands in {passage.part}, before {signal.name}",
            tuple(guard),
            {frame.track[passage.part].name: {CLEAR: here(passage)}},
            span=signal.span,
        )


def _tail_leaves(frame: Frame, passage: Passage) -> Iterator[Event]:
    beyond = frame.layout.joined.get(passage.exit)
    if not isinstance(beyond, Leg | Edge):
        return
    variable = frame.track[passage.part]
    where = f"by {beyond.name}" if isinstance(beyond, Edge) else f"for {_part_at(frame, beyond)}"
    yield Event(
        f"tail leaves {passage.part}: {passage.name}",
        "tail leaves",
        "train",
        passage.part,
        f"the tail of the train leaves {passage.part} {where}",
        ((is_(variable, passing(passage)),), *frame.nothing_into(passage.entry)),
        {variable.name: {passing(passage): CLEAR}},
    )


def _turns_back(frame: Frame, passage: Passage) -> Iterator[Event]:
    signal = frame.signal_at(passage.entry)
    back = next(
        (
            p
            for p in frame.parts.by_exit[passage.entry]
            if p.entry == passage.exit and _reversed(p) == tuple(w.element for w in passage.ways)
        ),
        None,
    )
    if signal is None:
        # The signal that lets a train out stands where the leg is left.
        return
    if back is None:
        return
    variable = frame.track[passage.part]
    guard: list[Clause] = [(is_(variable, here(passage)),), *frame.nothing_into(passage.entry)]
    for route, step in frame.crossing[passage.exit]:
        guard.append((is_not(frame.route[route.name], under_way(step - 1)),))
    yield Event(
        f"turns back {passage.part}: {passage.name}",
        "turns back",
        "train",
        passage.part,
        f"the train in {passage.part} turns back, to leave past {signal.name}",
        tuple(guard),
        {variable.name: {here(passage): here(back)}},
    )


def _reversed(passage: Passage) -> tuple[str, ...]:
    return tuple(way.element for way in reversed(passage.ways))


# ---------------------------------------------------------------- moving on


def _front_leaves(frame: Frame, part: Part, leg: Leg) -> Iterator[Event]:
    """A front leaves a part by a leg: past a signal, or on of itself."""
    beyond = frame.layout.joined.get(leg)
    if not isinstance(beyond, Leg | Edge):
        return
    signal = frame.signal_at(leg)
    if isinstance(beyond, Edge):
        if signal is None:
            yield Event(
                f"leaves by {beyond.name} from {leg}",
                "enters",
                "train",
                beyond.name,
                f"the train in {part.name} runs out by {beyond.name}",
                ((_front(frame, part, leg)),),
                _moved(frame, part, leg),
                span=frame.layout.where.get(beyond.name),
            )
        return
    if signal is not None:
        yield from _passes(frame, signal, part, beyond, leg)
    else:
        yield from _runs_on(frame, part, leg, beyond)


def _front(frame: Frame, part: Part, leg: Leg) -> Clause:
    values = [here(p) for p in part.passages if p.exit == leg]
    return (is_(frame.track[part.name], *values),)


def _moved(frame: Frame, part: Part, leg: Leg) -> Updates:
    return {
        frame.track[part.name].name: {here(p): passing(p) for p in part.passages if p.exit == leg}
    }


def _runs_on(frame: Frame, part: Part, leg: Leg, beyond: Leg) -> Iterator[Event]:
    """Events by which a front goes on over a joint where no signal is read."""
    moved = _moved(frame, part, leg)
    advance: Updates = {
        frame.route[route.name].name: {under_way(step - 1): under_way(step)}
        for route, step in frame.crossing[leg]
    }
    calling = [(route, step) for route, step in frame.crossing[leg] if calls_on(frame, route, step)]
    yield from entries(
        frame,
        Crossing(
            kind="enters",
            joint=f"{part.name} to {beyond}",
            text=f"the train in {part.name}",
            leg=leg,
            beyond=beyond,
            guard=(_front(frame, part, leg),),
            on_way={**moved, **advance},
            off_way=moved,
            called=tuple(is_(frame.route[r.name], under_way(step - 1)) for r, step in calling)
            or None,
            joined=tuple(drawn_up_to(frame, calling, {**moved, **advance})) if calling else (),
        ),
    )


def _passes(
    frame: Frame, signal: Signal, part: Part | None, beyond: Leg, leg: Leg | None
) -> Iterator[Event]:
    """Events by which a front passes a signal. Without a part it stands outside the edge."""
    front, passed = _at_signal(frame, signal, part, leg)
    for route in frame.onward[signal.name]:
        yield from entries(frame, _passed_for(frame, signal, route, front, passed, beyond, leg))
    if frame.onward[signal.name]:
        yield from entries(frame, _passed_put_back(frame, signal, front, passed, beyond, leg))


def passed_at_stop(frame: Frame, signal: Signal) -> Iterator[Event]:
    """Events by which a front passes a signal that is at stop. No train does so in the machine;
    they are for what comes of it if one does."""
    leg, part = None, None
    if isinstance(signal.before, Leg):
        leg = signal.before
        part = frame.part(frame.parts.part_of[leg.element])
    elif signal.before.name not in frame.edge:
        return
    front, passed = _at_signal(frame, signal, part, leg)
    yield from entries(
        frame,
        Crossing(
            kind="passes signal",
            joint=f"{signal.name} at stop",
            text=f"a train passes {signal.name} at stop and",
            leg=leg,
            beyond=signal.beyond,
            guard=(front, (is_(frame.signal[signal.name], AT_STOP),)),
            on_way=passed,
            off_way=passed,
            span=signal.span,
        ),
    )


def _at_signal(
    frame: Frame, signal: Signal, part: Part | None, leg: Leg | None
) -> tuple[Clause, Updates]:
    """That a front stands at a signal, and what changes whenever one passes it."""
    shows = frame.signal[signal.name]
    if part is not None and leg is not None:
        front, moved = _front(frame, part, leg), _moved(frame, part, leg)
    else:
        assert isinstance(signal.before, Edge)
        outside = frame.edge[signal.before.name]
        front, moved = (is_(outside, INSIDE),), {outside.name: {INSIDE: OUTSIDE}}
    passed: Updates = {
        **moved,
        shows.name: always(shows, AT_STOP),
        **{
            frame.route[route.name].name: {under_way(len(frame.steps[route.name])): GONE_ON}
            for route in frame.ending[signal.name]
            if route.overlap is not None
        },
    }
    return front, passed


def _passed_for(
    frame: Frame,
    signal: Signal,
    route: Route,
    front: Clause,
    passed: Updates,
    beyond: Leg,
    leg: Leg | None,
) -> Crossing:
    """How a front passes a signal that is off for a route, or was until just now."""
    shows, stage = frame.signal[signal.name], frame.route[route.name]
    on_way = {**passed, stage.name: {SET: under_way(1), CLOSING: under_way(1)}}
    called = calls_on(frame, route, 1)
    return Crossing(
        kind="passes signal",
        joint=f"{signal.name} for {route.name}",
        text=f"a train passes {signal.name} and",
        leg=leg,
        beyond=beyond,
        guard=(
            front,
            (is_(shows, route.name, PUT_BACK),),
            (is_(shows, route.name), is_(stage, CLOSING)),
            (is_(stage, SET, CLOSING),),
        ),
        on_way=on_way,
        off_way=on_way,
        called=() if called else None,
        joined=tuple(drawn_up_to(frame, [(route, 1)], passed)) if called else (),
        route=route.name,
        span=signal.span,
    )


def _passed_put_back(
    frame: Frame, signal: Signal, front: Clause, passed: Updates, beyond: Leg, leg: Leg | None
) -> Crossing:
    """How a front passes a signal that was put back too late for it, for no route."""
    shows = frame.signal[signal.name]
    return Crossing(
        kind="passes signal",
        joint=f"{signal.name} put back to stop",
        text=f"a train passes {signal.name}, which has just been put back to stop, and",
        leg=leg,
        beyond=beyond,
        guard=(
            front,
            (is_(shows, PUT_BACK),),
            *((is_not(frame.route[r.name], CLOSING),) for r in frame.onward[signal.name]),
        ),
        on_way=passed,
        off_way=passed,
        span=signal.span,
    )


def _part_at(frame: Frame, leg: Leg) -> str:
    return frame.parts.part_of[leg.element]
