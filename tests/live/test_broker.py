"""The running railway over a real broker, with a board as the documentation has it."""

from __future__ import annotations

import json

from live_on_a_line import until
from live_over_a_broker import BoardThread, Over, run
from peers import Broker, needs_broker

from bellcrank.live.decisions import Heard

pytestmark = needs_broker


def test_a_route_is_set_over_the_broker(broker: Broker) -> None:
    async def test(here: Over) -> None:
        await until(lambda: here.link.up)
        board = BoardThread(broker)
        await here.start()
        await until(lambda: board.board.running)
        assert (await here.live.ask(Heard("request", "W to B"))).outcome == "done"
        await until(lambda: board.shows("signal", "W") == "proceed")
        board.sense("yard/points", "occupied")
        await until(lambda: board.shows("signal", "W") == "stop")
        await until(lambda: not here.link._waiting)
        board.end()

    run(broker, test)


def test_a_board_that_dies_stops_all_and_one_that_comes_back_begins_anew(broker: Broker) -> None:
    async def test(here: Over) -> None:
        board = BoardThread(broker)
        await here.start()
        epoch = here.link._epoch
        board.end()
        await until(lambda: not here.box.running)
        assert here.box.because == "the board K1 is gone"
        assert here.link._epoch != epoch
        again = BoardThread(broker)
        await here.start()
        again.end()

    run(broker, test)


def test_stopping_begins_a_new_epoch_and_asks_all_anew(broker: Broker) -> None:
    async def test(here: Over) -> None:
        board = BoardThread(broker)
        await here.start()
        epoch = here.link._epoch
        await here.live.ask(Heard("request", "W to B"))
        await until(lambda: board.shows("signal", "W") == "proceed")
        await here.live.ask(Heard("stop", who="Ada"))
        await until(lambda: board.shows("signal", "W") == "stop")
        await until(lambda: here.link._epoch != epoch)
        await here.start()
        assert board.shows("signal", "W") == "stop"
        assert here.box.because is None
        board.end()

    run(broker, test)


def test_a_broker_that_is_killed_stops_all_and_is_come_back_to(broker: Broker) -> None:
    async def test(here: Over) -> None:
        board = BoardThread(broker)
        await here.start()
        broker.kill()
        await until(lambda: not here.box.running)
        assert "is lost" in str(here.box.because)
        broker.start()
        await here.start()
        await until(lambda: board.shows("signal", "W") == "stop")
        board.end()

    run(broker, test)


def test_what_a_panel_asks_and_what_is_refused(broker: Broker) -> None:
    async def test(here: Over) -> None:
        board = BoardThread(broker)
        await here.start()
        panel = board.board.client
        epoch = here.link._epoch
        asked = json.dumps({"epoch": epoch, "route": "W to C"})
        panel.publish("layout/request", asked, qos=0)
        await until(lambda: here.box.stage("W to C") != "idle")
        stale = json.dumps({"epoch": "old", "route": "W to C"})
        panel.publish("layout/cancel", stale, qos=0)
        refused: list[str] = []
        follow = here.live.followers
        follow.append(lambda ds: refused.extend(d.heard.of for d in ds if d.outcome == "refused"))
        panel.publish("layout/request", json.dumps({"epoch": epoch, "route": "W to B"}), qos=0)
        await until(lambda: refused == ["W to B"])
        assert here.box.stage("W to C") == "set"
        board.end()

    run(broker, test)
