"""The command line: what it prints and writes, and the status it ends with."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import signal
import subprocess
import sys
import textwrap
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any, get_args

import pytest
import z3
from in_campaigns import in_campaigns

from bellcrank.commands.cli import main
from bellcrank.controller.assumed import OF_REPORTS
from bellcrank.diagnostics.error_pages import pages
from bellcrank.diagnostics.explained import assumption_pages, verdict_words
from bellcrank.machine.assumptions import ASSUMPTIONS
from bellcrank.proof.verdict import Conclusion, MovingOutcome
from bellcrank.syntax.grammar_tables import layout_parser

FOLDER = Path(__file__).parents[2] / "examples"
REFERENCE = Path(__file__).parents[2] / "grammar" / "README.md"
EXAMPLES = sorted(FOLDER.glob("*.crank"))

SAME_TRACK_IN_CAMPAIGNS = in_campaigns(EXAMPLES, lambda p: p.stem == "harbour-terminus-forgetful")
"""Without the example that has the track and the routes of another."""

TWO_BUILT = in_campaigns(
    [p for p in EXAMPLES if p.stem in ("harbour-terminus", "turning-loop")],
    lambda p: p.stem == "harbour-terminus",
)
"""One without and one with polarity that turns over."""

COMMANDS = (
    "check", "build", "table", "why", "commands", "rehearse", "send", "commission", "picture",
    "format", "explain",
)  # fmt: skip

JUNCTION = """\
layout "Marsh Halt"
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
"""

FORGETFUL = JUNCTION + "locking written { every route needs its positions }\n"
"""Without a rule against head-on routes."""

UNMET = JUNCTION + "expect H to B with H to C\n"
"""Proved but for what is expected of it."""

FAULTY = JUNCTION + "signal Q shunt\n"

OUTCOMES = {
    "proved": (JUNCTION, 0),
    "refuted": (FORGETFUL, 1),
    "unmet": (UNMET, 1),
    "error": (FAULTY, 2),
}
"""A layout for each outcome, and the exit status it has."""

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run a command in a folder of its own; gives status, output and messages."""
    monkeypatch.chdir(tmp_path)

    def command(*arguments: str | Path) -> tuple[int, str, str]:
        try:
            status = main([str(a) for a in arguments])
        except SystemExit as stop:
            status = stop.code if isinstance(stop.code, int) else 1
        said = capsys.readouterr()
        return status, said.out, said.err

    return command


@pytest.fixture
def layout(tmp_path: Path) -> Callable[[str], Path]:
    """Writes a layout to a file."""

    def write(text: str) -> Path:
        path = tmp_path / "halt.crank"
        path.write_text(text, "utf-8")
        return path

    return write


