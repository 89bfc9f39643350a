"""The command `send`: dry run, confirmation, log, what breaks off, against real peers."""

from __future__ import annotations

import io
import json
import os
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from in_campaigns import in_campaigns
from peers import JITTER, PATIENCE, Broker, SerialLine, Server, free_port, needs_broker

from bellcrank.commands.cli import main
from bellcrank.commands.dialogue import Log
from bellcrank.sending.log_file import LogFile
from bellcrank.sending.log_rows import Answered, Begun, Commanded, Ended, Row, read
from bellcrank.sending.outcome import Sending, Step
from bellcrank.sending.sent_before import thrown_before

LAYOUT = """\
layout "Two Roads"
points P, Q
run edge WEST - A - >H - P.toe
run P.straight - B - Q.toe
run P.diverging - C0 - edge C
run Q.straight - D - edge EAST
run Q.diverging - E0 - edge E

decoder kind quad { outputs 4  switches 9 }
decoder K1 quad at 1
drive P = K1.1  coil 300 ms
drive Q = K1.2  coil 200 ms
signal H = K1.3
supply BENCH { feeds K1  one at a time  rest 400 ms }
"""
"""P is thrown first: 300 ms and 400 ms of rest later Q, and 200 ms after it the signal."""

BY_HAND = LAYOUT.replace("drive Q = K1.2  coil 200 ms", "drive Q by hand")

UNPROVED = LAYOUT + "locking written {\n  H to EAST needs P straight\n}\n"

LINES = ["H stop 3", "P straight 1", "Q straight 2", "H proceed 3"]

Send = Callable[..., tuple[int, str, str]]


@pytest.fixture
def send(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    in_this_process: None,
) -> Send:
    """Run the command on a layout; gives status, output and messages."""
    monkeypatch.chdir(tmp_path)
    bench = tmp_path / "bench"
    bench.mkdir()
    (bench / "target.toml").write_text(
        'name = "bench"\npurpose = "a test"\ncontext = 1\nline = "line"\ntopic = "topic"\n'
        'without = ["controller", "vectors"]\n'
        '[[files]]\npath = "all.txt"\ntemplate = "all"\n'
    )
    (bench / "line").write_text("{{ command.name }} {{ command.state }} {{ command.number }}\n")
    (bench / "topic").write_text("{{ layout.title | lower | replace(' ', '') }}/{{ command.name }}")
    (bench / "all").write_text("{{ status }}")

    def command(*arguments: str, layout: str = LAYOUT, answers: str = "") -> tuple[int, str, str]:
        (tmp_path / "roads.crank").write_text(layout, "utf-8")
        monkeypatch.setattr(sys, "stdin", io.StringIO(answers))
        more = () if "--target" in arguments else ("--target", "bench")
        status = main(["send", "roads.crank", *arguments, *more])
        said = capsys.readouterr()
        return status, said.out, said.err

    return command


def test_without_more_it_is_a_dry_run_and_nobody_is_called(send: Send) -> None:
    nobody = f"tcp://127.0.0.1:{free_port()}"
    status, out, err = send("H to EAST", "--to", nobody)
    assert (status, err) == (0, "")
    rows = [" ".join(row.split()) for row in out.splitlines() if re.match(r" *\d+ ms ", row)]
    assert rows == [
        "0 ms signal H stop H stop 3",
        "0 ms drive P straight P straight 1",
        "700 ms drive Q straight Q straight 2",
        "900 ms signal H proceed H proceed 3",
        "900 ms done",
    ]
    assert "status: proved" in out
    assert "Nothing was sent" in out
    assert "must end the pulse of each coil" in out
    assert "Not certified for trains that carry people" in out


def test_a_drive_that_lies_right_is_left_alone(send: Send) -> None:
    _, out, _ = send("H to EAST", "--drives-now", "P straight")
    assert "P straight 1" not in out
    assert "Q straight 2" in out


def test_a_route_is_cancelled_by_its_signal(send: Send) -> None:
    status, out, _ = send("H to EAST", "--cancel")
    assert status == 0
    assert "H stop 3" in out and "P straight" not in out
    assert "is released" in out


def test_the_layout_is_started_up(send: Send) -> None:
    status, out, _ = send("--start-up")
    assert status == 0
    assert "start up" in out
    assert "H stop 3" in out and "P straight 1" in out and "Q straight 2" in out


# ---------------------------------------------------------------- confirmation


@pytest.mark.parametrize("typed", ["", "yes\n", "H to C\n", "h to east\n"])
def test_unless_its_name_is_typed_nothing_is_sent(
    send: Send,
    server: Server,
    typed: str,
) -> None:
    status, _, err = send("H to EAST", "--to", server.where, "--live", answers=typed)
    assert status == 1
    assert "nothing was sent" in err
    assert server.connections == []


