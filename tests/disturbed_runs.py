"""Runs of `send` as a process of its own that is disturbed at some moment, and what must be
so at the end of each, whatever the moment was.
"""

from __future__ import annotations

import json
import os
import random
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from peers import Broker, Heard, SerialLine, Server

from bellcrank.sending.log_rows import Commanded, DamagedRowError, Ended, Row, read

LAYOUT = """\
layout "Two Roads"
points P, Q
run edge WEST - A - >H - P.toe
run P.straight - B - Q.toe
run P.diverging - C - <G - edge SOUTH
run Q.straight - D - <F - edge EAST
run Q.diverging - E - stop

decoder kind quad { outputs 4 }
decoder kind lamps { outputs 4 }
decoder K1 quad at 1
decoder K2 lamps at 5
drive P = K1.1  coil 100 ms
drive Q = K1.2  coil 80 ms
signal H = K2.1
signal G = K2.2
signal F = K2.3
supply BENCH { feeds K1  one at a time  rest 150 ms }
"""

LIST = ["H stop", "G stop", "F stop", "P straight", "Q straight", "H proceed"]
"""What the route's list sends, in its order."""

SIGNALS = ("H", "G", "F")

BOUND = 60.0
"""Seconds after which a run hangs: a peer may be given 5 s once, links 20 s in all to be
opened afresh, and the machine may have much else to do."""

LONG = 1 << 18
"""Characters of a line that no peer's buffers hold, where one is to be held up."""


# --------------------------------------------------------------------- the program


