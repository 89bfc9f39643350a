"""`bellcrank run` as a process of its own."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

from peers import PATIENCE


@dataclass
class Program:
    """said: what it has printed by now. url: of its page, with the key to work it."""

    process: subprocess.Popen[str]
    said: list[str] = field(default_factory=list)

    @classmethod
    def start(cls, *words: str | Path, serve: str = "127.0.0.1:0") -> Program:
        process = subprocess.Popen(
            [sys.executable, "-m", "bellcrank", "run", *map(str, words), "--serve", serve],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={**os.environ, "NO_COLOR": "1", "PYTHONUNBUFFERED": "1"},
        )
        program = cls(process)
        threading.Thread(target=program._listen, daemon=True).start()
        return program

    def _listen(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said.append(line.rstrip("\n"))

    def wait_for(self, pattern: str) -> re.Match[str]:
        """What it says, once it does."""
        end = time.monotonic() + 3 * PATIENCE
        while time.monotonic() < end:
            for line in list(self.said):
                if match := re.search(pattern, line):
                    return match
            if self.process.poll() is not None:
                time.sleep(0.1)
                for line in list(self.said):
                    if match := re.search(pattern, line):
                        return match
                break
            time.sleep(0.01)
        raise AssertionError(f"it never says {pattern}:\n" + "\n".join(self.said))

    @property
    def url(self) -> str:
        return self.wait_for(r"to work it: (\S+)")[1]

    @property
    def key(self) -> str:
        return self.url.partition("#key=")[2]

    @property
    def address(self) -> str:
        return self.url.partition("#")[0]

    def stop(self, by: signal.Signals = signal.SIGINT) -> int:
        """Ask it to stop; its exit status."""
        self.process.send_signal(by)
        return self.process.wait(PATIENCE)

    def kill(self) -> None:
        self.process.kill()
        self.process.wait(PATIENCE)

    def __enter__(self) -> Program:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.kill()