def test_once_its_name_is_typed_all_is_sent_in_time(
    send: Send,
    server: Server,
) -> None:
    status, out, err = send("H to EAST", "--to", server.where, "--live", answers="H to EAST\n")
    assert (status, err) == (0, "")
    server.heard.wait_for(4)
    assert server.heard.texts == [f"{line}\n" for line in LINES]
    _, first, second, off = server.heard.times
    assert second - first >= 700 - JITTER, "the supply has had no rest"
    assert off - second >= 200 - JITTER / 2, "the signal came off before the points had moved"
    assert off <= 2500
    assert "done: 4 commands sent." in out


# ------------------------------------------------------------------ other peers


# ------------------------------------------------------- what may still be set


def test_before_a_route_in_conflict_with_an_earlier_one_it_asks(
    send: Send, server: Server, clock: PatientClock
) -> None:
    run = ("--to", server.where, "--yes", "--log", "log")
    assert send("H to EAST", *run)[0] == 0
    status, out, err = send("H to C", *run, answers="no\n")
    assert status == 1
    assert "log shows that H to EAST was set at" in " ".join(out.split())
    assert "nothing was sent: H to EAST may still be set" in err
    assert len(server.connections) == 1
    assert send("H to C", *run, answers="yes\n")[0] == 0
    # What somebody said is over is not asked about again; the last one is.
    _, out, _ = send("H to E", *run, answers="no\n")
    assert "H to C was set" in " ".join(out.split())
    assert "H to EAST was set" not in " ".join(out.split())


def test_without_an_answer_it_does_not_go_on(
    send: Send, server: Server, clock: PatientClock
) -> None:
    run = ("--to", server.where, "--yes", "--log", "log")
    assert send("H to EAST", *run)[0] == 0
    assert send("H to C", *run)[0] == 1


@pytest.mark.parametrize("ends", [("H to EAST", "--cancel"), ("--all-to-stop",), ("--start-up",)])
def test_what_was_cancelled_is_not_asked_about(
    send: Send, server: Server, clock: PatientClock, ends: tuple[str, ...]
) -> None:
    run = ("--to", server.where, "--yes", "--log", "log")
    assert send("H to EAST", *run)[0] == 0
    assert send(*ends, *run)[0] == 0
    assert send("H to C", *run)[0] == 0


def test_it_says_that_nobody_knows_what_is_set_and_where_trains_stand(send: Send) -> None:
    said = "What is set and where trains stand is not known here"
    assert said in " ".join(send("H to EAST")[1].split())
    assert said not in " ".join(send("H to EAST", "--cancel")[1].split())


# ------------------------------------------------- for no route: all to stop, one alone


def test_all_signals_go_to_stop_and_nothing_is_thrown(send: Send, server: Server) -> None:
    status, _, _ = send("--all-to-stop", "--to", server.where, "--yes")
    server.heard.wait_for(1)
    assert status == 0
    assert server.heard.texts == ["H stop 3\n"]


def test_signals_are_put_to_stop_whether_the_layout_is_proved_or_not(
    send: Send, server: Server
) -> None:
    assert send("--all-to-stop", "--to", server.where, "--yes", layout=UNPROVED)[0] == 0
    server.heard.wait_for(1)
    assert server.heard.texts == ["H stop 3\n"]


def test_one_drive_is_thrown_alone(send: Send, server: Server) -> None:
    run = ("--drive", "P", "diverging", "--to", server.where, "--live")
    status, out, _ = send(*run, answers="throw P diverging\n")
    server.heard.wait_for(1)
    assert status == 0
    assert server.heard.texts == ["P diverging 1\n"]
    assert "One drive, signal or output alone sets no route" in out


def test_one_signal_shows_an_aspect_alone_after_stop(send: Send, server: Server) -> None:
    assert send("--signal", "H", "proceed", "--to", server.where, "--yes")[0] == 0
    server.heard.wait_for(2)
    assert server.heard.texts == ["H stop 3\n", "H proceed 3\n"]


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("--drive", "R", "straight"), "--drive: there is no drive `R`"),
        (("--drive", "P", "strait"), "--drive: P has no position `strait`"),
        (("--signal", "J", "stop"), "--signal: there is no signal `J`"),
        (("--signal", "H", "proced"), "did you mean `proceed`?"),
        (("--signal", "H", "stop", "--all-to-stop"), "--signal is not allowed with --all-to-stop"),
        (("H to E", "--drive", "P", "straight"), "--drive is for no route"),
    ],
)
def test_one_that_is_not_there_is_told(send: Send, arguments: tuple[str, ...], why: str) -> None:
    status, _, err = send(*arguments)
    assert status == 2
    assert why in " ".join(err.split())


PACKETS = ("--target", "packets")

NUMBERED = LAYOUT + "numbering from decoder 1\n"

