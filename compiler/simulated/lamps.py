"""Signals as drivers take them: one that was passed is at stop to them until it is off anew."""

from __future__ import annotations

from dataclasses import dataclass

from bellcrank.simulated.ground import Ground


@dataclass(slots=True)
class _Lamp:
    """shows: an aspect. passed: a train has passed since it was shown. called_on: whether what it
    showed before was that a train is called on."""

    shows: str
    passed: bool = False
    called_on: bool = False


class Lamps:
    """drivers_wait: whether they pass a signal only once they are told to, though it is off."""

    def __init__(self, ground: Ground) -> None:
        self._ground = ground
        self._lamps = {name: _Lamp(ground.stop(name)) for name in ground.layout.signals}
        self._told_to_go: set[str] = set()
        self.drivers_wait = False

    def show(self, signal: str, aspect: str) -> bool:
        """A signal shows an aspect from now on; whether that is another than before."""
        lamp = self._lamps[signal]
        if lamp.shows == aspect:
            return False
        lamp.called_on = lamp.shows in self._ground.called[signal]
        lamp.shows = aspect
        lamp.passed = False
        return True

    def is_off(self, signal: str) -> bool:
        """Whether a driver takes a signal to be off."""
        lamp = self._lamps[signal]
        return lamp.shows != self._ground.stop(signal) and not lamp.passed

    def may_pass(self, signal: str) -> bool:
        """Whether a driver passes a signal now."""
        told = not self.drivers_wait or signal in self._told_to_go
        return told and self.is_off(signal)

    def tell_to_go(self, signal: str) -> None:
        """A driver who waits for it is told to pass a signal."""
        self._told_to_go.add(signal)

    def is_passed(self, signal: str) -> bool:
        """Whether a train has passed a signal since it was shown off last."""
        return self._lamps[signal].passed

    def calls_on(self, signal: str) -> bool:
        """Whether it shows that a train is called on to track that is not clear."""
        return self._lamps[signal].shows in self._ground.called[signal]

    def called_on(self, signal: str) -> bool:
        """Whether it showed that before what it shows now. A driver who could not stop any more
        when it was put back has seen it."""
        return self._lamps[signal].called_on

    def pass_by(self, signal: str) -> None:
        """A train passes a signal."""
        self._told_to_go.discard(signal)
        self._lamps[signal].passed = True
