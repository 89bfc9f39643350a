"""The command `rehearse`: scripts, what they print, the status, and the prompt."""

from __future__ import annotations

import io
import json
import os
import re
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from rehearsed import FORGETFUL, JUNCTION

from bellcrank.commands.cli import main

PATIENCE = 60
"""Seconds that a command at a terminal is waited for."""

Run = Callable[..., tuple[int, str, str]]

GOOD = (
    "train stands before H\nrequest H to B\nexpect S1 to WEST refused\ngo on\nexpect B occupied\n"
)

COLLISION = """\
train stands before H
train stands before S1
request H to B
wait
train passes H
train in P1 moves
"""


@pytest.fixture
def rehearse(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> Run:
    """Run the command on a layout and a script; gives status, output and messages."""

    def command(
        layout: str, script: str | bytes | None, *more: str, typed: str = ""
    ) -> tuple[int, str, str]:
        (tmp_path / "halt.crank").write_text(layout, "utf-8")
        arguments = ["rehearse", str(tmp_path / "halt.crank")]
        if script is not None:
            data = script if isinstance(script, bytes) else script.encode("utf-8")
            (tmp_path / "day.rehearsal").write_bytes(data)
            arguments.append(str(tmp_path / "day.rehearsal"))
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        status = main([*arguments, *more])
        said = capsys.readouterr()
        return status, said.out, said.err

    return command


def lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines()]


# --------------------------------------------------------------------- scripts


def test_a_script_that_comes_true_is_told_line_by_line(rehearse: Run) -> None:
    status, out, err = rehearse(JUNCTION, GOOD)
    assert (status, err) == (0, "")
    assert lines(out)[:6] == [
        "1  train stands before H",
        "a train stands in A, before H",
        "2  request H to B",
        "the operator asks for H to B",
        "3  expect S1 to WEST refused",
        "met: P1 is held for H to B; a train is in A",
    ]
    assert "passed: 5 lines; 2 expectations, all met; nothing unsafe happened" in lines(out)
    assert "proves nothing" in out
    assert "\x1b" not in out


def test_a_request_tells_which_points_are_thrown(rehearse: Run) -> None:
    _, out, _ = rehearse(JUNCTION, "request H to C\n")
    assert "the operator asks for H to C; P1 is on its way to diverging" in lines(out)


def test_a_sentence_is_not_told_twice(rehearse: Run) -> None:
    _, out, _ = rehearse(JUNCTION, "request H to B\nH clears for H to B\n")
    assert out.count("H clears for H to B") == 1


def test_an_expectation_that_is_not_met_fails(rehearse: Run) -> None:
    status, out, _ = rehearse(JUNCTION, "wait\nexpect H off\nexpect A clear\n")
    assert status == 1
    assert "NOT MET: H is at stop" in lines(out)
    assert "failed: 3 lines; expectation not met in line 2; nothing unsafe happened" in lines(out)


def test_an_act_that_is_refused_fails(rehearse: Run) -> None:
    status, out, _ = rehearse(JUNCTION, "request H to B\nrequest H to C\n")
    assert status == 1
    assert any(line.startswith("refused: ") for line in lines(out))
    assert "failed: 2 lines; act refused in line 2; nothing unsafe happened" in lines(out)


def test_an_accident_fails_and_is_told(rehearse: Run) -> None:
    status, out, _ = rehearse(FORGETFUL, COLLISION)
    assert status == 1
    assert "the train in P1 runs into B, where another train stands" in lines(out)
    assert "ACCIDENT: two trains meet in B" in lines(out)
    assert any(line.startswith("BREACH: H is off for H to B though") for line in lines(out))
    assert "something unsafe happened in lines 4" in out
    assert "nothing unsafe" not in out


def test_an_empty_script_passes(rehearse: Run) -> None:
    status, out, _ = rehearse(JUNCTION, "# nothing\n")
    assert status == 0
    assert "passed: 0 lines; nothing unsafe happened" in lines(out)


def test_a_script_with_mistakes_is_not_played(rehearse: Run) -> None:
    status, out, err = rehearse(JUNCTION, "wait\nrequest H to X\nexpect H of\n")
    assert (status, out) == (2, "")
    assert re.findall(r"day\.rehearsal:(\d+):\d+: error (E\d+)", err) == [
        ("2", "E706"), ("3", "E705"),
    ]  # fmt: skip
    assert "  2 | request H to X\n    |         ^^^^^^" in err


def test_a_layout_with_mistakes_is_not_played(rehearse: Run) -> None:
    status, out, err = rehearse(JUNCTION + "signal Q shunt\n", GOOD)
    assert (status, out) == (2, "")
    assert "halt.crank:6" in err


