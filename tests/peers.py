"""Real peers to send to: a broker with a listener, a network server, a serial line."""

from __future__ import annotations

import os
import select
import shutil
import signal
import socket
import subprocess
import tempfile
import threading
import time
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

import pytest

MOSQUITTO = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")

needs_broker = pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed")

PATIENCE = 20.0
"""Seconds that anything is waited for on a machine with much else to do."""


@dataclass
class Heard:
    """What a peer got: when, by the clock of time.time(), and the line."""

    lines: list[tuple[float, str]] = field(default_factory=list)

    @property
    def texts(self) -> list[str]:
        return [text for _, text in self.lines]

    @property
    def times(self) -> list[float]:
        """Milliseconds since the first line."""
        return [(at - self.lines[0][0]) * 1000 for at, _ in self.lines]

    def wait_for(self, count: int) -> None:
        end = time.monotonic() + PATIENCE
        while len(self.lines) < count and time.monotonic() < end:
            time.sleep(0.01)
        assert len(self.lines) >= count, self.texts


def free_port() -> int:
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return int(s.getsockname()[1])


JITTER = 200
"""Milliseconds by which two lines may come nearer to each other on the way, as the first is
noticed late. Waits are tested to the millisecond without a way, in test_playing.py."""


# --------------------------------------------------------------------- a broker


_MARK = "mark"
"""The topic of messages by which a listener is known to hear."""


