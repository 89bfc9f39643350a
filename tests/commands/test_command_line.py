"""The words of the command line: what is wrong with them is told, and shells complete them."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from importlib import metadata
from pathlib import Path

import pytest

from bellcrank.commands.cli import main
from bellcrank.commands.declaring import Duration
from bellcrank.commands.listing import COMMANDS
from bellcrank.commands.route_words import next_words

HALT = """\
layout "Marsh Halt"
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
"""


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Run a command beside `halt.crank`; gives status, output and messages."""
    monkeypatch.chdir(tmp_path)
    Path("halt.crank").write_text(HALT, "utf-8")

    def command(*arguments: str) -> tuple[int, str, str]:
        status = main(arguments)
        said = capsys.readouterr()
        return status, said.out, said.err

    return command


# ------------------------------------------------------------------------ mistakes


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("", "bellcrank: name a command: new, check, build,"),
        ("chekc halt.crank", "bellcrank: there is no command `chekc`; did you mean `check`?"),
        ("sing", "bellcrank: there is no command `sing`"),
        ("prove halt.crank", "bellcrank: there is no command `prove`; try `bellcrank check`"),
        ("init", "bellcrank: there is no command `init`; try `bellcrank new`"),
        ("check halt.crank --jsno", "there is no option `--jsno`; did you mean `--json`?"),
        ("picture halt.crank --outt x.svg", "no option `--outt`; did you mean `--out`?"),
        ("check halt.crank --nothing", "bellcrank check: there is no option `--nothing`"),
        ("check", "bellcrank check: FILE is missing"),
        ("why halt.crank", "bellcrank why: ROUTE is missing"),
        ("check halt.crank more", "bellcrank check: `more` is not expected here"),
        ("check halt.crank --time-limit soon", "`soon` is not a time: write seconds, such as `90`"),
        ("check halt.crank --time-limit nan", "--time-limit: `nan` is not a time: write seconds,"),
        ("check halt.crank --time-limit -1", "--time-limit: `-1` is not a time: write seconds,"),
        ("check halt.crank --time-limit 5m", "`m` is not a unit of time here; did you mean `5min`"),
        (
            "check halt.crank --time-limit 5sec",
            "`sec` is not a unit of time here; did you mean `5s`",
        ),
        ("check halt.crank --time-limit 1h", "`h` is not a unit of time here; `ms`, `s` and `min`"),
        ("check halt.crank --time-limit 9999999999", "`9999999999` is too long a time"),
        ("check halt.crank --fix --spare", "--spare is not allowed with --fix"),
        ("picture halt.crank --story meeting", "did you mean `meetings`?"),
        ("completion bahs", "SHELL: `bahs` is not one of bash, zsh, fish; did you mean `bash`?"),
        ("commands halt.crank", "ROUTE is missing"),
        ("build halt.crank --target sheet", "`sheet`: give a folder or one of csv, events,"),
        ("build halt.crank --target sheet", "variables; did you mean `sheets`?"),
        ("why halt.crank H B", "try: write `H to B`"),
    ],
)
def test_a_mistake_is_told_in_plain_words_with_what_is_nearest(run, words: str, said: str) -> None:
    status, out, err = run(*words.split())
    assert (status, out) == (2, "")
    assert said in err
    assert "Traceback" not in err


@pytest.mark.parametrize("option", ["--out", "--output"])
@pytest.mark.parametrize(
    ("words", "written"),
    [
        (["picture", "halt.crank"], "p.svg"),
        (["build", "halt.crank", "--target", "csv"], "folder"),
        (["rehearse", "halt.crank", "--find", "B occupied"], "moves.rehearsal"),
    ],
)
def test_where_to_write_is_said_in_the_same_way_to_every_command(
    run, words: list[str], written: str, option: str
) -> None:
    assert run(*words, option, written)[0] == 0
    assert Path(written).exists()


@pytest.mark.parametrize("command", ["build", "send", "commission", "run"])
def test_an_option_by_its_other_name_is_not_listed_twice(run, command: str) -> None:
    said = run(command, "--help")[1]
    assert ("--allow-unproved" in said) != ("--although-unproved" in said)


def test_a_layout_that_is_not_proved_may_be_built_by_the_word_that_other_commands_have(run) -> None:
    Path("halt.crank").write_text(HALT + "locking written { H to B needs P1 straight }\n")
    words = ("build", "halt.crank", "--target", "csv", "--out", "folder")
    assert run(*words)[0] == 1 and not Path("folder").exists()
    assert run(*words, "--although-unproved")[0] == 1 and Path("folder").exists()


WARNED = HALT.replace("<S2 - C", "<S2 - >S3 - C")
"""Of which there is something to warn."""