def test_an_unproved_layout_is_played_all_the_same(rehearse: Run) -> None:
    assert rehearse(FORGETFUL, "request H to B\nwait\nexpect H off\n")[0] == 0


# ------------------------------------------------------------------ script files


def test_a_script_that_is_not_there_is_reported_with_one_like_it(
    rehearse: Run, tmp_path: Path
) -> None:
    rehearse(JUNCTION, GOOD)
    status = main(["rehearse", str(tmp_path / "halt.crank"), str(tmp_path / "days.rehearsal")])
    assert status == 2


def test_why_a_script_cannot_be_read_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    layout = tmp_path / "halt.crank"
    layout.write_text(JUNCTION, "utf-8")
    (tmp_path / "day.rehearsal").write_text(GOOD, "utf-8")
    cases = {
        "days.rehearsal": ("E702", "did you mean `day.rehearsal`?"),
        ".": ("E702", "is a folder, not a"),
        "no/such.rehearsal": ("E702", "there is no file"),
        "zero\0": ("E702", "cannot be read"),
    }
    for name, (code, said) in cases.items():
        assert main(["rehearse", str(layout), str(tmp_path / name)]) == 2
        err = capsys.readouterr().err
        assert code in err
        assert said in err
        # Of a file that is not there no line can be shown.
        assert " | " not in err


def test_a_script_that_is_not_utf_8_is_reported_at_its_place(rehearse: Run) -> None:
    status, out, err = rehearse(JUNCTION, b"wait\n# caf\xe9\n")
    assert (status, out) == (2, "")
    assert "day.rehearsal:2:6: error E102" in err
    assert "byte 11 (0xE9)" in err


def test_a_script_may_have_the_ends_of_lines_of_any_system(rehearse: Run) -> None:
    assert rehearse(JUNCTION, b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())[0] == 0


# ------------------------------------------------------------------------- JSON


def test_json_holds_every_line_and_what_came_of_it(rehearse: Run) -> None:
    status, out, err = rehearse(JUNCTION, GOOD, "--json")
    data: dict[str, Any] = json.loads(out)
    assert (status, err, data["status"], data["diagnostics"]) == (0, "", "passed", [])
    assert [line["text"] for line in data["lines"]] == GOOD.splitlines()
    assert [line["met"] for line in data["lines"]] == [None, None, True, None, True]
    assert [e["text"] for e in data["lines"][0]["events"]] == ["a train stands in A, before H"]
    assert data["lines"][2]["found"] == ["P1 is held for H to B", "a train is in A"]
    assert all(line["good"] for line in data["lines"])


def test_json_tells_accidents_and_refusals(rehearse: Run) -> None:
    status, out, _ = rehearse(FORGETFUL, COLLISION + "request H to B\n", "--json")
    data = json.loads(out)
    assert (status, data["status"]) == (1, "failed")
    unsafe = [u for line in data["lines"] for e in line["events"] for u in e["unsafe"]]
    assert {"property": "meetings", "sentence": "two trains meet in B", "accident": True} in unsafe
    assert data["lines"][-1]["refused"]


@pytest.mark.parametrize(
    ("layout", "script"), [(JUNCTION, "banana\n"), (JUNCTION + "signal Q shunt\n", GOOD)]
)
def test_json_tells_mistakes(rehearse: Run, layout: str, script: str) -> None:
    status, out, err = rehearse(layout, script, "--json")
    data = json.loads(out)
    assert (status, err, data["status"], data["lines"]) == (2, "", "error", [])
    assert len(data["diagnostics"]) == 1


def test_json_needs_a_script(rehearse: Run) -> None:
    status, out, err = rehearse(JUNCTION, None, "--json")
    assert (status, out) == (2, "")
    assert "needs a script" in err


# -------------------------------------------------------------- lines from a pipe


def test_lines_from_a_pipe_count_as_a_script(rehearse: Run) -> None:
    status, out, err = rehearse(JUNCTION, None, typed=GOOD)
    assert (status, err) == (0, "")
    assert "5  expect B occupied" in lines(out)
    assert "> " not in out


@pytest.mark.parametrize(
    ("typed", "status"),
    [
        ("", 0),
        ("quit\nexpect H off\n", 0),
        ("expect H off\n", 1),
        ("cancel H to B\n", 1),
        ("banana\n", 2),
        ("banana\nexpect H off\n", 2),
        ("expect H off\nbanana\n", 2),
        ("help\npossible\nstate\nundo\n", 0),
    ],
)
def test_the_status_of_lines_from_a_pipe_is_the_worst(
    rehearse: Run, typed: str, status: int
) -> None:
    assert rehearse(JUNCTION, None, typed=typed)[0] == status


