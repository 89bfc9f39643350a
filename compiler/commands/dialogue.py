"""The person at the terminal: what is told, logged and asked while commands are sent."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, TextIO

from rich.text import Text

from bellcrank.compilation import Checked
from bellcrank.emit.target import Target
from bellcrank.machine.commands import Command
from bellcrank.routes.sentences import listed
from bellcrank.sending.links import Message, Place
from bellcrank.sending.playing import Outcome, Step
from bellcrank.terminal.console import show
from bellcrank.timing.timetable_model import Timetable, Wait
from bellcrank.version import NOTICE

COIL_CAUTION = (
    "What receives these commands must end the pulse of each coil by itself: a coil left on "
    "overheats and can burn. Nothing is sent to end it."
)


class Log:
    """What is told goes to the terminal and, at once, to a file.

    The file first: what was sent must stand there though nobody reads the terminal.
    """

    def __init__(self, path: Path | None) -> None:
        """Raises OSError if the file cannot be written.

        times: when each step was sent, by the clock on the wall.
        """
        self._stream: TextIO | None = None
        self.times: list[str] = []
        if path is not None:
            self._stream = path.open("a", encoding="utf-8")

    def note(self, text: str) -> None:
        """Tell something, with the time in the file."""
        self.write(text)
        show(Text(text))

    def write(self, text: str) -> None:
        """Put something into the file alone. Raises OSError."""
        if self._stream is not None:
            for row in text.splitlines() or [""]:
                self._stream.write(f"{_now()}  {row}\n")
            self._stream.flush()

    def sent(self, step: Step, what: str) -> None:
        """Tell of a step that was sent."""
        self.times.append(datetime.now().astimezone().isoformat(timespec="milliseconds"))
        text = f"{what}: {named(step.command)}    {shown(step.message)}"
        self.write(text)
        show(Text(f"{_now()[11:]}  {text}"))

    def close(self) -> None:
        if self._stream is not None:
            with suppress(OSError):
                self._stream.close()


@dataclass(slots=True)
class Typist:
    """Whoever sits at the terminal."""

    log: Log

    def by_hand(self, command: Command) -> None:
        self.log.note(f"by hand: {to_do(command)}")

    def confirms(self, wait: Wait) -> bool:
        said = yes_or_no(f"Is this so: {wait.sentence}?")
        self.log.write(f"{'confirmed' if said else 'NOT confirmed'}: {wait.sentence}")
        return said


def typed(question: str) -> str | None:
    """A line that is typed in answer to a question; None if none comes any more."""
    sys.stdout.flush()
    try:
        return input(f"{question} ").strip()
    except (EOFError, RuntimeError):  # there is no input, or none any more
        print()
        return None


def yes_or_no(question: str) -> bool:
    """Whether a question is answered by yes. No answer is none."""
    while True:
        said = typed(f"{question} yes or no:")
        if said is None:
            return False
        match said.casefold():
            case "yes" | "y":
                return True
            case "no" | "n":
                return False


@contextmanager
def stoppable() -> Iterator[None]:
    """Let the end of a terminal or a request to end count as Ctrl-C."""

    def stop(*_: Any) -> None:
        raise KeyboardInterrupt

    before: dict[int, Any] = {}
    for name in ("SIGTERM", "SIGHUP"):
        with suppress(ValueError, AttributeError, OSError):  # not here, or not in this thread
            number = getattr(signal, name)
            before[number] = signal.signal(number, stop)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def named(command: Command) -> str:
    return f"{command.device} {command.name} {command.state}"


def shown(message: Message | None) -> str:
    """A message on one line."""
    if message is None:
        return ""
    text = message.text.rstrip("\r\n").replace("\r", "").replace("\n", " ⏎ ")
    return f"{message.topic}  {text}" if message.topic else text


def report(log: Log, outcome: Outcome, *, acknowledged: bool) -> None:
    """Tell what became of what was sent, when it did not all go well."""
    log.note(f"BROKEN OFF: {outcome.reason}.")
    if outcome.stopped:
        log.note(f"put to stop: {_names(outcome.stopped)}.")
    if outcome.left:
        log.note(f"NOT put to stop: {_names(outcome.left)}. Put them to stop by hand, now.")
    _tell_list(log, "sent", outcome.sent)
    if outcome.doubtful is not None:
        _tell_list(log, "may have arrived or not", [outcome.doubtful])
    _tell_list(log, "not sent", outcome.unsent)
    if not acknowledged and outcome.ending == "lost":
        log.note("Nothing acknowledges a line here: the last of those sent may not have arrived.")


def to_do(command: Command) -> str:
    if command.device == "drive":
        return f"throw {command.name} to {command.state}"
    return f"let {command.name} show {command.state}"


def _names(steps: Sequence[Step]) -> str:
    return listed(step.command.name for step in steps)


def _tell_list(log: Log, what: str, steps: Sequence[Step]) -> None:
    log.note(f"{what}: {len(steps) or 'nothing'}")
    for step in steps:
        hand = "" if step.message else "  (by hand)"
        log.note(f"  {named(step.command)}{hand}    {shown(step.message)}".rstrip())


def _now() -> str:
    return datetime.now().astimezone().strftime("%Y-%m-%d %H:%M:%S.%f")[:-3]


# ----------------------------------------------------------------- what is to be sent


def what_of(timetable: Timetable) -> str:
    return timetable.what if timetable.what == "start up" else f"{timetable.what} {timetable.of}"


def show_plan(
    c: Checked,
    timetable: Timetable,
    steps: Sequence[Step],
    target: Target,
    place: Place | None,
) -> None:
    """What would be sent, and when."""
    where = f" to {place}" if place is not None else ""
    show(Text(f"{c.layout.title or c.program.files[-1].name}: {what_of(timetable)}{where}, "
              f"in the text of the target {target.name}"))  # fmt: skip
    status = ("proved", "green") if c.proved else ("UNPROVED: trains may meet", "bold red")
    show(Text.assemble("status: ", status))
    show("")
    width = max((len(named(s.command)) for s in steps), default=0)
    for step in steps:
        for wait in step.timed.after:
            _row("", f"wait until {wait.sentence}")
        if step.message is None:
            _row("by hand", to_do(step.command))
        else:
            said = f"{named(step.command):{width}}  {shown(step.message)}"
            _row(f"{step.timed.at} ms", said)
    for wait in timetable.waits:
        _row("", f"then wait until {wait.sentence}")
    _row(f"{timetable.total} ms", "done")
    show("")
    perhaps = [s.command for s in steps if s.command.only_if_set]
    if perhaps:
        routes = dict.fromkeys(route for command in perhaps for route in command.only_if_set)
        names = listed(dict.fromkeys(command.name for command in perhaps))
        said = (
            f"{names} need go to stop only while one of these is set: {', '.join(routes)}. "
            "What is set is not known here, so they are put to stop; stop is the safe side."
        )
        show(Text(said))
    if any(s.command.how == "coil" for s in steps):
        show(Text(COIL_CAUTION))
    show(Text(NOTICE))


def _row(head: str, text: str) -> None:
    show(Text(f"{head:>9}  {text}"))
