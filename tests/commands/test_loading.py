"""What the commands load: no more than they need, so that they answer at once."""

from __future__ import annotations

import inspect
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from bellcrank.commands.listing import COMMANDS

ROOT = Path(__file__).parents[2]
TERMINUS = str(ROOT / "examples" / "harbour-terminus.crank")

SLOW = {
    "networkx",
    "scipy",
    "numpy",
    "jinja2",
    "jsonschema",
    "paho",
    "serial",
    "cvc5",
    "distributed",
}
"""What takes long to load and only some commands need."""

SLOWER = 3
"""By how much a machine may be slower than the one for which limits are stated."""

COMPILING = {"z3", "lark", "bellcrank.compilation"}
"""What it takes to read a layout and prove it."""


def loaded(*words: str) -> set[str]:
    """The modules that are loaded once a command has ended."""
    program = """if True:
        import json, sys
        from contextlib import redirect_stdout

        with redirect_stdout(sys.stderr):
            from bellcrank.commands.start import main

            main()
        print(json.dumps(list(sys.modules)))
    """
    done = subprocess.run(
        [sys.executable, "-c", program, *words], capture_output=True, text=True, check=True
    )
    return set(json.loads(done.stdout))


@pytest.mark.parametrize(
    "words", [["--version"], ["--help"], *([name, "--help"] for name in COMMANDS)]
)
def test_help_is_told_without_what_the_command_needs(words: list[str]) -> None:
    assert not loaded(*words) & (SLOW | COMPILING)


def test_a_proved_layout_takes_no_more_than_parser_and_solver() -> None:
    modules = loaded("check", TERMINUS)
    assert modules >= COMPILING
    assert not modules & SLOW
    told_of_files = {name for name in modules if name.startswith("bellcrank.document.")}
    assert not told_of_files
    assert "bellcrank.controller.composition" not in modules


@pytest.fixture(scope="module")
def surroundings(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """An environment in which Python keeps what it compiles, as it does for users."""
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    return kept | {"PYTHONPYCACHEPREFIX": str(tmp_path_factory.mktemp("compiled"))}


@pytest.mark.skipif(not hasattr(os, "wait4"), reason="the time of one process, as POSIX counts it")
@pytest.mark.parametrize(
    ("words", "seconds"),
    [
        (["--version"], 0.2),
        (["--help"], 0.2),
        (["check", "--help"], 0.2),
        (["build", "--help"], 0.2),
        (["check", TERMINUS], 0.5),
    ],
    ids=["version", "help", "help of check", "help of build", "check"],
)
def test_a_command_answers_at_once(
    words: list[str], seconds: float, surroundings: dict[str, str]
) -> None:
    used = []
    for _ in range(3):  # the first time Python compiles what it loads
        process = subprocess.Popen(
            [sys.executable, "-m", "bellcrank", *words],
            env=surroundings,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        )
        _, status, times = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        assert process.returncode == 0
        assert process.stderr is not None
        process.stderr.close()
        used.append(times.ru_utime + times.ru_stime)
    assert min(used[1:]) < SLOWER * seconds, used


@pytest.mark.parametrize("name", COMMANDS)
def test_what_runs_a_command_takes_the_words_that_are_declared(name: str) -> None:
    declared = {param.name for param in COMMANDS[name].declared().params}
    signature = inspect.signature(COMMANDS[name].body())
    if any(p.kind is inspect.Parameter.VAR_KEYWORD for p in signature.parameters.values()):
        options = f"{name.capitalize()}Options"
        signature = inspect.signature(getattr(inspect.getmodule(COMMANDS[name].body()), options))
    assert declared == set(signature.parameters)
