"""Decoders, drives and signals, simulated: what commands do where they arrive.

The bench is wired as the layout says. A command is what travels to a decoder, the
number of an output and a side of it, or a value; nothing else of it is believed. Each lamp
is on or off for itself: it goes out when it is switched off, or when its decoder, as the
layout says, does so as another is switched on.
"""

from __future__ import annotations

from collections.abc import Iterator, Set
from dataclasses import dataclass, field

from bellcrank.layout.layout_model import Decoder, Lamps, Layout, Side

Wire = tuple[int, Side]
"""A side of an output, by the number of the output."""


class NothingThereError(Exception):
    """A command that reaches nothing, with the reason as a sentence."""


@dataclass(frozen=True, slots=True)
class Shown:
    """The aspects whose lamps are all on, except those that are a part of another: none if a
    signal is dark, several if they contradict each other.

    perhaps: those whose lamps may all be on, as nobody switched them off. stray: lamps that are
    on and belong to none of these, as where half of an aspect is lit.
    """

    lit: tuple[str, ...]
    perhaps: tuple[str, ...] = ()
    stray: tuple[Wire, ...] = ()

    def __str__(self) -> str:
        words = [*self.lit, *(f"perhaps {aspect}" for aspect in self.perhaps)]
        words += [f"the lamp at the {side} side of output {number}" for number, side in self.stray]
        return " and ".join(words) or "nothing"


@dataclass(slots=True)
class _Head:
    """A signal and its lamps, or a motor and the sides that drive it.

    states: the lamps of each aspect, by their wires; of a motor the side for each position.
    rules: what the decoder of each lamp does with others. decoders: whose each lamp is.
    """

    states: dict[str, set[Wire]] = field(default_factory=dict)
    rules: dict[Wire, Lamps] = field(default_factory=dict)
    decoders: dict[Wire, str] = field(default_factory=dict)

    def add(self, state: str, wire: Wire, decoder: Decoder) -> None:
        """Wire a lamp to a side of an output."""
        self.states.setdefault(state, set()).add(wire)
        self.rules[wire] = decoder.kind.lamps
        self.decoders[wire] = decoder.name

    def go_out(self, lit: Wire) -> Iterator[Wire]:
        """The lamps that go out by themselves when one is switched on."""
        for other in self.decoders:
            if other == lit:
                continue
            match self.rules[lit]:
                case "alone":
                    goes = False
                case "paired":
                    goes = other[0] == lit[0]
                case "grouped":
                    goes = self.decoders[other] == self.decoders[lit]
            if goes:
                yield other

    def shows(self, on: Set[Wire]) -> list[str]:
        """The aspects whose lamps are all among some, except those that are a part of another."""
        whole = {state: wires for state, wires in self.states.items() if wires <= on}
        return [s for s, wires in whole.items() if not any(wires < o for o in whole.values())]


