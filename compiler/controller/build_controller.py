"""From all that a controller does to the controller."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from bellcrank.controller.controller_model import Controller, Input, Reaction, Timer
from bellcrank.controller.reactions import Control
from bellcrank.controller.view import STANDS_STILL, View
from bellcrank.machine.frame import PUT_BACK, moving


def build_controller(control: Control) -> Controller:
    """The controller by itself: what it does at each input and of itself, and its timers."""
    view = control.view
    inputs: defaultdict[Input, list[Reaction]] = defaultdict(list)
    steps = []
    for pair in control.paired:
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