ON, OFF = ["81 F9 78", "81 FB 7A"], ["81 F1 70", "81 F3 72"]
"""The packets that switch on the coils of P and Q towards straight, and off again."""


def test_packets_that_switch_coils_on_are_followed_by_those_that_switch_them_off(
    send: Send, server: Server
) -> None:
    status, out, _ = send(
        "H to EAST", "--to", server.where, "--yes", "--log", "log", *PACKETS, layout=NUMBERED
    )
    server.heard.wait_for(8)
    (lines,) = server.connections
    stop, proceed = ["81 F5 74", "81 FC 7D"], ["81 F4 75", "81 FD 7C"]
    assert [line.strip() for line in lines] == [
        *stop, ON[0], OFF[0], ON[1], OFF[1], *proceed,
    ]  # fmt: skip
    assert status == 0
    assert "sent, to switch its coil off: drive P straight    81 F1 70" in out
    assert "The pulse of each coil is ended from here" in out
    assert [f for f in fates("log") if "off" in f] == [
        "switched off: P straight",
        "switched off: Q straight",
    ]


def test_where_decoders_end_pulses_nothing_is_sent_to_end_them(send: Send) -> None:
    timed = NUMBERED.replace("switches 9", "switches 9  pulses timed")
    status, out, _ = send("H to EAST", *PACKETS, layout=timed)
    assert status == 0
    assert "coil of" not in out and "pulse of each coil" not in out


def test_a_line_cut_while_a_coil_is_on_is_opened_again_to_switch_it_off(send: Send) -> None:
    peer = Server(cut_after=3)
    status, out, _ = send("H to EAST", "--to", peer.where, "--yes", *PACKETS, layout=NUMBERED)
    peer.heard.wait_for(6)
    peer.close()
    first, second = [[line.strip() for line in lines] for lines in peer.connections]
    assert first[-1] == ON[0]
    assert OFF[0] in second and "81 FC 7D" in second
    assert status == 4
    assert "may still be ON" not in out


def test_a_coil_that_cannot_be_switched_off_is_named(send: Send) -> None:
    peer = Server(cut_after=3)
    peer.deaf_after_cut = True
    status, out, _ = send(
        "H to EAST", "--to", peer.where, "--yes", "--log", "log", *PACKETS, layout=NUMBERED
    )
    peer.close()
    assert status == 4
    assert "A coil of P may still be ON: it overheats. Switch its supply off by hand, now." in (
        " ".join(out.split())
    )
    assert fates("log")[-1] == "not switched off: P straight"


@needs_broker
def test_a_broker_gets_each_command_under_its_topic(
    send: Send,
    broker: Broker,
) -> None:
    status, _, err = send("H to EAST", "--to", broker.where, "--yes")
    assert (status, err) == (0, "")
    broker.heard.wait_for(4)
    assert broker.heard.texts == [f"tworoads/{line[0]} {line}" for line in LINES]
    assert broker.heard.times[2] - broker.heard.times[1] >= 700 - JITTER


def test_a_serial_line_gets_each_command(
    send: Send,
    serial_line: SerialLine,
) -> None:
    status, _, err = send("H to EAST", "--to", serial_line.where, "--yes")
    assert (status, err) == (0, "")
    serial_line.heard.wait_for(4)
    assert [text.strip() for text in serial_line.heard.texts] == LINES
    assert serial_line.heard.times[2] - serial_line.heard.times[1] >= 700 - JITTER


def test_a_broker_wants_a_target_with_topics(send: Send, tmp_path: Path) -> None:
    toml = tmp_path / "bench" / "target.toml"
    toml.write_text(toml.read_text().replace('topic = "topic"\n', ""))
    status, _, err = send("H to EAST", "--to", "mqtt://127.0.0.1")
    assert status == 2
    assert "topic" in err


# -------------------------------------------------------------------------- log


def logged(file: str = "day.txt") -> list[Row]:
    """The rows of a log, each line of which is one."""
    return [read(line).row for line in Path(file).read_text("utf-8").splitlines()]


def fates(file: str = "day.txt") -> list[str]:
    rows = [row for row in logged(file) if isinstance(row, Commanded)]
    return [f"{row.fate}: {row.name} {row.state}" for row in rows]


def ended(file: str = "day.txt") -> Ended:
    last = logged(file)[-1]
    assert isinstance(last, Ended)
    return last


