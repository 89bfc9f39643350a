"""What a report means that comes by messages, as the target mqtt says it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from bellcrank.live.decisions import Heard


class Reports:
    """topics: on which reports come. told: the reports of `messages.json`. who: the link."""

    def __init__(self, told: Sequence[Mapping[str, Any]], who: str) -> None:
        self._states = {r["topic"]: {s["state"]: s["input"] for s in r["states"]} for r in told}
        self._of = {r["topic"]: r["name"] for r in told}
        self._who = who
        self.topics = tuple(self._states)

    def read(self, topic: str, state: str | None) -> tuple[Heard, ...]:
        """What a report tells. Raises LookupError if it means nothing."""
        means = self._states[topic][state]
        if means is not None:
            return (Heard(means["kind"], means["of"], means["value"] or "", self._who),)
        told = [each["value"] for each in self._states[topic].values() if each is not None]
        # Of a contact that has opened only its own position is known not to be.
        left = str(told[0]) if len(told) == 1 else ""
        return (Heard("nowhere", self._of[topic], left, self._who),)
