"""What the machine and the proofs are of: track, signals, routes and the rules between them.

Decoders, wires, lamps, supplies and the picture decide nothing of that, so a layout is taken
without them. Since the machine and the verdicts are functions of what is left, they need not be
found anew where that is the same.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from bellcrank.layout.detectors import Reports
from bellcrank.layout.layout_model import Aspect, Hardware, Layout, PanelWires, Signal
from bellcrank.layout.shown_model import Shown
from bellcrank.layout.times import Times
from bellcrank.machine.locking import Locking
from bellcrank.routes.panel_model import Panel
from bellcrank.routes.route_model import RouteTable


@dataclass(frozen=True, slots=True)
class Railway:
    """A layout without its wiring, its routes, and the locking in force.

    Two are equal if they say the same, wherever that stands in the text.
    """

    layout: Layout
    table: RouteTable
    locking: Locking


def railway_of(layout: Layout, table: RouteTable, locking: Locking) -> Railway:
    """What machine and proofs read of a layout that is without errors."""
    bare = replace(
        layout,
        title="",
        hardware=Hardware({}, {}, {}),
        reads={},
        above=(),
        shown=Shown(),
        reports=Reports(),
        times=Times(),
        panel_wires=PanelWires(),
        frogs={},
        districts={},
        chosen={},
        signals={name: _unwired(signal) for name, signal in layout.signals.items()},
    )
    return Railway(bare, replace(table, panel=Panel()), locking)


def _unwired(signal: Signal) -> Signal:
    """A signal without what lights its lamps."""
    return replace(signal, aspects=tuple([Aspect(a.name) for a in signal.aspects]))
