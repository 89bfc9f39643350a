"""How fast the running railway reacts, what it stands, and what comes of a long day.

Reactions, and then reports at 2,000 a second for a minute, or as long as is said:

    python tests/bench/running.py
    python tests/bench/running.py --seconds 600

Hours of the four-track station, as fast as it goes; at ten times the speed, by the clock:

    python tests/bench/running.py --soak 24
    python tests/bench/running.py --by-the-clock 24

Memory, while so many trains come and go there:

    python tests/bench/running.py --trains 100000
"""

from __future__ import annotations

import argparse
import asyncio
import resource
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from statistics import median

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS), str(TESTS / "live")]

from bench.generate import with_routes  # noqa: E402
from headless import Headless  # noqa: E402
from live_on_a_line import program  # noqa: E402
from sound_layouts import compiled, compiled_file  # noqa: E402

from bellcrank import Sound  # noqa: E402
from bellcrank.live.box import Box  # noqa: E402
from bellcrank.live.clock import Clock, time_of_day  # noqa: E402
from bellcrank.live.decisions import Decision, Heard  # noqa: E402
from bellcrank.live.engine import Engine  # noqa: E402
from bellcrank.live.journal import Journal  # noqa: E402
from bellcrank.live.live import Live  # noqa: E402
from bellcrank.live.pacing import Pacer  # noqa: E402
from bellcrank.live.people import may_come_in  # noqa: E402
from bellcrank.live.simulated_link import SimulatedLink  # noqa: E402
from bellcrank.sending.places import Place  # noqa: E402
from bellcrank.serving.simulated import SimulatedPeople  # noqa: E402
from bellcrank.simulated.railway import SimulatedRailway  # noqa: E402
from bellcrank.version import __version__  # noqa: E402

STATION = TESTS.parent / "examples" / "four-track-station.crank"


