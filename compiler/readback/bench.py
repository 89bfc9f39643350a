"""Decoders, drives and signals, simulated: what commands do where they arrive.

The bench is wired as the layout says. A command is what travels to a decoder, the
number of an output and a side of it, or a value; nothing else of it is believed.
"""

from __future__ import annotations

from bellcrank.layout.layout_model import Layout, Side


class NothingThereError(Exception):
    """A command that reaches nothing, with the reason as a sentence."""


class Bench:
    """A bench on which at first nobody knows how anything lies.

    lies: for each drive its position. shows: for each signal its aspect. None is
        not known.
    """

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self.forget()
        self._drives: dict[tuple[int, Side], tuple[str, str]] = {}
        self._signals: dict[tuple[int, Side | int], tuple[str, str]] = {}
        number_of = layout.hardware.number_of
        for wiring in layout.hardware.wirings.values():
            positions = iter(layout.drives[wiring.drive].positions)
            sides: tuple[Side, Side] = ("red", "green") if wiring.crossed else ("green", "red")
            for output in wiring.outputs:
                for side in sides:
                    position = next(positions, None)
                    if position is not None:
                        self._drives[number_of(output), side] = wiring.drive, position
        for signal in layout.signals.values():
            for aspect in signal.aspects:
                if aspect.output is None:
                    continue
                on = aspect.side if aspect.value is None else aspect.value
                if on is not None:
                    self._signals[number_of(aspect.output), on] = signal.name, aspect.name

    def forget(self) -> None:
        """From now on nobody knows any more how anything lies."""
        self.lies: dict[str, str | None] = dict.fromkeys(self._layout.drives)
        self.shows: dict[str, str | None] = dict.fromkeys(self._layout.signals)

    def throw(self, number: int, side: Side) -> None:
        """One side of an output is switched on.

        Raises NothingThereError if nothing is wired to it.
        """
        if (drive := self._drives.get((number, side))) is not None:
            self.lies[drive[0]] = drive[1]
        elif (signal := self._signals.get((number, side))) is not None:
            self.shows[signal[0]] = signal[1]
        else:
            raise NothingThereError(f"nothing is wired to the {side} side of output {number}")

    def show(self, number: int, value: int) -> None:
        """A value arrives for an extended address.

        Raises NothingThereError if no signal there knows it.
        """
        signal = self._signals.get((number, value))
        if signal is None:
            raise NothingThereError(f"no signal on output {number} knows the value {value}")
        self.shows[signal[0]] = signal[1]

    def by_hand(self, device: str, name: str, state: str) -> None:
        """Somebody throws a drive, or sets a signal, as the list tells."""
        if device == "drive" and name in self.lies:
            self.lies[name] = state
        elif device == "signal" and name in self.shows:
            self.shows[name] = state
        else:
            raise NothingThereError(f"there is no {device} {name}")
