"""The campaign: a railway run by the programs of targets/README.md, and all that may go wrong
between controller, broker and boards.

    pytest -m campaign tests/campaigns/test_mqtt.py -n 0

Never may a board obey a command that is not of this moment, and wherever one is left alone its
signals must come to stop.
"""

from __future__ import annotations

import json
import random
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from mqtt_railway import STANDING, Over, add_programs, built_files, expiring, version_5
from peers import Broker, needs_broker
from sound_layouts import NO_TIME

import bellcrank
from bellcrank import Sound
from bellcrank.document.build_document import build_document
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target

pytestmark = [pytest.mark.campaign, needs_broker]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("halt")
    built_files(made)
    add_programs(made)
    return made


class Remembering(Broker):
    """A broker that keeps sessions and what is retained, after a kill too."""

    def more_config(self) -> str:
        return (
            f"persistence true\npersistence_location {self.folder}/\nautosave_on_changes true\n"
            "autosave_interval 1\nuser root\n"
        )


@pytest.fixture
def railway(tmp_path: Path, folder: Path) -> Iterator[Over]:
    broker = Remembering(tmp_path)
    made = Over(broker, folder)
    yield made
    made.close()
    broker.close()


def kept(board: Any) -> None:
    """Let the broker keep the session of a board, which it ought not to do."""
    board.client._clean_session = False


def leave(railway: Over, board: Any, name: str) -> None:
    """A board is cut off, and does nothing for a while."""
    railway.go_on(0.1)
    board.client.socket().close()
    del railway.steps[name]
    railway.until(lambda: railway.controller()["state"] != "running")


def come_back(railway: Over, board: Any, name: str) -> None:
    railway.steps[name] = board.step
    railway.until(lambda: board.epoch == railway.controller()["epoch"])
    railway.go_on(0.2)


@pytest.mark.parametrize("expires", [None, 1])
@pytest.mark.parametrize("clean", [True, False])
def test_what_was_sent_while_a_board_was_away_throws_nothing(
    railway: Over, clean: bool, expires: int | None
) -> None:
    runner = railway.runner()
    board = railway.whole_board()
    if not clean:
        railway.until(lambda: board.epoch is not None)
        first = board.epoch
        kept(board)
        board.client.socket().close()
        railway.until(lambda: board.epoch not in (None, first))
    railway.start()
    railway.clear_for_c(board)
    told = {"epoch": runner.epoch, "sequence": 99}
    leave(railway, board, "K1")
    was, delivered = list(board.done), []
    obey = board.obey
    board.obey = lambda device, told: [delivered.append(told), obey(device, told)]
    sender = version_5("sender", railway.broker.port)
    railway.steps["sender"] = lambda: sender.loop(0.002)
    railway.until(sender.is_connected)
    for name, state, kind in (("P", "straight", "drive"), ("W", "proceed", "signal")):
        for epoch in (told["epoch"], runner.epoch):
            payload = railway.command(name, state, **{**told, "epoch": epoch}, at=runner.at())
            sender.publish(f"layout/{kind}/{name}", json.dumps(payload), 1,
                           properties=expiring(expires) if expires else None)  # fmt: skip
    railway.go_on(3.2 if expires else 0.5)  # brokers count whole seconds
    come_back(railway, board, "K1")
    assert [d for d in board.done[len(was) :] if d != ("W", "stop")] == []
    assert board.shows["signal", "W"] == "stop"
    # Only a broker that keeps a session, of messages without expiry, has delivered them at all.
    stale = [told for told in delivered if told["sequence"] == 99]
    assert bool(stale) == (expires is None and not clean)
    railway.start()
    railway.clear_for_c(board)