class Loaded:
    """The program, loaded once; see `loaded_program.py`."""

    def __init__(self) -> None:
        script = Path(__file__).with_name("loaded_program.py")
        self._process = subprocess.Popen(
            [sys.executable, str(script)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def start(self, arguments: list[str], folder: Path) -> Run:
        assert self._process.stdin and self._process.stdout
        out, err = folder / "out", folder / "err"
        asked = {"arguments": arguments, "folder": str(folder), "out": str(out), "err": str(err)}
        self._process.stdin.write(json.dumps(asked) + "\n")
        self._process.stdin.flush()
        return Run(int(self._process.stdout.readline()), self._process.stdout.readline, out, err)

    def close(self) -> None:
        assert self._process.stdin
        self._process.stdin.close()
        self._process.wait(BOUND)


class Run:
    """A run that was started."""

    def __init__(self, number: int, ends: Callable[[], str], out: Path, err: Path) -> None:
        self.number = number
        self.status: int | None = None
        self._out, self._err = out, err
        self._thread = threading.Thread(target=self._wait, args=(ends,), daemon=True)
        self._thread.start()

    def _wait(self, ends: Callable[[], str]) -> None:
        self.status = int(ends())

    def signal(self, number: int) -> None:
        with suppress(ProcessLookupError):
            os.kill(self.number, number)

    def over(self) -> bool:
        return self.status is not None

    def wait(self) -> None:
        self._thread.join(BOUND)
        if self.status is None:
            self.signal(signal.SIGKILL)
            self._thread.join(BOUND)
            raise AssertionError(f"it hangs; it said: {self.said}")

    @property
    def said(self) -> str:
        """What it printed, on one line."""
        return " ".join((self._out.read_text("utf-8") + self._err.read_text("utf-8")).split())


# --------------------------------------------------------------------------- peers


@dataclass
class Peer:
    """Who is sent to. heard: what came, as in LIST."""

    where: str
    heard: Callable[[], list[str]]


def _texts(heard: Heard) -> list[str]:
    """What came, without what makes lines long."""
    return [text.strip().rstrip("x") for text in heard.texts]


@contextmanager
def serial_peer() -> Iterator[tuple[Peer, SerialLine]]:
    line = SerialLine()
    yield Peer(line.where, lambda: _texts(line.heard)), line
    line.close()


@contextmanager
def network_peer() -> Iterator[tuple[Peer, Server]]:
    server = Server(lingers=0.3)  # so that the end takes a moment, as it does elsewhere
    yield Peer(server.where, lambda: _texts(server.heard)), server
    server.close()


class LoggingBroker(Broker):
    """A broker that tells of each message by itself, whoever listens: what it took in stands
    in the topics of its messages. They are not buffered, so all is there when it is killed."""

    def __init__(self, folder: Path) -> None:
        self._log = folder / "messages"
        self._file = os.open(self._log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        super().__init__(folder)

    def more_config(self) -> str:
        return "log_dest stderr\nlog_type all\n"

    def messages(self) -> int:
        return self._file

    def received(self) -> list[str]:
        rows = self._log.read_text("utf-8").splitlines()
        topics = [r.split("'")[1] for r in rows if "Received PUBLISH from bellcrank-" in r]
        return [" ".join(topic.split("/")[-2:]) for topic in topics]

    def listen(self) -> None:
        pass

    def close(self) -> None:
        super().close()
        os.close(self._file)


@contextmanager
def broker_peer(folder: Path) -> Iterator[tuple[Peer, LoggingBroker]]:
    folder.mkdir(parents=True, exist_ok=True)
    broker = LoggingBroker(folder)
    yield Peer(broker.where, broker.received), broker
    broker.close()


# ---------------------------------------------------------------------------- runs


@dataclass(frozen=True)
class Moment:
    """When a run is disturbed: so many seconds after a number of lines has come; after 0
    lines, after its start."""

    lines: int
    seconds: float

    @staticmethod
    def any(chance: random.Random) -> Moment:
        lines = chance.randrange(len(LIST) + 1)
        return Moment(lines, chance.uniform(0, 0.3 if lines else 1.0))

    def wait(self, run: Run, peer: Peer) -> None:
        while len(peer.heard()) < self.lines and not run.over():
            time.sleep(0.004)
        end = time.monotonic() + self.seconds
        while (left := end - time.monotonic()) > 0 and not run.over():
            time.sleep(min(left, 0.01))


def write_yard(folder: Path, *, long: bool = False) -> None:
    """The layout, and a target of which a line is `H stop`. long: with more than buffers
    hold after it."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "yard.crank").write_text(LAYOUT, "utf-8")
    bench = folder / "bench"
    bench.mkdir()
    (bench / "target.toml").write_text(
        'name = "bench"\npurpose = "a test"\ncontext = 1\nline = "line"\ntopic = "topic"\n'
        'without = ["controller", "vectors"]\n'
        '[[files]]\npath = "all.txt"\ntemplate = "all"\n'
    )
    more = f"{{{{ 'x' * {LONG} }}}}" if long else ""
    (bench / "line").write_text("{{ command.name }} {{ command.state }}" + more + "\n")
    (bench / "topic").write_text("yard/{{ command.name }}/{{ command.state }}")
    (bench / "all").write_text("{{ status }}")


def arguments(peer: Peer) -> list[str]:
    return ["send", "yard.crank", "H to EAST", "--target", "bench",
            "--to", peer.where, "--yes", "--log", "log"]  # fmt: skip


def disturbed(
    loaded: Loaded,
    folder: Path,
    peer: Peer,
    moment: Moment,
    disturb: Callable[[Run], None],
    *,
    long: bool = False,
) -> Run:
    """One run, disturbed at a moment, to its end."""
    write_yard(folder, long=long)
    run = loaded.start(arguments(peer), folder)
    moment.wait(run, peer)
    disturb(run)
    run.wait()
    while True:  # what was sent last may still be on its way to where it is counted
        before = peer.heard()
        time.sleep(0.2)
        if peer.heard() == before:
            return run


def check(run: Run, peer: Peer, folder: Path) -> str:
    """Assert what must be so at the end of a run; its ending."""
    heard, said = peer.heard(), run.said
    why = f"exit {run.status}, heard {heard}, said: {said}"
    assert "Traceback" not in said and "Exception ignored" not in said, why
    rows = logged(folder / "log", why)
    if not rows:
        # Ended before it came to that. A request to end is then obeyed at once.
        assert not heard, why
        assert run.status in (130, -signal.SIGTERM, -signal.SIGHUP, 2), why
        assert run.status < 0 or "stopped" in said or "nothing was sent" in said, why
        return "before"
    end = rows[-1]
    assert isinstance(end, Ended), f"the log has not its last row; {why}"
    if end.how == "not sent":
        assert not heard, why
        assert run.status in (2, 130) and "nothing was sent" in said, why
        return end.how
    if end.how == "done":
        assert run.status == 0, why
        assert heard == LIST, why
        return end.how
    assert run.status == (130 if end.how == "stopped" else 4), why
    assert "BROKEN OFF" in said, why
    commands = [row for row in rows if isinstance(row, Commanded)]
    sent = [row for row in commands if row.fate in ("sent", "in doubt")]
    put = {row.name for row in commands if row.fate == "put to stop"}
    left = {row.name for row in commands if row.fate == "not put to stop"}
    found = re.search(r"NOT put to stop: (.*?)\. Put them to stop by hand, now\.", said)
    told = set(re.findall(r"\b[A-Z]\b", found[1])) if found else set()
    assert told == left, why
    assert put | left == (set(SIGNALS) if sent else set()), why
    for name in SIGNALS if sent else ():
        shows = [text.split()[1] for text in heard if text.split()[0] == name][-1:]
        assert shows == ["stop"] or name in told, f"{name} shows {shows}; {why}"
    return end.how


def logged(log: Path, why: str) -> list[Row]:
    if not log.exists():
        return []
    rows = []
    for line in log.read_text("utf-8").splitlines():
        try:
            rows.append(read(line).row)
        except DamagedRowError:
            raise AssertionError(f"a row of the log is damaged: {line}; {why}") from None
    return rows
