"""`check --fix` and `--spare`: what is written into the files of a layout, and said."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from sound_layouts import checked_file

from bellcrank.commands.cli import main
from bellcrank.commands.rule_advice import mended
from bellcrank.compilation import compile_file
from bellcrank.machine.locking import Locks
from bellcrank.proof.repair.repair_model import Missing, Repair, Unmended
from bellcrank.proof.repair.rule_edits import rule_edits, written_block
from bellcrank.proof.repair.rules_found import RulesFound
from bellcrank.syntax.load import Program
from bellcrank.syntax.rewrite import NotAsReadError, rewrite
from bellcrank.syntax.tree import LockingLine

EXAMPLES = Path(__file__).parents[2] / "examples"

TRACK = """\
layout "Two Roads"
points P
run edge WEST - A - >H - P.toe
run P.straight - B - edge EAST
run P.diverging - C - stop
"""

FORGETFUL = (
    TRACK
    + """\

# The notebook.
locking written {   # of 1962

    H to EAST needs P straight,   # the main line
        B clear, P clear

    # to the shed
    H to C   needs C clear, P clear
}   # end

expect H to EAST never with H to C
"""
)

Check = Callable[..., tuple[int, str, str]]


@pytest.fixture
def check(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Check:
    """Run `bellcrank check` in a folder of its own; gives status, output and messages."""
    monkeypatch.chdir(tmp_path)

    def command(*arguments: str) -> tuple[int, str, str]:
        status = main(["check", *arguments])
        out, err = capsys.readouterr()
        return status, out, err

    return command


TORN = (
    TRACK
    + """\