def test_after_a_line_that_cannot_be_read_the_next_is_taken(rehearse: Run) -> None:
    _, out, err = rehearse(JUNCTION, None, typed="banana\nrequest H to B\n")
    assert "typed:1:1: error E705" in err
    assert "  1 | banana\n    | ^^^^^^" in err
    assert "the operator asks for H to B" in lines(out)


def test_a_misspelt_word_of_the_prompt_is_recognized(rehearse: Run) -> None:
    assert "did you mean `possible`?" in rehearse(JUNCTION, None, typed="posible\n")[2]
    assert "`help` lists what can be said" in rehearse(JUNCTION, None, typed="xyzzy\n")[2]


def test_possible_lists_lines_that_can_be_typed(rehearse: Run) -> None:
    out = rehearse(JUNCTION, None, typed="request H to C\npossible\n")[1]
    offered = lines(out)[2:]
    assert "cancel H to C" in offered
    assert "train stands before H" in offered
    assert "P1 comes to lie diverging" in offered
    assert "wait" in offered
    assert "request H to B" not in offered


def test_state_tells_trains_routes_signals_and_drives(rehearse: Run) -> None:
    typed = "state\ntrain stands before H\nrequest H to C\nwait\nstate\n"
    before, after = re.split(r"\n +2 ", rehearse(JUNCTION, None, typed=typed)[1], maxsplit=1)
    assert [re.split(r"  +", row) for row in lines(before)] == [
        ["trains", "none"],
        ["routes", "none is set"],
        ["signals", "all at stop"],
        ["drives", "P1 lies straight"],
    ]
    assert [re.split(r"  +", row) for row in lines(after)[-4:]] == [
        ["trains", "the train in A goes from A.left towards A.right"],
        ["routes", "H to C is set; held for it: P1, C"],
        ["signals", "H is off for H to C"],
        ["drives", "P1 lies diverging"],
    ]


def test_undo_takes_the_last_act_back_and_only_acts(rehearse: Run) -> None:
    typed = "request H to C\nexpect H to C set\nundo\nexpect H to C idle\nundo\n"
    status, out, _ = rehearse(JUNCTION, None, typed=typed)
    assert status == 0
    assert lines(out)[4:5] == ["taken back: request H to C"]
    assert lines(out)[-1] == "there is nothing to take back"


def test_a_session_is_saved_loaded_and_gone_on_with(rehearse: Run, tmp_path: Path) -> None:
    day = tmp_path / "saved.rehearsal"
    typed = f"train stands before H\nrequest H to C\nwait\nsave {day}\n"
    status, out, _ = rehearse(JUNCTION, None, typed=typed)
    assert status == 0
    assert "saved.rehearsal leads to where things are now" in " ".join(out.split())
    said = [row for row in day.read_text("utf-8").splitlines() if row and row[0] != "#"]
    assert said[:2] == ["a train stands in A, before H", "request H to C"]
    typed = f"load {day}\nexpect H off\ntrain passes H\nundo\nundo\nexpect H at stop\nsave {day}\n"
    status, out, _ = rehearse(JUNCTION, None, typed=typed)
    assert "taken back: H clears for H to C" in out
    assert "NOT MET" not in out
    assert status == 2
    assert "is there already; save under another name" in " ".join(out.split())