def test_after_a_restart_of_the_broker_nothing_old_is_obeyed(railway: Over) -> None:
    railway.hasten(silent=4000)
    runner = railway.runner()
    board = railway.whole_board()
    railway.start()
    railway.clear_for_c(board)
    railway.go_on(1.2)  # it has been written down that the controller runs
    lost = []
    railway.steps["runner"] = lambda: lost or runner.step() or lost.append(True)
    del railway.steps["onlooker"]
    railway.broker.kill()
    railway.until(lambda: board.shows["signal", "W"] == "stop" and lost)
    was = list(board.done)
    railway.broker.start()
    railway.heard.clear()
    railway.client("another", lambda client: client.subscribe([("#", 1)]))
    railway.until(lambda: board.epoch == runner.epoch)  # it is retained that it runs
    assert board.running
    stale = railway.command("P", "straight", epoch=runner.epoch, sequence=99, at=runner.at())
    sender = version_5("sender", railway.broker.port)
    railway.steps["sender"] = lambda: sender.loop(0.002)
    railway.until(sender.is_connected)
    sender.publish("layout/drive/P", json.dumps(stale), 1)
    railway.until(lambda: board.epoch is None)  # as no beat has come
    assert board.done == was
    assert board.shows["signal", "W"] == "stop"
    del railway.steps["runner"]
    railway.onlooker = sender
    new = railway.runner()
    railway.until(lambda: railway.controller()["epoch"] == new.epoch)
    railway.start()
    railway.clear_for_c(board)


@pytest.mark.parametrize("seconds", [0.2, 4.0])
def test_a_broker_that_stands_still_keeps_back_no_clear_signal(
    railway: Over, seconds: float
) -> None:
    railway.hasten(late=2000)
    runner = railway.runner()
    board = railway.whole_board()
    railway.start()
    railway.say("layout/request", route="W to C")
    railway.until(lambda: board.shows.get(("drive", "P")) == "diverging")
    board.sense("yard/straight", "off")
    lost: list[bool] = []
    railway.steps["runner"] = lambda: lost or runner.step() or lost.append(True)
    railway.until(lambda: runner.said["yard/straight"] is None)
    # The clear aspect is on its way when nothing moves any more.
    runner.give({"kind": "lies", "of": "P", "value": "diverging"})
    railway.broker.freeze()
    runner.client.loop(0.01)
    railway.go_on(seconds)
    standing = dict(board.shows)
    railway.broker.thaw()
    railway.go_on(0.4)
    if seconds < 1:
        railway.until(lambda: board.shows["signal", "W"] == "proceed")
    else:
        assert standing["signal", "W"] == board.shows["signal", "W"] == "stop"
        assert ("W", "proceed") not in board.done
        assert lost or runner.state == "stopped"


def test_a_controller_that_hangs_leaves_signals_at_stop(railway: Over) -> None:
    """Its connection stays, so there is no last will: the beat tells."""
    railway.hasten(silent=3000)
    railway.runner()
    board = railway.whole_board()
    railway.start()
    railway.clear_for_c(board)
    hangs = railway.steps.pop("runner")
    railway.until(lambda: board.shows["signal", "W"] == "stop")
    was = list(board.done)
    railway.steps["runner"] = hangs
    railway.until(lambda: railway.controller()["state"] == "stopped")
    railway.start()
    assert set(board.done[len(was) :]) <= {("W", "stop")}


def test_a_second_controller_ends_the_first(railway: Over) -> None:
    first = railway.runner()
    board = railway.whole_board()
    railway.start()
    railway.clear_for_c(board)
    lost: list[bool] = []
    railway.steps["first"] = lambda: lost or first.step() or lost.append(True)
    second = railway.runner()
    railway.until(lambda: lost and board.epoch == second.epoch)
    assert board.shows["signal", "W"] == "stop"
    railway.until(lambda: railway.controller()["epoch"] == second.epoch)
    railway.start()
    railway.clear_for_c(board)


def test_every_input_of_a_controller_is_heard_under_one_topic() -> None:
    """On layouts as people build them."""
    found = 0
    for path in sorted((Path(__file__).parents[1] / "corpus").glob("*/*.crank"))[::6]:
        c = bellcrank.compile_file(path)
        if not isinstance(c, Sound):
            continue
        document = build_document(bellcrank.prove(c, NO_TIME), without=("controller", "vectors"))
        told = json.loads(render_target(load_target("mqtt"), document)["messages.json"])
        heard = [s["input"] for r in told["reports"] for s in r["states"] if s["input"]]
        means = Counter((i["kind"], i["of"], i["value"] or "") for i in heard)
        reported = {i for i in c.controller.inputs if i.kind in ("occupied", "clear", "lies")}
        assert set(means) == reported, path
        assert set(means.values()) <= {1}, path
        topics = [r["topic"] for part in ("reports", "buttons", "states") for r in told[part]]
        topics += [d[field] for d in told["devices"] for field in ("topic", "answer")]
        assert len(set(topics)) == len(topics), path
        found += 1
    assert found > 15


