"""What goes wrong while a railway runs, at moments left to chance, with the simulated railway as
judge.

Never an accident, never a command from before a restart, and the journal always opens. Each fault
comes a few times in CI, and 200 times with BELLCRANK_RUNNING=200:

    BELLCRANK_RUNNING=200 pytest -m campaign tests/campaigns/test_running.py -n 0 -s
"""

from __future__ import annotations

import asyncio
import json
import os
import random
import shutil
import threading
import time
from collections import Counter
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from urllib.request import Request, urlopen

import pytest
from event_loops import in_a_loop
from headless import Headless
from line_device import Device
from live_on_a_line import Run, on_a_line, until
from live_over_a_broker import BoardThread, Over, over
from peers import Broker, needs_broker
from running_program import Program
from sound_layouts import compiled, compiled_file

from bellcrank.live.decisions import Heard
from bellcrank.live.journal import Journal
from bellcrank.live.people import asked as asked_by
from bellcrank.live.people import may_come_in
from bellcrank.machine.frame import IDLE
from bellcrank.simulated.acts import Act, Comes, IsTaken
from bellcrank.simulated.habits import Habits
from bellcrank.simulated.railway import SimulationError

pytestmark = pytest.mark.campaign

COUNT = int(os.environ.get("BELLCRANK_RUNNING", "5"))

EXAMPLES = Path(__file__).parents[2] / "examples"

YARD = """
layout "Reedham Yard" on two rails
points P, Q
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - Q.toe
run Q.straight - <D - C - stop
run Q.diverging - <E - F - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
decoder K2 quad at 5
drive P = K1.1  servo 200 ms  detected
drive Q = K1.2  servo 200 ms  detected
signal W = K1.3
signal S = K1.4
signal D = K2.1
signal E = K2.2
"""

# Its trains run faster than its clock: what a report may be late by is short on theirs.
LATE = YARD + "time of drive 20 s\n"


def busy(here: Run, seed: int) -> Habits:
    """People who work the railway at the other end of the line."""
    railway = here.device.railway
    railway.admits = lambda _, elements: here.box.running and may_come_in(here.box, elements)
    return Habits(railway, lambda r: here.box.stage(r) == IDLE, {}, seed, patience=30)