def test_what_this_session_saved_it_may_save_again(rehearse: Run, tmp_path: Path) -> None:
    day = tmp_path / "saved.rehearsal"
    typed = f"request H to C\nsave {day}\nwait\nbegin again\nundo\nsave {day}\n"
    assert rehearse(JUNCTION, None, typed=typed)[0] == 0
    assert day.read_text("utf-8").endswith("H clears for H to C\n")


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("save", "`save` needs the name of a file: `save morning.rehearsal`"),
        ("save halt.crank", "a script's name ends in .rehearsal: `save halt.rehearsal`"),
        ("save nowhere/a.rehearsal", "nowhere/a.rehearsal cannot be written: No such file"),
        ("load morning", "a script's name ends in .rehearsal: `load morning.rehearsal`"),
    ],
)
def test_what_cannot_be_saved_or_loaded_is_refused(
    rehearse: Run, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, typed: str, said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    status, out, _ = rehearse(JUNCTION, None, typed=f"{typed}\n")
    assert status == 2
    assert said in " ".join(out.split())


def test_a_script_with_mistakes_is_not_loaded_and_nothing_is_lost(
    rehearse: Run, tmp_path: Path
) -> None:
    (tmp_path / "bad.rehearsal").write_text("request H to D\n", "utf-8")
    typed = f"request H to C\nload {tmp_path / 'bad.rehearsal'}\nexpect H to C set\n"
    status, out, said = rehearse(JUNCTION, None, typed=typed)
    assert status == 2
    assert "bad.rehearsal:1:" in said
    assert "met: " in out and "NOT MET" not in out


def test_help_lists_every_line(rehearse: Run) -> None:
    from bellcrank.rehearsal.forms import FORMS

    out = rehearse(JUNCTION, None, typed="help\n")[1]
    for form in FORMS:
        assert form.words in out
    for word in ("possible", "state", "undo", "begin again", "save", "load", "help", "quit"):
        assert re.search(rf"^  {word} ", out, re.MULTILINE)


def test_the_command_is_told_in_the_help_of_the_command_line(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["rehearse", "--help"]) == 0
    out = capsys.readouterr().out
    assert "\n  bellcrank rehearse " in out.split("examples:")[1]
    assert "exit status:" in out


# ---------------------------------------------------------------- as it is started


def command(layout: Path) -> list[str]:
    return [sys.executable, "-m", "bellcrank", "rehearse", str(layout)]


def test_a_pipe_of_bytes_that_are_no_text_does_no_harm(tmp_path: Path) -> None:
    layout = tmp_path / "halt.crank"
    layout.write_text(JUNCTION, "utf-8")
    result = subprocess.run(
        command(layout), input=b"caf\xe9\nrequest H to B", capture_output=True, check=False
    )
    assert result.returncode == 2
    assert b"the operator asks for H to B" in result.stdout
    assert b"Traceback" not in result.stderr


class Terminal:
    """The command at a terminal of its own."""

    def __init__(self, layout: Path, **environment: str) -> None:
        pty = pytest.importorskip("pty")
        self.out = b""
        self.pid, self.fd = pty.fork()
        if self.pid == 0:  # pragma: no cover
            os.execve(sys.executable, command(layout), {**os.environ, **environment})

    def read(self) -> bool:
        """Read what is there, after a short wait; False if the command has gone."""
        import select

        if not select.select([self.fd], [], [], 0.1)[0]:
            return True
        try:
            found = os.read(self.fd, 65536)
        except OSError:
            return False
        self.out += found
        return bool(found)

    def until(self, said: bytes) -> None:
        """Read until something is said."""
        end = time.monotonic() + PATIENCE
        while said not in self.out and time.monotonic() < end and self.read():
            pass
        assert said in self.out

    def type(self, typed: bytes, until: bytes) -> None:
        self.out = b""
        os.write(self.fd, typed)
        self.until(until)

    def leave(self, keys: bytes) -> int:
        """Type until the command ends, for keys typed before it looks are lost; its status."""
        end = time.monotonic() + PATIENCE
        asked = 0.0
        while time.monotonic() < end:
            if time.monotonic() > asked + 1:
                asked = time.monotonic()
                with suppress(OSError):
                    os.write(self.fd, keys)
            self.read()
            ended, status = os.waitpid(self.pid, os.WNOHANG)
            if ended:
                while self.read() and time.monotonic() < end:
                    pass
                return os.waitstatus_to_exitcode(status)
        os.kill(self.pid, 9)
        os.waitpid(self.pid, 0)
        raise AssertionError(self.out)


@pytest.fixture
def halt(tmp_path: Path) -> Path:
    path = tmp_path / "halt.crank"
    path.write_text(JUNCTION, "utf-8")
    return path


@pytest.mark.skipif(sys.platform == "win32", reason="no such terminals there")
def test_at_a_terminal_a_prompt_asks_and_leaving_is_no_failure(halt: Path) -> None:
    terminal = Terminal(halt, TERM="xterm")
    terminal.until(b"> ")
    terminal.type(b"request H to C\n", b"on its way to diverging")
    terminal.type(b"request H to B\n", b"P1 is held for H to C")
    assert b"\x1b[1;33mrefused" in terminal.out
    assert terminal.leave(b"quit\n") == 0


@pytest.mark.skipif(sys.platform == "win32", reason="no such terminals there")
def test_no_colour_where_none_is_wanted(halt: Path) -> None:
    terminal = Terminal(halt, TERM="xterm", NO_COLOR="1")
    terminal.until(b"> ")
    terminal.type(b"cancel H to B\n", b"H to B is not set")
    assert b"\x1b[1;33m" not in terminal.out
    assert terminal.leave(b"quit\n") == 0


@pytest.mark.skipif(sys.platform == "win32", reason="no such terminals there")
@pytest.mark.parametrize(("key", "status"), [(b"\x04", 0), (b"\x03", 130)], ids=["end", "Ctrl-C"])
def test_the_end_of_input_and_ctrl_c_leave_cleanly(halt: Path, key: bytes, status: int) -> None:
    terminal = Terminal(halt, TERM="xterm")
    terminal.until(b"> ")
    assert terminal.leave(key) == status
    assert b"Traceback" not in terminal.out


@pytest.mark.parametrize(
    ("typed", "hint"),
    [
        ("set H to B", "write `request H to B`"),
        ("H to B", "write `request H to B`"),
        ("release H to B", "write `cancel H to B`"),
        (
            "throw P1 diverging",
            "drives are thrown with a route, by `request ROUTE`; where they lie at the start, by "
            "`at first P1 lies diverging`",
        ),
        ("clear H", "a signal clears by itself: `request` its route, and `wait`"),
        ("move", "write `go on`, and trains go as far as they can"),
        ("exit", "here it is called `quit`: leave"),
        (
            "write day",
            "here it is called `save NAME.rehearsal`: write a script that leads to where",
        ),
        ("status", "here it is called `state`: trains, routes, signals and drives, as they are"),
    ],
)
def test_a_word_that_people_try_at_the_prompt_leads_to_the_right_line(
    rehearse: Run, typed: str, hint: str
) -> None:
    status, _, said = rehearse(JUNCTION, None, typed=f"{typed}\n")
    assert status == 2
    assert f"try: {hint}" in " ".join(said.split())


# ---------------------------------------------------------------- finding moves


def test_moves_are_found_told_and_written_as_a_script_that_leads_there(
    rehearse: Run, tmp_path: Path
) -> None:
    out = tmp_path / "moves.rehearsal"
    goal = ("--find", "train in B before S1")
    status, told, _ = rehearse(JUNCTION, "request H to B\n", *goal, "--out", str(out))
    assert status == 0
    assert told.startswith("4 requests and moves, and no run has fewer:\n")
    assert "  train comes in from WEST\n  wait\n  train passes H\n" in told
    assert out.read_text().startswith("request H to B\n# ")
    status, told, _ = rehearse(JUNCTION, out.read_bytes())
    assert status == 0
    assert "1 expectation, met" in told


def test_that_there_is_no_way_is_told_with_how_it_is_known(rehearse: Run) -> None:
    status, told, _ = rehearse(JUNCTION, None, "--find", "H to B set and H to C set")
    assert status == 1
    assert told.startswith("There is no way there: ")


def test_what_is_found_is_told_as_json(rehearse: Run) -> None:
    status, told, _ = rehearse(JUNCTION, None, "--find", "P1 moving and A clear", "--json")
    found = json.loads(told)
    assert status == 0
    assert (found["status"], found["acts"], found["at_least"]) == ("found", 1, 1)
    assert found["script"] == ["request H to C", "expect P1 moving", "expect A clear"]


def test_no_time_leaves_it_undecided(rehearse: Run) -> None:
    goal = "train in B before S1 and train in C before S2"
    status, told, _ = rehearse(JUNCTION, None, "--find", goal, "--time-limit", "0")
    assert status == 3
    assert told.startswith("Undecided: none was found. There is no run of fewer than ")


def test_after_a_script_that_fails_nothing_is_looked_for(rehearse: Run) -> None:
    status, told, _ = rehearse(JUNCTION, "expect B occupied\n", "--find", "B clear")
    assert status == 1
    assert told.endswith("Nothing is looked for after a script that fails.\n")


def test_a_mistake_in_a_goal_is_shown_in_its_place(rehearse: Run) -> None:
    status, _, said = rehearse(JUNCTION, None, "--find", "B clear and C ocupied")
    assert status == 2
    assert "--find:1:15: error E705: `ocupied` does not belong here" in said
    assert "did you mean `occupied`?" in said


def test_a_train_that_is_not_there_is_no_goal(rehearse: Run) -> None:
    status, _, said = rehearse(JUNCTION, None, "--find", "train from B in C")
    assert status == 2
    assert said == "bellcrank: --find: no train is in B at first\n"


def test_what_only_serves_a_search_needs_one(rehearse: Run) -> None:
    status, _, said = rehearse(JUNCTION, None, "--by-hand")
    assert status == 2
    assert said == 'bellcrank: --by-hand needs --find "GOAL"\n'
