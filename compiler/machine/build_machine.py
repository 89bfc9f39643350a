"""From layout, routes and rules to the machine."""

from __future__ import annotations

from itertools import chain

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.assumptions import assumptions
from bellcrank.machine.circuits import full_circuits, rings_of_tails
from bellcrank.machine.collecting import collected_seldom
from bellcrank.machine.frame import Frame
from bellcrank.machine.interlocking import interlocking_events
from bellcrank.machine.lemmas import lemmas
from bellcrank.machine.locking import Locking
from bellcrank.machine.machine_model import Machine, Wish
from bellcrank.machine.progress import progress_invariants
from bellcrank.machine.safety import invariants
from bellcrank.machine.sharing import Shared
from bellcrank.machine.standing import standing_events
from bellcrank.machine.trains import train_events
from bellcrank.routes.ends import no_way_back
from bellcrank.routes.route_model import RouteTable

MOST_WITH_LITERALS = 1_000_000
"""Clauses up to which variables keep the literals that were asked for, so that what is made for the
controller has them; of a railway of 100,000 routes they take a gigabyte and more."""


def dead_ends(layout: Layout, table: RouteTable) -> tuple[str, ...]:
    """The stretches of track from which no signal lets a train out again the way it came."""
    return tuple(dict.fromkeys(p.piece for p in no_way_back(layout, table.routes.values())))


@collected_seldom()
def build_machine(
    layout: Layout, table: RouteTable, locking: Locking, shared: Shared | None = None
) -> Machine:
    """The machine of a layout that is without errors.

    shared: what serves for other machines as well: all that is equal in them is one object.
    """
    shared = Shared() if shared is None else shared
    frame = Frame(layout, table, locking, shared.variables)
    shared.variables = frame.named
    variables = frame.named
    events = tuple(
        shared.event(event)
        for event in chain(interlocking_events(frame), train_events(frame), standing_events(frame))
    )
    stated = shared.stated(chain(invariants(frame), progress_invariants(frame, events)))
    wishes = [Wish(route.name, (route.name,), route.span) for route in table.routes.values()]
    for expectation in locking.expectations:
        if not expectation.never:
            wishes.append(Wish(expectation.name, expectation.routes, expectation.span))
    candidates = shared.once_each(lemmas(frame))
    one_way = dead_ends(layout, table)
    rings = rings_of_tails(variables, events)
    if len(stated) + len(candidates) > MOST_WITH_LITERALS:
        for variable in variables.values():
            variable.literals.clear()
    said = assumptions(
        layout,
        one_way,
        full_circuits(variables, events, rings),
        drawing_up=any(event.kind == "joins" for event in events),
    )
    return Machine(variables, events, stated, tuple(wishes), candidates, said)
