"""To which inputs and outputs the buttons and lamps of the panel are wired.

Which routes they are for is found in `routes/panel.py`, once the routes are known; that an
input or output is there and nothing else uses it is found here.
"""

from __future__ import annotations

from bellcrank.diagnostics import Span
from bellcrank.layout.decoders import Bench, side_named
from bellcrank.layout.detectors import Input
from bellcrank.layout.input_board import Board
from bellcrank.layout.layout_model import OutputRef, PanelWires, Side
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program


def wire_panel(program: Program, board: Board, bench: Bench) -> PanelWires:
    """What each button and lamp is wired to, by the place of its line."""
    buttons: dict[Span, Input] = {}
    for button in program.of(t.ButtonLine):
        cancels = "to cancel " if button.cancels else ""
        taken = board.take(f"the button {cancels}{button.what}", button.inlet)
        if taken is not None:
            buttons[button.span] = taken
    lamps: dict[Span, tuple[OutputRef, Side]] = {}
    for lamp in program.of(t.LampLine):
        lit = _wire_lamp(lamp, bench)
        if lit is not None:
            lamps[lamp.span] = lit
    for lamp in program.of(t.LampLine):
        if lamp.span in lamps:
            _warn_of_pair(lamp, *lamps[lamp.span], bench)
    return PanelWires(buttons, lamps)


def _user(lamp: t.LampLine) -> str:
    return f"the lamp {lamp.route}"


def _wire_lamp(lamp: t.LampLine, bench: Bench) -> tuple[OutputRef, Side] | None:
    found = bench.names.found
    kind = bench.kind_of(lamp.output)
    if kind is not None and kind.packets == "extended":
        found.report(
            "E612",
            f"{kind.name} listens to extended packets; its outputs have no sides",
            lamp.side.span,
            expected="for a lamp an output of a kind with `packets basic`",
        )
        return None
    meant = "`green` or `red`, the side that lights the lamp"
    side = side_named(lamp.side, "E466", found, expected=meant)
    if side is None:
        return None
    ref = bench.take(_user(lamp), lamp.output, (side,))
    return None if ref is None else (ref, side)


def _warn_of_pair(lamp: t.LampLine, ref: OutputRef, side: Side, bench: Bench) -> None:
    """Warn of a lamp that goes out by itself when the other side of its output is switched on."""
    kind = bench.decoders[ref.decoder].kind
    other: Side = "red" if side == "green" else "green"
    if kind.lamps != "paired" or (ref, other) not in bench.users:
        return
    user, outlet = bench.users[ref, other]
    bench.names.found.report(
        "W845",
        f"{_user(lamp)} goes out when {user} is lit: on {kind.name} the lamps of an output are "
        "`paired`",
        lamp.output.span,
        hint="give each lamp an output of its own",
        related=[(outlet.span, f"{user} is on the other side of {ref}")],
    )
