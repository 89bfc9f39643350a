"""A script in the language of rehearsals, played on the running railway, with waits in its own
time.

On the simulated railway trains go by themselves as signals let them, but drivers wait for the
script to say that they pass one; a line that moves a train on waits until it stands. What only a
rehearsal can do, as to put vehicles anywhere, is refused.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from bellcrank.controller.controller_model import Input
from bellcrank.live.box import Box
from bellcrank.live.decisions import Heard, HeardKind
from bellcrank.live.live import Live
from bellcrank.live.simulated_link import SimulatedLink
from bellcrank.machine.frame import CLOSING, GONE_ON, IDLE, SET
from bellcrank.rehearsal.script import Line
from bellcrank.simulated.acts import Act, Comes, IsPut, IsTaken, TurnsBack
from bellcrank.simulated.railway import SimulationError
from bellcrank.simulated.train import Train

_MOST = 300_000
"""Milliseconds of the railway that a line waits for what it says."""

_WHO = "the script"


@dataclass(frozen=True, slots=True)
class Played:
    """What came of a line. wrong: why it could not be done, or is not so; empty if all is well."""

    line: Line
    wrong: str = ""


class ScriptPlayer:
    """Plays the lines of a script one after the other."""

    def __init__(self, live: Live, box: Box, link: SimulatedLink) -> None:
        self._live = live
        self._box = box
        self._link = link
        link.railway.drivers_wait = True

    async def play(self, line: Line) -> Played:
        """Do what a line says, or look whether it is so."""
        name = line.names.get
        match line.key:
            case "request" | "cancel":
                return await self._ask(line)
            case "comes in":
                come = self._act(line, Comes(line.names["EDGE"]))
                return come if come.wrong else await self._waits(line, self._all_are_come)
            case "stands":
                return self._act(line, IsPut(line.names["SIGNAL"]))
            case "turns back":
                return self._with_train(line, TurnsBack)
            case "taken off":
                return self._with_train(line, IsTaken)
            case "passes" | "front passes":
                signal = str(name("SIGNAL"))
                railway = self._link.railway
                before = railway.passes[signal]
                railway.tell_drivers(signal)
                self._link.wake()
                passed = await self._until(
                    lambda: railway.passes[signal] > before and self._is_reported(signal)
                )
                return Played(line, "" if passed else f"no train has passed {signal}")
            case "wait":
                return await self._waits(line, self._set_up)
            case "time":
                return await self._waits(line, lambda: self._set_up() and not self._times_run())
            case "go on":
                self._link.railway.tell_drivers()
                self._link.wake()
                gone_on = await self._waits(line, self._quiet)
                self._link.railway.drivers_wait = True
                return gone_on
            case "moves" | "front moves" | "tail leaves" | "tail comes in":
                return await self._waits(line, self._all_stand)
            case "long" | "short":
                return Played(line)  # trains have a length here
        looked = self._is_so(line)
        if looked is None:
            return Played(line, "the simulated railway cannot do that: it is for `rehearse`")
        return Played(line, "" if looked else "it is not so")

    # -------------------------------------------------------------------- acts

    async def _ask(self, line: Line) -> Played:
        kind: HeardKind = "request" if line.key == "request" else "cancel"
        decision = await self._live.ask(Heard(kind, line.names["ROUTE"], who=_WHO))
        return Played(line, "" if decision.outcome == "done" else "; ".join(decision.told))

    def _act(self, line: Line, act: Act) -> Played:
        try:
            self._link.do(act)
        except SimulationError as error:
            return Played(line, str(error))
        return Played(line)

    def _with_train(self, line: Line, what: type[TurnsBack | IsTaken]) -> Played:
        place = line.names["PLACE"]
        train = next((t for t in self._link.railway.trains() if self._is_in(t, place)), None)
        if train is None:
            return Played(line, f"no train is in {place}")
        return self._act(line, what(train.number))

    def _is_in(self, train: Train, place: str) -> bool:
        section_of = self._box.layout.section_of
        return any(place in (w.element, section_of[w.element]) for w in train.ways)

    # ------------------------------------------------------------------- waits

    async def _waits(self, line: Line, so: Callable[[], bool]) -> Played:
        return Played(line, "" if await self._until(so) else "it does not come to that")

    async def _until(self, so: Callable[[], bool]) -> bool:
        """Wait until something is so, and stays so for a moment. False if it does not come to
        be."""
        clock = self._live.clock
        end = clock.now() + _MOST
        since: float | None = None
        while clock.now() < end:
            self._link.catch_up()
            if not so() or self._live.waiting:
                since = None
            elif since is None:
                since = clock.now()
            elif clock.now() - since > 500:
                return True
            await asyncio.sleep(0.02)
        return False

    def _is_reported(self, signal: str) -> bool:
        """Whether it is known that a train has passed a signal, where that is reported."""
        routes = [r for r in self._box.table.routes.values() if r.start == signal]
        detected = [r for r in routes if self._box.layout.sections[r.sections[0]].detected]
        return all(self._box.stage(route.name) != SET for route in detected)

    def _all_are_come(self) -> bool:
        """Whether no train is on its way in from an edge, to where it has to stop."""
        return all(t.ended or t.last_signal for t in self._link.railway.trains())

    def _all_stand(self) -> bool:
        return all(train.stands for train in self._link.railway.trains())

    def _set_up(self) -> bool:
        """Whether no drive is on its way, and every route that is set has its signal off."""
        box = self._box
        if any(box.goes_to(drive) is not None for drive in box.layout.drives):
            return False
        table = box.table.routes.values()
        return all(box.off_for(r.start) == r.name for r in table if box.stage(r.name) == SET)

    def _times_run(self) -> bool:
        return self._box.next_at() is not None

    def _quiet(self) -> bool:
        """Whether no train moves, none has a signal before it that is off, and no time runs."""
        railway = self._link.railway
        if any(not t.stands or not t.ended for t in railway.trains()):
            return False
        waiting = (t.waits_at for t in railway.trains() if t.waits_at)
        if any(railway.is_off(signal) for signal in waiting):
            return False
        return self._set_up() and not self._times_run()

    # ------------------------------------------------------------ what is looked at

    def _is_so(self, line: Line) -> bool | None:
        """Whether an expectation is met; None if the line is none that can be looked at here."""
        box = self._box
        name = line.names
        stages = {
            "idle": (IDLE,),
            "set": (SET,),
            "closing": (CLOSING,),
            "overlap kept": (GONE_ON,),
        }
        if line.key in stages:
            return box.stage(name["ROUTE"]) in stages[line.key]
        match line.key:
            case "under way":
                return box.stage(name["ROUTE"]) not in (IDLE, SET, CLOSING, GONE_ON)
            case "refused" | "allowed" | "because":
                return self._is_refused(line)
            case "kept":
                given = Input("cancel", name["ROUTE"])
                return box.reacting.refusal(given, box.state) == "refused"
            case "at stop":
                return box.off_for(name["SIGNAL"]) is None
            case "off":
                return box.off_for(name["SIGNAL"]) is not None
            case "off for":
                return box.off_for(name["SIGNAL"]) == name["ROUTE"]
            case "shows":
                return box.aspects()[name["SIGNAL"]] == name["ASPECT"]
            case "lies":
                return box.lies(name["DRIVE"]) == name["POSITION"]
            case "moving":
                return box.goes_to(name["DRIVE"]) is not None
            case "occupied" | "clear":
                return self._is_occupied(name["PLACE"]) == (line.key == "occupied")
            case "held":
                return box.held_for(self._section(name["SECTION"])) == name["ROUTE"]
            case "not held":
                return box.held_for(self._section(name["SECTION"])) is None
            case "stands still":
                trains = self._link.railway.trains()
                return all(t.stands for t in trains if self._is_in(t, name["PLACE"]))
            case "rest":
                return self._at_rest()
        return None

    def _is_refused(self, line: Line) -> bool:
        given = Input("request", line.names["ROUTE"])
        refused = self._box.reacting.refusal(given, self._box.state) == "refused"
        if line.key == "allowed":
            return not refused
        if line.key == "refused":
            return refused
        told = self._box.sentences.why_not(given, self._box.state)
        return refused and _speaks_of(told, line.names["CAUSE"])

    def _section(self, name: str) -> str:
        layout = self._box.layout
        return name if name in layout.sections else layout.section_of[name]

    def _is_occupied(self, place: str) -> bool:
        if place in self._box.layout.sections:
            return self._link.railway.is_on(place)
        return any(self._is_in(t, place) for t in self._link.railway.trains())

    def _at_rest(self) -> bool:
        box = self._box
        idle = all(box.stage(route) == IDLE for route in box.table.routes)
        return idle and all(box.goes_to(drive) is None for drive in box.layout.drives)


def _speaks_of(told: Iterable[str], cause: str) -> bool:
    """Whether any sentence has a name in it."""
    return any(f" {cause} " in f" {text.replace(',', ' ')} " for text in told)
