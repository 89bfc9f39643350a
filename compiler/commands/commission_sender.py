"""Sends what a commissioning throws and sets, as the wiring was found to be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from bellcrank.commands.asking import yes_or_no
from bellcrank.commands.dialogue import (
    Log,
    Typist,
    begun,
    done_sentence,
    tell_end,
)
from bellcrank.commands.messages import TextOf, steps_of
from bellcrank.compilation import Checked
from bellcrank.document.build_document import build_document
from bellcrank.emit.description import TargetError
from bellcrank.emit.identifiers import NOTHING_PINNED, Pinned
from bellcrank.emit.target import Target
from bellcrank.layout.layout_model import Layout, Wiring
from bellcrank.machine.commands import Command, throw_command
from bellcrank.sending.links import Link, LinkError, open_link
from bellcrank.sending.log_rows import Ended
from bellcrank.sending.outcome import UntoldError
from bellcrank.sending.places import Place
from bellcrank.sending.playing import SystemClock, play_part
from bellcrank.sending.sent_before import Thrown, recent_throws
from bellcrank.sending.stopping import Stopping
from bellcrank.terminal.console import say
from bellcrank.timing.lists import to_set, to_show, to_switch
from bellcrank.timing.pace import Sent, earliest_start
from bellcrank.timing.timetable_model import Timed, Timetable

_MANY_SENT = 60
"""Throws that are remembered to go easy on drives; older ones are long over."""


@dataclass(slots=True)
class Sender:
    """Sends throws and routes, as the wiring was found to be, and not too fast."""

    c: Checked
    place: Place
    target: Target
    given: Mapping[str, str]
    link: Link | None
    ask: bool
    log: Log
    pinned: Pinned = NOTHING_PINNED
    sent: list[Sent] = field(default_factory=list)
    text_of: TextOf = field(init=False)

    def __post_init__(self) -> None:
        document = build_document(self.c, self.target.without)
        with_topic = self.place.kind == "mqtt"
        self.text_of = TextOf(self.target, self.given, document, with_topic, self.pinned)

    def wirings(self) -> Sequence[Wiring]:
        return tuple(self.c.layout.hardware.wirings.values())

    def holds_coils(self) -> bool:
        """Whether a coil stays on until a command ends its pulse."""
        decoders = self.c.layout.hardware.decoders
        return any(
            wiring.action == "coil" and decoders[output.decoder].kind.pulses == "held"
            for wiring in self.wirings()
            for output in wiring.outputs
        )

    def remember(self, thrown: Sequence[Thrown]) -> None:
        """Go easy on what was thrown before."""
        now = int(SystemClock().now())
        self.sent += [(now + at, each) for at, each in recent_throws(self.c.layout, thrown)]

    def throws(self, drive: str, position: str, crossed: Mapping[str, bool]) -> bool:
        """Throw a drive; whether that was done."""
        layout = as_found(self.c, crossed)
        command = throw_command(layout, drive, position)
        until = command.milliseconds or 0
        timetable = Timetable("set", "", (Timed(0, until, command),), until, until)
        return self._play(layout, timetable, f"throw {drive} to {position}", None)

    def shows(self, signal: str, aspect: str) -> bool:
        """Have a signal show an aspect; whether that was done."""
        timetable = to_show(self.c.layout, signal, aspect)
        return self._play(self.c.layout, timetable, f"let {signal} show {aspect}", None)

    def switches(self, output: str, state: str) -> bool:
        """Switch an output; whether that was done."""
        timetable = to_switch(self.c.layout, output, state)
        return self._play(self.c.layout, timetable, f"switch {output} to {state}", None)

    def sets(self, route: str, crossed: Mapping[str, bool]) -> bool:
        """Set a route; whether that was done."""
        layout = as_found(self.c, crossed)
        timetable = to_set(layout, self.c.table, self.c.locking, route)
        return self._play(layout, timetable, f"set {route}", timetable)

    def _play(
        self, layout: Layout, timetable: Timetable, what: str, of_route: Timetable | None
    ) -> bool:
        try:
            steps = steps_of(timetable, layout, self.text_of)
        except TargetError as error:
            say(str(error))
            return False
        if not any(step.message for step in steps):
            return False
        if self.ask and not yes_or_no(f"Send what must be sent to {what}?"):
            return False
        clock = SystemClock()
        try:
            self.link = self.link or open_link(self.place)
            self.link.check()
        except LinkError:
            self._drop()
        try:
            self.link = self.link or open_link(self.place)
        except LinkError as error:
            say(f"nothing was sent: {error}")
            return False
        start = earliest_start(layout, self.sent, timetable, int(clock.now()) + 1)
        clock.wait(max(0.0, start - clock.now()))
        with Stopping() as stop:
            stop.defer()
            try:
                self.log.record(begun(self.c, what, self.place, self.target, of_route))
            except UntoldError as error:
                say(f"nothing was sent: {error}")
                return False
            outcome = play_part(
                timetable,
                steps,
                self.link,
                lambda given_up: open_link(self.place, given_up),
                clock,
                Typist(self.log, stop),
                self.log.sent,
                stop,
            )
            # What waited on its way was really sent later; counted from its end it is not
            # thought to be over too soon.
            began = max(start, int(clock.now()) + 1 - timetable.total)
            self.sent = [*self.sent[-_MANY_SENT:], (began, timetable)]
            acknowledged = self.link.acknowledges
            if outcome.ending == "done":
                said = done_sentence(outcome, acknowledged=acknowledged)
                self.log.put_down(Ended("done", said))
            else:
                self.link = None
                tell_end(self.log, timetable, outcome, self.place, acknowledged=acknowledged)
        if stop.asked:
            raise KeyboardInterrupt
        return outcome.ending == "done"

    def _drop(self) -> None:
        if self.link is not None:
            self.link.close()
        self.link = None

    def close(self) -> None:
        self._drop()
        self.log.close()


def as_found(c: Checked, crossed: Mapping[str, bool]) -> Layout:
    """The layout with the wiring as it was found to be."""
    hardware = c.layout.hardware
    wirings = {
        name: replace(wiring, crossed=crossed.get(name, wiring.crossed))
        for name, wiring in hardware.wirings.items()
    }
    return replace(c.layout, hardware=replace(hardware, wirings=wirings))


def output_words(command: Command) -> str:
    off = "".join(
        f"first {lamp.decoder}.{lamp.output}, output number {lamp.number}, {lamp.side} off; then "
        for lamp in command.puts_out
    )
    where = f"{command.decoder}.{command.output}, output number {command.number}"
    beside = "".join(
        f"; and {lamp.decoder}.{lamp.output}, output number {lamp.number}, {lamp.side}"
        for lamp in command.lights
    )
    return f"{off}{where}, {command.side_or_value}{beside}"
