"""Address switches and terminals of decoders and detectors, for the document."""

from __future__ import annotations

from collections.abc import Mapping

from bellcrank.document.switch_types import Positions, RotarySwitch, Switch
from bellcrank.layout.addressed import AddressedKind


def switches_on(kind: AddressedKind, address: int) -> list[int]:
    """Which switches to put on, counted from 1."""
    return [switch.number for switch in switch_bank(kind, address) if switch.on]


def switch_bank(kind: AddressedKind, address: int) -> list[Switch]:
    """Every switch and how it must stand for an address."""
    shown = kind.switches_for(address)
    assert shown is not None  # the layout stage refuses what switches cannot set
    if not shown:
        return []
    return [
        Switch(number=k, on=on, fixed=k in kind.fixed, counts=weight)
        for k, (on, weight) in enumerate(zip(shown, kind.switch_weights, strict=True), start=1)
    ]


def rotary_bank(kind: AddressedKind, address: int) -> list[RotarySwitch]:
    """Every rotary switch and what it must show for an address."""
    shown = kind.digits_for(address)
    assert shown is not None  # the layout stage refuses what switches cannot set
    if not shown:
        return []
    positions: Positions = 16 if kind.rotary == 16 else 10
    return [
        RotarySwitch(number=k, shows=f"{digit:X}", counts=weight, positions=positions)
        for k, (digit, weight) in enumerate(zip(shown, kind.switch_weights, strict=True), start=1)
    ]


def printed(terminals: Mapping[str, str], terminal: str, number: int) -> str | None:
    """What is printed at a terminal of an output or input; None where the layout does not say."""
    if "pair" in terminals and terminal in ("green", "red"):
        return terminals["pair"].replace("%", str(2 * number - (terminal == "green")))
    text = terminals.get(terminal)
    return None if text is None else text.replace("%", str(number))