def by_itself(*arguments: str | Path, **options: Any) -> subprocess.CompletedProcess[str]:
    """Run a command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "bellcrank", *map(str, arguments)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=60,
        **options,
    )


def files_in(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


# ---------------------------------------------------------------- exit statuses


@pytest.mark.parametrize("command", ["check", "table"])
@pytest.mark.parametrize(("text", "status"), OUTCOMES.values(), ids=list(OUTCOMES))
def test_the_status_tells_how_it_ended(command: str, text: str, status: int, run: Run, layout):
    assert run(command, layout(text))[0] == status


def test_an_answer_that_had_no_time_is_undecided_and_never_proved(run: Run, layout):
    status, out, _ = run("check", layout(JUNCTION), "--time-limit", "0")
    assert status == 3
    assert "verdict: undecided" in out
    assert "proved  " not in out


def test_an_undecided_verdict_says_how_much_is_open_why_and_what_helps(run: Run, layout):
    out = run("check", layout(JUNCTION), "--time-limit", "0")[1]
    lines = len(re.findall(r"^undecided ", out, re.MULTILINE))
    out = " ".join(out.split())
    assert f"{lines} lines above are undecided: the proof was stopped by the time limit" in out
    assert "a longer --time-limit, or without; `bellcrank explain undecided` tells more." in out


def test_where_only_an_expectation_fails_the_verdict_says_that_the_railway_is_safe(
    run: Run, layout
):
    status, out, _ = run("check", layout(UNMET))
    assert status == 1
    assert re.search(r"verdict: unmet by z3 \S+: an expectation is not met\n", out)
    assert "The railway is safe: all else is proved, assuming" in out
    assert "is safe" not in run("check", layout(FORGETFUL))[1]


def test_what_is_not_sent_for_an_expectation_is_not_said_to_be_unsafe(run: Run, layout):
    status, _, err = run("commission", layout(UNMET))
    assert status == 1
    assert "unmet (an expectation is not met, but it is safe), so nothing is sent" in err


def test_a_program_can_tell_what_is_not_as_expected_from_what_is_unsafe(run: Run, layout):
    for text, word in ((UNMET, "unmet"), (FORGETFUL, "refuted")):
        status, out, _ = run("check", layout(text), "--json")
        told = json.loads(out)
        assert (status, told["status"]) == (1, word)
        assert told["verdict"]["outcome"] == word
        wished = [r["name"] for r in told["moving"]["results"] if r["expectation"]]
        assert wished == (["expect H to B with H to C"] if word == "unmet" else [])


def test_the_controller_of_a_railway_that_is_not_as_expected_is_proved_too(run: Run, layout):
    controlled = json.loads(run("check", layout(UNMET), "--controller", "--json")[1])["controlled"]
    assert controlled["outcome"] == "unmet"
    outcomes = {r["outcome"] for r in controlled["results"] if not r["expectation"]}
    assert outcomes == {"proved", "shown"}


def test_what_is_not_as_expected_is_built_only_if_insisted_upon_and_says_so(
    run: Run, layout, tmp_path: Path
):
    path = layout(UNMET)
    status, _, err = run("build", path, "--out", "bench", "--target", "json")
    assert status == 1
    assert "nothing is written: the layout is safe, but an expectation is not met (--allow" in err
    status, out, _ = run(
        "build", path, "--out", "bench", "--allow-unproved",
        *("--target", "json", "--target", "sheets", "--target", "page", "--target", "csv"),
    )  # fmt: skip
    assert status == 1
    assert "status: unmet: safe, but an expectation is not met" in out
    document = json.loads((tmp_path / "bench/layout.json").read_text())
    assert (document["status"], document["moving"]["outcome"]) == ("unmet", "unmet")
    assert document["controlled"]["outcome"] == "unmet"
    assert document["controller"] is not None
    sheets = (tmp_path / "bench/sheets.html").read_text()
    assert "SAFE, BUT NOT AS EXPECTED" in sheets
    assert "Not as expected: H to B with H to C." in sheets
    assert "Refuted, as trains move" not in sheets
    page = (tmp_path / "bench/page.html").read_text()
    assert 'class="status unmet"' in page
    assert "safe, but not as expected" in page
    assert "There is no controller here" not in page
    for made in files_in(tmp_path / "bench").values():
        assert b"UNPROVED" not in made


def test_an_undecided_layout_is_not_built(run: Run, layout, tmp_path: Path):
    status, _, err = run("build", layout(JUNCTION), "--out", "bench", "--time-limit", "0")
    assert status == 3
    assert "nothing is written" in err
    assert not (tmp_path / "bench").exists()


def test_the_status_of_a_process_is_the_status_of_the_command(layout):
    path = layout(FORGETFUL)
    assert by_itself("check", path).returncode == 1
    assert by_itself("check", path.parent / "none.crank").returncode == 2


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("chekc", "halt.crank"),
        ("check",),
        ("check", "halt.crank", "--time-limit", "soon"),
        ("check", "halt.crank", "--time-limit", "-1"),
        ("check", "halt.crank", "--no-such-option"),
        ("why", "halt.crank"),
        ("build", "halt.crank", "--target", "no-such-target"),
    ],
)
def test_a_mistake_on_the_command_line_has_status_two_and_is_told(
    arguments: tuple[str, ...], run: Run, layout
):
    layout(JUNCTION)
    status, out, err = run(*arguments)
    assert status == 2
    assert out == ""
    assert "bellcrank" in err
    assert "Traceback" not in err


def test_the_version_is_told(run: Run):
    status, out, _ = run("--version")
    assert status == 0
    assert re.fullmatch(r"bellcrank \d+\.\d+\.\d+\S*\n", out)


# ------------------------------------------------------------------------- help


def test_the_help_lists_the_commands_and_the_exit_statuses(run: Run):
    status, out, _ = run("--help")
    assert status == 0
    for command in COMMANDS:
        assert re.search(rf"^ +{command}( |$)", out, re.MULTILINE)
    assert "exit status:" in out
    assert "Not certified" in out


@pytest.mark.parametrize("command", COMMANDS)
def test_the_help_of_a_command_has_an_example(command: str, run: Run):
    status, out, _ = run(command, "--help")
    assert status == 0
    assert f"\n  bellcrank {command} " in out.split("examples:")[1]


# ----------------------------------------------------------------- files amiss


@pytest.mark.parametrize("command", ["check", "table", "build", "format"])
def test_a_missing_file_is_told_with_the_nearest_name(command: str, run: Run, layout):
    layout(JUNCTION)
    status, out, err = run(command, "hatl.crank")
    assert (status, out) == (2, "")
    assert "error E702: there is no file hatl.crank" in err
    assert "did you mean `halt.crank`?" in err


@pytest.mark.parametrize("command", ["check", "table", "build", "format"])
def test_a_folder_in_place_of_a_file_is_told(command: str, run: Run, tmp_path: Path):
    status, out, err = run(command, tmp_path)
    assert (status, out) == (2, "")
    assert "E702" in err


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes with names here")
def test_a_pipe_in_place_of_a_file_is_told_and_not_waited_for(tmp_path: Path):
    os.mkfifo(tmp_path / "pipe.crank")
    try:
        shown = subprocess.run(
            [sys.executable, "-m", "bellcrank", "check", str(tmp_path / "pipe.crank")],
            capture_output=True,
            timeout=60,
            stdin=subprocess.DEVNULL,
        )
    except subprocess.TimeoutExpired:
        pytest.fail("it waits for somebody to write into the pipe")
    assert shown.returncode == 2


def test_an_error_shows_its_line_with_a_caret_under_the_words(run: Run, layout):
    _, _, err = run("check", layout(FAULTY))
    lines = err.split("\n")
    assert lines[0] == "halt.crank:6:8: error E201: there is no signal `Q`"
    assert lines[1] == "  6 | signal Q shunt"
    assert lines[2] == "    |        ^"


def test_bad_bytes_give_an_error_and_no_traceback(tmp_path: Path):
    path = tmp_path / "bad.crank"
    path.write_bytes(b"run \xff\x00\x1b[31m")
    shown = by_itself("check", path)
    assert shown.returncode == 2
    assert "E102" in shown.stderr
    assert "Traceback" not in shown.stderr


# ------------------------------------------------------------- terminal, colours

ANSI = re.compile(r"\x1b")


@pytest.mark.parametrize("text", [t for t, _ in OUTCOMES.values()], ids=list(OUTCOMES))
def test_nothing_is_coloured_where_it_does_not_go_to_a_terminal(text: str, run: Run, layout):
    path = layout(text)
    for command in (("check", path), ("table", path), ("why", path, "H", "to", "B")):
        _, out, err = run(*command)
        assert not ANSI.search(out + err)


def on_a_terminal(*arguments: str | Path, **environment: str) -> str:
    """All that a command prints on a terminal."""
    pty = pytest.importorskip("pty")
    own, other = pty.openpty()
    clean = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "FORCE_COLOR")}
    process = subprocess.Popen(
        [sys.executable, "-m", "bellcrank", *map(str, arguments)],
        stdout=other,
        stderr=other,
        stdin=subprocess.DEVNULL,
        env=clean | {"TERM": "xterm-256color", "COLUMNS": "120"} | environment,
    )
    os.close(other)
    parts = []
    while True:
        try:
            part = os.read(own, 65536)
        except OSError:  # the far end is closed
            break
        if not part:
            break
        parts.append(part)
    os.close(own)
    process.wait(timeout=60)
    return b"".join(parts).decode("utf-8")


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_a_terminal_has_colours_unless_it_is_asked_for_none(layout):
    path = layout(FORGETFUL)
    assert "\x1b[1;31m" in on_a_terminal("check", path)
    plain = on_a_terminal("check", path, NO_COLOR="1")
    assert "verdict: refuted" in re.sub(r"\x1b\[[01]m", "", plain)  # bold is no colour
    assert not re.search(r"\x1b\[[0-9;]*3[0-9]", plain)


@pytest.mark.parametrize("where", ["title", "mistake"])
def test_a_layout_cannot_send_control_codes_to_the_terminal(where: str, run: Run, layout):
    text = {
        "title": JUNCTION.replace("Marsh", "\x1b]0;Marsh\x07\x1b[2J"),
        "mistake": JUNCTION + "run A - \x1b[2J\n",
    }[where]
    _, out, err = run("check", layout(text))
    assert not ANSI.search(out + err)


@pytest.mark.parametrize("path", SAME_TRACK_IN_CAMPAIGNS, ids=lambda p: p.stem)
def test_a_verdict_is_never_wider_than_a_hundred_columns(path: Path, run: Run):
    _, out, err = run("check", path)
    assert out
    assert max(map(len, (out + err).split("\n"))) <= 100


@pytest.mark.parametrize("path", SAME_TRACK_IN_CAMPAIGNS, ids=lambda p: p.stem)
def test_a_table_is_never_wider_than_a_hundred_columns(path: Path, run: Run):
    _, out, err = run("table", path)
    assert out
    told = err.replace(str(path), path.name)  # it may lie wherever it likes
    assert max(map(len, (out + told).split("\n"))) <= 100


@pytest.mark.parametrize("path", SAME_TRACK_IN_CAMPAIGNS, ids=lambda p: p.stem)
def test_why_is_never_wider_than_a_hundred_columns(path: Path, run: Run):
    _, out, _ = run("table", path, "--json")
    names = [route["name"] for route in json.loads(out)["routes"]]
    for arguments in ((names[0],), (names[-1],), (names[0], names[1]), (names[0], names[-1])):
        status, out, err = run("why", path, *arguments)
        assert (status, err) == (0, "")
        assert max(map(len, out.split("\n"))) <= 100


def test_a_route_with_a_long_name_fits_as_well(run: Run, layout):
    long = {"H": "H" * 40, "B": "B" * 60, "WEST": "W" * 50}
    text = re.sub(r"\b(H|B|WEST)\b", lambda m: long[m.group()], JUNCTION)
    for command in (
        ("check", layout(text)),
        ("table", layout(text)),
        ("why", layout(text), long["H"], "to", long["B"]),
    ):
        status, out, err = run(*command)
        assert status == 0
        assert max(map(len, (out + err).split("\n"))) <= 100


# ------------------------------------------------------------------------- JSON


@pytest.mark.parametrize("name", list(OUTCOMES))
def test_check_as_json_tells_the_status_the_diagnostics_and_the_verdict(
    name: str, run: Run, layout
):
    text, status = OUTCOMES[name]
    ended, out, err = run("check", layout(text), "--json")
    data = json.loads(out)
    assert (ended, err) == (status, "")
    assert data["status"] == name
    assert [d["code"] for d in data["diagnostics"]] == (["E201"] if status == 2 else [])
    assert (data["verdict"] is None) == (status == 2)


def test_a_diagnostic_as_json_has_its_place(run: Run, layout):
    _, out, _ = run("check", layout(FAULTY), "--json")
    (found,) = json.loads(out)["diagnostics"]
    assert (found["file"], found["line"], found["column"]) == ("halt.crank", 6, 8)
    assert (found["end_line"], found["end_column"]) == (6, 9)


def test_table_as_json_tells_the_routes_and_why_they_conflict(run: Run, layout):
    status, out, err = run("table", layout(JUNCTION), "--json")
    data = json.loads(out)
    assert (status, err, data["status"]) == (0, "", "proved")
    assert [r["name"] for r in data["routes"]] == ["H to B", "H to C", "S1 to WEST", "S2 to WEST"]
    assert len(data["conflicts"]) == 6


def test_table_as_json_of_a_faulty_layout_tells_the_diagnostics(run: Run, layout):
    status, out, _ = run("table", layout(FAULTY), "--json")
    assert (status, json.loads(out)["status"]) == (2, "error")


@pytest.mark.parametrize(
    ("routes", "conflict"),
    [(("H to B", "S1 to WEST"), True), (("S1 to WEST", "H to B"), True)],
)
def test_why_as_json_tells_the_reasons_for_two_routes(
    routes: tuple[str, str], conflict: bool, run: Run, layout
):
    status, out, err = run("why", layout(JUNCTION), *routes, "--json")
    data = json.loads(out)
    assert (status, err) == (0, "")
    assert data["routes"] == list(routes)
    assert data["conflict"] is conflict
    assert data["reasons"]


def test_why_as_json_of_one_route_tells_its_positions(run: Run, layout):
    status, out, _ = run("why", layout(JUNCTION), "H to C", "--json")
    assert status == 0
    assert json.loads(out)["name"] == "H to C"


def test_why_as_json_of_a_route_that_is_not_there_is_json_too(run: Run, layout):
    status, out, _ = run("why", layout(JUNCTION), "H to X", "--json")
    assert status == 2
    assert [d["code"] for d in json.loads(out)["diagnostics"]] == ["E401"]


@pytest.mark.parametrize("name", list(OUTCOMES))
def test_build_as_json_tells_the_status_and_the_files(name: str, run: Run, layout, tmp_path: Path):
    text, status = OUTCOMES[name]
    ended, out, _ = run("build", layout(text), "--out", "bench", "--json")
    data = json.loads(out)
    assert ended == status
    assert data["status"] == name
    assert {(tmp_path / f).name for f in data["files"]} == {
        Path(name).name for name in files_in(tmp_path / "bench")
    }


# ---------------------------------------------------------------------- build


def test_build_writes_its_files_and_names_them(run: Run, layout, tmp_path: Path):
    status, out, err = run("build", layout(JUNCTION), "--out", "bench")
    assert (status, err) == (0, "")
    *named, last = out.strip().split("\n")
    assert last == "status: proved"
    assert {str(Path(n).relative_to("bench")) for n in named} == set(files_in(tmp_path / "bench"))
    assert set(files_in(tmp_path / "bench")) == {
        "control-table.csv",
        "conflict-matrix.csv",
        "command-list.csv",
        "cancel-and-start-up.csv",
        "layout.json",
        "bellcrank-build.json",
    }
    rows = list(csv.DictReader(io.StringIO((tmp_path / "bench/control-table.csv").read_text())))
    assert len(rows) == 4


def test_build_without_a_folder_writes_to_one_named_after_the_layout(
    run: Run, layout, tmp_path: Path
):
    layout(JUNCTION)
    assert run("build", "halt.crank")[0] == 0
    assert files_in(tmp_path / "halt")


def test_build_may_write_one_target_alone(run: Run, layout, tmp_path: Path):
    assert run("build", layout(JUNCTION), "--out", "bench", "--target", "json")[0] == 0
    assert set(files_in(tmp_path / "bench")) == {"layout.json", "bellcrank-build.json"}


@pytest.mark.parametrize("path", TWO_BUILT, ids=lambda p: p.stem)
def test_two_builds_are_byte_for_byte_the_same(path: Path, run: Run, tmp_path: Path):
    for folder in ("one", "two"):
        run("build", path, "--out", folder, "--allow-unproved")
    assert files_in(tmp_path / "one")
    assert files_in(tmp_path / "one") == files_in(tmp_path / "two")


def test_a_build_is_the_same_in_another_process_from_another_folder(
    run: Run, layout, tmp_path: Path
):
    path = layout(JUNCTION)
    run("build", path, "--out", "one")
    (tmp_path / "elsewhere").mkdir()
    done = by_itself(
        "build", "../halt.crank", "--out", "../two",
        cwd=tmp_path / "elsewhere", env=os.environ | {"PYTHONHASHSEED": "17"},
    )  # fmt: skip
    assert done.returncode == 0
    assert files_in(tmp_path / "one") == files_in(tmp_path / "two")


@pytest.mark.parametrize("name", ["refuted", "unmet"])
def test_an_unproved_layout_is_not_built(name: str, run: Run, layout, tmp_path: Path):
    status, out, err = run("build", layout(OUTCOMES[name][0]), "--out", "bench")
    assert status == 1
    assert f"verdict: {name}" in out
    assert "nothing is written" in err
    assert not (tmp_path / "bench").exists()


def test_an_unproved_layout_may_be_built_and_each_file_says_unproved(
    run: Run, layout, tmp_path: Path
):
    status, out, _ = run("build", layout(FORGETFUL), "--out", "bench", "--allow-unproved")
    assert status == 1
    assert "status: UNPROVED" in out
    written = files_in(tmp_path / "bench")
    assert len(written) == 6
    for data in written.values():
        assert b"UNPROVED" in data


def test_an_undecided_layout_may_be_built_and_each_file_says_unproved(
    run: Run, layout, tmp_path: Path
):
    status, _, _ = run(
        "build", layout(JUNCTION), "--out", "bench", "--allow-unproved", "--time-limit", "0"
    )
    assert status == 3
    assert len(files_in(tmp_path / "bench")) == 6
    assert all(b"UNPROVED" in data for data in files_in(tmp_path / "bench").values())


def test_no_file_of_a_proved_layout_says_unproved(run: Run, layout, tmp_path: Path):
    run("build", layout(JUNCTION), "--out", "bench", "--allow-unproved")
    assert not any(b"UNPROVED" in data for data in files_in(tmp_path / "bench").values())


@pytest.mark.parametrize("flags", [(), ("--allow-unproved",)])
def test_a_layout_with_an_error_is_never_built(
    flags: tuple[str, ...], run: Run, layout, tmp_path: Path
):
    status, out, err = run("build", layout(FAULTY), "--out", "bench", *flags)
    assert (status, out) == (2, "")
    assert "E201" in err
    assert not (tmp_path / "bench").exists()


@pytest.mark.skipif(
    sys.platform == "win32" or os.geteuid() == 0, reason="this user may write everywhere"
)
def test_a_folder_that_may_not_be_written_is_told(run: Run, layout, tmp_path: Path):
    (tmp_path / "bench").mkdir(mode=0o500)
    status, _, err = run("build", layout(JUNCTION), "--out", "bench")
    assert status == 2
    assert "cannot be written" in err


def test_a_file_in_place_of_the_folder_is_told_and_left(run: Run, layout, tmp_path: Path):
    (tmp_path / "bench").write_text("mine")
    status, _, err = run("build", layout(JUNCTION), "--out", "bench")
    assert status == 2
    assert "cannot be written" in err
    assert (tmp_path / "bench").read_text() == "mine"


def test_a_folder_in_place_of_a_file_is_told_and_no_half_is_left(run: Run, layout, tmp_path: Path):
    (tmp_path / "bench" / "layout.json").mkdir(parents=True)
    status, _, err = run("build", layout(JUNCTION), "--out", "bench")
    assert status == 2
    assert "cannot be written" in err
    assert not list((tmp_path / "bench").rglob("*.part"))


# ----------------------------------------------------- a build that is cut short


@pytest.fixture
def built(run: Run, layout, tmp_path: Path) -> dict[str, bytes]:
    """The files of an earlier build of another layout."""
    layout(JUNCTION.replace("Marsh Halt", "Old Halt"))
    assert run("build", "halt.crank", "--out", "bench")[0] == 0
    layout(JUNCTION)
    return files_in(tmp_path / "bench")


@pytest.fixture
def built_tables(run: Run, layout, tmp_path: Path) -> dict[str, bytes]:
    """The same of the target that is made soonest, of four files."""
    layout(JUNCTION.replace("Marsh Halt", "Old Halt"))
    assert run("build", "halt.crank", "--out", "bench", "--target", "csv")[0] == 0
    layout(JUNCTION)
    return files_in(tmp_path / "bench")


def failing_at(count: int, real: Callable[..., Any]) -> Callable[..., Any]:
    """A function that fails the so-manieth time it is called."""
    calls = 0

    def call(*arguments: Any, **named: Any) -> Any:
        nonlocal calls
        calls += 1
        if calls == count:
            raise OSError(28, "No space left on device")
        return real(*arguments, **named)

    return call


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_a_disk_that_is_full_while_writing_leaves_the_old_files_whole(
    count: int, built_tables: dict[str, bytes], run: Run, tmp_path: Path, monkeypatch
):
    monkeypatch.setattr(os, "fsync", failing_at(count, os.fsync))
    status, out, err = run("build", "halt.crank", "--out", "bench", "--target", "csv")
    assert (status, out) == (2, "")
    assert "cannot be written: No space left on device" in err
    assert files_in(tmp_path / "bench") == built_tables  # and so no .part file either


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_a_file_that_cannot_be_put_in_its_place_leaves_all_files_old(
    count: int, built_tables: dict[str, bytes], run: Run, tmp_path: Path, monkeypatch
):
    """Where a folder of the user's own keeps the whole from being exchanged."""
    (tmp_path / "bench" / "mine").mkdir()
    run("build", "halt.crank", "--out", "new", "--target", "csv")
    assert files_in(tmp_path / "new") != built_tables
    monkeypatch.setattr(Path, "replace", failing_at(count, Path.replace))
    status, out, err = run("build", "halt.crank", "--out", "bench", "--target", "csv")
    assert (status, out) == (2, "")
    assert "cannot be written: No space left on device" in err
    assert files_in(tmp_path / "bench") == built_tables  # and so nothing half-written either


