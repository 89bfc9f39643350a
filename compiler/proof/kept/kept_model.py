"""What is kept of proofs, and where: an interface with two places, this process and the disk.

A solver's answer is about the words of a question and nothing else. So what was answered once is
answered for ever, and may be kept under a digest of the whole question (content addressing). Two
kinds of answers are kept, and only that something was shown, never that it was not:

- that a clause is inductive relative to others, under all that `contents.py` makes its key of;
- that a shape, which is an obligation up to renaming, has no solution.

Nothing is kept under a name of a file or layout, or under a time, and nothing that is kept is
ever changed: two programs that keep something under one key keep the same.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

SIZE = 20
"""Bytes of a key: of that many, two different questions have the same digest by accident in
less than one of 10^30 pairs."""

MOST_IN_MEMORY = 400_000
"""Answers that one process keeps: what a railway of 10,000 routes needs."""


def digest(text: str) -> bytes:
    """BLAKE2b (RFC 7693) of a text."""
    return hash_of(text.encode("utf-8", "surrogatepass"))


def hash_of(data: bytes) -> bytes:
    """BLAKE2b of bytes."""
    return hashlib.blake2b(data, digest_size=SIZE).digest()


class Shown(NamedTuple):
    """What was shown of a clause, or of a shape.

    obligations: how many it took.
    helping: digests of the clauses that it was shown with the help of; none of a shape.
    in_any_state: whether it was shown of a clause, wholly or in part, that it follows from those
        in any state whatever the events; such a clause is an invariant and they are lemmas.
    """

    obligations: int
    helping: tuple[bytes, ...] = ()
    in_any_state: bool = False


class Kept(Protocol):
    """A place where answers are kept. It may lose any of them at any time."""

    def known(self, keys: Iterable[bytes]) -> Mapping[bytes, Shown]:
        """What is kept under some keys, of those that there is something of."""
        ...

    def keep(self, shown: Iterable[tuple[bytes, Shown]]) -> None:
        """Keep what was shown, now or later. Never raises: what cannot be kept is lost."""
        ...


@dataclass(slots=True)
class InMemory:
    """Keeps answers while this process runs, and asks another place for those that it lacks.

    What is to be kept is only noted until `settle` is called: a verdict is told first.

    beyond: the other place, which gets what is new; None if there is none.
    """

    beyond: Kept | None = None
    _shown: dict[bytes, Shown] = field(default_factory=dict)
    _later: list[Iterable[tuple[bytes, Shown]]] = field(default_factory=list)

    def known(self, keys: Iterable[bytes]) -> Mapping[bytes, Shown]:
        shown = self._shown
        asked = list(keys)
        found = {key: shown[key] for key in asked if key in shown}
        if self.beyond is not None and len(found) < len(asked):
            more = self.beyond.known(key for key in asked if key not in found)
            self._take(more)
            found.update(more)
        return found

    def keep(self, shown: Iterable[tuple[bytes, Shown]]) -> None:
        self._later.append(shown)

    def settle(self) -> None:
        """Keep all that was noted."""
        later, self._later = self._later, []
        for shown in later:
            new = {key: value for key, value in shown if key not in self._shown}
            self._take(new)
            if self.beyond is not None and new:
                self.beyond.keep(new.items())

    def _take(self, shown: Mapping[bytes, Shown]) -> None:
        if len(self._shown) + len(shown) > MOST_IN_MEMORY:
            self._shown.clear()
        self._shown.update(shown)
