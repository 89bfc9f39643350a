"""The locking in force: what must hold for routes to be set together.

The values alone; `rules` makes them, from the route table and from what the user
wrote.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from bellcrank.diagnostics import Span
from bellcrank.layout.layout_model import Position


@dataclass(frozen=True, slots=True)
class Locks:
    """Neither of two routes may be set while the other is; with `when`, only
    while every drive named there lies as said.

    over: the section, where an `only one route over` says so.
    """

    first: str
    second: str
    when: tuple[Position, ...] = ()
    span: Span | None = field(default=None, compare=False)
    over: str | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class Needs:
    """A route that is set holds a drive in a position."""

    route: str
    drive: str
    position: str
    span: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class NeedsSet:
    """A route may be set only while another is."""

    route: str
    other: str
    span: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class NeedsClear:
    """A route may be set only when a section is clear."""

    route: str
    section: str
    span: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class OnlyOne:
    """A group of routes of which no two may be set together."""

    routes: tuple[str, ...]
    span: Span | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class OnlyOneOver:
    """A section over which no two routes may be set. routes: those that lead over it."""

    section: str
    routes: tuple[str, ...]
    span: Span | None = field(default=None, compare=False)


def called(expectation: str) -> str:
    """What the results of a proof call an expectation, by its text."""
    return f"expect {expectation}"


@dataclass(frozen=True, slots=True)
class Expectation:
    """Routes that must be able to stand together, or must never."""

    routes: tuple[str, ...]
    never: bool
    span: Span = field(compare=False)

    @property
    def text(self) -> str:
        return (" never with " if self.never else " with ").join(self.routes)

    @property
    def name(self) -> str:
        """What the results of a proof call it."""
        return called(self.text)


@dataclass(frozen=True, slots=True)
class Locking:
    """All rules in force.

    derived: whether the derived rules are among them.
    drives_need_clear: whether a drive is thrown only while its section is clear; derived
        locking always sees to that, and of frogs it is always so.
    sectional: whether sections are released one by one behind a train, or routes whole.
        A route with a section that is not detected is released whole in any case.
    groups, places: the written groups, and the sections over which only one route may be
        set; their pairs are among `locks`.
    """

    derived: bool
    locks: tuple[Locks, ...]
    needs: tuple[Needs, ...]
    needs_set: tuple[NeedsSet, ...]
    needs_clear: tuple[NeedsClear, ...]
    expectations: tuple[Expectation, ...]
    drives_need_clear: bool = False
    sectional: bool = False
    groups: tuple[OnlyOne, ...] = ()
    places: tuple[OnlyOneOver, ...] = ()


def written_rules_between(locking: Locking, first: str, second: str) -> tuple[str, ...]:
    """The written rules that keep two routes apart by themselves, each with its place.

    Rules about the two routes alone; what a chain of other routes brings about
    is left to the proof.
    """
    pair = {first, second}
    rules = []
    for lock in locking.locks:
        if {lock.first, lock.second} == pair and lock.span is not None:
            when = ", ".join(f"{drive} {position}" for drive, position in lock.when)
            while_ = f" when {when}" if when else ""
            said = f"{lock.first} locks {lock.second}{while_}"
            if lock.over is not None:
                said = f"only one route over {lock.over}"
            rules.append(f"{said} ({lock.span})")
    theirs = {n.drive: n for n in locking.needs if n.route == second and n.span}
    for need in locking.needs:
        other = theirs.get(need.drive)
        if need.route == first and need.span and other and other.position != need.position:
            rules.append(
                f"{need.drive} is needed {need.position} for {first} ({need.span}) "
                f"and {other.position} for {second} ({other.span})"
            )
    return tuple(rules)
