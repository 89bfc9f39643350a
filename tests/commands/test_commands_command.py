"""The command `commands`: what is sent, when, and in how long."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from bellcrank.commands.cli import main

HALT = """
points P1, P2
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - P2.toe
run P2.straight - <S2 - C - stop
run P2.diverging - <S3 - D - stop
decoder kind rack { outputs 8 }
decoder K rack at 1
drive P1 = K.1 coil 200 ms
drive P2 = K.2 coil 150 ms detected
signal H = K.3
signal S1 = K.4
supply BENCH { feeds K  one at a time  rest 250 ms }
"""


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    """Runs the command on a layout; gives status, output and messages."""
    monkeypatch.chdir(tmp_path)

    def command(*arguments: str, text: str = HALT) -> tuple[int, str, str]:
        Path("halt.crank").write_text(text, "utf-8")
        try:
            status = main(["commands", "halt.crank", *arguments])
        except SystemExit as stop:
            status = stop.code if isinstance(stop.code, int) else 1
        said = capsys.readouterr()
        return status, said.out, said.err

    return command


def lines(out: str) -> list[str]:
    """The lines of the output with blanks drawn together."""
    return [" ".join(line.split()) for line in out.splitlines()]


def test_a_route_is_told_with_times_waits_total_and_bound(run) -> None:
    status, out, err = run("H", "to", "D")
    assert (status, err) == (0, "")
    told = lines(out)
    start = told.index("0 0 signals to stop H stop: K.3 red, output 3, K.3 green off")
    assert told[0] == "set H to D"
    assert told[start:] == [
        "0 0 signals to stop H stop: K.3 red, output 3, K.3 green off",
        "0 0 signals to stop S1 stop: K.4 red, output 4, K.4 green off",
        "by hand signals to stop S2 stop",
        "by hand signals to stop S3 stop",
        "wait until somebody confirms that S2 shows stop",
        "wait until somebody confirms that S3 shows stop",
        "0 200 drives P1 diverging: K.1 red, output 1, coil 200 ms",
        "450 600 drives P2 diverging: K.2 red, output 2, coil 150 ms",
        "wait until P2 reports that it lies diverging",
        "600 600 signals off H proceed: K.3 green, output 3, K.3 red off",
        "",
        "total 600 ms, without what is waited for and what is done by hand",
        "lower bound 600 ms: no timetable within the limits is shorter",
        "status: proved",
        "For model and demonstration railways. Not certified for trains that carry people.",
    ]


def test_all_signals_to_stop_throws_nothing(run) -> None:
    status, out, _ = run("--all-to-stop")
    assert status == 0
    assert "all to stop: all signals to stop, no drive is thrown" in out
    assert "0 0 signals to stop H stop: K.3 red, output 3, K.3 green off" in lines(out)
    assert "wait until somebody confirms that S2 shows stop" in lines(out)
    assert " drives " not in out


def test_one_drive_is_told_alone_with_what_it_reports(run) -> None:
    _, out, _ = run("--drive", "P2", "diverging")
    assert lines(out)[0] == "throw P2 diverging"
    assert "0 150 drives P2 diverging: K.2 red, output 2, coil 150 ms" in lines(out)
    assert "wait until P2 reports that it lies diverging" in lines(out)
    assert "signals to stop" not in out


def test_one_signal_is_told_alone(run) -> None:
    told = json.loads(run("--signal", "H", "proceed", "--json")[1])["timetable"]
    assert (told["what"], told["route"]) == ("show", None)
    assert [timed["command"]["state"] for timed in told["commands"]] == ["stop", "proceed"]
    told = json.loads(run("--signal", "H", "stop", "--json")[1])["timetable"]
    assert [timed["command"]["state"] for timed in told["commands"]] == ["stop"]


def test_one_output_is_told_alone(run) -> None:
    gate = HALT + "output GATE with open, closed = K.5  motor 2 s\n"
    status, out, _ = run("--output", "GATE", "closed", text=gate)
    assert status == 0
    assert lines(out)[0] == "switch GATE closed"
    assert "0 2000 outputs GATE closed: K.5 red, output 5, motor 2000 ms" in lines(out)
    assert "neither the locking nor the proof says anything of it" in " ".join(lines(out))
    told = json.loads(run("--output", "GATE", "open", "--json", text=gate)[1])["timetable"]
    assert [timed["command"]["device"] for timed in told["commands"]] == ["output"]


def test_an_output_or_state_that_is_not_there_is_told_with_the_nearest(run) -> None:
    gate = HALT + "output GATE with open, closed = K.5  motor 2 s\n"
    assert "did you mean `GATE`?" in run("--output", "GAET", "open", text=gate)[2]
    said = run("--output", "GATE", "shut", text=gate)[2]
    assert "GATE is never `shut`: it is open or closed" in said


def test_drives_that_lie_right_are_left_alone(run) -> None:
    _, out, _ = run("H to D", "--drives-now", "P1 diverging")
    assert "P1 diverging" not in out
    assert "0 150 drives P2 diverging: K.2 red, output 2, coil 150 ms" in lines(out)


@pytest.mark.parametrize("place", ["before", "after"])
def test_a_route_is_cancelled(run, place: str) -> None:
    route = ["H", "to", "D"]
    status, out, _ = run(*(["--cancel", *route] if place == "before" else [*route, "--cancel"]))
    assert status == 0
    assert lines(out)[0] == "cancel H to D"
    assert "wait until the time of approach locking is over" in " ".join(lines(out))
    assert "drives" not in out


def test_the_layout_is_started_up(run) -> None:
    status, out, _ = run("--start-up")
    assert status == 0
    assert "0 200 drives P1 straight: K.1 green, output 1, coil 200 ms" in lines(out)
    assert "450 600 drives P2 straight: K.2 green, output 2, coil 150 ms" in lines(out)


def test_json_holds_the_timetable_as_the_document_has_it(run) -> None:
    _, out, _ = run("H to D", "--json")
    said = json.loads(out)
    assert said["status"] == "proved"
    assert "Not certified" in said["notice"]
    assert (said["timetable"]["what"], said["timetable"]["route"]) == ("set", "H to D")
    assert (said["timetable"]["total"], said["timetable"]["bound"]) == (600, 600)
    main(["build", "halt.crank", "--out", "bench", "--target", "json"])
    built = json.loads(Path("bench/layout.json").read_text("utf-8"))
    assert said["timetable"] in built["timetables"]


def test_commands_of_a_layout_that_is_not_proved_say_so(run) -> None:
    forgetful = HALT + "locking written { every route needs its positions }\n"
    status, out, _ = run("H to D", text=forgetful)
    assert status == 1
    assert "status: UNPROVED" in out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("H to D", "--drives-now", "P9 straight"), "there is no drive `P9`"),
        (("H to D", "--drives-now", "P1 strait"), "did you mean `straight`?"),
        (("H to D", "--drives-now", "P1"), "`P1` does not say where a drive lies"),
        (("H to D", "--start-up"), "--start-up is for the whole layout"),
        (("H to Q",), "E401"),
        (("H to D H to C",), "two routes"),
        ((), "ROUTE"),
        (("H to D", "--cancel", "--drives-now", "P1 straight"), "not allowed with"),
    ],
)
def test_a_mistake_is_told_in_a_sentence(run, arguments: tuple[str, ...], said: str) -> None:
    status, out, err = run(*arguments)
    assert (status, out) == (2, "")
    assert said in err
    assert "Traceback" not in err


def test_a_layout_with_an_error_has_no_commands(run) -> None:
    status, out, err = run("H to D", text="points P1\n")
    assert (status, out) == (2, "")
    assert re.search(r"error E\d{3}", err)


def test_a_bound_that_is_not_reached_is_told_honestly(run) -> None:
    """Eleven pulses that are not easily parted between two: nobody may think it proved."""
    names = [f"P{n}" for n in range(1, 23)]
    track = [f"points {', '.join(names)}", "run edge WEST - A - >H - P1.toe"]
    for here, beyond in zip(names, [*names[1:], None], strict=True):
        on = f"{beyond}.toe" if beyond else "Z - stop"
        track += [f"run {here}.straight - {on}", f"run {here}.diverging - T{here} - stop"]
    track += ["decoder kind rack { outputs 30 }", "decoder K rack at 1"]
    pulses = [101 + 17 * n * n % 391 for n in range(22)]
    track += [f"drive {n} = K.{i} motor {p} ms"
              for i, (n, p) in enumerate(zip(names, pulses, strict=True), 1)]  # fmt: skip
    track += ["supply BENCH { feeds K  three at a time  rest 250 ms }"]
    _, out, _ = run("H to Z", text="\n".join(track) + "\n")
    total = int(re.search(r"total (\d+) ms", out)[1])  # type: ignore[index]
    bound = int(re.search(r"lower bound (\d+) ms", out)[1])  # type: ignore[index]
    shorter = "no timetable within the limits is shorter"
    assert bound <= total
    assert (shorter in out) == (bound == total)
    assert ("neither found nor ruled out" in out) == (bound < total)
    assert bound < total  # else choose other pulses: the sentence was not seen
