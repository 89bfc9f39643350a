"""Random cycles for a controller: trains, drives, buttons, cuts of the power, left to chance.

What comes is mostly what the controller explains, or every run would soon end in an alarm.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from plain_controller import Data, PlainController


@dataclass(frozen=True)
class Cycle:
    """now: in milliseconds. on: the numbers of the inputs that are TRUE, 0 for START.
    cut: whether the power was cut before it."""

    now: int
    on: frozenset[int]
    cut: bool


class Chance:
    """Cycles, and the controller that they were run through."""

    def __init__(self, document: Data, seed: int) -> None:
        self.document = document
        self.random = random.Random(seed)
        self.controller = PlainController(document)
        self.met: Counter[str] = Counter()
        self.on: set[int] = set()

    def cycles(self, count: int) -> Iterator[Cycle]:
        """The controller has run through each when it is given."""
        now = self.random.randrange(10_000)
        for _ in range(count):
            now += self.random.choice((1, 5, 10, 20, 20, 20, 100, 400, 1_000, 6_000, 40_000))
            cut = self.random.random() < 0.002
            self.met["cuts"] += cut
            if cut:
                self.controller = PlainController(self.document)
            self.change()
            on = frozenset(self.on)
            self.controller.scan(now, on)
            self.count()
            yield Cycle(now, on, cut)

    def change(self) -> None:
        c, dice = self.controller, self.random
        self.on -= c.pressed
        if not c.running:
            if dice.random() < 0.5:
                self.on.add(0)
            return
        if dice.random() < 0.002:
            self.on.add(0)
        for _ in range(dice.choice((0, 0, 1, 1, 2, 5))):
            buttons = c.of_kind("request", "request", "cancel", "laid", "confirm arrived")
            wishes = [n for n in buttons if dice.random() < 0.03 or c.explained(n)]
            weights = [3 if c.kinds[n] in ("request", "laid") else 1 for n in wishes]
            weights = [w / 5 if c.kinds[n].startswith("confirm") else w
                       for n, w in zip(wishes, weights, strict=True)]  # fmt: skip
            if wishes and dice.random() < 0.3:
                self.on.update(dice.choices(wishes, weights))
        if dice.random() < 0.02:
            self.on.update(dice.sample(sorted(c.pressed - {0}), min(4, len(c.pressed) - 1)))
        for number in c.of_kind("place", "cancel from"):
            if dice.random() < 0.1:
                self.on.add(number)
        for number in list(c.seen):
            if dice.random() < 0.1 and (self.explained_soon(number) or dice.random() < 0.002):
                self.on ^= {number}
        for drive in c.drives:
            goal = next((v for v in drive.goals if v == c.state[drive.variable]), None)
            contacts = [n for n in c.contacts if self.drive_of(n) == drive.variable]
            if goal and contacts and dice.random() < 0.3:
                place = drive.goals[goal] - 1
                self.on.difference_update(contacts)
                self.on.add(contacts[place])
            elif dice.random() < 0.0003:
                self.on ^= set(contacts[:1])

    def drive_of(self, number: int) -> Any:
        return self.controller.throws[self.controller.inputs[number]["of"]]["variable"]

    def explained_soon(self, number: int) -> bool:
        """Whether the change of a section's report would be explained now."""
        c = self.controller
        section = c.inputs[number]["of"]
        kind = "clear" if number in self.on else "occupied"
        [other] = (n for n in c.of_kind(kind) if c.inputs[n]["of"] == section)
        r = c.reports[section]
        told = (
            c.state[r["variable"]] == (r["when_occupied" if kind == "occupied" else "when_clear"])
        )
        return told or c.explained(other) is not None

    def count(self) -> None:
        c = self.controller
        self.met["alarm"] += c.alarm
        self.met["running"] += c.running
        self.met["refused"] += c.refused
        self.met["off"] += any(c.aspect(lamp) for lamp in c.lamps)
        self.met["thrown"] += any(any(c.thrown(t)) for t in c.throws.values())
        self.met["lamps"] += any(c.lit())
        self.met["places"] += c.kept is not None
        self.met["waits"] += any(d.wanted for d in c.drives)
