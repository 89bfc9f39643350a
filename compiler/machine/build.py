"""From layout, routes and rules to the machine."""

from __future__ import annotations

from bellcrank.layout.model import Layout
from bellcrank.machine.assumptions import assumptions
from bellcrank.machine.frame import Frame
from bellcrank.machine.interlocking import interlocking_events
from bellcrank.machine.lemmas import lemmas
from bellcrank.machine.locking import Locking
from bellcrank.machine.model import Machine, Wish
from bellcrank.machine.progress import progress_invariants
from bellcrank.machine.safety import invariants
from bellcrank.machine.trains import train_events
from bellcrank.routes.model import RouteTable


def build_machine(layout: Layout, table: RouteTable, locking: Locking) -> Machine:
    """The machine of a layout that is without errors."""
    frame = Frame(layout, table, locking)
    groups = (frame.track, frame.edge, frame.drive, frame.signal, frame.route, frame.held)
    variables = {v.name: v for group in groups for v in group.values()}
    events = (*interlocking_events(frame), *train_events(frame))
    stated = (
        *invariants(frame),
        *progress_invariants(frame, {event.name: event for event in events}),
    )
    wishes = [Wish(route.name, (route.name,), route.span) for route in table.routes.values()]
    for expectation in locking.expectations:
        if not expectation.never:
            wishes.append(Wish(f"expect {expectation.text}", expectation.routes, expectation.span))
    known = {frozenset(i.clause) for i in stated}
    helping = {frozenset(clause): clause for clause in lemmas(frame)}
    candidates = tuple(clause for key, clause in helping.items() if key not in known)
    return Machine(variables, events, stated, tuple(wishes), candidates, assumptions(layout))
