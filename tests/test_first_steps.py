"""A new user, with nothing but the README, comes to a proved slip with labels and settings.

The commands are those of the README's section, run as they stand in an empty folder, each in a
process of its own.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from cpu_time import within

README = (Path(__file__).parent.parent / "README.md").read_text("utf-8")

CPU_SECONDS = 30
"""For all of it; most of what a person needs is to read."""


def commands_of(title: str) -> list[str]:
    """What is typed in a section of the README."""
    section = re.search(rf"^## {title}\n(.*?)^## ", README, flags=re.M | re.S)
    assert section is not None
    sessions = re.findall(r"```console\n(.*?)```", section[1], flags=re.S)
    return [row[2:] for text in sessions for row in text.splitlines() if row.startswith("$ ")]


def run(words: list[str], folder: Path, typed: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "bellcrank", *words],
        cwd=folder,
        input=typed,
        capture_output=True,
        text=True,
        check=False,
    )


def test_what_the_readme_says_leads_from_nothing_to_a_proved_slip_with_sheets(
    tmp_path: Path,
) -> None:
    commands = commands_of("From nothing to a proved slip")
    assert [shlex.split(c)[1] for c in commands] == ["new", "check", "build"]
    with within(CPU_SECONDS):
        done = [run(shlex.split(command)[1:], tmp_path) for command in commands]
    assert [(d.returncode, d.stderr) for d in done] == [(0, "")] * 3
    assert "verdict: proved by z3" in done[1].stdout
    sheets = (tmp_path / "bench" / "sheets.html").read_text("utf-8")
    assert "<strong>PROVED</strong>" in sheets
    assert "Switches of K1: 1 on, 2 off, 3 off, 4 off, 5 off, 6 off, 7 off, 8 off, 9 off" in sheets
    labels = re.sub(r"<[^>]*>", "\n", sheets[sheets.index('id="labels"') :])
    assert re.search(r"S1\s+1 · K1\.1\s+green straight\s+red diverging", labels)
    assert re.search(r"K1\s+1–4\s+mine\s+on: 1", labels)
    assert "HA1" not in labels  # only thought of


def test_every_command_that_is_named_next_can_be_typed(tmp_path: Path) -> None:
    said = run(["new", "slip"], tmp_path).stdout
    named = re.findall(r"^  bellcrank (.*?)  ", said, flags=re.M)
    assert len(named) == 5
    for words in (n.split() for n in named if not n.startswith("run")):
        assert run(words, tmp_path).returncode == 0


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="a terminal, as POSIX has it")
def test_questions_at_a_real_terminal_lead_there_too(tmp_path: Path) -> None:
    """A person presses Return until the file is written."""
    ours, theirs = os.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "bellcrank", "new"],
        cwd=tmp_path,
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        env={**os.environ, "NO_COLOR": "1", "TERM": "dumb"},
    )
    os.close(theirs)
    seen, answered = "", 0
    while "is written" not in seen:
        seen += os.read(ours, 4096).decode()
        while len(re.findall(r"\[[^\]\n]*\] ", seen)) > answered:
            os.write(ours, b"\n")
            answered += 1
    while process.poll() is None:
        try:
            seen += os.read(ours, 4096).decode()
        except OSError:  # on some systems the other end has gone
            break
    assert process.wait() == 0
    os.close(ours)
    assert "Which one? [slip]" in seen
    assert run(["check", "slip.crank"], tmp_path).returncode == 0