@pytest.mark.parametrize(
    ("step", "count"),
    [
        pytest.param("os.fsync", 1, marks=pytest.mark.campaign),
        ("os.fdopen", 2),
        pytest.param("os.fsync", 4, marks=pytest.mark.campaign),
        pytest.param("os.fdopen", 1, marks=pytest.mark.campaign),
        pytest.param("os.fsync", 2, marks=pytest.mark.campaign),
        pytest.param("os.fdopen", 4, marks=pytest.mark.campaign),
    ],
)
def test_a_build_that_is_killed_half_way_leaves_the_old_files_whole(
    step: str, count: int, built_tables: dict[str, bytes], run: Run, tmp_path: Path
):
    owner, _, name = step.rpartition(".")
    killed = textwrap.dedent(
        f"""
        import os, pathlib, signal, sys
        real, calls = {owner}.{name}, 0
        def deadly(*arguments, **named):
            global calls
            calls += 1
            if calls == {count}:
                os.kill(os.getpid(), signal.SIGKILL)
            return real(*arguments, **named)
        {owner}.{name} = deadly
        from bellcrank.commands.cli import main
        sys.exit(main(["build", "halt.crank", "--out", "bench", "--target", "csv"]))
        """
    )
    done = subprocess.run([sys.executable, "-c", killed], cwd=tmp_path, timeout=60)
    assert done.returncode == -signal.SIGKILL
    assert files_in(tmp_path / "bench") == built_tables
    # The next build clears up what the dead one left lying beside the folder.
    assert run("build", "halt.crank", "--out", "bench", "--target", "csv")[0] == 0
    assert {path.name for path in tmp_path.iterdir()} == {"bench", "halt.crank"}
    assert run("build", "halt.crank", "--out", "new", "--target", "csv")[0] == 0
    assert files_in(tmp_path / "bench") == files_in(tmp_path / "new") != built_tables


