"""The signal box: the proved controller with its times, started and stopped by people.

It hears one thing after the other and decides about each at once; it sends nothing, asks for no
time and keeps no record. So the same things heard at the same times lead to the same decisions,
whoever runs it: with real links, with the simulated railway, or out of the journal.

It is stopped or it runs. While it is stopped all signals are at stop, nothing is thrown, and
reports are only remembered. It starts when a person says that no train is moving and all that
reports has reported since it was last asked. Whatever nothing explains stops it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from typing import Literal

from bellcrank.controller.build_controller import build_controller
from bellcrank.controller.controller_model import Input, InputKind, Timer
from bellcrank.controller.reactions import Control
from bellcrank.controller.timer_lengths import milliseconds_of
from bellcrank.controller.view import NOT_KNOWN
from bellcrank.layout.layout_model import Layout
from bellcrank.live.decisions import (
    Decision,
    Doing,
    Heard,
    Known,
    Light,
    Missing,
    Outcome,
    Show,
    Throw,
)
from bellcrank.live.sentences import Sentences
from bellcrank.machine.frame import CLOSING, IDLE, SET, moving
from bellcrank.machine.machine_model import Variable, VariableKind
from bellcrank.routes.route_model import RouteTable
from bellcrank.running.reacting import BY_PEOPLE, Reacting

NOT_STARTED = "it has not been started yet"

_Key = tuple[str, str]
"""A timer: its variable and the value for which it runs."""


class Box:
    """A controller that runs, or is stopped.

    state: of its variables, while it runs; as at a start with nothing reported otherwise.
    because: why it is stopped, as a sentence without its full stop; None while it runs.
    sections: what each section has reported since it was last asked.
    drives: likewise where each drive lies; empty while it lies in none of its positions.
    by_hand: the drives that no output throws.
    absent: the links that are not there. It does not start without them.
    """

    def __init__(
        self, layout: Layout, table: RouteTable, control: Control, links: Iterable[str] = ()
    ) -> None:
        self.layout = layout
        self.table = table
        self.controller = build_controller(control)
        self.reacting = Reacting(self.controller)
        self.sentences = Sentences(control, self.controller)
        self.because: str | None = NOT_STARTED
        self.sections: dict[str, str] = {}
        self.drives: dict[str, str] = {}
        self.absent: set[str] = set(links)
        self._told_by: dict[tuple[str, str], str] = {}
        self.state: dict[str, str] = self.reacting.start()
        wirings = layout.hardware.wirings
        self.by_hand = frozenset(
            name for name in layout.drives if name not in wirings or not wirings[name].outputs
        )
        self._lamps = self._of_kind("lamp")
        self._lying = self._of_kind("lying")
        self._drive_of = {v.name: drive for drive, v in self._lying.items()}
        self._signal_of = {v.name: signal for signal, v in self._lamps.items()}
        self._thrown_to = {
            drive: {moving(p): p for p in layout.drives[drive].positions} for drive in self._lying
        }
        lit = {lamp.route for lamp in table.panel.lamps}
        self._lit_for = {
            v.name: route for route, v in self._of_kind("progress").items() if route in lit
        }
        self._timers: defaultdict[str, dict[str, Timer]] = defaultdict(dict)
        for timer in self.controller.timers:
            self._timers[timer.variable][timer.value] = timer
        self._ends: dict[_Key, float] = {}
        self._waiting: set[_Key] = set()

    @property
    def running(self) -> bool:
        return self.because is None

    def missing(self) -> Missing:
        """What has to report before it can be started."""
        layout = self.layout
        return Missing(
            tuple(
                s.name
                for s in layout.sections.values()
                if s.detected and s.name not in self.sections
            ),
            tuple(
                d.name for d in layout.drives.values() if d.detected and d.name not in self.drives
            ),
        )

    def forget(self, link: str) -> None:
        """Whatever a link reported is not known any more: it must be reported anew."""
        for (what, of), who in list(self._told_by.items()):
            if who == link:
                (self.sections if what == "section" else self.drives).pop(of, None)
                del self._told_by[what, of]

    # ---------------------------------------------------------------- deciding

    def decide(self, heard: Heard, now: float) -> Decision:
        """What follows of something heard. `now`: milliseconds by the clock of the railway."""
        match heard.kind:
            case "start":
                return self._start(heard, now)
            case "stop":
                who = f" by {heard.who}" if heard.who else ""
                return self._stopped(heard, now, "stopped", f"all was stopped{who}")
            case "here":
                self.absent.discard(heard.of)
                return Decision(heard, now, "noted", (f"{heard.of} is here",))
            case "lost":
                self.absent.add(heard.of)
                self.forget(heard.of)
                why = heard.value or f"{heard.of} is lost"
                return self._stopped(heard, now, "stopped", why)
            case "not understood":
                why = f"{heard.who or 'a link'} said `{heard.value}`, which means nothing"
                return self._stopped(heard, now, "alarm", why)
            case "thrown":
                self._begun(heard.of, now)
                return Decision(heard, now, "noted")
            case "thrown by hand":
                return self._by_hand(heard, now)
            case "occupied" | "clear" | "lies":
                self.remember(heard)
            case "nowhere":
                self.remember(heard)
                return Decision(heard, now, "noted")
        if not self.running:
            return self._while_stopped(heard, now)
        given = self.input_of(heard)
        assert given is not None
        return self._give(given, heard, now)

    def input_of(self, heard: Heard) -> Input | None:
        """What something heard is to the controller; None if that is nothing to it."""
        match heard.kind:
            case "thrown by hand":
                variable = self._lying.get(heard.of)
                if variable is None or self.layout.drives[heard.of].detected:
                    return None
                return Input("time over", variable.name, self.state[variable.name])
            case "nowhere" | "start" | "stop" | "here" | "lost" | "not understood" | "thrown":
                return None
            case kind:
                return Input(kind, heard.of, heard.value)

    def remember(self, heard: Heard) -> bool:
        """What a section or a drive reported last; whether that is news."""
        before = self.sections.get(heard.of), self.drives.get(heard.of)
        match heard.kind:
            case "occupied" | "clear":
                self.sections[heard.of] = heard.kind
                self._told_by["section", heard.of] = heard.who
            case "lies":
                self.drives[heard.of] = heard.value
                self._told_by["drive", heard.of] = heard.who
            case "nowhere":
                # Where a contact has opened it lies nowhere, unless another closed before that.
                if self.drives.get(heard.of, "") in ("", heard.value) or not heard.value:
                    self.drives[heard.of] = ""
                    self._told_by["drive", heard.of] = heard.who
        return before != (self.sections.get(heard.of), self.drives.get(heard.of))

    def _while_stopped(self, heard: Heard, now: float) -> Decision:
        if heard.kind in BY_PEOPLE:
            assert self.because is not None
            why = f"nothing is set before a start: {self.because}"
            return Decision(heard, now, "refused", (why,))
        return Decision(heard, now, "noted")

    def _start(self, heard: Heard, now: float) -> Decision:
        if self.running:
            return Decision(heard, now, "nothing new", ("it runs already",))
        if self.absent:
            return Decision(heard, now, "refused", (self.sentences.absent(self.absent),))
        missing = self.missing()
        if missing.any:
            why = self.sentences.not_heard(missing)
            return Decision(heard, now, "refused", (why,))
        occupied = tuple(s for s in self.layout.sections if self.sections.get(s) == "occupied")
        lies = tuple(
            (d, self.drives[d]) for d, drive in self.layout.drives.items()
            if drive.detected and self.drives[d]
        )  # fmt: skip
        self.state = self.reacting.start(occupied, dict(lies))
        self.because = None
        self._ends.clear()
        self._waiting.clear()
        told = f"{heard.who or 'somebody'} says that no train is moving: it runs"
        return Decision(
            heard, now, "started", (told,), tuple(self.all_at_stop()), Known(occupied, lies)
        )

    def all_at_stop(self) -> Iterator[Doing]:
        """Every signal shown at stop, and no route shown to be set."""
        for signal in self._lamps:
            yield Show(signal, self.stop(signal))
        for route in self._lit_for.values():
            yield Light(route, lit=False)

    def _stopped(self, heard: Heard, now: float, outcome: Outcome, because: str) -> Decision:
        """All signals go to stop, and nothing is thrown."""
        self.because = because
        self._ends.clear()
        self._waiting.clear()
        # Also those that are thought to be at stop: nobody knows why this was needed.
        return Decision(heard, now, outcome, (because,), tuple(self.all_at_stop()))

    def _by_hand(self, heard: Heard, now: float) -> Decision:
        """A person has thrown a drive that no output throws. If contacts report it that is all."""
        variable = self._lying.get(heard.of)
        goes = None if variable is None else self._thrown_to[heard.of].get(
            self.state[variable.name]
        )  # fmt: skip
        if not self.running or variable is None or goes is None:
            return Decision(heard, now, "refused", (f"{heard.of} is not to be thrown now",))
        self._begun(heard.of, now)
        over = self.input_of(heard)
        if over is None:
            return Decision(heard, now, "noted", (f"{heard.of} was thrown by hand",))
        return self._give(over, heard, now)

    def _give(self, given: Input, heard: Heard, now: float) -> Decision:
        if given not in self.controller.inputs:
            if given.kind in BY_PEOPLE:
                return Decision(heard, now, "refused", (f"there is no `{given.of}`",))
            what = f"{given.of} {given.kind} {given.value}".rstrip()
            return self._stopped(heard, now, "alarm", f"`{what}` was reported, which means nothing")
        answer = self.reacting.input(given, self.state)
        if answer.outcome == "nothing new":
            return Decision(heard, now, "nothing new")
        if answer.outcome == "refused":
            return Decision(heard, now, "refused", self.sentences.why_not(given, self.state))
        if answer.outcome == "alarm":
            because = self.sentences.unexplained(given, self.state)
            return self._stopped(heard, now, "alarm", because)
        before = self.state
        self.state = dict(answer.state)
        self._set_timers(answer.changes, now)
        told = tuple(dict.fromkeys(reaction.text for reaction in answer.done))
        return Decision(heard, now, "done", told, tuple(self._doings(before, answer.changes)))

    def _doings(self, before: Mapping[str, str], changes: Mapping[str, str]) -> Iterator[Doing]:
        """Signals to stop first, then drives, then signals off, and lamps of the panel."""
        shown = []
        for variable, value in changes.items():
            signal = self._signal_of.get(variable)
            if signal is not None:
                aspect = self._aspect(signal, value)
                if aspect != self._aspect(signal, before[variable]):
                    shown.append(Show(signal, aspect))
        stop = [s for s in shown if s.aspect == self.stop(s.signal)]
        yield from stop
        for variable, value in changes.items():
            drive = self._drive_of.get(variable)
            goes = None if drive is None else self._thrown_to[drive].get(value)
            if drive is not None and goes is not None:
                yield Throw(drive, goes)
        yield from (s for s in shown if s not in stop)
        for variable, value in changes.items():
            route = self._lit_for.get(variable)
            if route is not None and (value == IDLE) != (before[variable] == IDLE):
                yield Light(route, lit=value != IDLE)

    # ------------------------------------------------------------------- times

    def _set_timers(self, changes: Iterable[str], now: float) -> None:
        for variable in changes:
            timers = self._timers.get(variable)
            if timers is None:
                continue
            for value, timer in timers.items():
                key = variable, value
                if self.state[variable] != value:
                    self._ends.pop(key, None)
                    self._waiting.discard(key)
                elif timer.kind == "drive":
                    # It runs from when the drive is really thrown: supplies may keep it waiting.
                    self._waiting.add(key)
                else:
                    self._ends[key] = now + milliseconds_of(timer, self.layout)

    def _begun(self, drive: str, now: float) -> None:
        variable = self._lying[drive].name
        for key in [k for k in self._waiting if k[0] == variable]:
            self._waiting.discard(key)
            self._ends[key] = now + milliseconds_of(self._timers[variable][key[1]], self.layout)

    def next_at(self) -> float | None:
        """When the next time is over; None if none runs."""
        return min(self._ends.values(), default=None)

    def due(self, now: float) -> list[Heard]:
        """The times that are over."""
        over = [key for key, end in self._ends.items() if end <= now]
        over.sort(key=lambda key: self._ends[key])
        for key in over:
            del self._ends[key]
        return [Heard("time over", variable, value) for variable, value in over]

    # ------------------------------------------------------------ how it stands

    def aspects(self) -> dict[str, str]:
        """The aspect of each signal, as it is to be."""
        if not self.running:
            return {signal: self.stop(signal) for signal in self._lamps}
        return {s: self._aspect(s, self.state[v.name]) for s, v in self._lamps.items()}

    def off_for(self, signal: str) -> str | None:
        """The route for which a signal is off."""
        value = self.state[self._lamps[signal].name]
        return value if self.running and value in self.table.routes else None

    def lies(self, drive: str) -> str | None:
        """Where a drive is known to lie; None if that is not known, or it is on its way."""
        if not self.running:
            return self.drives.get(drive) or None
        value = self.state[self._lying[drive].name]
        return None if value == NOT_KNOWN or value in self._thrown_to[drive] else value

    def goes_to(self, drive: str) -> str | None:
        """Where a drive is being thrown to."""
        if not self.running:
            return None
        return self._thrown_to[drive].get(self.state[self._lying[drive].name])

    def occupied(self, section: str) -> bool | None:
        """What a section was reported; None if it does not report, or has not yet."""
        said = self.sections.get(section)
        return None if said is None else said == "occupied"

    def held_for(self, section: str) -> str | None:
        """The route for which a section is held."""
        variable = self.reacting.named("held", section)
        value = self.state[variable.name]
        return value if self.running and value in self.table.routes else None

    def stage(self, route: str) -> str:
        """How far a route has got; `IDLE` if it is not set."""
        if not self.running:
            return IDLE
        return self.state[self.reacting.named("progress", route).name]

    def can_confirm(self, route: str) -> list[Literal["passed", "arrived"]]:
        """What a person may say of the train of a route now, if it is so."""
        if not self.running:
            return []
        asked: tuple[tuple[Literal["passed", "arrived"], InputKind], ...] = (
            ("passed", "confirm passed"),
            ("arrived", "confirm arrived"),
        )
        # Where all is reported, people are asked only once its train is on the way.
        told = all(self.layout.sections[s].detected for s in self.table.routes[route].sections)
        if told and self.stage(route) in (SET, CLOSING):
            return []
        return [
            word
            for word, kind in asked
            if (given := Input(kind, route)) in self.controller.inputs
            and self.reacting.reaction(given, self.state) is not None
        ]

    def _of_kind(self, kind: VariableKind) -> dict[str, Variable]:
        return {v.of: v for v in self.controller.variables.values() if v.kind == kind}

    def stop(self, signal: str) -> str:
        """The aspect by which a signal shows stop."""
        return self.layout.signals[signal].aspects[0].name

    def _aspect(self, signal: str, value: str) -> str:
        route = self.table.routes.get(value)
        return route.aspect if route else self.stop(signal)
