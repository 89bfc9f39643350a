"""A reader of the controller in the JSON document: it takes in inputs and says what to do.

Written from the document's schema alone. Values are looked up in sets, and a step is looked
at again only when a variable that it reads has changed, so that long runs are short.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from typing import Any, NamedTuple

Json = Mapping[str, Any]

REFUSED_AT_MOST = ("request", "cancel", "confirm passed", "confirm arrived")
"""What is refused if there is no reaction; anything else raises the alarm."""


class Reaction(NamedTuple):
    """A guard as clauses of (variable, values), and what values become."""

    name: str
    guard: tuple[tuple[tuple[str, frozenset[str]], ...], ...]
    updates: Mapping[str, Mapping[str, str]]


@dataclass
class Answer:
    """What came of an input: refused, the alarm, and variables that have another value now."""

    refused: bool = False
    alarm: str = ""
    changed: tuple[str, ...] = ()


class Reader:
    """Executes a controller."""

    def __init__(self, controller: Json) -> None:
        self.controller = controller
        self.initial = {v["name"]: v["initial"] for v in controller["variables"]}
        self.inputs = {
            (i["kind"], i["of"], i["value"] or ""): tuple(map(_reaction, i["reactions"]))
            for i in controller["inputs"]
        }
        self.steps = tuple(map(_reaction, controller["steps"]))
        self.readers: defaultdict[str, list[int]] = defaultdict(list)
        for number, step in enumerate(self.steps):
            for variable in {v for clause in step.guard for v, _ in clause}:
                self.readers[variable].append(number)
        self.said = {r["section"]: r for r in controller["reports"]}
        self.throws = {t["drive"]: t for t in controller["throws"]}
        self.held = {h["section"]: (h["variable"], h["free"]) for h in controller["held"]}
        self.progress = {p["route"]: (p["variable"], p["idle"]) for p in controller["progress"]}
        self.state = dict(self.initial)
        self.alarmed = False
        self.taken: Counter[str] = Counter()

    def start(self, occupied: Iterable[str], lying: Mapping[str, str]) -> None:
        """Begin anew: these sections are reported occupied, these drives report where they lie."""
        self.alarmed = False
        self.state = dict(self.initial)
        for section in occupied:
            self.state[self.said[section]["variable"]] = self.said[section]["when_occupied"]
        for drive, position in lying.items():
            throw = self.throws[drive]
            self.state[throw["variable"]] = next(
                m["value"] for m in throw["meanings"] if m["lies"] == position
            )
        self._settle(range(len(self.steps)), {})

    def put_in(self, kind: str, of: str, value: str = "") -> Answer:
        """Take an input."""
        if self.alarmed:
            return Answer(refused=True)
        for reaction in self.inputs.get((kind, of, value), ()):
            if self._possible(reaction):
                break
        else:
            if kind in REFUSED_AT_MOST:
                return Answer(refused=True)
            self.alarmed = True
            return Answer(alarm=f"{kind} {of} {value}".strip())
        before: dict[str, str] = {}
        self._settle(self._apply(reaction, before), before)
        return Answer(changed=tuple(v for v, old in before.items() if self.state[v] != old))

    def would(self, kind: str, of: str) -> bool:
        """Whether an input would be taken now."""
        return not self.alarmed and any(map(self._possible, self.inputs.get((kind, of, ""), ())))

    def is_held(self, section: str) -> bool:
        if section not in self.held:
            return False
        variable, free = self.held[section]
        return self.state[variable] != free

    def holds(self, route: str, section: str) -> bool:
        return self.state[self.held[section][0]] == route

    def is_idle(self, route: str) -> bool:
        variable, idle = self.progress[route]
        return self.state[variable] == idle

    def _possible(self, reaction: Reaction) -> bool:
        state = self.state
        for clause in reaction.guard:
            for variable, values in clause:
                if state[variable] in values:
                    break
            else:
                return False
        return True

    def _apply(self, reaction: Reaction, before: dict[str, str]) -> Iterator[int]:
        """Change variables; the steps that read them."""
        self.taken[reaction.name] += 1
        found: list[int] = []
        for variable, becomes in reaction.updates.items():
            old = self.state[variable]
            new = becomes.get(old, old)
            if new != old:
                before.setdefault(variable, old)
                self.state[variable] = new
                found += self.readers[variable]
        return iter(found)

    def _settle(self, changed: Iterable[int], before: dict[str, str]) -> None:
        """Go through the steps in their order, again and again, until none is possible."""
        current = list(set(changed))
        heapify(current)
        later: list[int] = []
        last = -1
        for _ in range(100_000):
            if not current:
                if not later:
                    return
                current, later, last = sorted(set(later)), [], -1
            number = heappop(current)
            if number == last:
                continue
            last = number
            if self._possible(self.steps[number]):
                for other in self._apply(self.steps[number], before):
                    if other > number:
                        heappush(current, other)
                    else:
                        later.append(other)
        raise AssertionError("the steps of this controller never end")


def _reaction(reaction: Json) -> Reaction:
    return Reaction(
        reaction["name"],
        tuple(
            tuple((literal["variable"], frozenset(literal["one_of"])) for literal in clause)
            for clause in reaction["guard"]
        ),
        {
            update["variable"]: {old: b["to"] for b in update["becomes"] for old in b["from"]}
            for update in reaction["updates"]
        },
    )