# ------------------------------------------------- what lies in the folder already


@pytest.mark.usefixtures("built")
def test_a_file_of_another_source_is_removed_and_that_is_told(run: Run, tmp_path: Path):
    status, _, err = run("build", "halt.crank", "--out", "bench", "--target", "json")
    assert status == 0
    assert set(files_in(tmp_path / "bench")) == {"layout.json", "bellcrank-build.json"}
    csv_files = ("control-table", "conflict-matrix", "command-list", "cancel-and-start-up")
    for name in csv_files:
        assert (
            f"bench/{name}.csv is removed: an earlier build wrote it, of another source or verdict"
        ) in err


@pytest.mark.usefixtures("built")
def test_as_json_it_is_told_what_was_removed_and_what_is_left(run: Run, tmp_path: Path):
    (tmp_path / "bench" / "control-table.csv").write_text("corrected by hand")
    _, out, _ = run("build", "halt.crank", "--out", "bench", "--target", "json", "--json")
    data = json.loads(out)
    assert data["files"] == ["bench/layout.json", "bench/bellcrank-build.json"]
    assert len(data["removed"]) == 3
    assert data["left"] == ["bench/control-table.csv"]
    assert (tmp_path / "bench" / "control-table.csv").read_text() == "corrected by hand"


def test_another_target_of_the_same_source_is_built_beside_the_first(
    run: Run, layout, tmp_path: Path
):
    layout(JUNCTION)
    assert run("build", "halt.crank", "--out", "bench", "--target", "csv")[0] == 0
    first = files_in(tmp_path / "bench")
    status, _, err = run("build", "halt.crank", "--out", "bench", "--target", "json")
    assert (status, err) == (0, "")
    assert files_in(tmp_path / "bench").keys() == {*first, "layout.json"}


