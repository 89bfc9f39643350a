"""The timetables of a layout: set a route, cancel it, start up; and, for no route, all signals
to stop, one drive thrown, one signal alone.

To set a route: signals to stop; then drives, each begun as early as the limits allow;
then, when all lie and those that report have done so, the route's own signal. To cancel
it: its signal to stop; what is waited for then is told, for the layout does not say how
long a train needs. To start up: all signals to stop, then all drives to their first
position.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from bellcrank.layout.layout_model import Layout, Work
from bellcrank.machine.commands import (
    Command,
    all_to_stop_list,
    command_list,
    show_list,
    start_up_list,
    switch_command,
    throw_command,
)
from bellcrank.machine.locking import Locking
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.timing.limits import Limits, limits_of
from bellcrank.timing.schedule import Schedule, schedule
from bellcrank.timing.timetable_model import Timed, Timetable, Wait, What
from bellcrank.timing.track_time import on_the_track


def timetables(layout: Layout, table: RouteTable, locking: Locking) -> tuple[Timetable, ...]:
    """To set and to cancel each route, in the order of the table, and to start up.

    Nothing is taken to be known of where drives lie, so all are thrown.
    """
    limits = limits_of(layout)
    found = []
    commands: dict[str, list[Command]] = {name: [] for name in table.routes}
    for command in command_list(layout, table, locking):
        commands[command.route].append(command)
    for name, of_route in commands.items():
        found.append(_set(layout, limits, name, of_route, None))
        found.append(_cancel(table.routes[name], of_route))
    return (*found, to_start_up(layout, table, locking))


def to_set(
    layout: Layout,
    table: RouteTable,
    locking: Locking,
    route: str,
    drives_now: Mapping[str, str] | None = None,
) -> Timetable:
    """To set one route, by its name.

    drives_now: where drives are known to lie, by their names; those that lie right already are
        left alone, those that are not named are thrown.
    Raises ValueError if there is no such route, drive or position.
    """
    for drive, position in (drives_now or {}).items():
        if drive not in layout.drives or position not in layout.drives[drive].positions:
            raise ValueError(f"the layout has no drive {drive} that can lie {position}")
    commands = _of_route(layout, table, locking, route)
    return _set(layout, limits_of(layout), route, commands, drives_now)


def to_cancel(layout: Layout, table: RouteTable, locking: Locking, route: str) -> Timetable:
    """To cancel one route, by its name. Raises ValueError if there is none."""
    commands = _of_route(layout, table, locking, route)
    return _cancel(table.routes[route], commands)


def to_start_up(layout: Layout, table: RouteTable, locking: Locking) -> Timetable:
    """To bring the layout to its normal position, wherever drives lie."""
    commands = start_up_list(layout)
    drives = [c for c in commands if c.phase == "drives"]
    return _timed(layout, limits_of(layout), "start up", "", commands, drives, None)


def to_stop_all(layout: Layout) -> Timetable:
    """To put all signals to stop. Nothing is thrown."""
    return _timed(layout, limits_of(layout), "all to stop", "", all_to_stop_list(layout), [], None)


def to_throw(layout: Layout, drive: str, position: str) -> Timetable:
    """To throw one drive, for no route."""
    command = throw_command(layout, drive, position)
    return _timed(layout, limits_of(layout), "throw", "", (command,), [command], None)


def to_show(layout: Layout, signal: str, aspect: str) -> Timetable:
    """To have one signal show an aspect, for no route."""
    commands = show_list(layout, signal, aspect)
    return _timed(layout, limits_of(layout), "show", "", commands, [], None)


def to_switch(layout: Layout, output: str, state: str) -> Timetable:
    """To switch one output with a name of its own, for no route."""
    command = switch_command(layout, output, state)
    takes = command.milliseconds or 0
    return Timetable("switch", "", (Timed(0, takes, command),), takes, takes)


def _of_route(
    layout: Layout, table: RouteTable, locking: Locking, route: str
) -> tuple[Command, ...]:
    if route not in table.routes:
        raise ValueError(f"there is no route {route}")
    return tuple(c for c in command_list(layout, table, locking) if c.route == route)


def _cancel(route: Route, commands: Sequence[Command]) -> Timetable:
    own = [c for c in commands if c.phase == "signals to stop" and c.name == route.start]
    waits = (
        *(_confirmed(c) for c in own if c.how == "by hand"),
        Wait(
            "release",
            route.name,
            "released",
            f"the time of approach locking is over and {route.name} is released: a train that "
            f"could not stop at {route.start} any more would have passed it by now",
        ),
    )
    timed = tuple(Timed(0, 0, c) for c in own)
    return Timetable("cancel", route.name, timed, 0, 0, waits)


def _set(
    layout: Layout,
    limits: Limits,
    route: str,
    commands: Sequence[Command],
    drives_now: Mapping[str, str] | None,
) -> Timetable:
    needed = [c for c in commands if c.phase == "drives"]
    known = drives_now or {}
    left = [c for c in commands if c.phase != "drives" or known.get(c.name) != c.state]
    return _timed(layout, limits, "set", route, left, needed, drives_now)


# ---------------------------------------------------------------------- in time


@dataclass(frozen=True, slots=True)
class _Before:
    """The throws that must be over before each begins: electric ones, which are timed,
    and those where a report or a person is waited for."""

    timed: Mapping[str, tuple[str, ...]]
    waits: Mapping[str, tuple[Wait, ...]]


def _timed(
    layout: Layout,
    limits: Limits,
    what: What,
    of: str,
    commands: Sequence[Command],
    needed: Sequence[Command],
    drives_now: Mapping[str, str] | None,
) -> Timetable:
    """Give each command its time.

    needed: the commands of all drives that must lie right at the end, thrown or not.
    """
    drives = [c for c in commands if c.phase == "drives"]
    before = _before(layout, drives, drives_now)
    electric = [c for c in drives if c.how != "by hand"]
    plan = schedule([limits.throw(c, before.timed[c.name]) for c in electric], limits.by_supply)
    ends = {c.name: plan.starts[c.name] + limits.throw(c).lies for c in electric}
    thrown = []
    for command in drives:
        at = _begins(command, plan, ends, before)
        until = at + (command.milliseconds or 0) if command.name in plan.starts else at
        thrown.append(Timed(at, until, command, before.waits[command.name]))
    # What waits for somebody comes last of what begins together, not to hold the others up.
    thrown.sort(key=lambda t: (t.at, bool(t.after), t.command.step))

    stopped = [Timed(0, 0, c) for c in commands if c.phase == "signals to stop"]
    off = [Timed(plan.total, plan.total, c) for c in commands if c.phase == "signals off"]
    pending = [_confirmed(t.command) for t in stopped if t.by_hand]
    timed = list(stopped)
    for phase, then in ((thrown, _proofs(layout, drives, needed)), (off, [])):
        if phase:
            first = phase[0]
            phase[0] = Timed(first.at, first.until, first.command, (*pending, *first.after))
            pending = []
        timed += phase
        pending += then
    if off:
        pending = [_confirmed(t.command) for t in off if t.by_hand]
    timetable = Timetable(what, of, tuple(timed), plan.total, plan.bound, tuple(pending))
    ends_with_pulse = all(c.held and limits.throw(c).lies == c.milliseconds for c in electric)
    return on_the_track(layout, timetable, ends_with_pulse=ends_with_pulse)


def _begins(command: Command, plan: Schedule, ends: Mapping[str, int], before: _Before) -> int:
    """When a drive is thrown; one that is thrown by hand, when it may be at the earliest."""
    if command.name in plan.starts:
        return plan.starts[command.name]
    return max((ends.get(wait.name, 0) for wait in before.waits[command.name]), default=0)


def _proofs(layout: Layout, thrown: Iterable[Command], needed: Iterable[Command]) -> list[Wait]:
    """What must be known once the drives are taken to lie: all that report have done so,
    whether they were thrown or not, and somebody has thrown what is thrown by hand."""
    by_hand = {c.name for c in thrown if c.how == "by hand"}
    return [_lies(layout, c) for c in needed if layout.drives[c.name].detected or c.name in by_hand]


def _lies(layout: Layout, command: Command) -> Wait:
    if layout.drives[command.name].detected:
        sentence = f"{command.name} reports that it lies {command.state}"
        return Wait("report", command.name, command.state, sentence)
    return _confirmed(command)


def _confirmed(command: Command) -> Wait:
    does = "shows" if command.device == "signal" else "lies"
    sentence = f"somebody confirms that {command.name} {does} {command.state}"
    return Wait("confirmation", command.name, command.state, sentence)


# ------------------------------------------------------------- order in a fitting


def _before(
    layout: Layout, commands: Sequence[Command], drives_now: Mapping[str, str] | None
) -> _Before:
    """Which throws must wait for which.

    The command list puts those drives of a fitting first that go to their first position.
    Where the others, thrown too early, would make up what no way of the fitting knows,
    such as three way points with both blades over, they wait until these lie.
    """
    electric = {c.name: c for c in commands if c.how != "by hand"}
    timed: dict[str, list[str]] = {c.name: [] for c in commands}
    waits: dict[str, list[Wait]] = {c.name: [] for c in commands}
    for command, first in _pairs(layout, commands, drives_now):
        if first.name in timed[command.name]:
            continue
        both = command.name in electric and first.name in electric
        if both:
            timed[command.name].append(first.name)
        if not both or layout.drives[first.name].detected:
            wait = _lies(layout, first)
            if wait not in waits[command.name]:
                waits[command.name].append(wait)
    return _Before(
        {name: tuple(names) for name, names in timed.items()},
        {name: tuple(found) for name, found in waits.items()},
    )


def _pairs(
    layout: Layout, commands: Sequence[Command], drives_now: Mapping[str, str] | None
) -> Iterable[tuple[Command, Command]]:
    """Each command with one that must be over before it."""
    by_drive = {c.name: c for c in commands}
    if len(by_drive) < 2:
        return
    fittings = {e for c in commands for e in layout.drives[c.name].elements}
    for name in sorted(fittings):
        kind = layout.elements[name].kind
        if len(kind.drives) < 2:
            continue
        mine = [
            (own, by_drive[drive])
            for own in kind.drives
            if (drive := layout.drive_of[Work(name, own)]) in by_drive
        ]
        for own_first, first in mine:
            positions = layout.drives[first.name].positions
            if first.state != positions[0]:
                continue
            known = (drives_now or {}).get(first.name)
            might = positions[1:] if known is None else (known,)
            for own, command in mine:
                if command.state == layout.drives[command.name].positions[0]:
                    continue
                if any(not kind.lets_lie({own_first: old, own: command.state}) for old in might):
                    yield command, first
