"""What README.md shows is what the commands print."""

from __future__ import annotations

import re
import shlex
import shutil
from pathlib import Path

import pytest
from shown_sessions import is_shown, tidy

from bellcrank.commands.cli import main
from bellcrank.commands.declared.completion import SHELLS

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")
SESSIONS = re.findall(r"```console\n(.*?)```", README, flags=re.S)


def test_the_readme_shows_sessions() -> None:
    assert len(SESSIONS) == 9


def test_three_dots_stand_for_any_lines_and_for_nothing_else() -> None:
    assert is_shown(["a", "b", "c"], ["a", "…", "c"])
    assert is_shown(["a", "b", "c"], ["…", "b", "…"])
    assert not is_shown(["a", "b", "c"], ["…", "c", "b", "…"])
    assert not is_shown(["a", "b", "c"], ["…", "b"])


@pytest.mark.parametrize("session", SESSIONS)
def test_a_session_in_the_readme_is_real(
    session: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    shutil.copytree(ROOT / "examples", tmp_path / "examples")
    monkeypatch.chdir(tmp_path / "examples")
    for part in re.split(r"^\$ ", session, flags=re.M)[1:]:
        command, shown = part.split("\n", 1)
        main(shlex.split(command)[1:])
        out = tidy(capsys.readouterr().out)
        assert is_shown(out, tidy(shown))


def test_the_command_list_in_the_readme_is_real(tmp_path: Path) -> None:
    shown = re.search(r"```csv\n(.*?)```", README, flags=re.S)
    assert shown is not None
    example = ROOT / "examples" / "harbour-terminus.crank"
    assert main(["build", str(example), "--out", str(tmp_path)]) == 0
    built = (tmp_path / "command-list.csv").read_text("utf-8").splitlines()
    first_columns = [row.rsplit(",", 1)[0] for row in built]
    rows = shown.group(1).split()
    assert len(rows) > 5
    for row in shown.group(1).splitlines():
        assert row in first_columns


def test_the_track_in_the_readme_is_the_example() -> None:
    shown = re.search(r"```crank fragment\n(.*?)```", README, flags=re.S)
    assert shown is not None
    example = (ROOT / "examples" / "harbour-terminus.crank").read_text("utf-8")
    code = {line.split("#")[0].rstrip() for line in example.splitlines()}
    for line in shown.group(1).splitlines():
        assert line in code


@pytest.mark.parametrize("picture", re.findall(r"!\[.*?\]\((\S+\.svg)\)", README))
def test_a_picture_in_the_readme_is_what_is_drawn(picture: str, tmp_path: Path) -> None:
    drawn = tmp_path / "drawn.svg"
    layout = (ROOT / picture).with_suffix(".crank")
    assert main(["picture", str(layout), "--out", str(drawn)]) == 0
    assert drawn.read_text("utf-8") == (ROOT / picture).read_text("utf-8")


def test_the_python_in_the_readme_prints_what_it_says(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    [shown] = re.findall(r"```python\n(.*?)```", README, flags=re.S)
    [said] = re.findall(r"# (.*)\n", shown)
    monkeypatch.chdir(ROOT / "examples")
    exec(shown, {})
    assert capsys.readouterr().out == f"{said}\n"


def test_the_readme_tells_every_shell_that_is_completed() -> None:
    assert {f"bellcrank completion {shell}" for shell in SHELLS} == set(
        re.findall(r"bellcrank completion \w+", README)
    )