def test_a_target_does_not_write_through_a_link_in_the_folder(run: Run, layout, tmp_path: Path):
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "target.toml").write_text(
        'context = 1\n[[files]]\npath = "cards/one.txt"\ntemplate = "it.jinja"\n'
    )
    (tmp_path / "own" / "it.jinja").write_text("{{ status }}")
    (tmp_path / "bench").mkdir()
    (tmp_path / "outside").mkdir()
    (tmp_path / "bench" / "cards").symlink_to(tmp_path / "outside")
    status, out, err = run("build", layout(JUNCTION), "--out", "bench", "--target", "own")
    assert (status, out) == (2, "")
    assert "bench/cards/one.txt cannot be written: bench/cards is a link" in err
    assert files_in(tmp_path / "outside") == {}


def test_obligations_of_another_source_do_not_stay_beside_new_ones(
    run: Run, layout, tmp_path: Path
):
    run("check", layout(JUNCTION + "run edge EAST - D - >J - E - stop\n"), "--obligations", "smt")
    assert run("check", layout(JUNCTION), "--obligations", "again")[0] == 0
    assert run("check", layout(JUNCTION), "--obligations", "smt")[0] == 0
    assert files_in(tmp_path / "smt") == files_in(tmp_path / "again")


def test_a_link_to_a_layout_stays_a_link_when_it_is_formatted(run: Run, layout, tmp_path: Path):
    layout(JUNCTION.replace("points P1", "points   P1"))
    (tmp_path / "link.crank").symlink_to("halt.crank")
    assert run("format", "link.crank", "--write")[0] == 0
    assert (tmp_path / "link.crank").is_symlink()
    assert (tmp_path / "halt.crank").read_text() == JUNCTION


