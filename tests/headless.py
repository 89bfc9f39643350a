"""A railway that runs with nobody waiting: signal box and simulated railway, in the time of the
latter.

The simulated railway is the judge: whatever it calls an accident is one.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from bellcrank import Sound
from bellcrank.live.box import Box
from bellcrank.live.decisions import Decision, Doing, Heard, Show, Throw
from bellcrank.live.engine import Engine
from bellcrank.live.pacing import Pacer
from bellcrank.live.people import Confirming, asked, may_come_in
from bellcrank.live.simulated_link import heard_of
from bellcrank.machine.frame import IDLE
from bellcrank.simulated.acts import Act, Fault
from bellcrank.simulated.habits import Asks, Cancels, Habits
from bellcrank.simulated.railway import SimulatedRailway, SimulationError


@dataclass
class Headless:
    """sent: everything that was put out, with its time. decided: how often what came out. log:
    what was decided and what happened, the last of it."""

    c: Sound
    seed: int = 0
    sent: list[tuple[float, Doing]] = field(default_factory=list)
    decided: Counter[tuple[str, str]] = field(default_factory=Counter)
    log: list[str] = field(default_factory=list)
    written: list[Decision] = field(default_factory=list)
    keep: bool = True

    def __post_init__(self) -> None:
        c = self.c
        self.railway = SimulatedRailway(c.layout, c.table, self.seed)
        self.box = Box(c.layout, c.table, c.control)
        self.engine = Engine(self.box, Pacer(c.layout), self, self.put_out)
        self.railway.admits = lambda _, elements: may_come_in(self.box, elements)
        self.habits = Habits(self.railway, self.is_idle, self.box.sentences.looked_at, self.seed)
        self.confirming = Confirming(self.box, self.railway)
        self.rng = random.Random(f"looks {self.seed}")
        self.now = 0.0
        self.look_at = 0.0

    def is_idle(self, route: str) -> bool:
        return self.box.stage(route) == IDLE

    def write(self, decisions: Sequence[Decision]) -> None:
        if self.keep:
            self.written += decisions

    def put_out(self, doing: Doing) -> None:
        if self.keep:
            self.sent.append((self.now, doing))
        if isinstance(doing, Show):
            self.railway.show(doing.signal, doing.aspect)
        elif isinstance(doing, Throw):
            self.railway.throw(doing.drive, doing.position)

    def hear(self, heard: Sequence[Heard]) -> list[Decision]:
        decisions = self.engine.hear(heard, self.now)
        for decision in decisions:
            self.decided[decision.heard.kind, decision.outcome] += 1
            if decision.told and decision.outcome != "nothing new":
                self.note(f"{decision.heard.kind} {decision.heard.of}: {decision.outcome}: "
                          f"{'; '.join(decision.told)}")  # fmt: skip
        return decisions

    def note(self, text: str) -> None:
        self.log.append(f"{self.now / 1000:10.2f}  {text}")
        del self.log[:-60]

    def reports(self) -> None:
        """What has been reported by now comes to the box."""
        for happened in self.railway.take_happened():
            self.note(happened.text)
        reports = self.railway.take_reports()
        if reports:
            self.hear([heard_of(each, "track") for each in reports])

    def start(self) -> None:
        self.hear([heard_of(each, "track") for each in self.railway.all_reports()])
        [decision, *_] = self.hear([Heard("start", who="Ada")])
        assert decision.outcome == "started", decision

    def step(self, until: float) -> None:
        """On to the next thing that happens, or to a moment in milliseconds."""
        times = [until, self.look_at]
        times += [at for at in (self.railway.next_at(), self.engine.next_at(self.now)) if at]
        self.now = max(self.now, min(times))
        self.railway.run_until(self.now)
        self.reports()
        self.hear(())
        if self.now >= self.look_at:
            self.look_at = self.now + self.rng.uniform(1000, 4000)
            self.look()

    def look(self) -> None:
        """People look round, and do what they want."""
        self.hear(self.confirming.seen())
        for wish in self.habits.next():
            if isinstance(wish, Asks | Cancels):
                self.hear([asked(wish, "Ada")])
            else:
                self.act(wish)

    def act(self, act: Act | Fault) -> bool:
        """Do something on the railway, if it is possible now; whether it was."""
        try:
            self.railway.do(act)
        except SimulationError:
            return False
        self.reports()
        return True

    def pass_time(self, milliseconds: float) -> None:
        """Nobody does anything of their own accord meanwhile."""
        end, self.look_at = self.now + milliseconds, self.now + milliseconds + 1
        while self.now < end:
            self.step(end)

    def run(self, milliseconds: float) -> None:
        """People work it until then, or until something is not as it should be."""
        end = self.now + milliseconds
        self.look_at = min(self.look_at, self.now)
        while self.now < end and not self.railway.accidents and self.box.running:
            self.step(end)

    def waits_for_ever(self, seconds: float) -> list[str]:
        """Trains that have stood so long though people do what they can."""
        now = self.now / 1000
        return [t.name for t in self.railway.trains() if now - t.stood_since > seconds and t.stands]

    @property
    def story(self) -> str:
        return "\n".join(self.log)
