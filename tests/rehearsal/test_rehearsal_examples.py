"""The scripts in examples/ come true on their layouts, and would not on a worse one."""

from __future__ import annotations

from pathlib import Path

import pytest

from bellcrank.commands.cli import main

EXAMPLES = Path(__file__).parents[2] / "examples"
SCRIPTS = sorted(EXAMPLES.glob("*.rehearsal"))


def test_there_are_scripts() -> None:
    assert len(SCRIPTS) >= 2


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.stem)
def test_a_script_comes_true_on_its_layout(script: Path) -> None:
    assert main(["rehearse", str(script.with_suffix(".crank")), str(script)]) == 0


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.stem)
def test_a_script_looks_at_what_it_does(script: Path) -> None:
    rows = [row.split("#")[0].split() for row in script.read_text("utf-8").splitlines()]
    acts = [row[0] for row in rows if row]
    assert acts.count("expect") >= 20
    assert acts.count("request") >= 4


def test_the_script_of_the_harbour_fails_where_the_locking_forgets(
    capsys: pytest.CaptureFixture[str],
) -> None:
    forgetful = EXAMPLES / "harbour-terminus-forgetful.crank"
    assert main(["rehearse", str(forgetful), str(EXAMPLES / "harbour-terminus.rehearsal")]) == 1
    assert "NOT MET: G1 to T2 could be set" in capsys.readouterr().out
