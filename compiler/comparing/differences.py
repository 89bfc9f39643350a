"""What is different between two layouts, as immutable values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Change = Literal["gone", "new", "changed"]

Pair = tuple[str, str]


@dataclass(frozen=True, slots=True)
class RouteChange:
    """A route that is gone, new, or leads or is set otherwise. what: for one that is changed, in
    sentences without their full stops."""

    route: str
    change: Change
    what: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PairChange:
    """Two routes of which the locking says something else than before.

    now: whether both can be set now; None if a solver could not tell. because: why not, now or
    before, as a sentence without its full stop.
    """

    routes: Pair
    now: bool | None
    because: str


@dataclass(frozen=True, slots=True)
class LineChange:
    """Something that is stated, and is gone or new: an expectation, an assumption; or an
    assumption that is changed, in words that say in what."""

    text: str
    change: Change


TaskKind = Literal["take out", "set switches", "wire", "label", "test"]
"""What is done at the bench, in this order."""

ThingKind = Literal["decoder", "detector", "drive", "signal", "frog", "output", "section", "route"]


@dataclass(frozen=True, slots=True)
class Task:
    """Something to do at the bench. text: as a sentence without its full stop."""

    kind: TaskKind
    thing: ThingKind
    name: str
    text: str


@dataclass(frozen=True, slots=True)
class CommandChange:
    """A thing and a state that is commanded otherwise than before, in words or by its packet; None
    where it is not commanded."""

    thing: str
    state: str
    before: str | None
    now: str | None


@dataclass(frozen=True, slots=True)
class Comparison:
    """All that is different. Without any of it, both say the same.

    moved: what has another output, input or address only because the text leaves that open.
    """

    routes: tuple[RouteChange, ...]
    pairs: tuple[PairChange, ...]
    expectations: tuple[LineChange, ...]
    assumptions: tuple[LineChange, ...]
    tasks: tuple[Task, ...]
    commands: tuple[CommandChange, ...]
    moved: tuple[str, ...] = ()

    @property
    def same(self) -> bool:
        parts = (self.routes, self.pairs, self.expectations, self.assumptions, self.tasks)
        return not any(parts) and not self.commands
