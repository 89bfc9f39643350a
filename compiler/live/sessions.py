"""The sessions of a journal: from a start until all is stopped."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from bellcrank.live.journal import Entry


@dataclass(frozen=True, slots=True)
class Session:
    """What was heard from a start until all was stopped.

    entries: of the journal; the first is the start. because: why it ended; empty where the journal
    just ends.
    """

    entries: tuple[Entry, ...]
    because: str = ""

    @property
    def began(self) -> str:
        return self.entries[0].wall

    @property
    def ended(self) -> str:
        return self.entries[-1].wall


def sessions(entries: Iterable[Entry]) -> Iterator[Session]:
    """The sessions of a run, in their order."""
    found: list[Entry] = []
    for entry in entries:
        outcome = entry.decision.outcome
        if outcome == "started":
            found = [entry]
        elif found:
            found.append(entry)
            if outcome in ("stopped", "alarm"):
                yield Session(tuple(found), "; ".join(entry.decision.told))
                found = []
    if found:
        yield Session(tuple(found))
