"""That no ring of tails ever closes, each of which waits for the one behind to leave.

On a circuit a tail could wait for a tail, all round. A ring closes by the event that puts
its last tail in place, and that event brings the train's front into the next stretch: so
there is no tail there, and the ring is open. What has to be shown is this alone, for each
event and each two stretches: never is there a tail in both just after there came to be one in
the first. Then no ring closes, of however many stretches. A train that is called on
draws up to another and brings no front along; there it is assumed that trains do
not fill a circuit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bellcrank.machine.circuits import Reaching, Rings
from bellcrank.machine.machine_model import Event, Machine, is_not
from bellcrank.proof.moving.obligation_words import Stated
from bellcrank.proof.moving.shapes import Shape, shape_of
from bellcrank.running.packed import Packed, PackedClause, PackedEvent, before


@dataclass(frozen=True, slots=True)
class Closing:
    """The obligation that an event that puts a tail in place leaves the next one none.

    tail: the one that is put in place.
    """

    tail: Reaching
    shape: Shape
    stated: Stated


def closings(machine: Machine, packed: Packed, rings: Rings) -> Iterator[Closing]:
    """All obligations by which no ring closes, assuming what the machine assumes."""
    for tail, further in rings.items():
        name, value = tail
        place, mask = packed.mask(name, (value,))
        seen: set[int] = set()
        for move in packed.moves[place]:
            if not any(new == mask for _, new in move.changes):
                continue
            for event in move.events:
                one = machine.events[event.number]
                if event.number in seen or _assumed_away(machine, one):
                    continue
                seen.add(event.number)
                for other in sorted(further):
                    yield _closing(machine, packed, event, tail, other)


def _assumed_away(machine: Machine, event: Event) -> bool:
    return event.kind == "joins" and "no full circuit" in machine.assumptions


def _closing(
    machine: Machine, packed: Packed, event: PackedEvent, tail: Reaching, other: Reaching
) -> Closing:
    clauses: list[PackedClause] = []
    for reaching in (tail, other):
        place, mask = packed.mask(reaching[0], reaching[1:])
        then = before(event, place, mask)
        if reaching == tail:
            then &= ~mask
        clauses.append(((place, then),))
        if place in event.units:
            clauses.append(((place, event.units[place]),))
    clauses += event.guard
    one, two = (machine.variables[name] for name, _ in (tail, other))
    stated = Stated(
        (is_not(one, tail[1]), is_not(two, other[1])),
        f"a ring of tails closes at {one.of}",
        machine.events[event.number],
        ((is_not(one, tail[1]),),),
    )
    return Closing(tail, shape_of(clauses, packed.full), stated)
