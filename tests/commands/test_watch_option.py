"""`check --watch` and `build --watch`: the verdict on every save, until Ctrl-C."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from peers import PATIENCE

from bellcrank.commands.watching_files import ChangedError, Watched
from bellcrank.compilation import compile_file

PLAIN = """layout "Eel Fen" on three rails
run edge WEST - A - >W1 - B - C - >C1 - D - edge EAST
routes derive
locking derive
"""

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals")


@dataclass
class Watching:
    """A command that watches, and what it has said by now."""

    process: subprocess.Popen[str]
    out: list[str] = field(default_factory=list)
    err: list[str] = field(default_factory=list)

    def wait(self, ready: Callable[[], bool]) -> None:
        end = time.monotonic() + 6 * PATIENCE
        while not ready():
            assert self.process.poll() is None, self.err
            assert time.monotonic() < end, (self.out, self.err)
            time.sleep(0.01)

    def told(self, count: int) -> dict[str, Any]:
        """What it says as JSON, the last of so many lines."""
        self.wait(lambda: len(self.out) >= count)
        told: dict[str, Any] = json.loads(self.out[count - 1])
        return told

    def waits(self, times: int) -> None:
        self.wait(lambda: sum("waiting for a change" in line for line in self.err) >= times)

    def stop(self) -> int:
        self.process.send_signal(signal.SIGINT)
        return self.process.wait(6 * PATIENCE)


@contextmanager
def watching(*words: str | Path) -> Iterator[Watching]:
    process = subprocess.Popen(
        [sys.executable, "-m", "bellcrank", *map(str, words), "--watch"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "NO_COLOR": "1"},
    )
    own = Watching(process)
    assert process.stdout is not None and process.stderr is not None
    for lines, said in ((process.stdout, own.out), (process.stderr, own.err)):
        threading.Thread(target=said.extend, args=(lines,), daemon=True).start()
    try:
        yield own
    finally:
        process.kill()
        process.wait()


@pytest.fixture
def layout(tmp_path: Path) -> Path:
    path = tmp_path / "fen.crank"
    path.write_text(PLAIN, "utf-8")
    return path


def test_the_verdict_comes_on_every_save_and_ctrl_c_ends_it(layout: Path) -> None:
    with watching("check", layout, "--json") as own:
        first = own.told(1)
        own.waits(1)
        layout.write_text("# of the year 1911\n" + PLAIN, "utf-8")
        second = own.told(2)
        own.waits(2)
        layout.write_text(PLAIN.replace("run edge", "runn edge"), "utf-8")
        third = own.told(3)
        own.waits(3)
        layout.with_suffix(".new").write_text(PLAIN, "utf-8")
        layout.with_suffix(".new").replace(layout)
        fourth = own.told(4)
        own.waits(4)
        assert own.stop() == 130
    assert [t["status"] for t in (first, second, third, fourth)] == [
        "proved", "proved", "error", "proved",
    ]  # fmt: skip
    assert second["moving"]["kept"] > 0


def test_the_page_says_what_it_is_of_and_is_written_anew(layout: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    with watching("build", layout, "--target", "page", "--out", out) as own:
        own.waits(1)
        (address,) = [line.split()[-1] for line in own.err if "http://" in line]
        assert json.loads(fetched(f"{address}stamp")) == {"stamp": 1, "said": ""}
        assert "iframe" in fetched(address)
        assert "Eel Fen" in fetched(f"{address}page")
        layout.write_text(PLAIN.replace("Eel Fen", "Otter Fen"), "utf-8")
        own.waits(2)
        assert json.loads(fetched(f"{address}stamp"))["stamp"] == 2
        assert "Otter Fen" in fetched(f"{address}page")
        layout.write_text(PLAIN.replace("run edge", "runn edge"), "utf-8")
        own.waits(3)
        told = json.loads(fetched(f"{address}stamp"))
        assert told["stamp"] == 2
        assert "older" in told["said"]
        with pytest.raises(urllib.error.HTTPError):
            fetched(f"{address}page", host="elsewhere.example")
        assert own.stop() == 130


def fetched(address: str, host: str = "") -> str:
    request = urllib.request.Request(address, headers={"Host": host} if host else {})
    with urllib.request.urlopen(request, timeout=PATIENCE) as answer:
        text: str = answer.read().decode("utf-8")
    return text


# ------------------------------------------------------------------- what is watched


def test_a_change_in_the_midst_of_a_proof_has_it_given_up(layout: Path) -> None:
    watched = Watched(layout)
    watched.compiled(lambda: compile_file(layout))
    told: list[str] = []
    tell = watched.telling(told.append)
    tell("proving")
    layout.write_text("# of the year 1911\n" + PLAIN, "utf-8")
    watched._due = 0.0
    with pytest.raises(ChangedError):
        tell("proving")
    assert told == ["proving"]


def test_files_that_a_layout_uses_are_watched_and_those_that_it_lacks(layout: Path) -> None:
    layout.write_text('use "track.crank"\nroutes derive\nlocking derive\n', "utf-8")
    track = layout.with_name("track.crank")
    watched = Watched(layout)
    watched.compiled(lambda: compile_file(layout))
    assert not watched.changed()
    track.write_text(PLAIN.split("routes")[0], "utf-8")
    assert watched.changed()
    watched.compiled(lambda: compile_file(layout))
    track.write_text(PLAIN.split("routes")[0] + "\n", "utf-8")
    assert watched.changed()


def test_a_file_that_is_saved_while_it_is_read_is_read_again(layout: Path) -> None:
    texts = iter([PLAIN.replace("EAST", "OST"), PLAIN.replace("EAST", "EST")])
    times = 0

    def compile() -> Any:
        nonlocal times
        times += 1
        made = compile_file(layout)
        if (text := next(texts, None)) is not None:
            layout.write_text(text, "utf-8")
        return made

    made = Watched(layout).compiled(compile)
    assert "EST" in made.program.texts[layout.name]
    assert times == 3
