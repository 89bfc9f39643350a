"""A railway at the other end of a line: commands out, reports in, a cable pulled out and put
back."""

from __future__ import annotations

import asyncio
import os
import pty
import tty
from collections.abc import Awaitable, Callable

from event_loops import in_a_loop
from live_on_a_line import Run, on_a_line, program, until
from sound_layouts import compiled

from bellcrank.live.decisions import Heard
from bellcrank.sending.places import Place
from bellcrank.simulated.acts import Comes

YARD = compiled("""
layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
drive P = K1.1  servo 200 ms  detected
time of drive 20 s
""")


def run(test: Callable[[Run], Awaitable[None]]) -> None:
    async def whole() -> None:
        async with on_a_line(YARD) as here:
            await test(here)

    in_a_loop(whole())


def test_a_train_runs_by_what_is_said_on_the_line() -> None:
    async def test(here: Run) -> None:
        await here.start()
        # When the line was opened its signals were put to stop, and all was asked for.
        first = here.device.commands
        assert first[:4] == ["show W stop", "show S stop", "show D stop", "how"]
        assert (await here.live.ask(Heard("request", "W to C"))).outcome == "done"
        here.device.railway.do(Comes("WEST"))
        await until(lambda: here.device.railway.stands_whole_in("C"))
        await until(lambda: here.box.stage("W to C") == "idle")
        assert "throw P diverging" in first and "show W proceed" in first
        assert here.device.railway.accidents == []

    run(test)


def test_a_cable_pulled_out_stops_all_and_comes_back_by_itself() -> None:
    async def test(here: Run) -> None:
        await here.start()
        await here.live.ask(Heard("request", "W to B"))
        await here.device.close()
        await until(lambda: not here.box.running)
        assert here.box.because is not None and "is lost" in here.box.because
        assert not here.link.up
        refused = await here.live.ask(Heard("start"))
        assert refused.told == (f"{here.link.name} is not there",)
        count = len(here.device.commands)
        await here.device.open()
        await here.start()
        # Nothing from before was sent again.
        assert here.device.commands[count : count + 4] == [
            "show W stop", "show S stop", "show D stop", "how"
        ]  # fmt: skip
        assert not any(c.startswith("throw") for c in here.device.commands[count:])

    run(test)


def test_what_nobody_understands_stops_all() -> None:
    async def test(here: Run) -> None:
        await here.start()
        here.device.spoil = lambda line: [line.replace("occupied", "occxpied")]
        here.device.railway.do(Comes("WEST"))
        await until(lambda: not here.box.running)
        assert "A occxpied" in str(here.box.because)

    run(test)


def test_a_report_that_comes_twice_changes_nothing() -> None:
    async def test(here: Run) -> None:
        here.device.spoil = lambda line: [line, line, "", "> ready"]
        await here.start()
        await here.live.ask(Heard("request", "W to C"))
        here.device.railway.do(Comes("WEST"))
        await until(lambda: here.device.railway.stands_whole_in("C"))
        await until(lambda: here.box.stage("W to C") == "idle")
        assert here.box.running

    run(test)


def test_a_serial_line() -> None:
    async def test() -> None:
        other, own = pty.openpty()
        tty.setraw(other)
        place = Place("serial", device=os.ttyname(own))
        live, engine, box, link = program(YARD, place, None)
        task = asyncio.create_task(live.run(engine))
        loop = asyncio.get_running_loop()
        said = b""

        def come() -> None:
            nonlocal said
            said += os.read(other, 1000)

        loop.add_reader(other, come)
        await until(lambda: said.endswith(b"how\n"))
        os.write(other, b"A clear\nB clear\nC cl")
        os.write(other, b"ear\nP clear\r\nP lies straight\n")
        await until(lambda: not box.missing().any and not box.absent)
        assert (await live.ask(Heard("start"))).outcome == "started"
        await live.ask(Heard("request", "W to B"))
        await until(lambda: said.endswith(b"show W proceed\n"))
        loop.remove_reader(other)
        os.close(other)  # pulled out
        await until(lambda: not box.running)
        assert not link.up
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        os.close(own)

    in_a_loop(test())


def test_one_that_is_never_there_is_said_to_be_so() -> None:
    async def test() -> None:
        live, engine, _, link = program(YARD, Place("tcp", "127.0.0.1", 1), None)
        task = asyncio.create_task(live.run(engine))
        await until(lambda: "cannot be opened" in link.trouble)
        assert (await live.ask(Heard("start"))).told == ("tcp://127.0.0.1:1 is not there",)
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    in_a_loop(test())


def test_a_journal_that_takes_nothing_more_ends_it_with_all_signals_at_stop() -> None:
    async def test() -> None:
        async with on_a_line(YARD) as here:
            await here.start()
            await here.live.ask(Heard("request", "W to B"))
            await until(lambda: "show W proceed" in here.device.commands)
            here.live.journal.close()
            count = len(here.device.commands)
            here.device.railway.do(Comes("WEST"))
            await until(lambda: len(here.device.commands) >= count + 3)
            assert here.device.commands[count:] == ["show W stop", "show S stop", "show D stop"]

    in_a_loop(test())
