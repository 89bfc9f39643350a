"""`check` and trains that block each other: a remark, a story on request, and JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bellcrank.commands.cli import main

FACE_TO_FACE = "run edge WEST - A - >H - B - >J - <K - C - <M - D - edge EAST\n"

ONE_WAY = "run edge IN - A - >H - B - >J - C - edge OUT\n"

HALT = """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - T1 - stop
run P1.diverging - <S2 - T2 - stop
"""


def check(text: str, folder: Path, *options: str) -> int:
    path = folder / "line.crank"
    path.write_text(text, "utf-8")
    return main(["check", str(path), *options])


def test_trains_that_block_each_other_are_a_remark_beside_a_proof(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert check(FACE_TO_FACE, tmp_path) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line for line in lines if line.startswith("remark")] == [
        "remark    trains in B before J and in C before K would wait for each other"
    ]
    assert "rehearse" not in "\n".join(lines)


def test_how_they_come_there_is_told_on_request_and_can_be_rehearsed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert check(HALT, tmp_path, "--blocked") == 0
    out = capsys.readouterr().out
    lines = out.splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("How trains in A before H, in"))
    assert "as lines that `rehearse` plays:" in " ".join(lines[at : at + 2])
    story = "\n".join(line for line in lines[at:] if line.startswith("  "))
    script = tmp_path / "blocked.rehearsal"
    script.write_text(story, "utf-8")
    assert "expect H to T1 refused because of T1" in story
    assert main(["rehearse", str(tmp_path / "line.crank"), str(script)]) == 0


def test_where_none_are_found_that_is_said_only_on_request(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    check(ONE_WAY, tmp_path)
    assert "wait for each other" not in capsys.readouterr().out
    check(ONE_WAY, tmp_path, "--blocked")
    assert "No trains were found that would stand and wait for each other." in (
        capsys.readouterr().out
    )


def test_nothing_is_remarked_of_a_locking_that_is_not_sound(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    forgetful = HALT + "locking written { every route needs its sections clear }\n"
    assert check(forgetful, tmp_path) == 1
    assert "remark" not in capsys.readouterr().out


def test_json_has_the_trains_the_story_and_whether_all_were_looked_at(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    check(FACE_TO_FACE, tmp_path, "--json")
    data = json.loads(capsys.readouterr().out)
    assert data["blocked_trains"]["waiting"] == [
        {
            "section": "B",
            "signal": "J",
            "blocked": [{"route": "J to EAST", "section": "C"}],
            "goes_back": None,
        },
        {
            "section": "C",
            "signal": "K",
            "blocked": [{"route": "K to WEST", "section": "B"}],
            "goes_back": None,
        },
    ]
    assert data["blocked_trains"]["story"][0] == "train comes in from WEST"
    assert data["blocked_trains_complete"] is True
    check(ONE_WAY, tmp_path, "--json")
    assert json.loads(capsys.readouterr().out)["blocked_trains"] is None