def megabytes() -> float:
    """The most memory that this process has had."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def line_of_stations(routes: int) -> Sound:
    """A line of ladders of six, every drive detected."""
    text = with_routes("ladders of six", routes)
    drives = [f"drive {name} detected" for name in compiled(text).layout.drives]
    return compiled("\n".join([text, *drives, ""]))


class Bench:
    """A device that answers at once, in the event loop of the program."""

    def __init__(self, c: Sound) -> None:
        self.c = c
        self.commands: asyncio.Queue[tuple[float, str]] = asyncio.Queue()

    async def come(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.writer = writer
        while line := (await reader.readline()).decode().strip():
            self.commands.put_nowait((time.perf_counter(), line))
            what, *words = line.split()
            if what == "how":
                for section in self.c.layout.sections:
                    self.say(f"{section} clear")
                for drive in self.c.layout.drives.values():
                    self.say(f"{drive.name} lies {drive.positions[0]}")
            elif what == "throw":
                self.say(f"{words[0]} lies {words[1]}")

    def say(self, line: str) -> None:
        self.writer.write(f"{line}\n".encode())

    async def until(self, wanted: str) -> float:
        """When a command came."""
        while True:
            at, line = await self.commands.get()
            if line == wanted:
                return at


async def reactions(c: Sound, times: int, seconds: float, per_second: int) -> None:
    bench = Bench(c)
    server = await asyncio.start_server(bench.come, "127.0.0.1", 0)
    place = Place("tcp", "127.0.0.1", server.sockets[0].getsockname()[1])
    with tempfile.TemporaryDirectory() as folder:
        live, engine, box, link = program(c, place, Path(folder) / "journal")
        task = asyncio.create_task(live.run(engine))
        while box.missing().any or box.absent:
            await asyncio.sleep(0.01)
        await live.ask(Heard("start"))
        took = []
        routes = [r for r in c.table.routes.values() if len(r.sections) > 2]
        for number in range(times):
            route = routes[number % len(routes)]
            stop, off = (box.stop(route.start), route.aspect)
            live.hear((Heard("request", route.name),))
            await bench.until(f"show {route.start} {off}")
            begun = time.perf_counter()
            bench.say(f"{route.sections[0]} occupied")
            took.append(await bench.until(f"show {route.start} {stop}") - begun)
            # The train goes on, and is taken off where it ends.
            for before, section in zip(route.sections, route.sections[1:], strict=False):
                bench.say(f"{section} occupied")
                bench.say(f"{before} clear")
            while box.stage(route.name) != "idle":
                await asyncio.sleep(0)
            bench.say(f"{route.sections[-1]} clear")
        took.sort()
        print(f"{len(c.table.routes)} routes, {times} reports with a command that follows: "
              f"median {1000 * median(took):.2f} ms, "
              f"99 of 100 under {1000 * took[int(0.99 * len(took))]:.2f} ms")  # fmt: skip
        await flood(bench, c, live, seconds, per_second)
        task.cancel()
        server.close()
        await asyncio.gather(task, return_exceptions=True)
    assert link is not None


async def flood(bench: Bench, c: Sound, live: object, seconds: float, per_second: int) -> None:
    """So many reports a second: sections of lines come to be occupied and clear again."""
    sections = [s for s in c.layout.sections if s.startswith("LINE")]
    first, cpu = live.last_entry, time.process_time()  # type: ignore[attr-defined]
    said, longest, begun = 0, 0, time.perf_counter()
    memory = megabytes()
    while (now := time.perf_counter() - begun) < seconds:
        due = int(now * per_second)
        while said < due:
            state = "occupied" if said // len(sections) % 2 == 0 else "clear"
            bench.say(f"{sections[said % len(sections)]} {state}")
            said += 1
        longest = max(longest, live.waiting)  # type: ignore[attr-defined]
        await asyncio.sleep(0.001)
    while live.last_entry - first < said:  # type: ignore[attr-defined]
        await asyncio.sleep(0.01)
        if time.perf_counter() - begun > seconds + 10:
            break
    taken = live.last_entry - first  # type: ignore[attr-defined]
    late = time.perf_counter() - begun - seconds
    print(f"{said} reports in {seconds:.0f} s, {taken} decided and written {late:.2f} s after that")
    print(f"never more than {longest} waiting, {megabytes() - memory:.1f} MB more")
    print(f"{time.process_time() - cpu:.1f} s CPU, with those of the device")


def soak(hours: float, seed: int) -> None:
    """Hours of the station, with people who ask at random."""
    run = Headless(compiled_file(STATION), seed, keep=False)
    begun = time.process_time()
    run.start()
    run.run(hours * 3_600_000)
    outcomes: Counter[str] = Counter()
    for (kind, outcome), count in run.decided.items():
        if kind in ("request", "cancel", "occupied", "clear"):
            outcomes[f"{kind} {outcome}"] += count
    print(f"{run.now / 3_600_000:.1f} hours, {dict(run.railway.counts)}, {dict(outcomes)}")
    print(f"accidents: {len(run.railway.accidents)}, stopped: {run.box.because}")
    print(f"trains that wait for ever: {run.waits_for_ever(1800)}")
    print(f"{time.process_time() - begun:.0f} s CPU")


async def by_the_clock(hours: float, speed: float, seed: int) -> None:
    """Hours of the station at a speed, with its journal on disk, by the clock of this machine."""
    c = compiled_file(STATION)
    clock = Clock(speed)
    box = Box(c.layout, c.table, c.control, ["the simulated railway"])
    railway = SimulatedRailway(c.layout, c.table, seed)
    railway.admits = lambda _, elements: may_come_in(box, elements)
    link = SimulatedLink(railway, clock)
    outcomes: Counter[str] = Counter()
    told: list[str] = []
    late: list[float] = []

    def follow(decisions: Sequence[Decision]) -> None:
        for decision in decisions:
            outcomes[f"{decision.heard.kind} {decision.outcome}"] += 1
            if decision.outcome in ("alarm", "stopped", "started"):
                told.append("; ".join(decision.told))

    with tempfile.TemporaryDirectory() as folder:
        journal = Journal(Path(folder) / "journal", 64)
        live = Live(clock, journal, [link])
        live.followers.append(follow)
        live.on_reaction = late.append
        engine = Engine(box, Pacer(c.layout), live, live.put_out)
        journal.begin(c.layout.title, c.source_hash, __version__, time_of_day())
        tasks = [
            asyncio.create_task(live.run(engine)),
            asyncio.create_task(SimulatedPeople(link).go_on(live, box, seed)),
        ]
        shown = 0.0
        while clock.now() < hours * 3_600_000 and not any(task.done() for task in tasks):
            await asyncio.sleep(1)
            if clock.now() >= shown:
                shown += hours * 360_000
                print(
                    f"{clock.now() / 3_600_000:>6.1f} h: {dict(railway.counts)}, "
                    f"{time.process_time():.0f} s CPU, {megabytes():.0f} MB, "
                    f"accidents: {len(railway.accidents)}",
                    flush=True,
                )
        for task in tasks:
            task.cancel()
        for result in await asyncio.gather(*tasks, return_exceptions=True):
            if not isinstance(result, asyncio.CancelledError):
                print(f"ended by itself: {result!r}")
        journal.close()
    late.sort()
    print(dict(sorted(outcomes.items())))
    print(f"accidents: {railway.accidents}; told: {told}; stopped: {box.because}")
    print(f"from report to what follows: median {1000 * median(late):.2f} ms, "
          f"99 of 100 under {1000 * late[int(0.99 * len(late))]:.2f} ms")  # fmt: skip


def memory(trains: int) -> None:
    run = Headless(compiled_file(STATION), 0, keep=False)
    run.start()
    shown = 0
    while run.railway.counts["came"] < trains and run.box.running and not run.railway.accidents:
        run.run(3_600_000)
        if run.railway.counts["came"] >= shown:
            print(f"{run.railway.counts['came']:>8} trains: {megabytes():.1f} MB", flush=True)
            shown += trains // 10


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--routes", type=int, default=300)
    parser.add_argument("--times", type=int, default=2_000)
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--per-second", type=int, default=2_000)
    parser.add_argument("--soak", type=float, metavar="HOURS")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--by-the-clock", type=float, metavar="HOURS")
    parser.add_argument("--speed", type=float, default=10)
    parser.add_argument("--trains", type=int)
    given = parser.parse_args()
    if given.soak:
        soak(given.soak, given.seed)
    elif given.by_the_clock:
        asyncio.run(by_the_clock(given.by_the_clock, given.speed, given.seed))
    elif given.trains:
        memory(given.trains)
    else:
        c = line_of_stations(given.routes)
        asyncio.run(reactions(c, given.times, given.seconds, given.per_second))


if __name__ == "__main__":
    main()
