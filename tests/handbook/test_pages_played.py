"""What the handbook has its reader do is done, command for command, and prints what it shows."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from in_campaigns import in_campaigns
from shown_sessions import Typed, is_shown, play, steps, tidy

ROOT = Path(__file__).parents[2]
HANDBOOK = ROOT / "grammar" / "handbook"
PAGES = sorted(HANDBOOK.rglob("*.md"))
PLAYED = [path for path in PAGES if any(isinstance(s, Typed) for s in steps(path.read_text()))]


def test_the_tutorial_and_most_other_pages_are_played() -> None:
    assert HANDBOOK / "tutorial.md" in PLAYED
    assert len(PLAYED) >= 7


@pytest.mark.parametrize(
    "page",
    in_campaigns(PLAYED, lambda path: path.stem in ("proof", "change")),
    ids=lambda path: path.stem,
)
def test_a_page_prints_what_it_shows(
    page: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    if page.stem != "tutorial":  # which begins in an empty folder
        shutil.copytree(ROOT / "examples", tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)
    for step in steps(page.read_text("utf-8")):
        printed = play(step, monkeypatch, capsys)
        if isinstance(step, Typed):
            assert is_shown(tidy(printed), tidy(step.shown)), printed


@pytest.mark.parametrize("page", PLAYED, ids=lambda path: path.stem)
def test_a_page_shows_something_of_what_each_command_prints(page: Path) -> None:
    for step in steps(page.read_text("utf-8")):
        assert not isinstance(step, Typed) or set(tidy(step.shown)) - {"…"}, step.command


def test_the_python_of_the_handbook_prints_three_pairs_that_conflict(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    [shown] = re.findall(r"```python\n(.*?)```", (HANDBOOK / "python.md").read_text("utf-8"), re.S)
    monkeypatch.chdir(ROOT / "examples")
    exec(shown, {})
    assert len(re.findall(r"^\w+ to \w+ / \w+ to \w+$", capsys.readouterr().out, re.M)) == 3