def test_every_line_is_logged_with_its_time_and_the_offset_of_its_zone(
    send: Send,
    server: Server,
    tmp_path: Path,
) -> None:
    begun = datetime.now().astimezone()
    send("H to EAST", "--to", server.where, "--yes", "--log", "day.txt")
    lines = (tmp_path / "day.txt").read_text("utf-8").splitlines()
    times = [datetime.fromisoformat(json.loads(line)["time"]) for line in lines]
    assert times == sorted(times)
    assert begun <= times[0] + timedelta(milliseconds=1)
    assert all(re.match(r'{"time": "[-\d]{10}T[:\d]{8}\.\d{3}[+-]\d\d:\d\d", ', x) for x in lines)
    head, *rows, end = logged()
    assert isinstance(head, Begun)
    assert (head.what, head.to, head.target) == ("set H to EAST", server.where, "bench")
    assert (head.status, head.source) == ("proved", ("roads.crank",))
    assert re.fullmatch(r"[0-9a-f]{64}", head.sha256)
    assert "Not certified" in head.notice
    assert rows == [
        Commanded("sent", device, name, state, None, text)
        for device, name, state, text in [
            ("signal", "H", "stop", "H stop 3\n"),
            ("drive", "P", "straight", "P straight 1\n"),
            ("drive", "Q", "straight", "Q straight 2\n"),
            ("signal", "H", "proceed", "H proceed 3\n"),
        ]
    ]
    assert end == Ended("done", "done: 4 commands sent. Nothing acknowledges a line here, so "
                        "whether they arrived is not known.")  # fmt: skip


def test_a_second_log_is_added_to_the_first(
    send: Send,
    server: Server,
    tmp_path: Path,
) -> None:
    for _ in range(2):
        send("H to EAST", "--cancel", "--to", server.where, "--yes", "--log", "day.txt")
    assert fates() == ["sent: H stop"] * 2


def test_lines_are_in_the_log_as_soon_as_they_are_sent(
    send: Send,
    server: Server,
    tmp_path: Path,
) -> None:
    log = tmp_path / "day.txt"
    seen: list[str] = []

    def look() -> None:
        server.heard.wait_for(2)
        end = time.monotonic() + PATIENCE
        while not seen and time.monotonic() < end:
            if "P straight 1" in (told := log.read_text("utf-8")):
                seen.append(told)

    looking = threading.Thread(target=look)
    looking.start()
    send("H to EAST", "--to", server.where, "--yes", "--log", "day.txt")
    looking.join()
    assert seen and "Q straight 2" not in seen[0]


def test_a_log_that_cannot_be_written_stops_it_before_anything_is_sent(
    send: Send,
    server: Server,
) -> None:
    status, _, err = send("H to EAST", "--to", server.where, "--yes", "--log", "no/day.txt")
    assert status == 2
    assert "nothing was sent: no/day.txt cannot be written" in err
    assert server.connections == []


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes with names here")
@pytest.mark.parametrize("name", ["pipe", "/dev/zero", "/dev/full", "roads.crank"])
def test_what_is_not_a_log_is_not_added_to_and_nothing_is_sent(
    send: Send, server: Server, tmp_path: Path, name: str
) -> None:
    os.mkfifo(tmp_path / "pipe")
    status, _, err = send("H to EAST", "--to", server.where, "--yes", "--log", name)
    assert status == 2
    assert f"nothing was sent: {name} is not a" in err
    assert server.connections == []
    assert Path("roads.crank").read_text("utf-8") == LAYOUT


@pytest.mark.usefixtures("clock")
@pytest.mark.parametrize(
    "line",
    [
        '{"time": "2030-06-01T12:00:00.000+00:00", "row": "sent", "devi',
        "0001-01-01 00:00:00.000  may have arrived or not: " + "9" * 5000,
        "no row at all",
    ],
)
def test_a_damaged_line_of_a_log_is_told_and_no_accident(
    send: Send, server: Server, line: str
) -> None:
    arguments = ("H to EAST", "--to", server.where, "--yes", "--log", "day.txt")
    Path("day.txt").write_text(f"2001-01-01 00:00:00.000  sent: drive P straight    P\n{line}\n")
    status, _, err = send(*arguments)
    assert status == 0
    # An older row that tells of no throw needs no more than to be passed over.
    assert ("day.txt: line 2 cannot be read" in err) == (not line.startswith("0001"))
    assert Path("day.txt").read_text("utf-8").splitlines()[1] == line


