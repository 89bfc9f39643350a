"""`check --broken` and `build --broken`: what the railway notices of broken assumptions."""

from __future__ import annotations

import json
import re
from pathlib import Path

import jsonschema_rs
import pytest

from bellcrank.commands.broken_option import BrokenWish, kinds_asked, places_asked
from bellcrank.commands.cli import main
from bellcrank.commands.declared.build import DECLARED
from bellcrank.controller import breakings

TARGETS = Path(__file__).parents[2] / "targets"

TWO_ROADS = """\
layout "Two roads" on two rails
points P
run edge W - A - >H - P.toe
run P.straight - <S1 - T1 - stop
run P.diverging - <S2 - T2 - stop
drive P detected
"""


@pytest.fixture
def layout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "roads.crank"
    path.write_text(TWO_ROADS, "utf-8")
    monkeypatch.chdir(tmp_path)
    return path


def test_one_kind_is_told_with_its_stories(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(layout), "--broken", "signal passed at stop"]) == 0
    out = capsys.readouterr().out
    assert "what the railway notices if, once,\na train passes a signal at stop:\n" in out
    assert "  until then: trains may meet; a train may come off the rails" in out
    assert "How trains may meet:" in out
    assert " at stop and enters " in out
    told = out[out.index("How an alarm is raised:") :]
    assert re.search(r"\n +\d+  \w+ is reported occupied, and nothing explains that\n  So ", told)
    assert "  So the alarm is raised: every signal goes to stop, and nothing is thrown." in told


def test_json_tells_the_same(layout: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(layout), "--json", "--broken", "clear not reported"]) == 0
    (told,) = json.loads(capsys.readouterr().out)["noticed"]
    assert told["broken"] == "clear not reported"
    assert told["alarm"] == "none"
    assert told["before_sentence"] == "nothing"
    assert {one["outcome"] for one in told["accidents"]} == {"proved"}
    assert told["alarm_story"] is None


def test_json_tells_with_what_the_alarm_is_raised_and_what_that_changes(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(layout), "--json", "--broken", "stuck at clear at P"]) == 0
    (told,) = json.loads(capsys.readouterr().out)["noticed"]
    raised = told["alarm_story"]["alarm"]
    assert raised["sentence"] == "P is reported clear, and nothing explains that"
    assert {"variable": "report P", "value": "reported clear"} in raised["changes"]
    assert all(one["story"] is None or one["story"]["alarm"] is None for one in told["accidents"])


def test_where_it_is_not_asked_for_it_is_null(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", str(layout), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["noticed"] is None


def test_of_a_controller_that_is_not_proved_nothing_is_asked(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    forgetful = "locking written { every route needs its positions }\n"
    layout.write_text(TWO_ROADS + forgetful, "utf-8")
    assert main(["check", str(layout), "--broken", "clear not reported"]) == 1
    out = capsys.readouterr().out
    assert "What the railway notices is not asked of a controller that is not proved." in out


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("stuck", "`stuck` is not known\n"),
        ("stuck at cler", "`stuck at cler` is not known; did you mean `stuck at clear`?\n"),
        ("SPAD", "`SPAD` is not known; did you mean `signal passed at stop`?\n"),
        ("points hand", "`points hand` is not known; did you mean `points moved by hand`?\n"),
        ("list", "name one\n"),
    ],
)
def test_for_a_kind_that_there_is_not_all_are_listed_with_what_they_mean(
    layout: Path, capsys: pytest.CaptureFixture[str], said: str, told: str
) -> None:
    assert main(["check", str(layout), "--broken", said]) == 2
    err = capsys.readouterr().err
    assert f"bellcrank check: --broken: {told}" in err
    rows = dict(re.findall(r"^  (\S.*?)  +(\S.*)$", err, re.MULTILINE))
    assert list(rows) == ["all", *breakings.BREAKINGS]
    assert rows["stuck at clear"] == "a detector sticks at clear"