class Broker:
    """A mosquitto of our own, on a port of its own, with a listener."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self.folder = folder
        self.heard = Heard()
        self._processes: list[subprocess.Popen[str]] = []
        self._broker: subprocess.Popen[str] | None = None
        self._marks: set[str] = set()
        self.start()
        self.listen()

    @property
    def where(self) -> str:
        return f"mqtt://127.0.0.1:{self.port}"

    def start(self) -> None:
        config = self.folder / "mosquitto.conf"
        config.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\n{self.more_config()}"
        )
        self._broker = self._run(MOSQUITTO or "", "-c", str(config))
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            with suppress(OSError), socket.create_connection(("127.0.0.1", self.port), 1):
                return
            time.sleep(0.02)
        raise AssertionError("mosquitto does not start")

    def more_config(self) -> str:
        return ""

    def messages(self) -> int:
        """The file that takes the messages of the broker and its listeners."""
        return subprocess.DEVNULL

    def how(self) -> tuple[str, ...]:
        """How a listener gets to it."""
        return ("-h", "127.0.0.1", "-p", str(self.port))

    def kill(self) -> None:
        assert self._broker is not None
        self._broker.kill()
        self._broker.wait()

    def freeze(self) -> None:
        """Let it keep its connections and do nothing."""
        assert self._broker is not None
        self._broker.send_signal(signal.SIGSTOP)

    def thaw(self) -> None:
        assert self._broker is not None
        self._broker.send_signal(signal.SIGCONT)

    def listen(self) -> None:
        """Begin to hear, with nothing heard yet; return once a listener is there.

        A broker forgets its listeners when it is killed, and sends what it retains to each
        that comes.
        """
        listener = self._run("mosquitto_sub", *self.how(), "-t", "#", "-q", "1", "-F", "%U %t %p")
        heard = self.heard = Heard()

        def read() -> None:
            assert listener.stdout is not None
            for row in listener.stdout:
                at, text = row.rstrip("\n").split(" ", 1)
                if text.startswith(f"{_MARK} "):
                    self._marks.add(text.removeprefix(f"{_MARK} "))
                else:
                    heard.lines.append((float(at), text))

        threading.Thread(target=read, daemon=True).start()
        self.hear_out()

    def hear_out(self) -> None:
        """Wait until the listener has heard all that the broker has taken in before."""
        mark = str(time.monotonic_ns())
        end = time.monotonic() + PATIENCE
        while mark not in self._marks and time.monotonic() < end:
            # Again and again, as one that comes before the listener is not for it.
            subprocess.run(
                ["mosquitto_pub", *self.how(), "-t", _MARK, "-m", mark, "-q", "1"], check=False
            )
            time.sleep(0.02)
        assert mark in self._marks

    def _run(self, *command: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=self.messages(), text=True
        )
        self._processes.append(process)
        return process

    def close(self) -> None:
        for process in self._processes:
            process.kill()
            process.wait()


class SecureBroker(Broker):
    """The same over TLS, with a certificate of its own for 127.0.0.1."""

    def __init__(self, folder: Path) -> None:
        self.certificate = folder / "broker.pem"
        self._key = folder / "broker.key"
        certificate(self.certificate, self._key, "IP:127.0.0.1")
        super().__init__(folder)

    @property
    def where(self) -> str:
        return f"mqtts://127.0.0.1:{self.port}?ca={self.certificate}"

    def more_config(self) -> str:
        # As another user it could not read the files of this one.
        user = "user root\n" if os.getuid() == 0 else ""
        return f"certfile {self.certificate}\nkeyfile {self._key}\n{user}"

    def how(self) -> tuple[str, ...]:
        return (*super().how(), "--cafile", str(self.certificate))


def certificate(file: Path, key: Path, name: str) -> None:
    """Make a certificate that vouches for itself. name: as `IP:127.0.0.1`."""
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1",
         "-nodes", "-days", "2", "-subj", "/CN=bench", "-addext", f"subjectAltName={name}",
         "-keyout", str(key), "-out", str(file)],
        check=True,
        capture_output=True,
    )  # fmt: skip


# -------------------------------------------------------------- a network server


class Server:
    """Takes lines from one connection after another.

    cut_after: closes the first connection when it has had so many lines.
    lingers: seconds for which it keeps a connection that the other side has ended.
    """

    def __init__(self, cut_after: int | None = None, lingers: float = 0.0) -> None:
        self._listening = socket.create_server(("127.0.0.1", 0))
        # Little is kept for it while it takes nothing in.
        self._listening.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 16)
        self.port = self._listening.getsockname()[1]
        self.heard = Heard()
        self.connections: list[list[str]] = []
        self.cut_after = cut_after
        self.lingers = lingers
        self.deaf_after_cut = False
        self._going_on = threading.Event()
        self._going_on.set()
        threading.Thread(target=self._serve, daemon=True).start()

    @property
    def where(self) -> str:
        return f"tcp://127.0.0.1:{self.port}"

    def _serve(self) -> None:
        with suppress(OSError):
            while True:
                connection, _ = self._listening.accept()
                self._connection = connection
                lines: list[str] = []
                self.connections.append(lines)
                with connection, connection.makefile("r", newline="") as stream:
                    for row in stream:
                        self.heard.lines.append((time.time(), row))
                        lines.append(row)
                        self._going_on.wait()
                        if len(self.connections) == 1 and len(lines) == self.cut_after:
                            break
                    time.sleep(self.lingers)
                    with suppress(OSError):
                        connection.shutdown(socket.SHUT_RDWR)
                if self.deaf_after_cut:
                    self.close()

    def stall(self) -> None:
        """Take in nothing any more."""
        self._going_on.clear()

    def cut(self) -> None:
        """Close the connection there is, and take the next one."""
        with suppress(OSError, AttributeError):
            self._connection.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self._going_on.set()
        # A blocked accept keeps a socket open that is only closed.
        with suppress(OSError):
            self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()


# ----------------------------------------------------------------- a serial line


class SerialLine:
    """A pseudo-terminal pair: the far end is read, the near end is what is sent to."""

    def __init__(self) -> None:
        self._far, near = os.openpty()
        self._ends: tuple[int, ...] = (self._far, near)
        # A name of its own: that of the terminal may be another's a moment after it is closed.
        self._name = Path(tempfile.mkdtemp()) / "line"
        self._name.symlink_to(os.ttyname(near))
        self.where = f"serial:{self._name}?baud=115200"
        self._rest = b""
        self.heard = Heard()
        self._closed = False
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        while not self._closed:
            if select.select([self._far], [], [], 0.02)[0] and not self._take():
                return

    def _take(self) -> bool:
        """Take in what has come; whether the line is still there."""
        try:
            self._rest += os.read(self._far, 1 << 16)
        except OSError:
            return False
        *rows, self._rest = self._rest.split(b"\n")
        self.heard.lines += [(time.time(), row.decode("utf-8") + "\n") for row in rows]
        return True

    def stall(self) -> None:
        """Take in nothing any more."""
        self._closed = True
        self._thread.join()

    def unplug(self) -> None:
        """Pull it out, once all that has come is taken in."""
        self.stall()
        self._name.unlink(missing_ok=True)
        while select.select([self._far], [], [], 0)[0] and self._take():
            pass
        self.close()

    def close(self) -> None:
        self.stall()
        self._name.unlink(missing_ok=True)
        for end in self._ends:
            os.close(end)
        self._ends = ()
        shutil.rmtree(self._name.parent, ignore_errors=True)