@pytest.mark.parametrize(
    "words",
    [
        ("table", "halt.crank"),
        ("compare", "halt.crank", "halt.crank"),
        ("rehearse", "halt.crank", "--find", "B occupied"),
        ("picture", "halt.crank"),
        ("commands", "halt.crank", "H to B"),
        ("commission", "halt.crank"),
    ],
)
def test_warnings_are_told_in_full_by_check_and_counted_elsewhere(
    run, words: tuple[str, ...]
) -> None:
    Path("halt.crank").write_text(WARNED, "utf-8")
    in_full = run("check", "halt.crank")[2]
    number = in_full.count("warning W")
    assert number
    err = run(*words)[2]
    assert "warning W" not in err
    shows = "warning; `bellcrank check halt.crank` shows it"
    if number > 1:
        shows = "warnings; `bellcrank check halt.crank` shows them"
    assert err.count(f"bellcrank: {number} {shows}\n") == 1


@pytest.mark.parametrize("words", ["send --ye", "send --li", "commission --y", "check --js"])
def test_an_option_must_be_written_out_so_that_none_is_taken_for_another(run, words: str) -> None:
    """Once `--ye` sent without asking."""
    command, option = words.split()
    status, out, err = run(command, "halt.crank", option)
    assert (status, out) == (2, "")
    assert f"there is no option `{option}`" in err


@pytest.mark.parametrize(
    "words",
    [
        ("build", "halt.crank", "--out", ""),
        ("check", "halt.crank", "--obligations", ""),
        ("picture", "halt.crank", "--out", ""),
        ("send", "halt.crank", "H to B", "--log", ""),
        ("check", ""),
        ("format", ""),
    ],
)
def test_an_empty_path_is_not_the_current_folder(run, words: tuple[str, ...]) -> None:
    before = set(Path().iterdir())
    status, out, err = run(*words)
    assert (status, out) == (2, "")
    assert "it is empty: name a f" in err
    assert set(Path().iterdir()) == before


@pytest.mark.parametrize("place", [".", "..", "./"])
def test_a_folder_in_place_of_a_layout_is_called_by_what_was_typed(run, place: str) -> None:
    status, _, err = run("check", place)
    assert status == 2
    assert f"{Path(place)} is a folder, not a layout" in err


def test_of_a_folder_with_one_layout_that_is_named(run) -> None:
    Path("railway").mkdir()
    assert "try:" not in run("check", "railway")[2]
    Path("railway/quay.crank").write_text(HALT, "utf-8")
    err = run("check", "railway")[2]
    assert f"try: name the file in it: `{Path('railway/quay.crank')}`" in err


@pytest.mark.parametrize(
    ("typed", "meant"),
    [("hatl.crank", "halt.crank"), ("halt.crnk", "halt.crank"), ("halt", "halt.crank")],
)
def test_of_a_missing_layout_the_nearest_in_its_folder_is_told(run, typed: str, meant: str) -> None:
    assert f"did you mean `{meant}`?" in run("check", typed)[2]


@pytest.mark.parametrize("typed", ["terminus.crank", "x.crank", "other/halt.crank"])
def test_of_a_missing_layout_no_other_is_told_that_has_nothing_to_do_with_it(
    run, typed: str
) -> None:
    err = run("check", typed)[2]
    assert "there is no file" in err
    assert "did you mean" not in err


def test_a_second_solver_that_is_not_there_is_told(run, monkeypatch) -> None:
    def version(name: str) -> str:
        raise metadata.PackageNotFoundError(name)

    monkeypatch.setattr(metadata, "version", version)
    status, out, err = run("check", "halt.crank", "--recheck")
    assert (status, out) == (2, "")
    assert "cvc5" in err and "Traceback" not in err


# ---------------------------------------------------------------------------- JSON


def test_the_files_of_a_build_are_told_after_what_every_command_tells(run) -> None:
    _, out, _ = run("build", "halt.crank", "--out", "bench", "--json")
    told = ["status", "diagnostics", "verdict", "moving", "controlled"]
    told += ["files", "removed", "left"]
    assert list(json.loads(out)) == told


@pytest.mark.parametrize(
    "words",
    [("send", "halt.crank", "H to B"), ("commission", "halt.crank"), ("send", "nothing.crank")],
)
def test_with_json_all_that_is_told_on_the_way_goes_to_standard_error(
    run, words: tuple[str, ...]
) -> None:
    _, out, err = run(*words, "--json")
    assert json.loads(out)["status"] in ("proved", "error")
    assert err


# ---------------------------------------------------------------------- completion


@pytest.fixture
def shell_folder(tmp_path: Path) -> Path:
    """A folder with a layout, and with the command on its own path."""
    (tmp_path / "halt.crank").write_text(HALT, "utf-8")
    (tmp_path / "bin").mkdir()
    program = tmp_path / "bin" / "bellcrank"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m bellcrank "$@"\n', "utf-8")
    program.chmod(0o755)
    return tmp_path


