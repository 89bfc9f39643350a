"""Timetables made by hand, and a clock and a person made for tests."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from bellcrank.machine.commands import Command
from bellcrank.sending.links import LinkError, Message
from bellcrank.sending.outcome import Outcome, Step
from bellcrank.sending.playing import play
from bellcrank.sending.stopping import Never, StopRequests
from bellcrank.timing.timetable_model import Timed, Timetable, Wait


def command(name: str, state: str, step: int, *, by_hand: bool = False) -> Command:
    signal = name.startswith("W")
    phase: Any = "drives"
    if signal:
        phase = "signals to stop" if state == "stop" else "signals off"
    return Command(
        "W1 to T1",
        step,
        phase,
        "signal" if signal else "drive",
        name,
        state,
        None if by_hand else "K1",
        None if by_hand else step,
        None if by_hand else step,
        None if by_hand else "green",
        None if signal or by_hand else 200,
        (),
        "by hand" if by_hand else "output" if signal else "coil",
    )


def timetable(*rows: tuple[int, int, Command], waits: Sequence[Wait] = ()) -> Timetable:
    total = max(until for _, until, _ in rows)
    timed = tuple(Timed(*row) for row in rows)
    return Timetable("set", "W1 to T1", timed, total, total, tuple(waits))


def steps(table: Timetable) -> list[Step]:
    """Each command with a text of its own: `P1 straight`."""
    return [
        Step(t, None if t.by_hand else Message(f"{t.command.name} {t.command.state}", "yard"))
        for t in table.commands
    ]


def ending_pulses(table: Timetable) -> list[Step]:
    """The same, where the pulse of each coil is ended by a text: `P1 off`."""
    return [
        replace(step, off=Message(f"{step.command.name} off", "yard"))
        if step.command.how == "coil"
        else step
        for step in steps(table)
    ]


SET = timetable(
    (0, 0, command("W1", "stop", 1)),
    (0, 0, command("W2", "stop", 2)),
    (0, 200, command("P1", "straight", 3)),
    (450, 650, command("P2", "diverging", 4)),
    (900, 900, command("W1", "proceed", 5)),
)
"""Two signals to stop, two coils with a rest between them, a signal off."""

TEXTS = ["W1 stop", "W2 stop", "P1 straight", "P2 diverging", "W1 proceed"]


NOBODY = Never()


@dataclass
class FakeClock:
    """A clock that is put forward by waiting, and by nothing else."""

    time: float = 1000.0

    def now(self) -> float:
        return self.time

    def wait(self, milliseconds: float) -> None:
        assert milliseconds >= 0
        self.time += milliseconds


@dataclass
class FakeLink:
    """Keeps what is sent. before: called with each text before it goes; may raise."""

    clock: FakeClock
    before: Callable[[str], None] = lambda text: None
    sent: list[tuple[float, str]] = field(default_factory=list)
    acknowledges: bool = True
    lost: bool = False
    closed: bool = False
    closing: Callable[[], None] = lambda: None
    settling: Callable[[], None] = lambda: None

    def send(self, message: Message) -> None:
        assert not self.closed
        self.check()
        self.before(message.text)
        self.sent.append((self.clock.time, message.text))

    def check(self) -> None:
        if self.lost:
            raise LinkError("the link is lost")

    def settle(self) -> None:
        self.check()
        self.settling()

    def close(self) -> None:
        self.closed = True
        self.closing()


@dataclass
class FakePerson:
    clock: FakeClock
    answer: bool = True
    takes: float = 0.0
    told: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def by_hand(self, command: Command) -> None:
        self.told.append(f"{command.name} {command.state}")

    def confirms(self, wait: Wait) -> bool:
        self.asked.append(f"{wait.name} {wait.state}")
        self.clock.wait(self.takes)
        return self.answer


@dataclass
class Played:
    outcome: Outcome
    link: FakeLink
    fresh: list[FakeLink]
    person: FakePerson
    told: list[str]

    @property
    def sent(self) -> list[str]:
        return [text for _, text in self.link.sent]

    @property
    def times(self) -> list[float]:
        return [at - 1000.0 for at, _ in self.link.sent]


def played(
    table: Timetable,
    before: Callable[[FakeLink, str], None] = lambda link, text: None,
    *,
    fresh: Callable[[FakeClock], FakeLink] | None = None,
    answer: bool = True,
    takes: float = 0.0,
    tell: Callable[[Step], None] = lambda step: None,
    stop: StopRequests = NOBODY,
    closing: Callable[[], None] = lambda: None,
    made: Callable[[Timetable], list[Step]] = steps,
    acknowledges: bool = True,
) -> Played:
    """Play over a link that is not there. made: makes the steps of the timetable."""
    clock = FakeClock()
    link = FakeLink(clock, acknowledges=acknowledges)
    link.before = lambda text: before(link, text)
    link.closing = closing
    person = FakePerson(clock, answer, takes)
    opened: list[FakeLink] = []
    told: list[str] = []

    def reopen(given_up: Callable[[], bool]) -> FakeLink:
        if fresh is None:
            raise LinkError("it cannot be reached")
        opened.append(fresh(clock))
        return opened[-1]

    def note(step: Step, what: str) -> None:
        tell(step)
        told.append(f"{what}: {step.command.name} {step.command.state}")

    outcome = play(table, made(table), link, reopen, clock, person, note, stop)
    return Played(outcome, link, opened, person, told)


def texts(found: Sequence[Step]) -> list[str]:
    return [f"{s.command.name} {s.command.state}" for s in found]