def test_several_kinds_are_told_each_with_its_stories(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    kinds = ["--broken", "clear not reported", "--broken", "signal passed at stop"]
    assert main(["check", str(layout), *kinds, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["noticed"]
    assert [one["broken"] for one in told] == ["signal passed at stop", "clear not reported"]
    assert all(one["places"] == [] for one in told)


@pytest.mark.parametrize("place", ["H", "P"])
def test_a_place_may_be_named_and_its_stories_break_nothing_elsewhere(
    layout: Path, capsys: pytest.CaptureFixture[str], place: str
) -> None:
    """By the signal that is passed, or the section that lies beyond it."""
    asked = f"signal passed at stop at {place}"
    assert main(["check", str(layout), "--broken", asked, "--json"]) == 0
    (told,) = json.loads(capsys.readouterr().out)["noticed"]
    assert told["places"] == [place]
    assert told["sentence"] == f"a train passes a signal at stop, at {place}"
    stories = [told["alarm_story"], *(one["story"] for one in told["accidents"])]
    breaks = [step["sentence"] for s in stories if s for step in s["steps"] if step["breaks"]]
    assert breaks
    assert all(re.match(r"a train passes (H|S1|S2) at stop", said) for said in breaks)
    assert all(" H " in said for said in breaks) or place == "P"


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("stuck at clear at T11", "did you mean `T1`?"),
        ("stuck at clear at NOWHERE", ": it can at A, P, T1 and T2"),
        ("points moved by hand at T1", ": it can at P"),
    ],
)
def test_for_a_place_where_it_cannot_be_those_are_told_where_it_can(
    layout: Path, capsys: pytest.CaptureFixture[str], said: str, told: str
) -> None:
    assert main(["check", str(layout), "--broken", said]) == 2
    err = capsys.readouterr().err
    kind, place = said.rsplit(" at ", 1)
    assert f"--broken: `{kind}` cannot happen at {place}" in err
    assert told in err
    assert "--broken takes" not in err


def test_a_file_after_the_option_is_not_taken_for_a_kind(
    layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["build", "--broken", layout.name]) == 2
    assert f"`{layout.name}` is a file: write it before --broken" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("wishes", "kinds", "places"),
    [
        ([("all", "")], breakings.BREAKINGS, {}),
        ([("stuck at clear", "A"), ("stuck at clear", "P")], ("stuck at clear",),
         {"stuck at clear": ("A", "P")}),
        ([("stuck at clear", "A"), ("stuck at clear", "")], ("stuck at clear",), {}),
        ([("stuck at clear", "A"), ("all", "")], breakings.BREAKINGS, {}),
    ],
)  # fmt: skip
def test_what_is_asked_of_anywhere_is_asked_of_no_place_alone(
    wishes: list[tuple[str, str]], kinds: tuple[str, ...], places: dict[str, tuple[str, ...]]
) -> None:
    asked = [BrokenWish(*wish) for wish in wishes]
    assert kinds_asked(asked) == kinds
    assert places_asked(asked) == places


def test_without_a_kind_all_are_meant() -> None:
    (option,) = [p for p in DECLARED.params if p.name == "broken"]
    context = DECLARED.make_context("build", ["roads.crank", "--broken"])
    assert context.params["broken"] == (BrokenWish("all"),)
    assert option.multiple


def test_sheets_and_document_hold_the_table_of_what_is_asked(layout: Path) -> None:
    few = ["signal passed at stop", "clear not reported"]
    targets = ["--target", "sheets", "--target", "json"]
    kinds = [word for kind in few for word in ("--broken", kind)]
    assert main(["build", str(layout), *kinds, *targets]) == 0
    sheets = Path("roads/sheets.html").read_text("utf-8")
    assert "What the railway notices</h2>" in sheets
    assert '<th scope="row">a report that a section is clear is lost</th>' in sheets
    document = json.loads(Path("roads/layout.json").read_text("utf-8"))
    assert [one["broken"] for one in document["noticed"]] == few
    schema = json.loads((TARGETS / "json" / "layout.schema.json").read_text("utf-8"))
    jsonschema_rs.validator_for(schema).validate(document)
    document["noticed"][0]["alarm"] = "perhaps"
    with pytest.raises(jsonschema_rs.ValidationError):
        jsonschema_rs.validator_for(schema).validate(document)


def test_without_it_sheets_have_no_such_chapter(layout: Path) -> None:
    assert main(["build", str(layout), "--target", "sheets"]) == 0
    assert "What the railway notices" not in Path("roads/sheets.html").read_text("utf-8")
