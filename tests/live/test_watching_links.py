"""Watching over links: a line on which nothing is said, and a broker beside another controller."""

from __future__ import annotations

import asyncio
import socket
import threading
from collections.abc import Sequence
from pathlib import Path

from event_loops import in_a_loop
from live_on_a_line import until
from live_over_a_broker import BoardThread, Over, halt, run
from peers import PATIENCE, Broker, needs_broker
from running_program import Program

from bellcrank.live.broker_watch import BrokerWatch
from bellcrank.live.decisions import Heard, Show
from bellcrank.live.watching import Watch
from bellcrank.sending.places import Place

YARD = """
layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
drive P = K1.1  servo 200 ms  detected
signal W = K1.2
signal S = K1.3
signal D = K1.4
"""

REPORTS = [
    *("A clear", "P clear", "B clear", "C clear", "P lies straight"),
    *("A occupied", "P occupied", "P lies diverging"),
]


def test_over_a_line_it_tells_and_says_nothing(tmp_path: Path) -> None:
    layout = tmp_path / "yard.crank"
    layout.write_text(YARD, "utf-8")
    with socket.create_server(("127.0.0.1", 0)) as server:
        heard: list[bytes] = []

        def other_side() -> None:
            line, _ = server.accept()
            with line:
                line.settimeout(PATIENCE)
                line.sendall("".join(f"{r}\n" for r in REPORTS).encode())
                while data := line.recv(1000):
                    heard.append(data)

        thread = threading.Thread(target=other_side, daemon=True)
        thread.start()
        where = f"tcp://127.0.0.1:{server.getsockname()[1]}"
        words = ("--link", where, "--watch-only", "--journal", tmp_path / "j")
        with Program.start(layout, *words) as program:
            program.wait_for("all has reported: it watches")
            program.wait_for("P is reported to lie diverging, and under the proved locking")
            assert any("commands nothing" in line for line in program.said)
            assert not any("to work it" in line for line in program.said)
            assert program.stop() == 130
        thread.join(PATIENCE)
    assert heard == []


@needs_broker
def test_at_a_broker_it_hears_what_boards_report_to_the_controller(broker: Broker) -> None:
    c, told = halt()

    async def test(here: Over) -> None:
        place = Place("mqtt", "127.0.0.1", broker.port)
        watch = Watch(c.layout, c.table, c.control, c.machine, [str(place)])
        told_of: list[str] = []

        def heed(heard: Sequence[Heard]) -> None:
            told_of.extend(w for each in heard for w in watch.decide(each, 0.0).told)

        link = BrokerWatch(place, told)
        task = asyncio.create_task(link.run(heed))
        await until(lambda: link.up)
        board = BoardThread(broker)
        await here.start()
        await until(lambda: watch.running)
        link.put_out(Show("W", "proceed"))
        board.sense("yard/points", "occupied")
        await until(lambda: any("reported occupied, and under the proved" in t for t in told_of))
        epoch = here.link._epoch
        await here.live.ask(Heard("stop", who="Ada"))
        await until(lambda: here.link._epoch != epoch and "the controller begins anew" in told_of)
        assert board.shows("signal", "W") in (None, "stop")
        board.end()
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    run(broker, test)


@needs_broker
def test_a_broker_that_is_lost_is_told(broker: Broker) -> None:
    _, told = halt()

    async def test() -> None:
        heard: list[Heard] = []
        link = BrokerWatch(Place("mqtt", "127.0.0.1", broker.port), told)
        task = asyncio.create_task(link.run(heard.extend))
        await until(lambda: link.up)
        await asyncio.to_thread(broker.kill)
        await until(lambda: any(each.kind == "lost" for each in heard))
        assert not link.up and "is lost" in heard[-1].value
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)

    in_a_loop(test())
