"""From layout, routes and rules to the controller."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from bellcrank.controller.controller_model import Controller, Input, Reaction, Timer
from bellcrank.controller.reactions import reactions
from bellcrank.controller.view import STANDS_STILL, View
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.frame import PUT_BACK, Frame, moving
from bellcrank.machine.locking import Locking
from bellcrank.routes.route_model import RouteTable


def build_controller(layout: Layout, table: RouteTable, locking: Locking) -> Controller:
    """The controller of a layout that is without errors."""
    view = View(Frame(layout, table, locking))
    inputs: defaultdict[Input, list[Reaction]] = defaultdict(list)
    steps = []
    for pair in reactions(view):
        if pair.input is None:
            steps.append(pair.reaction)
        else:
            inputs[pair.input].append(pair.reaction)
    timers = tuple(_timers(view))
    for timer in timers:
        # Where a time may not run out, its end is not explained.
        inputs.setdefault(Input("time over", timer.variable, timer.value), [])
    return Controller(
        view.variables(),
        {key: tuple(found) for key, found in inputs.items()},
        tuple(steps),
        timers,
    )


def _timers(view: View) -> Iterator[Timer]:
    for name, lamp in view.lamp.items():
        if view.frame.onward[name]:
            yield Timer("approach locking", name, lamp.name, PUT_BACK)
    for route in view.frame.table.routes.values():
        if view.timed(route):
            yield Timer("overlap", route.end, view.progress[route.name].name, STANDS_STILL)
    for drive in view.frame.layout.drives.values():
        for position in drive.positions:
            yield Timer("drive", drive.name, view.lying[drive.name].name, moving(position))
