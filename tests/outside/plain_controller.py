"""The controller of a document, run in cycles as targets/README.md says that its function block
is; written from that and from the schema alone, without the block.

Nothing of the compiler is used here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

Data = Mapping[str, Any]

ORDER = (
    "occupied", "lies", "clear", "time over", "laid", "confirm passed", "confirm arrived",
    "request", "cancel", "cancel from",
)  # fmt: skip
EXPLAINED = ("occupied", "lies", "clear", "time over")


@dataclass
class Waiting:
    """For how long conditions have been true, as far as cycles show it."""

    since: dict[str, int] = field(default_factory=dict)

    def over(self, name: str, true: bool, now: int, milliseconds: int) -> bool:
        if not true:
            self.since.pop(name, None)
            return False
        return now - self.since.setdefault(name, now) >= milliseconds


@dataclass
class Drive:
    """A drive that is thrown by an output."""

    variable: str
    goals: dict[str, int]
    pulse: int
    cools: int
    level: bool
    supply: str | None
    rests: int
    reports: bool
    wanted: bool = False
    sent: bool = False
    thrown: int = 0
    left: int = 0
    hot: bool = True
    held: bool = True


class PlainController:
    """At power-up. on: the inputs that are TRUE, by their numbers."""

    def __init__(self, document: Data, settle: int = 100, clears: int = 1_000) -> None:
        c = document["controller"]
        self.settle, self.clears = settle, clears
        self.domains = {v["name"]: v["domain"] for v in c["variables"]}
        self.initial = {v["name"]: v["initial"] for v in c["variables"]}
        self.state = dict(self.initial)
        self.steps = c["steps"]
        self.inputs = dict(enumerate(c["inputs"], start=1))
        self.throws = {t["drive"]: t for t in c["throws"]}
        self.reports = {r["section"]: r for r in c["reports"]}
        wired = {d["name"]: d for d in document["layout"]["drives"]}
        by_hand = {n for n, d in wired.items() if d["positions"][0]["decoder"] is None}
        self.laid_by_hand = [t for d, t in self.throws.items() if d in by_hand]
        limited = [
            s for s in document["hardware"]["supplies"] if s["at_a_time"] or s["rest_milliseconds"]
        ]
        self.at_a_time = {s["name"]: s["at_a_time"] or 1 for s in limited}
        self.drives = [
            self.drive(t, wired[d], limited) for d, t in self.throws.items() if d not in by_hand
        ]
        self.by_variable = {d.variable: d for d in self.drives}
        hardware = document["hardware"]
        self.pairs = {(p["first"], p["second"]): p["route"] for p in hardware["button_pairs"]}
        self.panel_lamps = [lamp["route"] for lamp in hardware["lamps"]]
        self.progress = {p["route"]: (p["variable"], p["idle"]) for p in c["progress"]}
        self.add_panel(hardware["buttons"], document["routes"])
        self.kept: str | None = None
        self.kinds = {n: i["kind"] for n, i in self.inputs.items()}
        self.timers: dict[int, tuple[str, str, int]] = {}
        times = {(t["variable"], t["value"]): t for t in c["timers"]}
        for n, i in self.inputs.items():
            if i["kind"] != "time over":
                continue
            t = times[i["of"], i["value"]]
            if t["kind"] == "drive" and t["of"] in by_hand:
                self.kinds[n] = "laid" if i["reactions"] else "never"
                continue
            settles = wired[t["of"]]["settles_milliseconds"] if t["kind"] == "drive" else None
            self.timers[n] = i["of"], i["value"], max(t["milliseconds"], settles or 0)
        self.lamps = c["lamps"]
        self.aspects = {
            s["name"]: [a["name"] for a in s["aspects"]] for s in document["layout"]["signals"]
        }
        self.waiting = Waiting()
        self.seen = dict.fromkeys(self.of_kind("occupied"), True)
        self.contacts = dict.fromkeys(self.of_kind("lies"), False)
        self.pressed = frozenset((0, *self.of_kind(*ORDER[4:], "place")))
        self.before: frozenset[int] = self.pressed
        self.begun: set[int] = set()
        self.running = self.alarm = self.refused = False
        self.unexplained = 0

    def add_panel(self, buttons: list[Data], routes: list[Data]) -> None:
        """Buttons at places and signals, as inputs whose numbers go on after the others."""
        cancel = {i["of"]: i["reactions"] for i in self.inputs.values() if i["kind"] == "cancel"}
        for b in buttons:
            number = len(self.inputs) + 1
            if b["type"] == "place":
                told = {"kind": "place", "of": b["place"], "reactions": []}
            elif b["type"] == "cancel":
                of = [r["name"] for r in routes if r["from"] == b["signal"]]
                able = [reaction for name in of for reaction in cancel[name]]
                told = {"kind": "cancel from", "of": b["signal"], "reactions": able}
            else:
                continue
            self.inputs[number] = {**told, "value": None}

    @staticmethod
    def drive(throw: Data, wired: Data, limited: list[Data]) -> Drive:
        fed = [s for s in limited if wired["positions"][0]["decoder"] in s["feeds"]]
        to = [m["value"] for m in throw["meanings"] if m["thrown_to"] is not None]
        rests = fed[-1]["rest_milliseconds"] or 0 if fed else 0
        return Drive(
            throw["variable"],
            {value: place for place, value in enumerate(to, start=1)},
            wired["milliseconds"] or 1,
            wired["rests_milliseconds"] or 0,
            wired["action"] is None,
            fed[-1]["name"] if fed else None,
            rests,
            throw["reports"],
            hot=bool(wired["rests_milliseconds"]),
            held=bool(rests),
        )

    def of_kind(self, *kinds: str) -> list[int]:
        return [n for n, kind in self.kinds.items() if kind in kinds]

    # ------------------------------------------------------------ one cycle

    def scan(self, now: int, on: frozenset[int]) -> None:
        """A cycle. 0 is START, which is no input of the controller."""
        self.settled(now, on)
        over = self.times(now)
        ended = self.throws_ended(now)
        closed = {n for n, made in self.contacts.items() if made}
        made = on & self.pressed | closed
        rose = made - self.before
        anew = 0 in rose
        if anew:
            self.start()
        elif self.running:
            if rose.intersection(self.pressed):
                self.refused = False
            rose |= self.asked_by_places(rose)
            for n in self.changed(rose, over):
                if self.running:
                    self.take(n)
        if anew or not self.running:
            self.kept = None
        self.throw(anew, ended)
        self.before = made

    def asked_by_places(self, rose: frozenset[int]) -> frozenset[int]:
        """The request that is made by a place that is pressed now and the one that was kept."""
        places = [self.inputs[n]["of"] for n in rose if self.kinds.get(n) == "place"]
        asked = None
        if len(places) == 1:
            asked = self.pairs.get((self.kept or "", places[0]))
            self.kept = None if asked else places[0]
        elif places:
            self.kept, self.refused = None, True
        if rose.intersection(self.of_kind("request", "cancel", "cancel from")):
            self.kept = None
        found = (n for n in self.of_kind("request") if self.inputs[n]["of"] == asked)
        return frozenset(found)

    def settled(self, now: int, on: frozenset[int]) -> None:
        for n in self.seen:
            if self.waiting.over(f"on {n}", n in on, now, self.settle):
                self.seen[n] = True
            if self.waiting.over(f"off {n}", n not in on, now, self.clears):
                self.seen[n] = False
        for n in self.contacts:
            self.contacts[n] = self.waiting.over(f"on {n}", n in on, now, self.settle)

    def times(self, now: int) -> set[int]:
        found = set()
        for n, (variable, value, milliseconds) in self.timers.items():
            drive = self.by_variable.get(variable)
            runs = drive.sent if drive else n not in self.begun
            true = self.state[variable] == value and runs
            if self.waiting.over(f"timer {n}", true, now, milliseconds):
                found.add(n)
        self.begun.clear()
        return found

    def start(self) -> None:
        self.running, self.alarm, self.unexplained, self.refused = True, False, 0, False
        self.state = dict(self.initial)
        for n, occupied in self.seen.items():
            r = self.reports[self.inputs[n]["of"]]
            self.state[r["variable"]] = r["when_occupied"] if occupied else r["when_clear"]
        for name, throw in self.throws.items():
            made = [
                self.inputs[n]["value"]
                for n, closed in self.contacts.items()
                if closed and self.inputs[n]["of"] == name
            ]
            if len(made) == 1:
                self.state[throw["variable"]] = made[0]

    def changed(self, rose: frozenset[int], over: set[int]) -> list[int]:
        found = []
        for kind in ORDER:
            for n in self.of_kind(kind):
                if kind in ("occupied", "clear"):
                    r = self.reports[self.inputs[n]["of"]]
                    [seen] = (
                        now
                        for m, now in self.seen.items()
                        if self.inputs[m]["of"] == self.inputs[n]["of"]
                    )
                    was = self.state[r["variable"]] == r["when_occupied"]
                    comes = seen is not was and seen is (kind == "occupied")
                else:
                    comes = n in (over if kind == "time over" else rose)
                if comes:
                    found.append(n)
        return found

    def explained(self, n: int) -> Data | None:
        """The reaction to an input, if there is one."""
        return next((r for r in self.inputs[n]["reactions"] if self.possible(r)), None)

    def take(self, n: int) -> None:
        kind = self.kinds[n]
        if kind == "time over":
            variable, value, _ = self.timers[n]
            drive = self.by_variable.get(variable)
            if self.state[variable] != value or not (drive.sent if drive else n not in self.begun):
                return
        reaction = self.explained(n)
        if kind == "laid" and self.state[self.inputs[n]["of"]] != self.inputs[n]["value"]:
            reaction = None
        if reaction is not None:
            self.happen(reaction)
            while self.step():
                pass
        elif kind in EXPLAINED:
            self.running, self.alarm, self.unexplained = False, True, n
        else:
            self.refused = True

    def step(self) -> bool:
        """All steps once, in their order; whether any was possible."""
        moved = False
        for s in self.steps:
            if self.possible(s):
                self.happen(s)
                moved = True
        return moved

    def possible(self, reaction: Data) -> bool:
        return all(
            any(self.state[x["variable"]] in x["one_of"] for x in clause)
            for clause in reaction["guard"]
        )

    def happen(self, reaction: Data) -> None:
        for u in reaction["updates"]:
            old = self.state[u["variable"]]
            new = next((b["to"] for b in u["becomes"] if old in b["from"]), old)
            if new == old:
                continue
            self.state[u["variable"]] = new
            drive = self.by_variable.get(u["variable"])
            if drive and new in drive.goals:
                drive.wanted, drive.sent = True, False
            self.begun |= {
                n for n, timer in self.timers.items() if timer[:2] == (u["variable"], new)
            }

    # -------------------------------------------------------------- outputs

    def throws_ended(self, now: int) -> set[str]:
        """The drives whose pulses are over; those that have rested may be thrown again."""
        for d in self.drives:
            v = d.variable
            if self.waiting.over(f"rest {v}", d.held and not d.thrown, now, d.rests):
                d.held = False
            if self.waiting.over(f"cool {v}", d.hot and not d.thrown, now, d.cools):
                d.hot = False
        return {
            d.variable
            for d in self.drives
            if self.waiting.over(f"pulse {d.variable}", d.thrown != 0, now, d.pulse)
        }

    def throw(self, anew: bool, ended: set[str]) -> None:
        used = dict.fromkeys(self.at_a_time, 0)
        for d in self.drives:
            if d.supply and (d.thrown or d.held):
                used[d.supply] += 1
        for d in self.drives:
            goal = d.goals.get(self.state[d.variable], 0)
            if anew or not self.running:
                d.wanted = d.sent = False
                if d.thrown:
                    self.ended(d)
            elif not goal:
                d.wanted = False
            elif (
                d.wanted
                and not (d.thrown or d.hot or d.held)
                and (d.supply is None or used[d.supply] < self.at_a_time[d.supply])
            ):
                d.wanted, d.thrown, d.left = False, goal, goal
                d.sent = d.reports
                if d.supply:
                    used[d.supply] += 1
            if d.thrown and d.variable in ended:
                if not d.reports:
                    d.sent = d.thrown == goal and not d.wanted
                self.ended(d)

    def ended(self, d: Drive) -> None:
        d.thrown, d.held, d.hot = 0, d.rests > 0, d.cools > 0

    def aspect(self, lamp: Data) -> int:
        if not self.running:
            return 0
        [shown] = (s for s in lamp["shows"] if s["value"] == self.state[lamp["variable"]])
        return self.aspects[lamp["signal"]].index(shown["aspect"])

    def lit(self) -> list[bool]:
        """For each lamp of the panel, whether it is on."""
        shown = (self.progress[route] for route in self.panel_lamps)
        return [self.running and self.state[variable] != idle for variable, idle in shown]

    def thrown(self, throw: Data) -> list[bool]:
        """For each position, whether its output is on."""
        to = [m["value"] for m in throw["meanings"] if m["thrown_to"] is not None]
        drive = self.by_variable.get(throw["variable"])
        if drive is None:
            return [self.running and self.state[throw["variable"]] == value for value in to]
        at = drive.left if drive.level else drive.thrown
        return [at == place for place in range(1, len(to) + 1)]