# ------------------------------------------------------------------------- why


@pytest.mark.parametrize(
    "words",
    [
        ("H to B", "S1 to WEST"),
        ("H", "to", "B", "S1", "to", "WEST"),
        ("H to B S1 to WEST",),
        ("H to B", "S1", "to", "WEST"),
    ],
)
def test_why_takes_routes_with_quotes_and_without(words: tuple[str, ...], run: Run, layout):
    status, out, err = run("why", layout(JUNCTION), *words)
    assert (status, err) == (0, "")
    assert out.startswith("H to B and S1 to WEST conflict: they meet head-on in P1")


def test_why_of_one_route_shows_what_it_needs_and_what_it_keeps_out(run: Run, layout):
    status, out, _ = run("why", layout(JUNCTION), "H", "to", "C")
    assert status == 0
    assert "P1 diverging" in out
    assert "3 conflicting routes" in out


APART = JUNCTION + "run edge EAST - D - >J - E - stop\nroute NAMED = J to E\n"


@pytest.mark.parametrize("words", [("H to B", "J to E"), ("H to B", "NAMED"), ("NAMED H to B",)])
def test_why_says_that_two_routes_may_run_together(words: tuple[str, ...], run: Run, layout):
    status, out, _ = run("why", layout(APART), *words)
    assert status == 0
    assert "may run together" in out


def test_why_finds_a_route_by_via_and_calling_on(run: Run, layout):
    text = (
        "points P1, P2\nrun edge WEST - A - >H - P1.toe\nrun P1.straight - M - P2.straight\n"
        "run P1.diverging - N - P2.diverging\nrun P2.toe - B - stop\n"
        "route CALL = H to B via N calling on\n"
    )
    words = "H to B via M H to B via N calling on"
    status, out, err = run("why", layout(text), *words.split())
    assert (status, err) == (0, "")
    assert out.startswith("H to B via M and CALL conflict:")


def test_why_passes_over_an_and_between_two_routes(run: Run, layout):
    file = layout(JUNCTION)
    status, out, err = run("why", file, *"H to B and S1 to WEST".split())
    assert (status, err) == (0, "")
    assert out == run("why", file, *"H to B S1 to WEST".split())[1]


def test_why_takes_an_and_for_a_route_that_is_called_so(run: Run, layout):
    status, _, err = run(
        "why", layout(JUNCTION + "route and = H to B\n"), *"and S1 to WEST".split()
    )
    assert (status, err) == (0, "")


def test_why_of_an_unknown_route_has_a_caret_and_a_suggestion(run: Run, layout):
    text = JUNCTION.replace("B -", "PLATFORM -")
    status, out, err = run("why", layout(text), "S1 to WEST", "H to PLATFROM")
    assert (status, out) == (2, "")
    lines = err.split("\n")
    assert lines[0] == "command line:1:12: error E401: there is no route `H to PLATFROM`"
    assert lines[1] == "  1 | S1 to WEST H to PLATFROM"
    assert lines[2] == "    |            ^^^^^^^^^^^^^"
    assert "  try: did you mean `PLATFORM`?" in lines


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ("H to B H to C S1 to WEST", "these words name 3 routes"),
        ("H to B H to B", "these are one and the same route"),
        ("NAMD", "there is no route `NAMD`"),
        ("H to", "there is no route"),
        ("Z to B", "there is no route `Z to B`"),
    ],
)
def test_why_tells_what_is_wrong_with_its_words(words: str, message: str, run: Run, layout):
    status, out, err = run("why", layout(APART), *words.split())
    assert (status, out) == (2, "")
    assert message in err
    assert "^" in err


@pytest.mark.parametrize("command", ["why", "commands"])
@pytest.mark.parametrize("words", ["", " "])
def test_words_that_are_blank_name_no_route(command: str, words: str, run: Run, layout):
    status, out, err = run(command, layout(APART), words)
    assert (status, out) == (2, "")
    assert "error E402: these words name 0 routes" in err


def test_why_of_a_route_that_can_go_two_ways_asks_which(run: Run, layout):
    text = (
        "points P1, P2\nrun edge WEST - A - >H - P1.toe\nrun P1.straight - M - P2.straight\n"
        "run P1.diverging - N - P2.diverging\nrun P2.toe - B - stop\n"
    )
    status, _, err = run("why", layout(text), "H to B")
    assert status == 2
    assert "try: say which: `H to B via M`" in err


def test_why_of_a_faulty_layout_tells_its_errors(run: Run, layout):
    status, out, err = run("why", layout(FAULTY), "H to B")
    assert (status, out) == (2, "")
    assert "E201" in err


# ---------------------------------------------------------------------- format

UNTIDY = """\
# The head of the file.

layout   "Marsh Halt"   # its title
points P1
run   edge WEST-A->H-P1.toe    # in
run P1.straight -<S1-B -stop
# before the last run
run P1.diverging - <S2 - C - stop
# the end
"""


