"""What becomes of a front that crosses a joint: it enters the part beyond, draws up to a
train there, meets it, or finds no way set and comes off the rails.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import product

from bellcrank.diagnostics import Span
from bellcrank.layout.layout_model import Leg
from bellcrank.machine.frame import CLEAR, DERAILED, MEETING, STANDING, Frame, here, passing
from bellcrank.machine.machine_model import (
    Clause,
    Event,
    EventKind,
    Variable,
    always,
    is_,
    is_not,
)
from bellcrank.machine.parts import Part, Passage

Updates = Mapping[str, Mapping[str, str]]


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
    joining: when it may draw up to a train that stands there; None for never.
    not_joining: that it may not.
    """

    kind: EventKind
    joint: str
    text: str
    leg: Leg | None
    beyond: Leg
    guard: tuple[Clause, ...]
    on_way: Updates
    off_way: Updates
    joining: tuple[Clause, ...] | None = None
    not_joining: tuple[Clause, ...] = ()
    route: str | None = None
    span: Span | None = None


@dataclass(frozen=True, slots=True)
class _Beyond:
    """The part that a front comes into.

    clear, occupied: that it may come in without meeting a train, and that it may not.
    passages: those that begin where it comes in.
    """

    part: Part
    track: Variable
    clear: tuple[Clause, ...]
    occupied: Clause
    passages: tuple[Passage, ...]


def entries(frame: Frame, crossing: Crossing) -> Iterator[Event]:
    """What may become of a front that crosses a joint."""
    beyond = _beyond(frame, crossing)
    for passage in beyond.passages:
        yield _enters(frame, crossing, beyond, passage)
    if crossing.joining is not None:
        yield from _joins(frame, crossing, beyond, crossing.joining)
    yield _meets(crossing, beyond)
    if DERAILED in beyond.track.values and all(p.positions for p in beyond.passages):
        yield _derails(frame, crossing, beyond)


def _beyond(frame: Frame, crossing: Crossing) -> _Beyond:
    part = frame.part(frame.parts.part_of[crossing.beyond.element])
    track = frame.track[part.name]
    passages = frame.parts.by_entry[crossing.beyond]
    leg = crossing.leg
    if leg is not None and frame.layout.section_of[leg.element] == part.section:
        # The front is in the section already: only the part itself must be clear.
        return _Beyond(part, track, ((is_(track, CLEAR),),), (is_not(track, CLEAR),), passages)
    clear, occupied = frame.clear(part.section), frame.occupied(part.section)
    return _Beyond(part, track, tuple(clear), occupied, passages)


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
    frame: Frame, crossing: Crossing, beyond: _Beyond, joining: tuple[Clause, ...]
) -> Iterator[Event]:
    """It is called on and draws up to another train, or to vehicles that stand; they then
    move as one. Vehicles that stand may be on any of the ways there: it goes the way the
    drives lie."""
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
    yield _event(
        crossing,
        beyond,
        "joins",
        f"joins {crossing.joint}",
        f"draws up to the train in {beyond.part.name}",
        (*joining, beyond.occupied, *whole),
        {**crossing.on_way, beyond.track.name: becomes},
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


def _meets(crossing: Crossing, beyond: _Beyond) -> Event:
    """It finds another train there."""
    return _event(
        crossing,
        beyond,
        "meets",
        f"meets {crossing.joint}",
        f"runs into {_whereabouts(beyond.part)}, where another train stands",
        (beyond.occupied, *crossing.not_joining),
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


def cannot_join(frame: Frame, beyond: Leg) -> list[Clause]:
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
