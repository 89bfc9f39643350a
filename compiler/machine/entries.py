"""What becomes of a front that crosses a joint: it enters the part beyond, draws up to a
train there, meets it, or finds no way set and comes off the rails.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import NamedTuple

from bellcrank.diagnostics import Span
from bellcrank.layout.layout_model import Leg
from bellcrank.machine.frame import (
    CLEAR,
    CLOSING,
    DERAILED,
    MEETING,
    SET,
    STANDING,
    Frame,
    here,
    passing,
    under_way,
)
from bellcrank.machine.machine_model import (
    Clause,
    Event,
    EventKind,
    Is,
    Variable,
    always,
    is_,
    is_not,
)
from bellcrank.machine.parts import Part, Passage
from bellcrank.routes.route_model import Route

Updates = Mapping[str, Mapping[str, str]]


class Joined(NamedTuple):
    """A train that is drawn up to, with its front no further than some part.

    front: that part, if it is beyond the one where the two touch. guard: that it is there.
    updates: what changes, the track aside.
    """

    front: str | None
    guard: tuple[Clause, ...]
    updates: Updates


@dataclass(frozen=True, slots=True, kw_only=True)
class Crossing:
    """A front that crosses a joint into the part beyond.

    kind: of the events if it finds the part clear.
    joint: what the names of events call the joint.
    text: how sentences begin: who crosses, and past what.
    leg: by which it leaves its own part; None from outside an edge.
    beyond: by which it comes into the next part.
    guard: when it may.
    on_way, off_way: what else changes if it goes on as its route means, and if not.
    called: when it is called on into the section beyond, each a stage of a route; none of
        them are looked at if it always is, and it never is if None. Only the part that it comes
        into must then be clear, and a train there may be drawn up to.
    joined: what else changes if it draws up to a train there.
    """

    kind: EventKind
    joint: str
    text: str
    leg: Leg | None
    beyond: Leg
    guard: tuple[Clause, ...]
    on_way: Updates
    off_way: Updates
    called: tuple[Is, ...] | None = None
    joined: tuple[Joined, ...] = ()
    route: str | None = None
    span: Span | None = None


@dataclass(frozen=True, slots=True)
class _Beyond:
    """The part that a front comes into.

    clear, occupied: that it may come in without meeting a train, and that it may not. One that
        is called on minds trains in this part alone.
    passages: those that begin where it comes in.
    """

    part: Part
    track: Variable
    clear: tuple[Clause, ...]
    occupied: tuple[Clause, ...]
    passages: tuple[Passage, ...]


def entries(frame: Frame, crossing: Crossing) -> Iterator[Event]:
    """What may become of a front that crosses a joint."""
    beyond = _beyond(frame, crossing)
    for passage in beyond.passages:
        yield _enters(frame, crossing, beyond, passage)
    if crossing.called is not None:
        yield from _joins(frame, crossing, beyond, crossing.called)
    yield _meets(frame, crossing, beyond)
    if DERAILED in beyond.track.values and all(p.positions for p in beyond.passages):
        yield _derails(frame, crossing, beyond)


def calls_on(frame: Frame, route: Route, step: int) -> bool:
    """Whether a route calls its train on into the part of this step: one of its berth."""
    steps = frame.steps[route.name]
    berth = (s.section == len(route.sections) for s in steps[step - 1 :])
    return route.calling_on and (step == len(steps) or all(berth))


def drawn_up_to(
    frame: Frame, routes: Sequence[tuple[Route, int]], updates: Updates
) -> Iterator[Joined]:
    """How far the front of a train may be that is drawn up to, of one that is called on.

    routes: those that call on over a joint, each with the step that begins there. A berth is
    plain track, so all lead on alike; and a train that reaches beyond the part where the two
    touch lies on their way. What they lead is one train then, with that front.
    updates: what changes, the stages of these routes aside.
    """
    (route, step), *_ = routes
    passed: list[Clause] = []
    following = frame.steps[route.name][step - 1 :]
    for further, at in enumerate(following):
        reached = {
            frame.route[r.name].name: dict.fromkeys(
                (under_way(first - 1),) if first > 1 else (SET, CLOSING), under_way(first + further)
            )
            for r, first in routes
        }
        guard = list(passed)
        if at != following[-1]:
            assert at.passage is not None
            goes_on = passing(at.passage)
            guard.append((is_not(frame.track[at.part], goes_on),))
            passed.append((is_(frame.track[at.part], goes_on),))
        yield Joined(at.part if further else None, tuple(guard), {**updates, **reached})


def _beyond(frame: Frame, crossing: Crossing) -> _Beyond:
    part = frame.part(frame.parts.part_of[crossing.beyond.element])
    track = frame.track[part.name]
    passages = frame.parts.by_entry[crossing.beyond]
    leg = crossing.leg
    if leg is not None and frame.layout.section_of[leg.element] == part.section:
        # The front is in the section already: only the part itself must be clear.
        return _Beyond(part, track, ((is_(track, CLEAR),),), ((is_not(track, CLEAR),),), passages)
    clear, occupied = frame.clear(part.section), [frame.occupied(part.section)]
    if crossing.called is not None and len(clear) > 1:
        here_clear = (is_(track, CLEAR),)
        clear = [c if c == here_clear else (*c, *crossing.called) for c in clear]
        if not crossing.called:
            clear, occupied = [here_clear], []
        occupied += _unless(frame, crossing.called, [(is_not(track, CLEAR),)])
    return _Beyond(part, track, tuple(clear), tuple(occupied), passages)


def _unless(frame: Frame, called: tuple[Is, ...], clauses: Sequence[Clause]) -> list[Clause]:
    """Clauses that count for a front that is called on."""
    if not called:
        return list(clauses)
    elsewhere = [is_not(frame.named[stage.variable], *sorted(stage.values)) for stage in called]
    return [(stage, *clause) for stage in elsewhere for clause in clauses]


def _event(
    crossing: Crossing,
    beyond: _Beyond,
    kind: EventKind,
    name: str,
    text: str,
    guard: tuple[Clause, ...],
    updates: Updates,
) -> Event:
    return Event(
        name,
        kind,
        "train",
        beyond.part.name,
        f"{crossing.text} {text}",
        (*crossing.guard, *guard),
        updates,
        crossing.route,
        crossing.span,
        crossing.beyond,
    )


def _enters(frame: Frame, crossing: Crossing, beyond: _Beyond, passage: Passage) -> Event:
    """It finds the part clear and a way set."""
    text = f"enters {beyond.part.name}"
    if passage.positions:
        text += " with " + " and ".join(f"{d} {p}" for d, p in passage.positions)
    lies = [(frame.lies(d, p),) for d, p in passage.positions]
    return _event(
        crossing,
        beyond,
        crossing.kind,
        f"{crossing.kind} {crossing.joint}: {passage.name}",
        text,
        (*beyond.clear, *lies),
        {**crossing.on_way, beyond.track.name: {CLEAR: here(passage)}},
    )


def _joins(
    frame: Frame, crossing: Crossing, beyond: _Beyond, called: tuple[Is, ...]
) -> Iterator[Event]:
    """It is called on and draws up to another train, or to vehicles that stand; they then
    move as one, and its route has led it as far as the other's front. Vehicles that stand may be
    on any of the ways there: it goes the way the drives lie."""
    joining = (called,) if called else ()
    along, against = _can_join(frame, crossing.beyond)
    becomes = {
        here(other): here(one) for one, other in product(along, against) if one.exit == other.entry
    }
    same = [value for p in along for value in (here(p), passing(p))]
    whole: list[Clause] = []
    if len(along) == 1:
        becomes[STANDING] = here(along[0])
        same.append(STANDING)
        standing = is_not(beyond.track, STANDING)
        whole += [(standing, frame.lies(d, p)) for d, p in along[0].positions]
    whole.append((is_(beyond.track, *same, *becomes),))
    for leg in dict.fromkeys(p.entry for p in against):
        whole += [(is_(beyond.track, *same), *clause) for clause in frame.nothing_into(leg)]
    for joined in crossing.joined:
        reaching = "" if joined.front is None else f", which reaches to {joined.front}"
        yield _event(
            crossing,
            beyond,
            "joins",
            f"joins {crossing.joint}{reaching}",
            f"draws up to the train in {beyond.part.name}{reaching}",
            (*joining, *beyond.occupied, *whole, *joined.guard),
            joined.updates if joined.front else {**joined.updates, beyond.track.name: becomes},
        )
    for passage in along if len(along) > 1 else ():
        yield _event(
            crossing,
            beyond,
            "joins",
            f"joins {crossing.joint}: {passage.name}",
            f"draws up to the vehicles that stand in {beyond.part.name}",
            (
                *joining,
                (is_(beyond.track, STANDING),),
                *((frame.lies(d, p),) for d, p in passage.positions),
            ),
            {**crossing.on_way, beyond.track.name: {STANDING: here(passage)}},
        )


def _meets(frame: Frame, crossing: Crossing, beyond: _Beyond) -> Event:
    """It finds another train there."""
    called = crossing.called
    not_joining: list[Clause] = []
    if called is not None:
        not_joining = _unless(frame, called, _cannot_join(frame, crossing.beyond))
    return _event(
        crossing,
        beyond,
        "meets",
        f"meets {crossing.joint}",
        f"runs into {_whereabouts(beyond.part)}, where another train stands",
        (*beyond.occupied, *not_joining),
        {**crossing.off_way, beyond.track.name: always(beyond.track, MEETING)},
    )


def _derails(frame: Frame, crossing: Crossing, beyond: _Beyond) -> Event:
    """It finds the part clear and no way set."""
    wrong = [
        tuple(is_not(frame.drive[d], p) for d, p in passage.positions)
        for passage in beyond.passages
    ]
    drives = dict.fromkeys(d for passage in beyond.passages for d, _ in passage.positions)
    return _event(
        crossing,
        beyond,
        "derails",
        f"derails {crossing.joint}",
        f"runs into {beyond.part.name}, where it finds "
        f"{' and '.join(drives) or 'no way'} not set for it",
        (*beyond.clear, *wrong),
        {**crossing.off_way, beyond.track.name: {CLEAR: DERAILED}},
    )


def _whereabouts(part: Part) -> str:
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
    is not wholly there, or it is not a train that stands as it should; nor can vehicles
    that stand, if no way is set to them."""
    along, against = _can_join(frame, beyond)
    variable = frame.track[frame.parts.part_of[beyond.element]]
    same = [value for p in along for value in (here(p), passing(p))]
    opposite = [here(p) for p in against]
    reaching = [
        is_(into, *values)
        for leg in dict.fromkeys(p.entry for p in against)
        for into, values in frame.into(leg)
    ]
    vehicles = [
        (is_not(variable, STANDING), *(is_not(frame.drive[d], at) for d, at in p.positions))
        for p in along
    ]
    return [
        (is_not(variable, *same),),
        (is_not(variable, *same, *opposite), *reaching),
        *vehicles,
    ]
