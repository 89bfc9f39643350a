"""What lies on the bench, as a value: what a layout's text says of its track.

It holds the signals that could stand there. Whether they do is for whoever writes it out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Edge:
    """Where track leaves the layout."""

    name: str


@dataclass(frozen=True, slots=True)
class Stop:
    """A buffer stop."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of plain track."""

    name: str


@dataclass(frozen=True, slots=True)
class LegOf:
    """A leg of a fitting."""

    fitting: str
    leg: str


@dataclass(frozen=True, slots=True)
class Read:
    """A signal, and whether trains that run rightwards read it."""

    name: str
    rightwards: bool


Item = Edge | Stop | Piece | LegOf | Read

Run = tuple[Item, ...]
"""Track from left to right."""


@dataclass(frozen=True, slots=True)
class Fittings:
    """Fittings of one kind.

    kind: as it stands before their names. with_words: what it is called `with`, or nothing.
    remark: what to know of the kind.
    """

    kind: str
    names: tuple[str, ...]
    with_words: str
    remark: str


@dataclass(frozen=True, slots=True)
class Throw:
    """A drive that is wired. at_once: the coils or motors that it has, all thrown together."""

    drive: str
    at_once: int = 1


@dataclass(frozen=True, slots=True)
class TrackPlan:
    """A track plan.

    about: what it is, as a sentence. advice: what to change, in a few sentences.
    coupled: drives thrown together. throws: the drives there are; of coupled ones the first.
    joint_sections: fittings under one detector, by the name of their section.
    shunt: whether its signals are shunt signals.
    expectations: what must be possible or impossible, each with a remark.
    """

    about: str
    advice: str
    fittings: tuple[Fittings, ...]
    runs: tuple[Run, ...]
    throws: tuple[Throw, ...]
    coupled: tuple[tuple[str, ...], ...] = ()
    joint_sections: tuple[tuple[str, tuple[str, ...]], ...] = ()
    shunt: bool = False
    expectations: tuple[tuple[str, str], ...] = ()

    @property
    def signals(self) -> tuple[str, ...]:
        """The signals that could stand there, in the order of the runs."""
        return tuple(item.name for item in self._items() if isinstance(item, Read))

    @property
    def sections(self) -> tuple[str, ...]:
        """What a detector can tell apart: pieces, and fittings by themselves or joined."""
        joint = {name: section for section, names in self.joint_sections for name in names}
        fittings = [name for line in self.fittings for name in line.names]
        pieces = [item.name for item in self._items() if isinstance(item, Piece)]
        return tuple(dict.fromkeys(joint.get(name, name) for name in [*pieces, *fittings]))

    def _items(self) -> Iterator[Item]:
        for run in self.runs:
            yield from run
