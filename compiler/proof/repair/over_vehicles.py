"""Runs by which a route is set over vehicles that stand: known, so never looked for.

Vehicles may stand anywhere before all begins, and the drives may lie as the route needs
them. Then it is asked for, and its signal clears. Of all rules but that it needs the section
clear, few can keep from that: what it needs of other sections not, as these are clear, nor
locks, as no other route is set. Whether any does is seen when the run is replayed with all
rules but those by which the route needs sections clear. Nothing is said of routes that need
another one set first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from bellcrank.machine.machine_model import Event, Machine
from bellcrank.proof.repair.runs import Run
from bellcrank.routes.route_model import RouteTable


class OverVehicles:
    """machine: with any rules, as its variables and the names of its events are the same."""

    def __init__(
        self, machine: Machine, table: RouteTable, in_section: Mapping[str, Sequence[str]]
    ) -> None:
        self.table = table
        self.in_section = in_section
        self.variable_of = machine.variable_of
        self.still = {name: v.initial[0] for name, v in machine.variables.items()}
        self.stands: dict[str, Event] = {}
        self.asked: dict[str, Event] = {}
        self.clears: dict[str, Event] = {}
        for event in machine.events:
            if event.kind == "stands":
                self.stands[event.of] = event
            elif event.kind == "request":
                self.asked[event.of] = event
            elif event.kind == "signal clears" and event.route is not None:
                self.clears[event.route] = event

    def run(self, route: str, section: str) -> Run:
        """The run by which a route is set over vehicles in one of its sections."""
        lying = {
            self.variable_of["drive", drive].name: position
            for drive, position in self.table.routes[route].demands.items()
        }
        stands = self.stands[self.in_section[section][0]]
        events = (stands, self.asked[route], self.clears[route])
        return Run("signals", events, {**self.still, **lying})
