"""The controller, for the document."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bellcrank.controller.controller_model import Controller, Reaction
from bellcrank.controller.timer_lengths import milliseconds_of
from bellcrank.controller.view import SAID_CLEAR, SAID_OCCUPIED
from bellcrank.document import controller_types as c
from bellcrank.document.clause_data import Written
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.frame import FREE, IDLE, moving
from bellcrank.machine.machine_model import Variable, VariableKind
from bellcrank.routes.route_model import RouteTable


def controller_data(controller: Controller, layout: Layout, table: RouteTable) -> c.Controller:
    """The controller, and what its variables mean."""
    written = Written(controller.variables)

    def reactions(all_: Iterable[Reaction]) -> list[c.Reaction]:
        return [
            c.Reaction(
                name=r.name,
                text=r.text,
                guard=written.guard(r.guard),
                updates=written.updates(r.updates),
                route=r.route,
            )
            for r in all_
        ]

    def of_kind(kind: VariableKind) -> Iterator[Variable]:
        return (v for v in controller.variables.values() if v.kind == kind)

    return c.Controller(
        variables=[
            c.ControllerVariable(
                name=v.name, kind=v.kind, of=v.of, domain=list(v.values), initial=v.initial[0]
            )
            for v in controller.variables.values()
        ],
        inputs=[
            c.ControllerInput(
                kind=i.kind, of=i.of, value=i.value or None, reactions=reactions(found)
            )
            for i, found in controller.inputs.items()
        ],
        steps=reactions(controller.steps),
        timers=[
            c.Timer(
                kind=t.kind,
                of=t.of,
                variable=t.variable,
                value=t.value,
                milliseconds=milliseconds_of(t, layout),
            )
            for t in controller.timers
        ],
        reports=[
            c.SectionReported(
                variable=v.name, section=v.of, when_occupied=SAID_OCCUPIED, when_clear=SAID_CLEAR
            )
            for v in of_kind("report")
        ],
        lamps=[_lamp(v, layout, table) for v in of_kind("lamp")],
        throws=[_throw(v, layout) for v in of_kind("lying")],
        progress=[
            c.RouteProgress(variable=v.name, route=v.of, idle=IDLE) for v in of_kind("progress")
        ],
        held=[c.SectionHeld(variable=v.name, section=v.of, free=FREE) for v in of_kind("held")],
    )


def _lamp(variable: Variable, layout: Layout, table: RouteTable) -> c.SignalLamp:
    """What a signal shows: the aspect of the route that it is off for, or else stop."""
    stop = layout.signals[variable.of].aspects[0].name
    shown = ((value, table.routes.get(value)) for value in variable.values)
    return c.SignalLamp(
        variable=variable.name,
        signal=variable.of,
        shows=[
            c.Shown(value=value, aspect=route.aspect if route else stop, off=route is not None)
            for value, route in shown
        ],
    )


def _throw(variable: Variable, layout: Layout) -> c.DriveThrow:
    drive = layout.drives[variable.of]
    thrown = {moving(position): position for position in drive.positions}
    return c.DriveThrow(
        variable=variable.name,
        drive=drive.name,
        reports=drive.detected,
        meanings=[
            c.DriveValue(
                value=value,
                lies=value if value in drive.positions else None,
                thrown_to=thrown.get(value),
            )
            for value in variable.values
        ],
    )
