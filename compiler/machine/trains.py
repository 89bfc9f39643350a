"""What trains do: the events by which they come, move on, turn back and leave.

A train has a front and a tail and any length between. It moves on where the
drives actually lie, whatever the interlocking meant. It passes a signal only
while that is off, or has only just been put back to stop; between signals it
goes on of itself. It turns back only where its route has ended and a signal can
let it out again.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product

from bellcrank.diagnostics import Span
from bellcrank.layout.layout_model import Edge, Leg, Signal
from bellcrank.machine.frame import (
    AT_STOP,
    CLEAR,
    CLOSING,
    DERAILED,
    FREE,
    GONE_ON,
    IDLE,
    INSIDE,
    MEETING,
    OUTSIDE,
    PUT_BACK,
    SET,
    Frame,
    here,
    passing,
    under_way,
)
from bellcrank.machine.machine_model import Clause, Event, EventKind, always, is_, is_not
from bellcrank.machine.parts import Part, Passage
from bellcrank.routes.route_model import Route

Updates = dict[str, dict[str, str]]


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
    return [
        *frame.clear(section),
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
    advance: Updates = {
        frame.route[route.name].name: {under_way(step - 1): under_way(step)}
        for route, step in frame.crossing[leg]
    }
    callers = [
        (route, step)
        for route, step in frame.crossing[leg]
        if route.calling_on and step == len(frame.steps[route.name])
    ]
    joining: list[Clause] = [
        tuple(is_(frame.route[route.name], under_way(step - 1)) for route, step in callers)
    ]
    not_joining: list[Clause] = []
    for route, step in callers:
        elsewhere = is_not(frame.route[route.name], under_way(step - 1))
        not_joining += [(elsewhere, *clause) for clause in _cannot_join(frame, beyond)]
    base = _moved(frame, part, leg)
    guard: list[Clause] = [_front(frame, part, leg)]
    yield from _entries(
        frame, part.name, leg, beyond, guard, {**base, **advance}, base, "enters", None,
        joining if callers else None, not_joining,
    )  # fmt: skip


def _passes(
    frame: Frame, signal: Signal, part: Part | None, beyond: Leg, leg: Leg | None
) -> Iterator[Event]:
    """Events by which a front passes a signal. Without a part it stands outside the edge."""
    shows = frame.signal[signal.name]
    front: list[Clause] = []
    base: Updates = {}
    if part is not None and leg is not None:
        front.append(_front(frame, part, leg))
        base |= _moved(frame, part, leg)
    else:
        assert isinstance(signal.before, Edge)
        outside = frame.edge[signal.before.name]
        front.append((is_(outside, INSIDE),))
        base |= {outside.name: {INSIDE: OUTSIDE}}
    routes = frame.onward[signal.name]
    base |= {shows.name: always(shows, AT_STOP)}
    base |= {
        frame.route[route.name].name: {
            under_way(len(frame.steps[route.name])): GONE_ON,
        }
        for route in frame.ending[signal.name]
        if route.overlap is not None
    }
    came_from = part.name if part is not None else str(signal.before)
    for route in routes:
        stage = frame.route[route.name]
        guard = [
            *front,
            (is_(shows, route.name, PUT_BACK),),
            (is_(shows, route.name), is_(stage, CLOSING)),
            (is_(stage, SET, CLOSING),),
        ]
        on_way = {**base, stage.name: {SET: under_way(1), CLOSING: under_way(1)}}
        joining: list[Clause] | None = None
        not_joining: list[Clause] = []
        if route.calling_on and len(frame.steps[route.name]) == 1:
            joining, not_joining = [], _cannot_join(frame, beyond)
        yield from _entries(
            frame, came_from, leg, beyond, guard, on_way, on_way, "passes signal", route,
            joining, not_joining, signal,
        )  # fmt: skip
    nobody: list[Clause] = [
        *front,
        (is_(shows, PUT_BACK),),
        *((is_not(frame.route[r.name], CLOSING),) for r in routes),
    ]
    if routes:
        yield from _entries(
            frame, came_from, leg, beyond, nobody, base, base, "passes signal", None,
            None, [], signal,
        )  # fmt: skip


def _entries(
    frame: Frame,
    came_from: str,
    leg: Leg | None,
    beyond: Leg,
    guard: list[Clause],
    on_way: Updates,
    off_way: Updates,
    kind: EventKind,
    route: Route | None,
    joining: list[Clause] | None,
    not_joining: list[Clause],
    signal: Signal | None = None,
) -> Iterator[Event]:
    """What becomes of a front that crosses a joint into the part beyond.

    on_way, off_way: what else changes if it goes on as its route means, and if not.
    joining: when it may draw up to a train that stands there; None for never.
    not_joining: that it may not.
    """
    target = frame.part(frame.parts.part_of[beyond.element])
    variable = frame.track[target.name]
    same_section = (
        leg is not None and frame.part(frame.parts.part_of[leg.element]).section == target.section
    )
    clear: list[Clause]
    if same_section:
        clear = [(is_(variable, CLEAR),)]
        occupied: Clause = (is_not(variable, CLEAR),)
    else:
        clear, occupied = frame.clear(target.section), frame.occupied(target.section)
    across = f"{came_from} to {beyond}"
    by = ""
    actor_route = route.name if route is not None else None
    if signal is not None:
        across = f"{signal.name}" + (f" for {route.name}" if route else " put back to stop")
        by = f" passes {signal.name}"
        if route is None:
            by += ", which has just been put back to stop,"
        by += " and"
    span = signal.span if signal is not None else None
    who = "the train" if signal is None else "a train"
    where = f" in {came_from}" if signal is None else ""
    passages = frame.parts.by_entry[beyond]
    for passage in passages:
        lies = [(frame.lies(d, p),) for d, p in passage.positions]
        into = f"enters {target.name}"
        if passage.positions:
            into += " with " + " and ".join(f"{d} {p}" for d, p in passage.positions)
        yield Event(
            f"{kind} {across}: {passage.name}",
            kind,
            "train",
            target.name,
            f"{who}{where}{by} {into}",
            (*guard, *clear, *lies),
            {**on_way, variable.name: {CLEAR: here(passage)}},
            actor_route,
            span,
            beyond,
        )
    if joining is not None:
        yield from _join(
            frame, across, target, beyond, [*guard, *joining, occupied], on_way,
            f"{who}{where}{by} draws up to the train in {target.name}", actor_route, span,
        )  # fmt: skip
    yield Event(
        f"meets {across}",
        "meets",
        "train",
        target.name,
        f"{who}{where}{by} runs into {whereabouts(target)}, where another train stands",
        (*guard, occupied, *not_joining),
        {**off_way, variable.name: always(variable, MEETING)},
        actor_route,
        span,
        beyond,
    )
    if DERAILED in variable.values and all(passage.positions for passage in passages):
        wrong = [
            tuple(is_not(frame.drive[d], p) for d, p in passage.positions) for passage in passages
        ]
        drives = dict.fromkeys(d for passage in passages for d, _ in passage.positions)
        yield Event(
            f"derails {across}",
            "derails",
            "train",
            target.name,
            f"{who}{where}{by} runs into {target.name}, where it finds "
            f"{' and '.join(drives) or 'no way'} not set for it",
            (*guard, *clear, *wrong),
            {**off_way, variable.name: {CLEAR: DERAILED}},
            actor_route,
            span,
            beyond,
        )


def whereabouts(part: Part) -> str:
    """A part in words, with what lies in it where its name does not say."""
    name = part.name if part.name == part.section else f"the section {part.section}"
    return name if part.elements == (part.name,) else f"{name} ({', '.join(part.elements)})"


def _can_join(frame: Frame, beyond: Leg) -> tuple[list[Passage], list[Passage]]:
    """Passages of a train that one coming in at this leg may draw up to: those in the
    same direction, and those against it."""
    part = frame.part(frame.parts.part_of[beyond.element])
    along = [p for p in part.passages if p.entry == beyond]
    exits = {p.exit for p in along}
    against = [p for p in part.passages if p.exit == beyond and p.entry in exits]
    return along, against


def _cannot_join(frame: Frame, beyond: Leg) -> list[Clause]:
    """That the train beyond a joint cannot be drawn up to: it comes the other way and
    is not wholly there, or it is no train that stands as it should."""
    along, against = _can_join(frame, beyond)
    part = frame.part(frame.parts.part_of[beyond.element])
    variable = frame.track[part.name]
    same = [v for p in along for v in (here(p), passing(p))]
    opposite = [here(p) for p in against]
    reaching = [
        literal
        for leg in dict.fromkeys(p.entry for p in against)
        for into, values in frame.into(leg)
        for literal in (is_(into, *values),)
    ]
    return [(is_not(variable, *same),), (is_not(variable, *same, *opposite), *reaching)]


def _join(
    frame: Frame,
    across: str,
    part: Part,
    beyond: Leg,
    guard: list[Clause],
    updates: Mapping[str, dict[str, str]],
    text: str,
    route: str | None,
    span: Span | None,
) -> Iterator[Event]:
    """A train that is called on draws up to another; the two then move as one."""
    along, against = _can_join(frame, beyond)
    variable = frame.track[part.name]
    becomes = {}
    for one, other in product(along, against):
        if one.exit == other.entry:
            becomes[here(other)] = here(one)
    same = [v for p in along for v in (here(p), passing(p))]
    clauses: list[Clause] = [(is_(variable, *same, *becomes),)]
    for leg in dict.fromkeys(p.entry for p in against):
        for clause in frame.nothing_into(leg):
            clauses.append((is_(variable, *same), *clause))
    yield Event(
        f"joins {across}",
        "joins",
        "train",
        part.name,
        text,
        (*guard, *clauses),
        {**updates, variable.name: becomes},
        route,
        span,
        beyond,
    )


def _part_at(frame: Frame, leg: Leg) -> str:
    return frame.parts.part_of[leg.element]