class Bench:
    """A bench on which at first nobody knows how anything lies.

    lies: for each drive its position; None is not known.
    coils_on: the drives of which a coil is on, which its decoder does not switch off.
    """

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._drives: dict[Wire, tuple[str, str]] = {}
        self._values: dict[tuple[int, int], tuple[str, str]] = {}
        self._sent_to: dict[tuple[int, int], tuple[str, str]] = {}
        self._motors: dict[str, _Head] = {}
        self._heads: dict[str, _Head] = {name: _Head() for name in layout.signals}
        self._signals: dict[Wire, str] = {}
        self._held: set[str] = set()
        number_of = layout.hardware.number_of
        for wiring in layout.hardware.wirings.values():
            positions = layout.drives[wiring.drive].positions if wiring.outputs else ()
            kinds = [layout.hardware.decoders[output.decoder].kind for output in wiring.outputs]
            if wiring.action == "coil" and any(kind.pulses == "held" for kind in kinds):
                self._held.add(wiring.drive)
            # What switches a frog stays on as well.
            stays = wiring.held_on or layout.drives[wiring.drive].frog is not None
            if stays:
                self._motors[wiring.drive] = _Head()
            for index, position in enumerate(positions):
                output, side, value = wiring.place(index)
                number = number_of(output)
                if value is not None:
                    self._sent_to[number, value] = wiring.drive, position
                elif side is not None:
                    self._drives[number, side] = wiring.drive, position
                    if stays:
                        decoder = layout.hardware.decoders[output.decoder]
                        self._motors[wiring.drive].add(position, (number, side), decoder)
        for signal in layout.signals.values():
            for aspect in signal.aspects:
                if aspect.output is None:
                    continue
                number = number_of(aspect.output)
                if aspect.value is not None:
                    self._values[number, aspect.value] = signal.name, aspect.name
                for lamp in aspect.lamps:
                    wire = number_of(lamp.output), lamp.side
                    self._signals[wire] = signal.name
                    decoder = layout.hardware.decoders[lamp.output.decoder]
                    self._heads[signal.name].add(aspect.name, wire, decoder)
        self.forget()

    def forget(self) -> None:
        """From now on nobody knows any more how anything lies."""
        self.lies: dict[str, str | None] = dict.fromkeys(self._layout.drives)
        self.coils_on: set[str] = set()
        # What a signal shows without lamps of its own: a value that was sent, or by hand.
        self._shown: dict[str, str | None] = dict.fromkeys(self._layout.signals)
        self._lamps: dict[Wire, bool | None] = dict.fromkeys(self._signals)
        # Of drives that are held on, which sides are on.
        self._driven: dict[Wire, bool | None] = {
            wire: None for motor in self._motors.values() for wire in motor.decoders
        }

    def switch_on(self, number: int, side: Side, *, ends: bool) -> None:
        """One side of an output is switched on.

        ends: whether what receives the command ends the pulse of a coil.
        Raises NothingThereError if nothing is wired to it.
        """
        wire = number, side
        if (drive := self._drives.get(wire)) is not None:
            if drive[0] in self._motors:
                self._drive_on(drive[0], wire)
                return
            self.lies[drive[0]] = drive[1]
            if not ends and drive[0] in self._held:
                self.coils_on.add(drive[0])
        elif (signal := self._signals.get(wire)) is not None:
            for other in self._heads[signal].go_out(wire):
                self._lamps[other] = False
            self._lamps[wire] = True
            self._shown[signal] = None
        else:
            raise NothingThereError(f"nothing is wired to the {side} side of output {number}")

    def _drive_on(self, drive: str, wire: Wire) -> None:
        """A side is switched on that drives a motor one way. Nobody knows where it goes while
        another of its sides is on, or perhaps is."""
        motor = self._motors[drive]
        for other in motor.go_out(wire):
            self._driven[other] = False
        self._driven[wire] = True
        self._settle(drive)

    def _settle(self, drive: str) -> None:
        """A motor lies where it is driven to if that is one way alone. Where it is driven no more
        it stays."""
        sides = [(s, w) for s, wires in self._motors[drive].states.items() for w in wires]
        on = [state for state, wire in sides if self._driven[wire] is not False]
        sure = [state for state, wire in sides if self._driven[wire]]
        if on:
            self.lies[drive] = sure[0] if on == sure and len(sure) == 1 else None

    def switch_off(self, number: int, side: Side) -> None:
        """One side of an output is switched off.

        Raises NothingThereError if nothing is wired to it.
        """
        wire = number, side
        if (drive := self._drives.get(wire)) is not None:
            self.coils_on.discard(drive[0])
            if drive[0] in self._motors:
                self._driven[wire] = False
                self._settle(drive[0])
        elif wire in self._signals:
            self._lamps[wire] = False
        else:
            raise NothingThereError(f"nothing is wired to the {side} side of output {number}")

    def shown(self, signal: str) -> Shown | None:
        """What a signal shows; None if nothing was sent to it."""
        if (shown := self._shown[signal]) is not None:
            return Shown((shown,))
        head = self._heads[signal]
        if all(self._lamps[wire] is None for wire in head.decoders):
            return None
        on = {wire for wire in head.decoders if self._lamps[wire]}
        unknown = {wire for wire in head.decoders if self._lamps[wire] is None}
        lit = head.shows(on)
        perhaps = [
            s for s, wires in head.states.items() if wires & unknown and wires <= on | unknown
        ]
        theirs = {wire for state in (*lit, *perhaps) for wire in head.states[state]}
        return Shown(tuple(lit), tuple(perhaps), tuple(sorted(on - theirs)))

    def show(self, number: int, value: int) -> None:
        """A value arrives for an extended address.

        Raises NothingThereError if no signal or drive there knows it.
        """
        if (drive := self._sent_to.get((number, value))) is not None:
            self.lies[drive[0]] = drive[1]
            return
        signal = self._values.get((number, value))
        if signal is None:
            raise NothingThereError(f"nothing on output {number} knows the value {value}")
        self._shown[signal[0]] = signal[1]

    def by_hand(self, device: str, name: str, state: str) -> None:
        """Somebody throws a drive, or sets a signal, as the list tells."""
        if device == "drive" and name in self.lies:
            self.lies[name] = state
        elif device == "signal" and name in self._shown:
            self._shown[name] = state
        else:
            raise NothingThereError(f"there is no {device} {name}")