class Played:
    """A railway of two boards, disturbed at random by whoever ends, comes back or repeats.

    obeyed: each command that put out something else than stop, and how old it was then.
    """

    def __init__(self, railway: Over, seed: int) -> None:
        self.railway, self.lot = railway, random.Random(seed)
        self.obeyed: list[tuple[str, int, float]] = []
        self.delivered = self.killed = 0
        self.away: dict[str, Any] = {}
        self.new_runner()
        senses = {topic.removeprefix("yard/"): state for topic, state in STANDING.items()}
        self.boards = {
            "K1": self.watched(railway.board("K1", "P", "W", **senses)),
            "K2": self.watched(railway.board("K2", "S", "D")),
        }
        railway.steps["points"] = self.points

    def is_enough(self) -> bool:
        """Whether commands were obeyed in several epochs, and most that came were not."""
        epochs = {epoch for epoch, _, _ in self.obeyed}
        often = len(epochs) > 3 and self.killed > 3
        return often and self.delivered > 2 * len(self.obeyed) > 20

    def new_runner(self) -> None:
        if "runner" in self.railway.steps:
            self.runner.client.socket().close()
            self.killed += 1
        self.runner = self.railway.runner()
        self.railway.steps["runner"] = self.run

    def run(self) -> None:
        if not self.runner.step():
            del self.railway.steps["runner"]

    def watched(self, board: Any) -> Any:
        obey = board.obey

        def counted(device: Any, told: Any) -> None:
            before = len(board.done)
            obey(device, told)
            self.delivered += 1
            if len(board.done) > before and told["state"] != device["stop"]:
                age = time.monotonic() - told["at"] / 1000
                self.obeyed.append((told["epoch"], told["sequence"], age))

        board.obey = counted
        return board

    def points(self) -> None:
        """The contacts of P follow it."""
        board = self.boards["K1"]
        lies = board.shows.get(("drive", "P"), "straight")
        for position in ("straight", "diverging"):
            topic, state = f"yard/{position}", "on" if position == lies else "off"
            if "K1" not in self.away and board.senses[topic] != state:
                board.sense(topic, state)

    def disturb(self) -> None:
        railway, lot = self.railway, self.lot
        match lot.choice("ask ask ask ask again again cut back back kept kill".split()):
            case "ask":
                railway.say("layout/start")
                railway.go_on(0.1)
                railway.say("layout/request", route=lot.choice(["W to C", "W to B", "S to WEST"]))
                railway.go_on(0.2)
                for route in ("W to C", "W to B", "S to WEST"):
                    railway.say("layout/cancel", route=route)
            case "again":
                sent = [x for x in railway.heard if isinstance(x[1], dict) and "number" in x[1]]
                for topic, told, _ in lot.sample(sent[-30:], min(len(sent), 5)):
                    railway.onlooker.publish(topic, json.dumps(told), 1, lot.random() < 0.1)
            case "cut":
                name = lot.choice(list(self.boards))
                if name not in self.away and self.boards[name].client.socket():
                    self.away[name] = railway.steps.pop(name)
                    self.boards[name].client.socket().close()
            case "back" if self.away:
                name, step = self.away.popitem()
                railway.steps[name] = step
            case "kept":
                kept(self.boards[lot.choice(list(self.boards))])
            case "kill" if lot.random() < 0.5 or "runner" not in railway.steps:
                self.new_runner()
        railway.go_on(lot.choice([0.01, 0.05, 0.2]))


def test_nothing_stale_is_ever_obeyed_whatever_happens(railway: Over) -> None:
    railway.hasten(late=1000)
    played = Played(railway, seed=11)
    began = time.monotonic()
    while time.monotonic() < began + 8 or not played.is_enough():
        played.disturb()
        assert time.monotonic() < began + 120
    assert all(age < 3 for _, _, age in played.obeyed), "late is 1 s, and a message takes its time"
    assert len({(epoch, number) for epoch, number, _ in played.obeyed}) == len(played.obeyed)
    railway.steps = {name: b.step for name, b in played.boards.items()}
    for board in played.boards.values():
        railway.until(lambda board=board: not board.running)
        assert {v for (device, _), v in board.shows.items() if device == "signal"} == {"stop"}
