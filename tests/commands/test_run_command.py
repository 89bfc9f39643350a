"""The command `run`: what is wrong on its line, what it tells, and how it ends."""

from __future__ import annotations

import json
import signal
import socket
import time
from pathlib import Path
from urllib.request import Request, urlopen

import pytest
from running_program import Program

from bellcrank.commands.cli import main

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


@pytest.fixture
def yard(tmp_path: Path) -> Path:
    path = tmp_path / "yard.crank"
    path.write_text(YARD, "utf-8")
    return path


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "say with what it is to run: --simulated"),
        (["--by-itself", "--link", "tcp://127.0.0.1:1"], "--by-itself is for a simulated railway"),
        (["--speed", "2", "--link", "tcp://127.0.0.1:1"], "real time cannot be made faster"),
        (["--link", "nowhere"], "names no place"),
        (["--link", "tcp://127.0.0.1:1", "--on", "1"], "give that too"),
        (["--link", "tcp://127.0.0.1:1", "--reports-as", "{input}"], "must hold {state}"),
        (["--watch-only"], "say with what it is to run"),
        (["--watch-only", "--simulated"], "works: give --link, not --simulated"),
        (["--simulated", "--serve", "here"], "is no address"),
        (["--simulated", "--people", "none.toml"], "cannot be read"),
        (["--simulated", "--journal", "no/folder/j"], "cannot be opened"),
        (["--simulated", "--script", "none.rehearsal"], "none.rehearsal"),
    ],
)
def test_what_is_wrong_is_said(
    words: list[str], told: str, yard: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["run", str(yard), *words]) == 2
    said = capsys.readouterr()
    assert told in " ".join((said.err + said.out).split())


def test_simulated_and_a_link_exclude_each_other(
    yard: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["run", str(yard), "--simulated", "--link", "tcp://127.0.0.1:1"]) == 2
    assert "not allowed with" in capsys.readouterr().err


def test_what_is_refuted_is_not_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "yard.crank"
    path.write_text(YARD + "expect W to B with W to C\n", "utf-8")
    assert main(["run", str(path), "--simulated"]) == 1
    err = capsys.readouterr().err
    assert "the layout is unmet (an expectation is not met, but it is safe), so it is" in err


def _asked(program: Program, what: str, **body: str) -> dict[str, object]:
    request = Request(
        f"{program.address}api/{what}",
        json.dumps(body).encode(),
        {"Authorization": f"Bearer {program.key}", "Content-Type": "application/json"},
    )
    with urlopen(request, timeout=20) as answer:
        told: dict[str, object] = json.load(answer)
        return told


@pytest.mark.parametrize(
    ("by", "status"),
    [(signal.SIGTERM, 0), pytest.param(signal.SIGINT, 130, marks=pytest.mark.campaign)],
)
def test_it_ends_with_all_signals_at_stop(yard: Path, by: signal.Signals, status: int) -> None:
    with Program.start(yard, "--simulated") as program:
        _ = program.url
        assert program.stop(by) == status
        program.wait_for("All signals are at stop.")


def test_after_a_kill_it_says_what_to_look_at(yard: Path) -> None:
    words = (yard, "--simulated", "--journal", yard.with_suffix(".journal"))
    with Program.start(*words) as program:
        program.wait_for("Ctrl-C ends it")
        while _asked(program, "start")["outcome"] != "started":
            pass
        _asked(program, "simulated", key="come WEST")
        assert _asked(program, "request", route="W to C")["outcome"] == "done"
        program.kill()
    with Program.start(*words) as program:
        program.wait_for("ended without stopping")
        program.wait_for("Set then: W to C. Look whether their trains have stopped")
        program.wait_for("Reported occupied then: A")
        program.wait_for("Ctrl-C ends it")
        program.kill()
    # Nobody had started that: what stood before it stands there still.
    with Program.start(*words) as program:
        program.wait_for("Set then: W to C. Look whether their trains have stopped")
        assert program.stop() == 130
    with Program.start(*words) as program:
        _ = program.url
        assert not any("without stopping" in line for line in program.said)


def test_accidents_and_faults_on_the_simulated_railway_are_said(yard: Path) -> None:
    with Program.start(yard, "--simulated", "--speed", "20") as program:
        program.wait_for("Ctrl-C ends it")
        _asked(program, "simulated", key="come WEST")
        while _asked(program, "simulated", key="disobey 1 W")["outcome"] != "done":
            time.sleep(0.1)
        program.wait_for("  fault: train 1 passes W at stop")
        while _asked(program, "simulated", key="come WEST")["outcome"] != "done":
            time.sleep(0.1)
        while _asked(program, "simulated", key="disobey 2 W")["outcome"] != "done":
            time.sleep(0.1)
        program.wait_for("  accident: train 2 runs into train 1 in B")
        assert not any("train 1 comes" in line for line in program.said)


def test_a_port_that_is_taken_is_said(yard: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        serve = f"127.0.0.1:{taken.getsockname()[1]}"
        with Program.start(yard, "--simulated", serve=serve) as program:
            program.wait_for("the page cannot be served at")
            assert program.process.wait(20) == 2


@pytest.mark.parametrize(
    ("line", "status", "said"),
    [
        pytest.param("expect B clear", 0, "passed", marks=pytest.mark.campaign),
        ("expect B occupied", 1, "failed"),
    ],
)
def test_a_script_passes_or_fails(yard: Path, line: str, status: int, said: str) -> None:
    script = yard.with_suffix(".rehearsal")
    script.write_text(f"request W to B\nwait\nexpect W off\n{line}\n", "utf-8")
    words = (yard, "--simulated", "--speed", "20", "--script", script)
    with Program.start(*words) as program:
        program.wait_for(said)
        assert program.process.wait(20) == status


def test_a_faulty_script_is_told_with_its_place(
    yard: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    script = yard.with_suffix(".rehearsal")
    script.write_text("request W to X\n", "utf-8")
    assert main(["run", str(yard), "--simulated", "--script", str(script)]) == 2
    said = capsys.readouterr().err
    assert "yard.rehearsal:1:9" in said and "^" in said