def test_format_prints_the_usual_form_and_keeps_every_comment(run: Run, layout):
    path = layout(UNTIDY)
    status, out, err = run("format", path)
    assert (status, err) == (0, "")
    assert "run edge WEST - A - >H - P1.toe" in out
    for comment in re.findall(r"#.*", UNTIDY):
        assert comment in out
    assert path.read_text() == UNTIDY


def test_format_with_write_changes_the_file_once_and_no_more(run: Run, layout, tmp_path: Path):
    path = layout(UNTIDY)
    _, usual, _ = run("format", path)
    assert run("format", path, "--write") == (0, "", "")
    assert path.read_text() == usual
    before = path.stat().st_mtime_ns
    assert run("format", path, "--write") == (0, "", "")
    assert path.stat().st_mtime_ns == before
    assert run("format", path)[1] == usual
    assert [p.name for p in tmp_path.iterdir()] == ["halt.crank"]


@pytest.mark.parametrize("flags", [(), ("--write",)])
def test_format_of_a_file_that_cannot_be_read_leaves_it_alone(
    flags: tuple[str, ...], run: Run, layout
):
    path = layout(UNTIDY + "run A B\n")
    status, out, err = run("format", path, *flags)
    assert (status, out) == (2, "")
    assert "E101" in err
    assert path.read_text() == UNTIDY + "run A B\n"


def test_format_does_not_need_the_files_that_are_used(run: Run, layout):
    status, out, _ = run("format", layout('use   "missing.crank"\n'))
    assert (status, out) == (0, 'use "missing.crank"\n')


def test_format_with_numbers_states_what_was_chosen_in_all_files(
    run: Run, layout, tmp_path: Path
) -> None:
    (tmp_path / "bench.crank").write_text(
        "decoder kind quad { outputs 4 }\ndecoder K1   quad # ours\nsignal S1 = quad\n"
    )
    path = layout(JUNCTION + 'use "bench.crank"\ndrive P1 = quad   # the points\n')
    status, out, err = run("format", path, "--with-numbers")
    assert status == 0
    assert out.endswith("drive P1 = K1.2  # the points\n")
    assert "numbers are left open in bench.crank too" in err
    assert run("format", path, "--with-numbers", "--write") == (0, "", "")
    assert (tmp_path / "bench.crank").read_text() == (
        "decoder kind quad { outputs 4 }\ndecoder K1   quad at 1 # ours\nsignal S1 = K1.1\n"
    )
    assert path.read_text() == out
    assert run("format", path, "--with-numbers", "--write") == (0, "", "")
    assert path.read_text() == out


def test_format_with_numbers_of_a_faulty_layout_leaves_it_alone(run: Run, layout) -> None:
    text = JUNCTION + "drive P1 = quad\n"
    path = layout(text)
    status, out, err = run("format", path, "--with-numbers", "--write")
    assert (status, out) == (2, "")
    assert "quad" in err
    assert path.read_text() == text


def test_format_write_that_fails_leaves_the_file_whole(
    run: Run, layout, tmp_path: Path, monkeypatch
):
    path = layout(UNTIDY)
    monkeypatch.setattr(os, "fsync", failing_at(1, os.fsync))
    status, _, err = run("format", path, "--write")
    assert status == 2
    assert "cannot be written" in err
    assert path.read_text() == UNTIDY
    assert [p.name for p in tmp_path.iterdir()] == ["halt.crank"]


# --------------------------------------------------------------------- explain


def test_explain_lists_every_code_with_its_title(run: Run):
    status, out, _ = run("explain")
    assert status == 0
    codes, rest = out.split("\n\nwords of a verdict:\n")
    words, assumed = rest.split("\n\nwhat a verdict assumes:\n")
    assert codes.split("\n") == [f"{code}  {pages()[code]['title']}" for code in sorted(pages())]
    assert [row.split()[0] for row in words.splitlines()] == list(verdict_words())
    assert assumed.splitlines() == list(assumption_pages())


@pytest.mark.parametrize("code", ["E311", "e311"])
def test_explain_shows_the_page_of_a_code(code: str, run: Run):
    status, out, _ = run("explain", code)
    assert status == 0
    assert out.startswith("E311: an end of track left open\n")
    assert out.index("Faulty:") < out.index("Put right (*):")


@pytest.mark.parametrize("word", ["undecided", "Refuted"])
def test_explain_shows_what_a_word_of_a_verdict_means_and_what_to_do(word: str, run: Run):
    status, out, _ = run("explain", word)
    assert status == 0
    assert out.startswith(f"{word.lower()}: {verdict_words()[word.lower()].title}\n\n")


def test_every_word_that_a_verdict_has_is_explained():
    outcomes = {*get_args(Conclusion), *get_args(MovingOutcome), "holds", "fails"}
    assert set(verdict_words()) == outcomes


@pytest.mark.parametrize("words", [("no way back",), ("No", "way", "back")])
def test_explain_tells_of_what_a_verdict_assumes_and_what_if_it_is_not_so(
    words: tuple[str, ...], run: Run
):
    status, out, _ = run("explain", *words)
    assert status == 0
    assert out.startswith("no way back: assumed, not proved\n\nNo train goes back the way it came")
    assert "\nIf that is not so: it comes out over points" in out


def test_explain_tells_of_assumptions_what_the_reference_does():
    rows = (REFERENCE.read_text("utf-8").split("### What it assumes")[1]).splitlines()
    told = [tuple(row.strip("| ").split(" | ")) for row in rows if row.count(" | ") == 2]
    told = [row for row in told if row[0] != "name"]
    pages = assumption_pages()
    assert [name for name, _, _ in told] == list(pages)
    for name, assumed, if_false in told:
        first, second = pages[name].paragraphs
        assert first[1:] == f"{assumed}."[1:]
        assert second == f"If that is not so: {if_false}."


def test_all_that_can_be_assumed_is_explained():
    assert {*ASSUMPTIONS, *OF_REPORTS} == set(assumption_pages())


def test_explain_of_a_misspelt_word_asks_whether_another_is_meant(run: Run):
    assert "did you mean `undecided`?" in run("explain", "undecidet")[2]


