"""The controller and the board of targets/README.md, as they stand there, over a real broker.

What takes longer, broker restarts and sessions kept, is in tests/campaigns/test_mqtt.py.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from mqtt_railway import (
    FILES,
    HALT,
    STANDING,
    Over,
    add_programs,
    files_without_proof,
    program,
    retained,
)
from peers import Broker, needs_broker

pytestmark = needs_broker


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("halt")
    files_without_proof(made)
    add_programs(made)
    return made


@pytest.fixture
def railway(broker: Broker, folder: Path) -> Iterator[Over]:
    made = Over(broker, folder)
    yield made
    made.close()


def test_a_train_runs_from_reports_to_signals(railway: Over) -> None:
    runner, board = railway.runner(), railway.whole_board()
    railway.start()
    railway.clear_for_c(board)
    assert board.done == [("P", "diverging"), ("W", "proceed")]
    railway.until(lambda: not runner.waiting)
    for topic, state in (("points", "occupied"), ("c", "occupied"), ("points", "clear")):
        board.sense(f"yard/{topic}", state)
    railway.until(lambda: board.done[-1] == ("W", "stop"))
    railway.until(lambda: railway.states("route", "W to C")[1:][-1:] == ["idle"])
    assert runner.state == "running"
    assert railway.states("signal", "W") == ["stop", "proceed", "stop"]
    assert railway.states("route", "W to C") == [
        "idle",
        "set",
        "train in section 1",
        "train in section 2",
        "idle",
    ]


def test_two_buttons_ask_for_a_route_and_one_cancels_it(railway: Over) -> None:
    runner, board = railway.runner(), railway.whole_board()
    railway.start()
    railway.say("panel/c")
    railway.say("panel/w")
    railway.say("panel/c")
    railway.until(lambda: ("P", "diverging") in board.done)
    railway.say("panel/cancel")
    railway.until(lambda: railway.states("route", "W to C")[1:][-1:] == ["idle"])
    assert not railway.sent("layout/refused")
    railway.say("layout/request", route="W to Z")
    railway.say("panel/cancel")
    railway.until(lambda: railway.sent("layout/refused"))
    assert runner.state == "running"


def test_nothing_starts_before_all_was_reported_in_this_epoch(railway: Over) -> None:
    """What a board that died has left behind is not believed."""
    left = {"state": "clear", "epoch": "0", "sequence": 1}
    railway.onlooker.publish("yard/c", json.dumps(left), qos=1, retain=True)
    railway.onlooker.publish("layout/board/K9", '{"state": "gone"}', qos=1, retain=True)
    railway.until(lambda: railway.sent("layout/board/K9"))
    runner = railway.runner()
    most = {topic: s for topic, s in STANDING.items() if topic != "yard/c"}
    board = railway.board("K1", "P", "S", "D", **{t.split("/")[1]: s for t, s in most.items()})
    railway.until(lambda: railway.controller().get("missing") == ["layout/signal/W", "yard/c"])
    railway.onlooker.publish("yard/c", json.dumps(left), qos=1)
    railway.say("layout/start")
    railway.say("layout/request", route="W to C")
    railway.go_on(0.3)
    assert (runner.state, runner.missing()) == ("stopped", ["layout/signal/W", "yard/c"])
    assert runner.because == "not started"
    late = railway.board("K2", "W", c="occupied")
    railway.start()
    assert runner.railway.state["report C"] == "reported occupied"
    assert board.done == late.done == []
    assert set(board.shows.values()) | set(late.shows.values()) == {"stop"}


def test_an_unexplained_report_puts_all_to_stop_and_begins_another_epoch(railway: Over) -> None:
    runner, board = railway.runner(), railway.whole_board()
    railway.start()
    first = runner.epoch
    railway.clear_for_c(board)
    board.sense("yard/c", "occupied")
    railway.until(lambda: board.shows["signal", "W"] == "stop" and board.epoch != first)
    assert runner.state == "stopped"
    railway.until(lambda: "occupied: C" in str(railway.controller()["because"]))
    railway.say("layout/request", route="W to C")
    railway.start()
    assert runner.epoch != first
    assert ("P", "diverging") not in board.done[board.done.index(("W", "proceed")) :]


def test_a_command_that_is_old_or_comes_twice_pulses_nothing(railway: Over) -> None:
    railway.runner()
    board = railway.whole_board()
    railway.start()
    railway.clear_for_c(board)
    was = list(board.done)
    railway.until(lambda: railway.sent("layout/drive/P"))  # the board may hear it first
    [throw] = railway.sent("layout/drive/P")
    late = railway.command("P", "straight", epoch=throw["epoch"], sequence=99, at=throw["at"])
    later = {**late, "at": throw["at"] + 10**6}
    for told, retain in (
        (throw, False),  # twice
        ({**throw, "sequence": 0, "state": "straight"}, False),  # overtaken
        ({**later, "epoch": "0"}, False),  # of another epoch
        (railway.command("P", "straight"), False),  # of none
        (later, True),
    ):
        railway.onlooker.publish("layout/drive/P", json.dumps(told), qos=1, retain=retain)
        if retain:
            railway.until(lambda: railway.heard[-1][1] == later)
            # This one is obeyed, since it comes at once; whoever comes later does not obey it.
            railway.until(lambda: board.done[-1] == ("P", "straight"))
        else:
            railway.go_on(0.05)
            assert board.done == was
    comes_later = railway.board("K2", "P")
    railway.until(lambda: comes_later.running and comes_later.lags)
    assert comes_later.done == []
    comes_later.heard(None, None, retained("layout/drive/P", later))  # as late as it likes
    assert comes_later.done == []


def test_a_command_that_was_kept_too_long_is_not_obeyed_but_stop_is(railway: Over) -> None:
    """By a broker that knows no expiry: its age counts."""
    runner, board = railway.runner(), railway.whole_board()
    railway.start()
    railway.clear_for_c(board)
    was = list(board.done)
    for name, state in (("P", "straight"), ("W", "stop")):
        kept = railway.command(name, state, epoch=runner.epoch, sequence=99, at=runner.at() - 5000)
        railway.onlooker.publish(f"layout/{'drive' if name == 'P' else 'signal'}/{name}",
                                 json.dumps(kept), qos=1)  # fmt: skip
    railway.until(lambda: len(board.done) > len(was))
    railway.go_on(0.1)
    assert board.done == [*was, ("W", "stop")]


def test_a_report_that_comes_twice_is_heard_once(railway: Over) -> None:
    runner, board = railway.runner(), railway.whole_board()
    railway.start()
    for state in ("occupied", "clear"):
        board.sense("yard/b", state)
    railway.until(lambda: len(railway.sent("yard/b")) == 3)
    for told in railway.sent("yard/b")[1:]:
        railway.onlooker.publish("yard/b", json.dumps(told), qos=1)
    railway.go_on(0.1)
    assert runner.railway.state["report B"] == "reported clear"
    railway.onlooker.publish("yard/b", json.dumps(railway.sent("yard/b")[1]), qos=1)
    railway.go_on(0.1)
    assert runner.railway.state["report B"] == "reported clear"
    assert runner.state == "running"


@pytest.mark.parametrize(
    ("payload", "because"),
    [("?", "not understood: yard/b"), ('{"epoch": "E", "state": "?", "sequence": 9}', "yard/b")],
)
def test_a_report_that_says_nothing_known_raises_the_alarm(
    railway: Over, payload: str, because: str
) -> None:
    runner, board = railway.runner(), railway.whole_board()
    railway.start()
    railway.clear_for_c(board)
    railway.onlooker.publish("yard/b", payload.replace('"E"', json.dumps(runner.epoch)), qos=1)
    railway.until(lambda: because in str(railway.controller()["because"]))
    railway.until(lambda: board.shows["signal", "W"] == "stop")


def test_when_a_board_is_gone_all_signals_go_to_stop(railway: Over) -> None:
    runner, board = railway.runner(), railway.whole_board()
    other = railway.board("K2")
    railway.start()
    railway.clear_for_c(board)
    del railway.steps["K2"]
    other.client.socket().close()  # as if its current were cut
    railway.until(lambda: board.shows["signal", "W"] == "stop")
    assert runner.because == "gone: K2"
    assert runner.state == "stopped"


def test_a_board_that_hangs_raises_the_alarm(railway: Over) -> None:
    railway.hasten(answer=100)
    runner, board = railway.runner(), railway.whole_board()
    railway.start()
    board.client.publish = lambda *_, **__: None
    railway.say("layout/request", route="W to C")
    railway.until(lambda: runner.because == "no answer: layout/drive/P")
    assert ("W", "proceed") not in board.done


def test_signals_go_to_stop_when_the_controller_is_killed(railway: Over) -> None:
    process, board = railway.process("runner"), railway.whole_board()
    railway.start()
    railway.clear_for_c(board)
    process.kill()
    railway.until(lambda: board.shows["signal", "W"] == "stop")
    railway.until(lambda: railway.controller() == {"state": "gone", "epoch": None})
    late = railway.whole_board()
    railway.go_on(0.1)
    assert late.epoch is None
    assert set(late.shows.values()) == {"stop"}
    process.wait()


def test_a_board_as_a_program_puts_its_signals_to_stop(railway: Over) -> None:
    process = railway.process("board", "K1")
    runner = railway.runner()
    railway.until(lambda: runner.epoch and not runner.missing())
    process.kill()
    railway.until(lambda: runner.because == "gone: K1")
    assert process.communicate()[0].splitlines() == [
        "signal W stop",
        "signal S stop",
        "signal D stop",
    ]


def test_files_of_two_layouts_are_not_run_together(railway: Over) -> None:
    railway.told["sha256"] = "0" * 64
    with pytest.raises(ValueError, match="not of the same layout"):
        railway.runner()


# ------------------------------------------------------------------- the text


def test_the_programs_are_short_and_fit_the_page() -> None:
    for name, most in (("reader", 100), ("pace", 70), ("runner", 230), ("board", 130)):
        lines = program(name).splitlines()
        assert len(lines) <= most
        assert max(map(len, lines)) <= 100
    assert set(FILES) == {"reader", "pace", "runner", "board"}


def test_the_programs_need_paho_alone() -> None:
    found = {
        m for name in FILES for m in re.findall(r"^(?:import|from) (\w+)", program(name), re.M)
    }
    own = {"reader", "pace"}
    assert found - own == {"json", "time", "secrets", "sys", "pathlib", "collections", "paho"}


def test_the_halt_reports_all_that_there_is() -> None:
    assert all(f'"{topic}"' in HALT for topic in STANDING)