async def work(here: Run, habits: Habits, seconds: float) -> None:
    """Let people ask and trains run for some time."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        for wish in habits.next():
            if isinstance(wish, Act):
                if here.box.running:
                    with suppress(SimulationError):
                        here.device.railway.do(wish)
                        here.device._tell(here.device.railway.take_reports())
                        # A train that comes in is reported at once: before anything else is asked.
                        await asyncio.sleep(0.05)
            else:
                here.live.hear((asked_by(wish, "Ada"),))
        await asyncio.sleep(0.05)


def on_the_line(test: Callable[[Run, random.Random], Awaitable[None]], seed: int) -> Run:
    kept: list[Run] = []

    async def whole() -> None:
        async with on_a_line(compiled(LATE), seed, speed=6.0) as here:
            kept.append(here)
            await here.start()
            await test(here, random.Random(seed))

    in_a_loop(whole())
    assert kept[0].device.railway.accidents == []
    return kept[0]


def test_the_cable_is_pulled_out_and_put_back() -> None:
    async def test(here: Run, rng: random.Random) -> None:
        habits = busy(here, rng.randrange(1000))
        await work(here, habits, rng.uniform(0.1, 1.5))
        await here.device.close()
        await until(lambda: not here.box.running)
        count = len(here.device.commands)
        await asyncio.sleep(rng.uniform(0.0, 0.3))
        await here.device.open()
        await until(lambda: not here.box.missing().any and not here.box.absent)
        # Nothing from before comes after: signals to stop, and the question.
        said = here.device.commands[count:]
        assert not any(line.startswith("throw") or "proceed" in line for line in said), said
        await until(lambda: all(t.stands for t in here.device.railway.trains()))
        await here.start()
        await work(here, habits, 0.3)

    for seed in range(COUNT):
        on_the_line(test, seed)


def test_messages_come_twice_or_not_at_all_or_late() -> None:
    became: Counter[str] = Counter()

    async def test(here: Run, rng: random.Random) -> None:
        kind = rng.choice(("twice", "lost", "late"))

        def spoil(line: str) -> list[str]:
            if rng.random() > 0.2:
                return [line]
            if kind == "late":
                writer = here.device._writer
                assert writer is not None
                asyncio.get_running_loop().call_later(
                    rng.uniform(0, 0.05), writer.write, f"{line}\n".encode()
                )
                return []
            return [line, line] if kind == "twice" else []

        here.device.spoil = spoil
        await work(here, busy(here, rng.randrange(1000)), rng.uniform(0.5, 1.5))
        became[f"{kind}, {'runs' if here.box.running else 'stopped'}"] += 1

    for seed in range(COUNT):
        on_the_line(test, seed)
    print(dict(became))
    # What comes twice is nothing new.
    assert became["twice, stopped"] == 0


def test_two_operators_ask_for_what_conflicts_at_once() -> None:
    c = compiled_file(EXAMPLES / "four-track-station.crank")
    rng = random.Random(1)
    pairs = list(c.table.conflicts)
    granted = 0
    run = Headless(c, keep=False)
    run.start()
    for _ in range(25 * COUNT):
        one, other = rng.sample(rng.choice(pairs), 2)
        decisions = run.hear([Heard("request", one, who="Ada"), Heard("request", other, who="Ben")])
        done = [d for d in decisions if d.heard.kind == "request" and d.outcome == "done"]
        assert len(done) <= 1
        granted += len(done)
        run.run(rng.uniform(0, 20_000))
        assert run.railway.accidents == [] and run.box.running
        if rng.random() < 0.3:
            run.hear([Heard("stop")])
            while any(not t.stands for t in run.railway.trains()):
                run.pass_time(1000)
            run.start()
    assert granted > 5 * COUNT


def test_the_power_is_cut_and_the_journal_is_torn(tmp_path: Path) -> None:
    rng = random.Random(2)
    path = tmp_path / "railway.journal"
    run = Headless(compiled(YARD), keep=False)
    journal = Journal(path)
    journal.begin("Reedham Yard", "aa", "test", "now")
    run.write = lambda decisions: journal.write(decisions, "now")  # type: ignore[method-assign]
    run.start()
    opened = 0
    for number in range(25 * COUNT):
        run.run(rng.uniform(1000, 20_000))
        torn = tmp_path / f"torn{number}"
        for end in ("", "-wal"):
            shutil.copyfile(f"{path}{end}", f"{torn}{end}")
        wal = Path(f"{torn}-wal")
        data = bytearray(wal.read_bytes())
        if data:
            cut = rng.randrange(len(data))
            # The last pages of a file may be missing, or be of before.
            data[cut:] = b"" if rng.random() < 0.5 else bytes(len(data) - cut)
            wal.write_bytes(data)
        again = Journal(torn)
        opened += again.set_aside is None
        for known in again.runs():
            list(again.entries(known.number))
        again.begin("Reedham Yard", "aa", "test", "now")
        again.write([], "now")
        again.close()
        for file in tmp_path.glob(f"torn{number}*"):
            file.unlink()
    # It always opens. Where what the power cut took is what had been written first of all, there is
    # no journal yet, and it is set aside.
    assert opened > 0.9 * 25 * COUNT


@contextmanager
def device_in_a_thread(text: str, seed: int) -> Iterator[Device]:
    """A device that goes on while a program is killed and started again."""
    device = Device(compiled(text), seed, speed=6.0)
    loop = asyncio.new_event_loop()

    def go() -> None:
        asyncio.set_event_loop(loop)
        loop.run_until_complete(device.open())
        task = loop.create_task(device.run())
        loop.run_forever()
        task.cancel()
        with suppress(asyncio.CancelledError):
            loop.run_until_complete(task)
        loop.close()

    thread = threading.Thread(target=go, daemon=True)
    thread.start()
    while not device.port:
        time.sleep(0.005)
    try:
        yield device
    finally:
        loop.call_soon_threadsafe(loop.stop)
        thread.join()


def asked(program: Program, what: str, body: object | None = None) -> str:
    """What became of something asked of a program."""
    request = Request(
        f"{program.address}api/{what}",
        json.dumps(body or {}).encode(),
        {"Authorization": f"Bearer {program.key}", "Content-Type": "application/json"},
    )
    with urlopen(request, timeout=20) as answer:
        return str(json.load(answer)["outcome"])


def test_the_program_is_killed(tmp_path: Path) -> None:
    layout = tmp_path / "yard.crank"
    layout.write_text(LATE, "utf-8")
    target = tmp_path / "plain"
    target.mkdir()
    (target / "target.toml").write_text(
        'name = "plain"\npurpose = "lines for a device"\ncontext = 1\nline = "line.jinja"\n'
        '[[files]]\npath = "lines.txt"\ntemplate = "lines.jinja"\n'
    )
    (target / "lines.jinja").write_text("{{ status }}\n")
    (target / "line.jinja").write_text(
        "{{ 'show' if command.device == 'signal' else 'throw' }} {{ command.name }} "
        "{{ command.state }}"
    )
    rng = random.Random(3)
    with device_in_a_thread(LATE, 3) as device:
        words = (layout, "--link", f"tcp://127.0.0.1:{device.port}", "--target", target,
                 "--ask-with", "how", "--journal", tmp_path / "j")  # fmt: skip
        for number in range(max(2, COUNT // 2)):
            with Program.start(*words) as program:
                _ = program.url
                if number:
                    program.wait_for("ended without stopping")
                end = time.monotonic() + 30
                while asked(program, "start") != "started":
                    assert time.monotonic() < end
                    time.sleep(0.2)
                count = len(device.commands)
                routes = ["W to B", "W to C", "W to F", "S to WEST", "D to WEST", "E to WEST"]
                for _ in range(rng.randrange(1, 6)):
                    asked(program, "request", {"route": rng.choice(routes)})
                    with suppress(SimulationError):
                        device.railway.do(Comes("WEST"))
                    time.sleep(rng.uniform(0, 0.3))
                assert len(device.commands) > count
                program.kill()
            # The watchdog of the device puts its signals to stop.
            device.all_to_stop()
            count = len(device.commands)
            time.sleep(0.2)
            assert device.commands[count:] == []
            while any(not t.stands for t in device.railway.trains()):
                time.sleep(0.05)
            for train in device.railway.trains():
                with suppress(SimulationError):
                    device.railway.do(IsTaken(train.number))
        assert device.railway.accidents == []


def begun_anew(here: Over, epoch: str) -> bool:
    """Whether the link is up, in another epoch than before."""
    return here.link.up and here.link._epoch != epoch


@needs_broker
def test_the_broker_is_restarted(tmp_path: Path) -> None:
    rng = random.Random(4)
    broker = Broker(tmp_path)

    async def whole(here: Over) -> None:
        board = BoardThread(broker)
        for _ in range(max(3, COUNT // 2)):
            await here.start()
            await here.live.ask(Heard("request", rng.choice(("W to B", "W to C")), who="Ada"))
            await asyncio.sleep(rng.uniform(0, 0.3))
            epoch = here.link._epoch
            broker.kill()
            await until(lambda: not here.box.running)
            shown = board.shows("signal", "W")
            broker.start()
            await until(partial(begun_anew, here, epoch))
            await until(lambda: board.shows("signal", "W") == "stop", 30)
            assert shown in ("stop", "proceed")
        board.end()

    async def run() -> None:
        async with over(broker) as here:
            await whole(here)

    try:
        in_a_loop(run())
    finally:
        broker.close()


def test_the_clock_is_set_back_and_forth(monkeypatch: pytest.MonkeyPatch) -> None:
    """The time of day is written down and nothing else hangs on it."""
    rng = random.Random(5)
    shift = 0.0
    real = time.time

    async def test(here: Run, rng: random.Random) -> None:
        nonlocal shift
        habits = busy(here, rng.randrange(1000))
        for _ in range(5):
            await work(here, habits, 0.2)
            shift += rng.choice((-86_400, 86_400, 3600, -60))
        assert here.box.running

    monkeypatch.setattr(time, "time", lambda: real() + shift)
    for _ in range(max(1, COUNT // 4)):
        on_the_line(test, rng.randrange(10_000))