def test_explain_of_an_unknown_code_has_status_two(run: Run):
    status, out, err = run("explain", "E999")
    assert (status, out) == (2, "")
    assert "there is no error E999" in err


# -------------------------------------------------------------------- the rest


def test_a_reader_that_goes_away_is_no_error(layout):
    path = layout(JUNCTION)
    done = subprocess.run(
        f'"{sys.executable}" -m bellcrank table "{path}" | true',
        shell=True,
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert "Traceback" not in done.stderr


def test_output_goes_through_where_the_locale_knows_no_dashes(layout):
    """The tables use signs that ASCII has not."""
    shown = by_itself(
        "table", layout(JUNCTION), env=os.environ | {"PYTHONIOENCODING": "ascii", "LC_ALL": "C"}
    )
    assert shown.returncode == 0
    assert "Traceback" not in shown.stderr


@pytest.mark.parametrize(
    ("text", "options"),
    [(JUNCTION, ["--json"]), (FORGETFUL, [])],
    ids=["proved, as JSON", "refuted"],
)
def test_a_reader_that_goes_away_is_not_taken_for_a_verdict(
    text: str, options: list[str], layout: Callable[[str], Path]
):
    command = [sys.executable, "-m", "bellcrank", "check", str(layout(text))]
    run = subprocess.Popen([*command, *options], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert run.stdout is not None
    run.stdout.close()
    _, errors = run.communicate(timeout=60)
    assert run.returncode == 141
    assert b"Traceback" not in errors


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no full device here")
def test_output_that_cannot_be_written_is_told_and_is_no_verdict():
    command = [sys.executable, "-m", "bellcrank", "check"]
    with Path("/dev/full").open("w") as full:
        run = subprocess.run(
            [*command, str(FOLDER / "harbour-terminus.crank")],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
        )
    assert run.returncode == 2
    assert run.stderr == "bellcrank: the output cannot be written: No space left on device\n"


def test_a_file_of_the_package_that_is_not_there_is_told_by_its_name(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
):
    monkeypatch.setattr(resources, "files", lambda _: tmp_path)
    layout_parser.cache_clear()
    assert main(["check", str(FOLDER / "harbour-terminus.crank")]) == 2
    assert capsys.readouterr().err == (
        f"bellcrank: {tmp_path / 'layout.lark'}: No such file or directory\n"
    )


def test_a_terminal_of_sixty_columns_gets_lines_of_sixty(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    monkeypatch.setenv("COLUMNS", "60")
    for command in ("check", "table"):
        main([command, str(FOLDER / "harbour-terminus.crank")])
    assert max(map(len, capsys.readouterr().out.splitlines())) <= 60


def test_why_asks_the_locking_before_it_says_that_routes_may_run_together(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
):
    layout = tmp_path / "two.crank"
    layout.write_text(
        "run edge W - A - >H - B - edge E\nrun edge V - C - >J - D - edge F\n"
        "locking derive { H to E locks J to F }\n"
    )
    assert main(["why", str(layout), "H to E", "J to F"]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "may run together" not in out
    assert "A written rule keeps them apart: H to E locks J to F (two.crank:3:31)." in out


# ------------------------------------------------------------ the moving proof

NOTEBOOK = """\
double slip S with one drive
run edge WEST - A - >W - S.a1
run edge YARD - B - >Y - S.b1
run S.a2 - C - edge NORTH
run S.b2 - D - edge SOUTH

locking written {
  every route needs its positions     # from the notebook
  every route needs its sections clear

  only one of W to NORTH, W to SOUTH
  only one of Y to NORTH, Y to SOUTH
  W to SOUTH locks Y to NORTH  # both slip roads
}
# the end
"""


def test_check_tells_how_trains_meet_and_the_rule_that_is_missing(run: Run, layout) -> None:
    status, out, _ = run("check", layout(NOTEBOOK))
    assert status == 1
    assert "refuted   no section ever holds two trains" in out
    assert "So two trains meet in S." in out
    assert "missing rule: W to NORTH locks Y to SOUTH" in out


def test_check_fix_adds_the_missing_rule_and_keeps_all_else(run: Run, layout) -> None:
    path = layout(NOTEBOOK)
    status, out, _ = run("check", path, "--fix")
    assert status == 0
    assert "verdict: proved" in out
    changed = Path(path).read_text("utf-8")
    added = [line for line in changed.split("\n") if line not in NOTEBOOK.split("\n")]
    assert added == ["  # added by bellcrank check --fix", "  W to NORTH locks Y to SOUTH"]
    assert [line for line in changed.split("\n") if line not in added] == NOTEBOOK.split("\n")
    status, out, _ = run("check", path, "--fix")
    assert status == 0 and "nothing to fix" in out
    assert Path(path).read_text("utf-8") == changed


def test_check_in_json_carries_the_story_as_events_of_the_machine(run: Run, layout) -> None:
    status, out, _ = run("check", layout(NOTEBOOK), "--json")
    assert status == 1
    results = {r["name"]: r for r in json.loads(out)["moving"]["results"]}
    assert results["meetings"]["outcome"] == "refuted"
    assert results["meetings"]["story"]["steps"][-1]["event"].startswith("meets ")
    assert results["drives"]["outcome"] == "proved"


def test_recheck_names_both_solvers(run: Run, layout) -> None:
    pytest.importorskip("cvc5")
    status, out, _ = run("check", layout(JUNCTION), "--recheck")
    assert status == 0
    assert re.search(r"verdict: proved by z3 \S+, every obligation again by cvc5", out)


def test_obligations_are_written_as_files_that_z3_answers_unsat(
    run: Run, layout, tmp_path: Path
) -> None:
    status, _, _ = run("check", layout(JUNCTION), "--obligations", str(tmp_path / "smt"))
    assert status == 0
    files = sorted((tmp_path / "smt").glob("*.smt2"))
    assert len(files) > 30
    for path in files[:20]:
        solver = z3.Solver()
        solver.from_file(str(path))
        assert solver.check() == z3.unsat
