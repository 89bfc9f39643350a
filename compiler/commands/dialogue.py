"""The person at the terminal: what is told, logged and asked while commands are sent."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime

from rich.text import Text

from bellcrank.commands.asking import yes_or_no
from bellcrank.commands.routeless import ALONE
from bellcrank.compilation import Checked
from bellcrank.emit.target import Target
from bellcrank.machine.commands import Command
from bellcrank.routes.sentences import listed
from bellcrank.sending.links import Message
from bellcrank.sending.log_file import LogFile
from bellcrank.sending.log_rows import Answered, Begun, Commanded, Ended, Fate, Row
from bellcrank.sending.outcome import Outcome, Sending, Step, UntoldError
from bellcrank.sending.places import Place
from bellcrank.sending.stopping import Stopping
from bellcrank.terminal.console import drop_output, show
from bellcrank.terminal.outcome_words import STATUS
from bellcrank.terminal.sheet import count
from bellcrank.timing.timetable_model import Timetable, Wait
from bellcrank.version import NOTICE, __version__

_COIL_CAUTION = (
    "What receives these commands must end the pulse of each coil by itself: a coil left on "
    "overheats and can burn. Nothing is sent to end it."
)

_ENDED_FROM_HERE = (
    "The pulse of each coil is ended from here, also if this is broken off. If this machine or "
    "its line fails meanwhile, nobody ends it: then switch the supply of the coils off at once."
)


def coil_caution(target: Target) -> str:
    """What to know where decoders do not end the pulses of coils by themselves."""
    return _COIL_CAUTION if target.off is None else _ENDED_FROM_HERE


_NOT_KNOWN = (
    "What is set and where trains stand is not known here: see to it that no route in conflict "
    "with this is set and that no train is in its way."
)


class Log:
    """What is told goes to a file, at once, and to the terminal.

    The file first: what was sent must stand there though nobody reads the terminal. Where
    one of them fails, the other still gets what is told from then on.
    """

    def __init__(self, file: LogFile | None = None) -> None:
        """times: when each step was sent, by the clock on the wall."""
        self._file = file
        self._shows = True
        self.times: list[str] = []

    def note(self, text: str, row: Row | None = None) -> None:
        """Tell something. Raises UntoldError."""
        if row is not None:
            self.record(row)
        self._show(text)

    def record(self, row: Row) -> None:
        """Put something into the file alone. Raises UntoldError."""
        if self._file is None:
            return
        try:
            self._file.write(row)
        except OSError as error:
            self.close()
            raise UntoldError(f"what is sent cannot be logged: {reason(error)}") from None

    def insist(self, text: str, row: Row | None = None) -> None:
        """Tell something wherever it still can be told. Raises nothing."""
        if row is not None:
            self.put_down(row)
        with suppress(UntoldError):
            self._show(text)

    def put_down(self, row: Row) -> None:
        """Put something into the file alone, if that still can be. Raises nothing."""
        with suppress(UntoldError):
            self.record(row)

    def sent(self, step: Step, why: Sending) -> None:
        """Tell of a step that was sent. Raises UntoldError."""
        if why == "sent":
            self.times.append(datetime.now().astimezone().isoformat(timespec="milliseconds"))
        said = {
            "sent": "sent",
            "put to stop": "sent, to put it to stop",
            "switched off": "sent, to switch its coil off",
        }[why]
        off = why == "switched off"
        now = datetime.now().strftime("%H:%M:%S.%f")[:-3]
        text = f"{now}  {said}: {named(step.command)}    {shown(step.off if off else step.message)}"
        # One that goes to stop counts only when it is certain that it has gone; until then
        # the file says no more than that it was sent.
        self.note(text, commanded("switched off" if off else "sent", step))

    def _show(self, text: str) -> None:
        if not self._shows:
            # Whoever read the output has gone; messages may still have a reader.
            with suppress(OSError, ValueError):
                print(text, file=sys.stderr)
            return
        try:
            show(Text(text))
        except (OSError, ValueError) as error:
            self._shows = False
            drop_output()
            with suppress(OSError, ValueError):
                print(text, file=sys.stderr)
            raise UntoldError(f"what is sent cannot be shown: {reason(error)}") from None

    def close(self) -> None:
        if self._file is not None:
            self._file.close()
        self._file = None


def commanded(fate: Fate, step: Step) -> Commanded:
    """The row of a log for a step."""
    command, message = step.command, step.message
    if fate in ("switched off", "not switched off"):
        message = step.off
    topic, text = (message.topic, message.text) if message else (None, None)
    return Commanded(fate, command.device, command.name, command.state, topic, text)


def reason(error: OSError | ValueError) -> str:
    if isinstance(error, BrokenPipeError):
        return "nobody reads it any more"
    return str(getattr(error, "strerror", None) or error)


@dataclass(slots=True)
class Typist:
    """Whoever sits at the terminal."""

    log: Log
    stop: Stopping

    def by_hand(self, command: Command) -> None:
        row = Commanded("by hand", command.device, command.name, command.state)
        self.log.note(f"by hand: {to_do(command)}", row)

    def confirms(self, wait: Wait) -> bool:
        try:
            said = self.stop.while_asking(lambda: yes_or_no(f"Is this so: {wait.sentence}?"))
        except (OSError, ValueError) as error:
            raise UntoldError(f"nobody can be asked: {reason(error)}") from None
        self.log.record(Answered(said, wait.name, wait.state, wait.sentence))
        return said


def begun(
    c: Checked, what: str, place: Place, target: Target, timetable: Timetable | None = None
) -> Begun:
    """The row with which a run begins in a log.

    timetable: what it does; None for one that is for no more than a drive.
    """
    return Begun(
        what,
        str(place),
        target.name,
        c.status,
        tuple(c.program.texts),
        c.source_hash,
        __version__,
        NOTICE,
        timetable.what if timetable else None,
        (timetable.of or None) if timetable else None,
    )


def named(command: Command) -> str:
    return f"{command.called} {command.state}"


def shown(message: Message | None) -> str:
    """A message on one line."""
    if message is None:
        return ""
    text = message.text.rstrip("\r\n").replace("\r", "").replace("\n", " ⏎ ")
    return f"{message.topic}  {text}" if message.topic else text


def tell_end(
    log: Log, timetable: Timetable, outcome: Outcome, place: Place, *, acknowledged: bool
) -> None:
    """Tell what became of what was sent. Raises nothing."""
    if outcome.ending == "done":
        said = [done_sentence(outcome, acknowledged=acknowledged)]
        said += [f"Wait until {w.sentence}." for w in timetable.waits if w.kind == "release"]
    else:
        said = report(log, outcome, place, acknowledged=acknowledged)
    log.put_down(Ended(outcome.ending, " ".join(said)))
    if outcome.ending == "done":
        for sentence in said:
            log.insist(sentence)


def done_sentence(outcome: Outcome, *, acknowledged: bool) -> str:
    """What is known of a list that was sent to its end, and no more."""
    said = f"done: {count(len(outcome.sent), 'command')} sent. "
    if acknowledged:
        said += "The broker has received them; whether the devices obeyed is not known."
    else:
        said += "Nothing acknowledges a line here, so whether they arrived is not known."
    if outcome.confirmed:
        said += f" Confirmed: {'; '.join(wait.sentence for wait in outcome.confirmed)}."
    return said


def report(log: Log, outcome: Outcome, place: Place, *, acknowledged: bool) -> list[str]:
    """Tell what became of what was sent when it did not all go well; the sentences that say
    how it ended. Raises nothing."""
    said = [f"BROKEN OFF: {outcome.reason}."]
    if outcome.stopped:
        said.append(f"put to stop: {_names(outcome.stopped)}.")
    if outcome.cut_short:
        said.append("Asked to stop again, it did not go on putting signals to stop.")
    if outcome.left:
        said.append(f"NOT put to stop: {_names(outcome.left)}. Put them to stop by hand, now.")
    if outcome.left_on:
        said.append(
            f"A coil of {_names(outcome.left_on)} may still be ON: it overheats. Switch its "
            "supply off by hand, now."
        )
    for sentence in said:
        log.insist(sentence)
    _tell_list(log, "sent", None, outcome.sent)
    if outcome.doubtful is not None:
        _tell_list(log, "may have arrived or not", "in doubt", [outcome.doubtful])
    _tell_list(log, "not sent", "not sent", outcome.unsent)
    for step in outcome.stopped:
        log.put_down(commanded("put to stop", step))
    for step in outcome.left:
        log.put_down(commanded("not put to stop", step))
    for step in outcome.left_on:
        log.put_down(commanded("not switched off", step))
    if not acknowledged:
        last = f"Nothing acknowledges what is sent to {place}: the last lines may not have arrived."
        log.insist(last)
        said.append(last)
    return said


def to_do(command: Command) -> str:
    if command.device == "drive":
        return f"throw {command.name} to {command.state}"
    if command.device == "frog":
        return f"give the {command.name} the polarity of {command.state}"
    if command.device == "output":
        return f"switch {command.name} {command.state}"
    return f"let {command.name} show {command.state}"


def _names(steps: Sequence[Step]) -> str:
    return listed(step.command.name for step in steps)


def _tell_list(log: Log, what: str, fate: Fate | None, steps: Sequence[Step]) -> None:
    """fate: what the file says of each; None if it stands there already."""
    log.insist(f"{what}: {len(steps) or 'nothing'}")
    for step in steps:
        hand = "" if step.message else "  (by hand)"
        text = f"  {named(step.command)}{hand}    {shown(step.message)}".rstrip()
        log.insist(text, None if fate is None else commanded(fate, step))


# ----------------------------------------------------------------- what is to be sent


def show_plan(
    c: Checked,
    timetable: Timetable,
    steps: Sequence[Step],
    target: Target,
    place: Place | None,
) -> None:
    """What would be sent, and when."""
    where = f" to {place}" if place is not None else ""
    show(Text(f"{c.layout.title or c.program.files[-1].name}: {timetable.name}{where}, "
              f"in the text of the target {target.name}"))  # fmt: skip
    show(Text.assemble("status: ", STATUS[c.status]))
    show("")
    width = max((len(named(s.command)) for s in steps), default=0)
    coils = sorted((s for s in steps if s.off is not None), key=lambda s: s.timed.until)
    for step in steps:
        while coils and coils[0].timed.until <= step.timed.at:
            _off_row(coils.pop(0), width)
        for wait in step.timed.after:
            _row("", f"wait until {wait.sentence}")
        if step.message is None:
            _row("by hand", to_do(step.command))
        else:
            said = f"{named(step.command):{width}}  {shown(step.message)}"
            _row(f"{step.timed.at} ms", said)
    for step in coils:
        _off_row(step, width)
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
            "They are put to stop in any case; stop is the safe side."
        )
        show(Text(said))
    if timetable.what in ("throw", "show", "switch"):
        show(Text(ALONE))
    elif timetable.what in ("set", "start up"):
        show(Text(_NOT_KNOWN))
    if any(s.command.held for s in steps):
        show(Text(coil_caution(target)))
    show(Text(NOTICE))


def _off_row(step: Step, width: int) -> None:
    said = f"coil of {step.command.name} off"
    _row(f"{step.timed.until} ms", f"{said:{width}}  {shown(step.off)}")


def _row(head: str, text: str) -> None:
    show(Text(f"{head:>9}  {text}"))
