"""What it takes until an editor is told of a change: `python tests/bench/typing_speed.py`.

A letter is typed into a comment, into a name and out again, many times; after each the time passes
until the diagnostics of that text are there, and the server's process uses the processor. Then the
same of the verdict: the first, after a remark, and after one more piece of track. Needs /proc, as
Linux has it.
"""

from __future__ import annotations

import asyncio
import os
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from bench.generate import with_routes
from language_client import Editor, editor

STATION = Path(__file__).parents[2] / "examples" / "four-track-station.crank"

PIECE = " - <"
"""Where one more piece of track has room, before a signal: both texts have it."""

TIMES = 40


def cpu_of(pid: int) -> float:
    """Seconds that a process has used of the processor, without those it has started."""
    words = Path(f"/proc/{pid}/stat").read_text("utf-8").rsplit(")", 1)[1].split()
    return (int(words[11]) + int(words[12])) / os.sysconf("SC_CLK_TCK")


async def measure(name: str, text: str, folder: Path) -> None:
    async with editor(folder) as own:
        server = own.client._server
        assert server is not None
        uri = own.open("layout.crank", text)
        await own.diagnostics(uri)
        waits, begun = [], cpu_of(server.pid)
        for _ in range(TIMES // 2):
            for start, end, new in ((0, 0, "#"), (0, 1, "")):
                waits.append(await _timed(own, uri, start, end, new))
        used = (cpu_of(server.pid) - begun) / TIMES
        first = await _verdict(own, uri, 0, "")
        remark = await _verdict(own, uri, 0, "# a remark\n")
        track = own.text(uri).index(PIECE)
        piece = await _verdict(own, uri, track, " - ONE_MORE")
    middle, worst = statistics.median(waits), max(waits)
    verdicts = f"{first:10.2f}{remark:8.2f}{piece:8.2f}"
    print(f"{name:30}{used * 1000:8.0f}{middle * 1000:10.0f}{worst * 1000:8.0f}{verdicts}")


async def _verdict(own: Editor, uri: str, at: int, new: str) -> float:
    """Seconds from a change until the verdict on it is there."""
    begun = time.perf_counter()
    if new:
        own.type(uri, at, at, new)
    await own.diagnostics(uri, lambda said: "proved" in [d.code for d in said])
    return time.perf_counter() - begun


async def _timed(own: Editor, uri: str, start: int, end: int, new: str) -> float:
    own.type(uri, start, end, new)
    begun = time.perf_counter()
    await own.diagnostics(uri)
    return time.perf_counter() - begun


def main() -> None:
    print("                                   diagnostics, ms              verdict, s")
    print("                                 CPU    median   worst     first  remark   piece")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder).resolve()
        asyncio.run(measure("four-track station", STATION.read_text("utf-8"), path))
        asyncio.run(measure("passing loops, 312 routes", with_routes("passing loops", 312), path))
        asyncio.run(
            measure("passing loops, 1,000 routes", with_routes("passing loops", 1_000), path)
        )


main()