def in_bash(folder: Path, line: str) -> list[str]:
    """What bash offers at the end of a line."""
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("there is no bash here")
    words = line.split(" ")
    quoted = " ".join(f"'{word}'" for word in words)
    script = f"""
    eval "$(bellcrank completion bash)"
    complete -p bellcrank > /dev/null || exit 9
    compopt() {{ echo "files by $2"; }}  # which only works at a prompt
    COMP_WORDS=({quoted}); COMP_CWORD={len(words) - 1}
    _bellcrank_completion bellcrank
    printf '%s\\n' "${{COMPREPLY[@]}}"
    """
    done = subprocess.run(
        [bash, "--norc", "-c", script],
        cwd=folder,
        env=os.environ | {"PATH": f"{folder / 'bin'}{os.pathsep}{os.environ['PATH']}"},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return [word for word in done.stdout.split("\n") if word]


@pytest.mark.parametrize(
    ("line", "offered"),
    [
        ("bellcrank c", ["check", "compare", "commands", "commission", "completion"]),
        ("bellcrank send halt.crank --dr", ["--drive", "--drives-now"]),
        ("bellcrank explain E33", ["E331", "E332"]),
        ("bellcrank build halt.crank --target cs", ["csv"]),
        ("bellcrank picture halt.crank --signals ", ["left", "right"]),
        ("bellcrank why halt.crank H to ", ["B", "C"]),
        ("bellcrank check ha", ["files by default"]),
        ("bellcrank build halt.crank --out b", ["files by dirnames"]),
    ],
)
def test_bash_completes_commands_options_and_their_values(
    shell_folder: Path, line: str, offered: list[str]
) -> None:
    assert in_bash(shell_folder, line) == offered


@pytest.mark.parametrize(
    ("given", "then"),
    [
        ("", ["H", "J"]),
        ("H", ["to"]),
        ("H to", ["B", "C"]),
        ("H to B", ["H", "J", "via"]),
        ("H to B J", ["to"]),
        ("H to B via M", ["H", "J"]),
        ("X", []),
    ],
)
def test_the_words_of_routes_go_on_as_routes_are_called(given: str, then: list[str]) -> None:
    names = ["H to B", "H to B via M", "H to C", "J to D"]
    assert sorted(next_words(tuple(given.split()), names)) == then


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_each_shell_gets_a_script_that_asks_the_command(run, shell: str) -> None:
    status, out, _ = run("completion", shell)
    assert status == 0
    assert f"_BELLCRANK_COMPLETE={shell}_complete" in out


@pytest.mark.parametrize(
    ("shell", "instruction", "shape"),
    [("zsh", "zsh_complete", "plain\n{}\n"), ("fish", "fish_complete", "plain")],
)
def test_the_other_shells_are_answered_in_their_own_shape(
    run, monkeypatch, shell: str, instruction: str, shape: str
) -> None:
    monkeypatch.setenv("_BELLCRANK_COMPLETE", instruction)
    monkeypatch.setenv("COMP_WORDS", "bellcrank pict")
    monkeypatch.setenv("COMP_CWORD", "pict" if shell == "fish" else "1")
    status, out, _ = run()
    assert status == 0
    assert shape.format("picture") in out and "picture" in out


def test_the_list_of_commands_is_told_without_loading_what_they_need() -> None:
    """A shell asks at each press of a key."""
    asked = (
        "import sys; from bellcrank.commands.cli import main; "
        "main(['--version']); main(['chekc']); "
        "print(sorted({'z3', 'scipy', 'networkx', 'lark'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True)
    assert done.stdout.split("\n")[1] == "[]", done.stderr


@pytest.mark.parametrize(
    ("words", "libraries"),
    [
        ("build nothing.crank", "scipy bellcrank.compilation bellcrank.proof.moving.solving"),
        ("check nothing.crank --scheduler tcp://127.0.0.1:9", "distributed"),
        pytest.param(
            "check nothing.crank --scheduler=tcp://127.0.0.1:9",
            "distributed",
            marks=pytest.mark.campaign,
        ),
    ],
)
def test_a_command_is_loaded_before_ctrl_c_may_be_caught_in_the_midst_of_it(
    words: str, libraries: str
) -> None:
    """A library that is left half loaded does as it likes."""
    if libraries == "distributed":
        pytest.importorskip(libraries)
    asked = f"""if True:
        import signal, sys

        class Watches:
            def find_spec(self, name, path, target=None):
                if name in {libraries.split()!r}:
                    print(name, signal.getsignal(signal.SIGINT).__name__)

        sys.meta_path.insert(0, Watches())
        sys.argv = ["bellcrank", *{words.split()!r}]
        from bellcrank.commands.start import main

        sys.exit(main())
    """
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True)
    assert done.returncode == 2, done.stderr
    loaded = dict(line.split() for line in done.stdout.splitlines())
    assert set(loaded) == set(libraries.split())
    assert set(loaded.values()) == {"_leave"}


@pytest.mark.parametrize("name", list(COMMANDS))
def test_the_help_tells_what_the_list_of_commands_says(run, name: str) -> None:
    status, out, err = run(name, "--help")
    assert (status, err) == (0, "")
    assert out.startswith(f"Usage: bellcrank {name} ")
    assert max(map(len, out.split("\n"))) <= 110


@pytest.mark.parametrize(
    ("said", "seconds"),
    [
        ("90", 90),
        ("1.5", 1.5),
        ("5s", 5),
        ("5 s", 5),
        ("2min", 120),
        ("0.5 min", 30),
        ("250ms", 0.25),
    ],
)
def test_a_time_is_in_seconds_or_has_its_unit(said: str, seconds: float) -> None:
    assert Duration().convert(said, None, None) == seconds