locking written {
  every route needs its positions
  every route needs its sections clear
  H to EAST needs P diverging   # so the notebook has it
  only one route over P
}
"""
)
"""With two rules that need P in two positions."""


def test_a_rule_that_needs_the_wrong_position_is_put_right(check: Check, tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    file.write_text(TORN, encoding="utf-8")
    assert "error E503" in check("roads.crank")[2]
    status, out, _ = check("roads.crank", "--fix")
    assert status == 0
    assert out.endswith("put right: `diverging` at roads.crank:9:21 is now `straight`\n")
    assert file.read_text("utf-8") == TORN.replace("needs P diverging", "needs P straight")
    assert checked_file(file).proved


def test_what_was_put_right_is_told_as_json(check: Check, tmp_path: Path) -> None:
    (tmp_path / "roads.crank").write_text(TORN, encoding="utf-8")
    told = json.loads(check("roads.crank", "--fix", "--json")[1])
    right = ["`diverging` at roads.crank:9:21 is now `straight`"]
    assert told["fixed"] == {"file": "roads.crank", "added": [], "replaced": right}


def test_what_was_put_right_is_told_though_other_errors_are_left(
    check: Check, tmp_path: Path
) -> None:
    file = tmp_path / "roads.crank"
    file.write_text(TORN + "expect H to EAST with H to X\n", encoding="utf-8")
    status, out, err = check("roads.crank", "--fix")
    assert status == 2 and "E503" not in err and "H to X" in err
    assert out == "put right: `diverging` at roads.crank:9:21 is now `straight`\n"


def test_errors_that_are_not_for_fix_leave_the_file_as_it_is(check: Check, tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    text = TRACK + "expect H to EAST with H to X\n"
    file.write_text(text, encoding="utf-8")
    assert check("roads.crank", "--fix")[:2] == (2, "")
    assert file.read_text("utf-8") == text


def test_a_missing_rule_is_added_and_all_is_proved(check: Check, tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    file.write_text(FORGETFUL, encoding="utf-8")
    status, out, _ = check("roads.crank", "--fix")
    assert status == 0
    assert "verdict: proved" in out
    assert out.endswith("added to roads.crank:\n  H to C needs P diverging\n")
    new = "    # added by bellcrank check --fix\n    H to C needs P diverging\n"
    assert file.read_text(encoding="utf-8") == FORGETFUL.replace("}   # end", new + "}   # end")
    assert checked_file(file).proved


def test_a_second_time_there_is_nothing_to_add(check: Check, tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    file.write_text(FORGETFUL, encoding="utf-8")
    check("roads.crank", "--fix")
    once = file.read_bytes(), file.stat().st_ino
    status, out, _ = check("roads.crank", "--fix")
    assert status == 0
    assert out.endswith("nothing to fix: everything is proved\n")
    assert (file.read_bytes(), file.stat().st_ino) == once


def test_the_harbour_gets_the_one_pair_that_its_notebook_forgot(
    check: Check, tmp_path: Path
) -> None:
    for name in ("harbour-terminus.crank", "harbour-terminus-forgetful.crank"):
        shutil.copy(EXAMPLES / name, tmp_path / name)
    before = (EXAMPLES / "harbour-terminus-forgetful.crank").read_text(encoding="utf-8")
    status, out, _ = check("harbour-terminus-forgetful.crank", "--fix")
    assert status == 0
    assert "\n  W1 to T1 locks G1 to T2\n" in out
    new = "  # added by bellcrank check --fix\n  W1 to T1 locks G1 to T2\n}\n"
    after = (tmp_path / "harbour-terminus-forgetful.crank").read_text(encoding="utf-8")
    assert after == before.removesuffix("}\n") + new
    used = (tmp_path / "harbour-terminus.crank").read_bytes()
    assert used == (EXAMPLES / "harbour-terminus.crank").read_bytes()


def test_the_line_ends_and_the_mark_of_another_system_are_kept(
    check: Check, tmp_path: Path
) -> None:
    file = tmp_path / "roads.crank"
    data = b"\xef\xbb\xbf" + FORGETFUL.replace("\n", "\r\n").encode("utf-8")
    file.write_bytes(data)
    status, _, _ = check("roads.crank", "--fix")
    assert status == 0
    new = b"    # added by bellcrank check --fix\r\n    H to C needs P diverging\r\n"
    assert file.read_bytes() == data.replace(b"}   # end", new + b"}   # end")


def test_a_wrong_position_is_put_right_where_it_stands(check: Check, tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    wrong = FORGETFUL.replace("H to C   needs C", "H to C   needs  P  straight ,  C")
    file.write_text(wrong, encoding="utf-8")
    status, out, _ = check("roads.crank", "--fix")
    assert status == 0
    assert out.endswith(
        "put right: H to C needs P straight (roads.crank:14:21) is now H to C needs P diverging\n"
    )
    assert file.read_text(encoding="utf-8") == wrong.replace("P  straight ,", "P  diverging ,")


def test_a_route_is_put_into_the_group_that_lacks_it(check: Check, tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    text = """\
fixed diamond X
run edge WEST - A - >H - X.b1
run X.b2 - <E - F - edge EAST
run edge N1 - N - >S - X.a1
run X.a2 - <T - O - edge S1
locking written {
  only one of H to EAST, E to WEST, S to S1  # over the crossing
  every route needs its sections clear
}
"""
    file.write_text(text, encoding="utf-8")
    _, told, _ = check("roads.crank")
    assert "\n  T to N1, in the `only one of` at roads.crank:7:3\n" in told
    status, out, _ = check("roads.crank", "--fix")
    assert status == 0
    assert out.endswith("put right: the `only one of` at roads.crank:7:3 now has T to N1\n")
    assert file.read_text(encoding="utf-8") == text.replace("S to S1  #", "S to S1, T to N1  #")


# ------------------------------------------------------------- several files


def test_rules_go_into_the_file_that_holds_the_block(check: Check, tmp_path: Path) -> None:
    (tmp_path / "rules").mkdir()
    block = "locking written {\n  every route needs its sections clear\n}\n"
    (tmp_path / "rules" / "book.crank").write_text(block, encoding="utf-8")
    main_file = TRACK + 'use "rules/book.crank"\n'
    (tmp_path / "roads.crank").write_text(main_file, encoding="utf-8")
    status, out, _ = check("roads.crank", "--fix")
    assert status == 0
    assert "added to rules/book.crank:" in out
    assert (tmp_path / "roads.crank").read_text(encoding="utf-8") == main_file
    assert (tmp_path / "rules" / "book.crank").read_text(encoding="utf-8") == block[:-2] + (
        "  # added by bellcrank check --fix\n"
        "  H to EAST needs P straight\n"
        "  H to C needs P diverging\n"
        "}\n"
    )


def mend(program: Program, file: Path, missing: list[Missing]) -> None:
    block = written_block(program)
    assert block is not None
    edits = rule_edits(block, missing)
    rewrite(program, file, edits.files, edits.edit)


def test_no_file_outside_the_layouts_folder_is_written(tmp_path: Path) -> None:
    folder = tmp_path / "layout"
    folder.mkdir()
    used = folder / "book.crank"
    used.write_text("locking written {\n}\n", encoding="utf-8")
    file = folder / "roads.crank"
    file.write_text(TRACK + 'use "book.crank"\n', encoding="utf-8")
    c = compile_file(file)
    # Between reading and writing, the file becomes a link that leads elsewhere.
    elsewhere = tmp_path / "book.crank"
    used.rename(elsewhere)
    used.symlink_to(elsewhere)
    with pytest.raises(NotAsReadError, match="outside the folder"):
        mend(c.program, file, [Missing(Locks("H to EAST", "H to C"))])
    assert elsewhere.read_text(encoding="utf-8") == "locking written {\n}\n"


def test_a_file_that_has_changed_since_it_was_read_is_left_alone(tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    file.write_text(FORGETFUL, encoding="utf-8")
    c = compile_file(file)
    file.write_text("# begun anew\n", encoding="utf-8")
    with pytest.raises(NotAsReadError, match="has changed"):
        mend(c.program, file, [Missing(Locks("H to EAST", "H to C"))])
    assert file.read_text(encoding="utf-8") == "# begun anew\n"


def test_a_link_stays_a_link_to_the_file_that_is_mended(check: Check, tmp_path: Path) -> None:
    (tmp_path / "layout").mkdir()
    file = tmp_path / "layout" / "roads.crank"
    file.write_text(FORGETFUL, encoding="utf-8")
    link = tmp_path / "mine.crank"
    link.symlink_to(file)
    status, _, _ = check("mine.crank", "--fix")
    assert status == 0
    assert link.is_symlink()
    assert "H to C needs P diverging" in file.read_text(encoding="utf-8")


# -------------------------------------------------------------- nothing to fix


@pytest.mark.parametrize(
    ("rules", "status", "said"),
    [
        ("", 0, "the locking is derived and lacks no rule"),
        (
            "expect H to EAST with H to C\n",
            1,
            "the locking is derived and lacks no rule; what fails is not for a rule to mend",
        ),
    ],
)
def test_derived_locking_lacks_no_rule(
    rules: str, status: int, said: str, check: Check, tmp_path: Path
) -> None:
    file = tmp_path / "roads.crank"
    file.write_text(TRACK + rules, encoding="utf-8")
    found, out, _ = check("roads.crank", "--fix")
    assert found == status
    assert out.endswith(f"nothing to fix: {said}\n")
    assert file.read_text(encoding="utf-8") == TRACK + rules


def test_what_no_rule_mends_is_said_and_nothing_is_written(check: Check, tmp_path: Path) -> None:
    text = TRACK + (
        "locking written {\n  every route needs its positions\n"
        "  every route needs its sections clear\n}\nexpect H to EAST with H to C\n"
    )
    file = tmp_path / "roads.crank"
    file.write_text(text, encoding="utf-8")
    status, out, _ = check("roads.crank", "--fix")
    assert status == 1
    assert "nothing is written: no rules were found that help\n" in out
    assert out.endswith("still open: expect H to EAST with H to C: no rule would help\n")
    assert file.read_text(encoding="utf-8") == text


def test_without_time_nothing_is_written(check: Check, tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    file.write_text(FORGETFUL, encoding="utf-8")
    status, out, _ = check("roads.crank", "--fix", "--time-limit", "0")
    assert status != 0
    assert "nothing is written: the search was stopped" in out
    assert file.read_text(encoding="utf-8") == FORGETFUL


def test_a_text_with_errors_is_not_touched(check: Check, tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    file.write_text(FORGETFUL + "signal Q shunt\n", encoding="utf-8")
    status, _, err = check("roads.crank", "--fix")
    assert status == 2
    assert "error E" in err
    assert file.read_text(encoding="utf-8") == FORGETFUL + "signal Q shunt\n"


def test_what_is_said_to_be_open_is_open_in_the_text_as_it_is_now(tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    rule = "    H to C needs P diverging\n"
    file.write_text(FORGETFUL.replace("}   # end", rule + "}   # end"), encoding="utf-8")
    sentence = "no section ever holds two trains"
    undecided = Unmended("meetings", sentence, "undecided, whatever rules are added")
    other = Unmended("signals", "a signal", "undecided with these rules")
    repair = Repair((), proved=True, smallest=True, open=(undecided, other))
    c = checked_file(file)
    written = rule_edits(c.program.of(LockingLine)[0], [Missing(Locks("H to EAST", "H to C"))])
    notes = mended(RulesFound(repair=repair, written=written), c).notes
    assert notes == ("added to roads.crank:", "  H to EAST locks H to C")
    results = [
        replace(r, outcome="undecided") if r.name == "signals" else r for r in c.moving.results
    ]
    doubtful = replace(c, moving=replace(c.moving, results=tuple(results)))
    notes = mended(RulesFound(repair=repair, written=written), doubtful).notes
    assert notes[-1] == "still open: a signal: undecided with these rules"


def test_obligations_are_written_of_the_text_as_it_is_now(check: Check, tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    file.write_text(FORGETFUL, encoding="utf-8")
    check("roads.crank", "--fix", "--obligations", "once")
    check("roads.crank", "--obligations", "again")
    for written in (tmp_path / "again").iterdir():
        assert (tmp_path / "once" / written.name).read_bytes() == written.read_bytes()


# --------------------------------------------------------- what `check` tells


def test_without_fix_the_missing_rules_are_told_and_nothing_is_written(
    check: Check, tmp_path: Path
) -> None:
    file = tmp_path / "roads.crank"
    file.write_text(FORGETFUL, encoding="utf-8")
    status, out, _ = check("roads.crank")
    assert status == 1
    told = out[out.index("With this rule everything would hold") :]
    assert told.splitlines()[1] == "  H to C needs P diverging"
    assert file.read_text(encoding="utf-8") == FORGETFUL


def test_rules_that_could_be_left_out_are_listed(check: Check, tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    rules = (
        "locking written {\n  every route needs its positions\n"
        "  every route needs its sections clear\n  H to EAST locks H to C\n}\n"
    )
    file.write_text(TRACK + rules, encoding="utf-8")
    status, out, _ = check("roads.crank", "--spare")
    assert status == 0
    assert out.endswith(
        "these rules could be left out, all together:\n"
        "  H to EAST locks H to C (roads.crank:9:19)\n"
    )
    file.write_text(FORGETFUL, encoding="utf-8")
    status, out, _ = check("roads.crank", "--spare")
    assert status == 1
    assert out.endswith("can be said only of locking that is proved\n")


def test_json_carries_the_rules(check: Check, tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    file.write_text(FORGETFUL, encoding="utf-8")
    missing = [{"rule": "H to C needs P diverging", "instead_of": []}]
    data = json.loads(check("roads.crank", "--json")[1])
    assert (data["status"], data["missing_rules"], data["redundant_rules"], data["fixed"]) == (
        "refuted", missing, None, None,
    )  # fmt: skip
    data = json.loads(check("roads.crank", "--fix", "--json")[1])
    assert data["status"] == "proved"
    assert data["missing_rules"] == missing
    assert data["fixed"] == {
        "file": "roads.crank",
        "added": ["H to C needs P diverging"],
        "replaced": [],
    }
    data = json.loads(check("roads.crank", "--spare", "--json")[1])
    assert (data["missing_rules"], data["redundant_rules"]) == (None, [])


def test_routes_that_can_never_be_set_are_told_with_the_rules(check: Check, tmp_path: Path) -> None:
    file = tmp_path / "roads.crank"
    rules = "locking derive {\n  H to EAST needs H to C set\n}\n"
    file.write_text(TRACK + rules, encoding="utf-8")
    out = check("roads.crank")[1]
    assert (
        "note      H to EAST can never be set under these rules: H to EAST needs H to C set" in out
    )
    barred = json.loads(check("roads.crank", "--json")[1])["barred_routes"]
    assert barred == {
        "H to EAST": [
            {"rule": "H to EAST needs H to C set", "place": "roads.crank:7:19"},
            {"rule": "H to EAST locks H to C", "place": None},
        ]
    }