def test_a_log_on_a_full_disk_puts_signals_to_stop_and_the_terminal_tells(
    send: Send, server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, rows = LogFile.write, []

    def write(self: LogFile, row: Row) -> None:
        rows.append(row)
        if len(rows) == 3:
            raise OSError(28, "No space left on device")
        real(self, row)

    monkeypatch.setattr(LogFile, "write", write)
    status, out, _ = send("H to EAST", "--to", server.where, "--yes", "--log", "day.txt")
    assert status == 4
    assert "what is sent cannot be logged: No space left on device" in out
    assert "put to stop: H." in out
    server.heard.wait_for(3)
    assert server.heard.texts == ["H stop 3\n", "P straight 1\n", "H stop 3\n"]


@pytest.mark.usefixtures("server")
def test_where_nobody_answers_the_log_has_its_last_row_all_the_same(send: Send) -> None:
    nobody = f"tcp://127.0.0.1:{free_port()}"
    status, _, _ = send("H to EAST", "--to", nobody, "--yes", "--log", "day.txt")
    assert status == 2
    assert ended().how == "not sent" and "cannot be reached" in ended().why


# ------------------------------------------------------------ soon after another run


class PatientClock:
    """A clock that stands still but for what is waited."""

    def __init__(self) -> None:
        self.waited: list[float] = []

    def now(self) -> float:
        return sum(self.waited)

    def wait(self, milliseconds: float) -> None:
        self.waited.append(milliseconds)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> PatientClock:
    made = PatientClock()
    monkeypatch.setattr("bellcrank.commands.send.SystemClock", lambda: made)
    return made


def test_a_second_run_waits_for_the_rest_that_its_log_says_is_due(
    send: Send, server: Server, clock: PatientClock
) -> None:
    arguments = ("H to EAST", "--to", server.where, "--yes", "--log", "day.txt")
    # What is still to come counts as just now: 200 ms of its pulse and 400 ms of rest.
    Path("day.txt").write_text("2999-01-01 00:00:00.000  sent: drive Q straight    Q\n")
    status, out, _ = send(*arguments)
    assert status == 0
    assert clock.waited[0] == 600
    assert sum(clock.waited[1:]) == pytest.approx(900)
    assert "waiting 600 ms first: else BENCH throws 1 at a time and rests 400 ms after each" in out
    rests = [json.loads(line) for line in Path("day.txt").read_text("utf-8").splitlines()[1:]]
    (rest,) = [row for row in rests if row["row"] == "rested"]
    assert rest["milliseconds"] == 600
    assert rest["because"].startswith("BENCH throws 1 at a time and rests 400 ms after each")


@pytest.mark.usefixtures("clock")
def test_the_throws_of_one_run_are_in_the_log_that_the_next_one_reads(
    send: Send, server: Server
) -> None:
    send("H to EAST", "--to", server.where, "--yes", "--log", "day.txt")
    now = datetime.now().astimezone()
    found = thrown_before(LogFile(Path("day.txt")).read(now).entries, now)
    assert [(t.drive, t.position) for t in found] == [("P", "straight"), ("Q", "straight")]
    assert all(0 <= t.ago < 60_000 for t in found)


def test_long_after_another_run_nothing_is_waited_for(
    send: Send, server: Server, clock: PatientClock
) -> None:
    Path("day.txt").write_text("2001-01-01 00:00:00.000  sent: drive P straight    P\n")
    _, out, _ = send("H to EAST", "--to", server.where, "--yes", "--log", "day.txt")
    assert sum(clock.waited) == pytest.approx(900)
    assert "ms first" not in out


@pytest.mark.usefixtures("clock")
def test_without_a_log_the_rest_between_two_runs_is_the_operators(
    send: Send, server: Server
) -> None:
    arguments = ("H to EAST", "--to", server.where, "--yes")
    assert "is for you to see to" in " ".join(send(*arguments)[1].split())
    assert "is for you to see to" not in " ".join(send(*arguments, "--log", "log")[1].split())


def test_stopped_while_it_waits_nothing_is_sent(
    send: Send, server: Server, clock: PatientClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    Path("day.txt").write_text("2999-01-01 00:00:00.000  sent: drive Q straight    Q\n")

    def stop(_: float) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(clock, "wait", stop)
    status, _, err = send("H to EAST", "--to", server.where, "--yes", "--log", "day.txt")
    assert status == 130
    assert "nothing was sent: it was stopped by hand" in err
    assert server.connections == []


# ------------------------------------------------------------------------- as JSON


def test_a_dry_run_as_json_is_the_plan(send: Send) -> None:
    status, out, err = send("H to EAST", "--json", "--to", "mqtt://127.0.0.1")
    assert status == 0
    told = json.loads(out)
    assert (told["status"], told["error"], told["live"], told["outcome"]) == (
        "proved", None, False, None,
    )  # fmt: skip
    assert (told["what"], told["route"], told["total"]) == ("set", "H to EAST", 900)
    assert (told["target"], told["to"]) == ("bench", "mqtt://127.0.0.1:1883")
    assert [(c["at"], c["text"], c["topic"]) for c in told["commands"]] == [
        (0, "H stop 3\n", "tworoads/H"),
        (0, "P straight 1\n", "tworoads/P"),
        (700, "Q straight 2\n", "tworoads/Q"),
        (900, "H proceed 3\n", "tworoads/H"),
    ]
    assert "this was a dry run" in err
    assert "Not certified" in told["notice"]


@pytest.mark.usefixtures("clock")
def test_what_was_sent_is_told_as_json_with_its_times(send: Send, server: Server) -> None:
    begun = datetime.now().astimezone()
    status, out, _ = send("H to EAST", "--to", server.where, "--live", "--json",
                          answers="H to EAST\n")  # fmt: skip
    assert status == 0
    told = json.loads(out)
    assert told["live"] is True and told["rested"] == 0
    outcome = told["outcome"]
    assert (outcome["ending"], outcome["reason"]) == ("done", None)
    assert outcome["acknowledged"] is False
    assert [f"{s['name']} {s['state']}" for s in outcome["sent"]] == [
        "H stop", "P straight", "Q straight", "H proceed",
    ]  # fmt: skip
    times = [datetime.fromisoformat(s["time"]) for s in outcome["sent"]]
    assert times == sorted(times)
    assert begun.replace(microsecond=0) <= times[0] <= datetime.now().astimezone()
    assert outcome["not_sent"] == [] and outcome["doubtful"] is None


@pytest.mark.usefixtures("clock")
def test_what_was_not_sent_and_put_to_stop_is_told_as_json(send: Send) -> None:
    peer = Server(cut_after=2)
    # Time that stands still gives the line none to be seen cut: it is cut before the wait.
    status, out, _ = send("H to EAST", "--to", peer.where, "--yes", "--json",
                          layout=BY_HAND, answers="no\n")  # fmt: skip
    peer.close()
    assert status == 4
    outcome = json.loads(out)["outcome"]
    assert outcome["ending"] in ("not confirmed", "lost")
    assert outcome["put_to_stop"] == [{"device": "signal", "name": "H", "state": "stop"}]
    assert [(s["name"], s["state"]) for s in outcome["not_sent"]][-1] == ("H", "proceed")


@pytest.mark.parametrize(
    ("arguments", "layout", "status", "word", "why"),
    [
        (("H to EAST", "--yes"), LAYOUT, 2, "error", "--to must say where to send"),
        (("H to NOWHERE",), LAYOUT, 2, "error", None),
        (("H to EAST",), LAYOUT.replace("P.straight", "R.straight"), 2, "error", None),
        (("H to EAST",), UNPROVED, 1, "refuted", None),
    ],
)
def test_why_nothing_is_sent_is_told_as_json(
    send: Send, arguments: tuple[str, ...], layout: str, status: int, word: str, why: str | None
) -> None:
    found, out, _ = send(*arguments, "--json", layout=layout)
    told = json.loads(out)
    assert (found, told["status"]) == (status, word)
    if why is not None:
        assert told["error"].startswith(why)
    elif status == 2:
        assert told["diagnostics"][0]["code"].startswith("E")


# ------------------------------------------------------------------ not proved


def test_a_layout_that_is_not_proved_is_refused(
    send: Send,
    server: Server,
) -> None:
    arguments = ("H to EAST", "--to", server.where, "--yes")
    status, out, err = send(*arguments, layout=UNPROVED)
    assert status == 1
    assert "refuted, so nothing is sent" in err
    assert server.connections == []
    status, out, _ = send(*arguments, "--although-unproved", "--log", "l", layout=UNPROVED)
    assert status == 0
    assert "status: UNPROVED" in out
    head = logged("l")[0]
    assert isinstance(head, Begun) and head.status == "UNPROVED"


def test_a_layout_with_errors_is_refused(send: Send) -> None:
    status, _, err = send("H to EAST", layout=LAYOUT.replace("P.straight", "R.straight"))
    assert status == 2
    assert "E2" in err


# --------------------------------------------------------------------- by hand


def test_what_is_thrown_by_hand_is_confirmed_before_the_signal_comes_off(
    send: Send,
    server: Server,
) -> None:
    arguments = ("H to EAST", "--to", server.where, "--yes", "--log", "log")
    status, out, _ = send(*arguments, layout=BY_HAND, answers="what?\nyes\n")
    assert status == 0
    assert "throw Q to straight" in out
    question = "somebody confirms that Q lies straight"
    assert Answered(True, "Q", "straight", question) in logged("log")
    assert f"Confirmed: {question}." in " ".join(out.split())
    server.heard.wait_for(3)
    assert server.heard.texts[-1] == "H proceed 3\n"


@pytest.mark.parametrize("answers", ["no\n", ""])
def test_what_nobody_confirms_keeps_the_signal_at_stop(
    send: Send,
    server: Server,
    answers: str,
) -> None:
    arguments = ("H to EAST", "--to", server.where, "--yes")
    status, out, _ = send(*arguments, layout=BY_HAND, answers=answers)
    assert status == 4
    server.heard.wait_for(3)
    assert server.heard.texts == ["H stop 3\n", "P straight 1\n", "H stop 3\n"]
    assert "put to stop: H." in out
    assert re.search(r"not sent: 1\n *signal H proceed", out)


# ------------------------------------------------------------- when it goes wrong


def test_a_line_cut_in_the_middle_is_told_exactly(send: Send) -> None:
    peer = Server(cut_after=2)
    status, out, _ = send("H to EAST", "--to", peer.where, "--yes", "--log", "log")
    peer.heard.wait_for(3)
    peer.close()
    assert status == 4
    assert peer.connections == [["H stop 3\n", "P straight 1\n"], ["H stop 3\n"]]
    assert "BROKEN OFF: tcp://" in out
    assert out.index("put to stop: H.") < out.index("not sent: 2")
    assert "NOT put to stop" not in out
    after = out[out.index("BROKEN OFF") :]
    assert re.search(r"sent: 2\n.*signal H stop.*\n.*drive P straight", after)
    assert re.search(r"not sent: 2\n.*drive Q straight.*\n.*signal H proceed", after)
    assert "may not have arrived" in after
    assert fates("log") == [
        "sent: H stop",
        "sent: P straight",
        "sent: H stop",
        "not sent: Q straight",
        "not sent: H proceed",
        "put to stop: H stop",
    ]
    assert ended("log").how == "lost"
    assert "put to stop: H." in ended("log").why and "may not have arrived" in ended("log").why


@pytest.mark.usefixtures("little_patience")
def test_a_line_that_stays_cut_leaves_the_signals_to_people(send: Send) -> None:
    peer = Server(cut_after=2)
    peer.deaf_after_cut = True
    status, out, _ = send("H to EAST", "--to", peer.where, "--yes")
    assert status == 4
    assert "NOT put to stop: H. Put them to stop by hand, now." in out


@needs_broker
@pytest.mark.usefixtures("little_patience")
def test_a_broker_killed_in_the_middle_is_told_exactly(
    send: Send,
    broker: Broker,
) -> None:
    def kill() -> None:
        broker.heard.wait_for(2)
        broker.kill()

    killing = threading.Thread(target=kill)
    killing.start()
    status, out, _ = send("H to EAST", "--to", broker.where, "--yes")
    killing.join()
    assert status == 4
    assert re.search(r"sent: 2\n.*signal H stop.*\n.*drive P straight", out)
    assert re.search(r"not sent: 2\n.*drive Q straight.*\n.*signal H proceed", out)
    assert "NOT put to stop: H." in out


@pytest.mark.parametrize("kind", ["mqtt", "tcp"])
def test_where_nobody_answers_nothing_is_sent(send: Send, kind: str) -> None:
    status, _, err = send("H to EAST", "--to", f"{kind}://127.0.0.1:{free_port()}", "--yes")
    assert status == 2
    assert "nothing was sent" in err and "cannot be reached" in err


@pytest.mark.parametrize(
    "number", in_campaigns([signal.SIGINT, signal.SIGTERM], lambda n: n != signal.SIGTERM)
)
def test_stopped_from_outside_signals_go_to_stop_first(
    send: Send,
    server: Server,
    tmp_path: Path,
    number: int,
) -> None:
    slow = LAYOUT.replace("rest 400 ms", "rest 20 s")
    (tmp_path / "roads.crank").write_text(slow, "utf-8")
    command = [sys.executable, "-m", "bellcrank", "send", "roads.crank", "H to EAST"]
    process = subprocess.Popen(
        [*command, "--target", "bench", "--to", server.where, "--yes"],
        stdout=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    server.heard.wait_for(2)
    process.send_signal(number)
    out, _ = process.communicate(timeout=20)
    assert process.returncode == 130
    assert server.heard.texts == ["H stop 3\n", "P straight 1\n", "H stop 3\n"]
    assert "put to stop: H." in out
    assert "not sent: 2" in out


_LATE = """\
import os, signal, sys
from bellcrank.commands import send, start
real, number = send.send, int(sys.argv.pop(1))
def late(options):
    status = real(options)
    os.kill(os.getpid(), number)
    return status
send.send = late
sys.exit(start.main())
"""


@pytest.mark.parametrize(
    "number",
    in_campaigns([signal.SIGINT, signal.SIGTERM, signal.SIGHUP], lambda n: n != signal.SIGTERM),
)
def test_asked_to_stop_once_all_is_sent_it_ends_as_it_told(
    send: Send, server: Server, tmp_path: Path, number: int
) -> None:
    (tmp_path / "late.py").write_text(_LATE, "utf-8")
    (tmp_path / "roads.crank").write_text(LAYOUT, "utf-8")
    ended = subprocess.run(
        [sys.executable, "late.py", str(int(number)), "send", "roads.crank", "H to EAST",
         "--target", "bench", "--to", server.where, "--yes"],
        capture_output=True,
        text=True,
        cwd=tmp_path,
    )  # fmt: skip
    assert (ended.returncode, "stopped" in ended.stderr) == (0, False), ended.stderr
    assert "done: 4 commands sent" in ended.stdout


def test_when_whoever_reads_the_output_goes_away_signals_go_to_stop_and_the_log_tells(
    server: Server, tmp_path: Path
) -> None:
    (tmp_path / "roads.crank").write_text(LAYOUT.replace("rest 400 ms", "rest 3 s"), "utf-8")
    command = [sys.executable, "-m", "bellcrank", "send", "roads.crank", "H to EAST"]
    process = subprocess.Popen(
        [*command, "--to", server.where, "--yes", "--log", "log"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        cwd=tmp_path,
    )
    server.heard.wait_for(2)
    assert process.stdout is not None and process.stderr is not None
    process.stdout.close()
    err = process.stderr.read().decode()
    assert process.wait(40) == 4
    assert "Traceback" not in err
    assert "what is sent cannot be shown: nobody reads it any more" in err
    assert "put to stop: H." in err
    last = ended(str(tmp_path / "log"))
    assert last.how == "untold" and "put to stop: H." in last.why
    assert server.heard.texts[-1].startswith("signal,H,stop")


def test_stopped_by_hand_while_the_link_closes_no_signal_stays_off(
    send: Send, server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, closed = socket.socket.shutdown, []

    def shutdown(self: socket.socket, how: int) -> None:
        if not closed and self.getpeername()[1] == server.port:
            closed.append(self)
            signal.raise_signal(signal.SIGTERM)
        real(self, how)

    monkeypatch.setattr(socket.socket, "shutdown", shutdown)
    status, out, _ = send("H to EAST", "--to", server.where, "--yes", "--log", "day.txt")
    assert status == 130
    server.heard.wait_for(5)
    assert server.heard.texts == [*(f"{line}\n" for line in LINES), "H stop 3\n"]
    assert "put to stop: H." in out
    assert ended().how == "stopped"


def test_stopped_a_second_time_it_says_which_signals_it_left(
    send: Send, server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = Log.sent

    def sent(self: Log, step: Step, why: Sending) -> None:
        real(self, step, why)
        if step.command.name == "P":
            signal.raise_signal(signal.SIGINT)
            signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(Log, "sent", sent)
    status, out, _ = send("H to EAST", "--to", server.where, "--yes", "--log", "day.txt")
    assert status == 130
    assert "Asked to stop again, it did not go on putting signals to stop." in out
    assert "NOT put to stop: H. Put them to stop by hand, now." in out
    assert ended().how == "stopped" and "NOT put to stop: H." in ended().why


def test_whatever_goes_wrong_while_it_sends_is_told_without_a_traceback(
    send: Send, server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = Log.sent

    def sent(self: Log, step: Step, why: Sending) -> None:
        if step.command.name == "P":
            raise ZeroDivisionError("by zero")
        real(self, step, why)

    monkeypatch.setattr(Log, "sent", sent)
    status, out, _ = send("H to EAST", "--to", server.where, "--yes", "--log", "day.txt")
    assert status == 4
    assert "BROKEN OFF: this went wrong: ZeroDivisionError: by zero." in out
    assert "put to stop: H." in out
    assert ended().how == "failed"


@needs_broker
def test_of_a_broker_it_is_known_that_it_has_received_all(send: Send, broker: Broker) -> None:
    _, out, _ = send("H to EAST", "--to", broker.where, "--yes", "--log", "day.txt")
    said = "done: 4 commands sent. The broker has received them; whether the devices obeyed is"
    assert said in " ".join(out.split())
    assert ended().why.startswith(said)


# --------------------------------------------------------------- the command line


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        ((), "name the route"),
        (("H to EAST", "--start-up"), "--start-up is for the whole layout"),
        (
            ("H to EAST", "--cancel", "--drives-now", "P straight"),
            "--drives-now says nothing for --cancel",
        ),
        (("H to EAST", "--yes"), "--to must say where"),
        (("H to EAST", "--to", "yard"), "names no place"),
        (("H to EAST", "--drives-now", "P sideways"), "no position `sideways`"),
        (("H to EAST", "--to", "tcp://a..b:1"), "`a..b` is not a name that a host can have"),
        (("H to NOWHERE",), "there is no route"),
        (("H to EAST", "H to C"), "these words name 2 routes"),
        (("H to EAST", "--target", "nothing"), "there is no target"),
    ],
)
def test_what_cannot_be_meant_is_told(send: Send, arguments: tuple[str, ...], why: str) -> None:
    status, _, err = send(*arguments)
    assert status == 2
    assert why in " ".join(err.split())


def test_a_target_that_has_no_text_for_a_command_is_refused(send: Send, tmp_path: Path) -> None:
    (tmp_path / "bench" / "line").write_text("{% if command.device == 'signal' %}x{% endif %}")
    status, _, err = send("H to EAST")
    assert status == 2
    assert "no text for P straight" in err
