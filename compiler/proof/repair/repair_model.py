"""A repair of written locking as a value: the rules that it lacks, and what stays open."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from bellcrank.machine.locking import Needs, OnlyOne
from bellcrank.proof.repair.candidates import Addition

Progress = Callable[[str], None]

SECONDS_UNASKED = 10.0
"""For finding the rules that are missing, where nobody has asked for it."""

MOST_ROUTES_UNASKED = 200
"""On larger layouts they are looked for only when somebody asks."""


@dataclass(frozen=True, slots=True)
class Missing:
    """A rule that is missing. instead_of: written ones that it replaces, which are wrong,
    or a group that lacks some of its routes."""

    rule: Addition
    instead_of: tuple[Needs | OnlyOne, ...] = ()

    @property
    def lacking(self) -> tuple[str, ...]:
        """The routes that a written group lacks."""
        if not isinstance(self.rule, OnlyOne):
            return ()
        had = {
            name for group in self.instead_of if isinstance(group, OnlyOne) for name in group.routes
        }
        return tuple(name for name in self.rule.routes if name not in had)


Why = Literal[
    "no rule would help",
    "not together with the rest",
    "undecided with these rules",
    "undecided, whatever rules are added",
]


@dataclass(frozen=True, slots=True)
class Unmended:
    """A property or an expectation that does not hold even with the missing rules.

    name: what the results of the proofs call it. sentence: what they say of it.
    """

    name: str
    sentence: str
    why: Why

    @property
    def text(self) -> str:
        return f"{self.sentence}: {self.why}"


@dataclass(frozen=True, slots=True)
class Repair:
    """The rules that make everything hold that rules can mend.

    rules: in the order of the route table; none if none is missing or none helps.
    proved: whether with them all that rules can mend is proved.
    smallest: whether fewer are known not to do.
    open: what does not hold even so.
    stopped: whether it was cut short before the rules were known.
    """

    rules: tuple[Missing, ...]
    proved: bool
    smallest: bool
    open: tuple[Unmended, ...]
    stopped: bool = False

    @property
    def mends(self) -> bool:
        """Whether there are rules to add that are known to help."""
        return self.proved and bool(self.rules)
