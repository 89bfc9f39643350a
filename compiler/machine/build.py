"""From layout, routes and rules to the machine."""

from __future__ import annotations

from bellcrank.layout.graph import unsignalled_entries
from bellcrank.layout.model import Layout
from bellcrank.machine.frame import Frame
from bellcrank.machine.interlocking import interlocking_events
from bellcrank.machine.lemmas import lemmas
from bellcrank.machine.locking import Locking
from bellcrank.machine.model import Machine, Wish
from bellcrank.machine.progress import progress_invariants
from bellcrank.machine.safety import invariants
from bellcrank.machine.trains import train_events
from bellcrank.routes.model import RouteTable

MOST_NAMED = 12
"""Drives, sections or edges that an assumption names before it only counts them."""


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


def assumptions(layout: Layout) -> dict[str, str]:
    """What the machine of a layout takes for granted, by name, in sentences."""
    said = {
        "signals obeyed": "drivers obey signals: no train passes one at stop, save one that could "
        "not stop any more when it was put back, and none turns back before its route has ended",
        "points hold": "points lie where their drive says and stay there until it is thrown",
        "track as written": "the track, its sections and its signals are as the layout says",
        "in the time allowed": "the time of approach locking is longer than a train needs to stop "
        "or pass, and a train stands before its overlap times out",
        "put on clear track": "a train is put on the track only before a signal, in a section that "
        "is clear and held for no route",
    }
    quiet = set(unsignalled_entries(layout))
    entries = [name for name in layout.edges if name not in quiet]
    if entries:
        said["edges ask first"] = (
            "a train comes in at an edge only while the track up to the first signal is clear "
            "and held for no route"
        )
    if quiet:
        said["edges watched"] = (
            f"no train comes in at {_some(sorted(quiet))} of its own accord: "
            "no signal is read there before the first points or stop"
        )
    blind = [s.name for s in layout.sections.values() if not s.detected]
    if len(blind) < len(layout.sections):
        said["detection tells the truth"] = (
            "a detected section is reported occupied while any part of a train is on it, "
            "and clear only when none is"
        )
    if blind:
        where = "nothing is detected" if len(blind) == len(layout.sections) else _some(blind)
        said["the operator looks"] = (
            f"before a route is set or released, the operator looks whether track without "
            f"detection is clear ({where})"
        )
    silent = [d.name for d in layout.drives.values() if not d.detected]
    if silent:
        said["drives arrive in time"] = (
            f"a drive that does not report lies right when its time is up ({_some(silent)})"
        )
    if layout.reversers:
        said["reversers"] = (
            "a train fits into the stretch between the gaps, and no two trains "
            "pass gaps of one stretch at the same time"
        )
    return said


def _some(names: list[str]) -> str:
    """The first of some names, and how many more there are."""
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more:,} more" if more > 0 else "")
