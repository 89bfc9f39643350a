"""The command `commission`: scripted answers, what is written, leaving in the middle."""

from __future__ import annotations

import io
import json
import re
import socket
import sys
import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

import pytest
from sound_layouts import checked_file

from bellcrank.commands.cli import main
from bellcrank.commands.commission_records import new_record
from bellcrank.sending.log_file import LogFile
from bellcrank.sending.log_rows import Begun, Commanded, Ended
from bellcrank.sending.playing import SystemClock

LAYOUT = """\
layout "Two Roads"   # my first
points P, Q
run edge WEST - A - >H - P.toe
run P.straight - B - edge EAST
run P.diverging - Q.toe
run Q.straight - C0 - edge C
run Q.diverging - D0 - edge D

decoder kind quad { outputs 4  switches 9 }
decoder K1 quad at 1
# the drives
drive P = K1.1  coil 100 ms          # under the bridge
drive Q = K1.2  coil 100 ms  crossed # came so
signal H = K1.3
supply BENCH { feeds K1  one at a time  rest 50 ms }
"""

RIGHT = "straight\ndiverging\nstraight\n"
WRONG = "diverging\nstraight\ndiverging\n"

Commission = Callable[..., tuple[int, str, str]]


@pytest.fixture
def commission(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> Commission:
    """Run the command with answers; gives status, output and messages."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "roads.crank").write_text(LAYOUT, "utf-8")

    def command(answers: str, *arguments: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "stdin", io.StringIO(answers))
        status = main(["commission", "roads.crank", *arguments])
        said = capsys.readouterr()
        return status, said.out, said.err

    return command


def layout() -> str:
    return Path("roads.crank").read_text("utf-8")


def records() -> list[str]:
    return sorted(p.name for p in Path().glob("roads-commission-*.txt"))


def today() -> str:
    return datetime.now().astimezone().date().isoformat()


DRIVES = ("--only", "P", "--only", "Q")


def test_crossed_is_put_in_and_taken_out_and_all_else_is_kept(commission: Commission) -> None:
    status, out, err = commission(WRONG + WRONG + "yes\nyes\n", *DRIVES)
    assert (status, err) == (0, "")
    assert layout() == LAYOUT.replace(
        "drive P = K1.1  coil 100 ms   ", "drive P = K1.1  coil 100 ms  crossed   "
    ).replace("coil 100 ms  crossed # came so", "coil 100 ms # came so")
    assert checked_file("roads.crank").proved
    assert "P moves the wrong way: `crossed` goes in at the end" in out
    assert "Q moves the wrong way: `crossed` comes out at the end" in out


def test_what_moves_as_it_should_changes_nothing(commission: Commission) -> None:
    status, out, _ = commission(RIGHT + RIGHT + "yes\n", *DRIVES)
    assert status == 0
    assert layout() == LAYOUT
    assert "Write this into" not in out


def test_the_user_may_leave_the_layout_as_it_is(commission: Commission) -> None:
    status, _, _ = commission(WRONG + RIGHT + "no\nyes\n", *DRIVES)
    assert status == 1
    assert layout() == LAYOUT
    record = Path(records()[0]).read_text("utf-8")
    assert "THE WRONG WAY" in record and "Nothing was changed in the layout." in record


def test_a_drive_that_does_not_move_is_faulty(commission: Commission) -> None:
    status, out, _ = commission("straight\nnothing\nnothing\nskip\nyes\n", *DRIVES)
    assert status == 1
    assert "Something is wrong with P: thrown to diverging nothing moved" in out
    assert layout() == LAYOUT


def test_numbers_answer_too_and_what_is_no_answer_is_asked_again(commission: Commission) -> None:
    status, out, _ = commission("2\nsideways\n9\n1\n2\nyes\nyes\n", "--only", "P")
    assert status == 0
    assert out.count("Type a number from 1 to 6.") == 2
    assert "did you mean" not in out
    assert "coil 100 ms  crossed   " in layout()


def test_a_misspelt_answer_is_asked_about(commission: Commission) -> None:
    out = commission("divergent\nqiut\nquit\n", "--only", "P")[1]
    assert "`divergent` is no answer here; did you mean `diverging`?" in out
    assert "`qiut` is no answer here; did you mean `quit`?" in out


def test_an_answer_is_taken_back(commission: Commission) -> None:
    commission("back\nstraight\nstraight\nback\ndiverging\nstraight\nyes\n", "--only", "P")
    record = Path(records()[0]).read_text("utf-8")
    assert "thrown to diverging: lay diverging" in record
    assert "lay straight\n      thrown to diverging: lay straight" not in record


# ---------------------------------------------------------------------- as JSON


def test_at_the_end_what_was_found_is_printed_as_json_and_all_else_goes_elsewhere(
    commission: Commission,
) -> None:
    status, out, err = commission(WRONG + RIGHT + "no\nyes\n", *DRIVES, "--json")
    told = json.loads(out)
    assert (status, told["status"]) == (1, "wrong")
    assert [(d["name"], d["crossed"], d["verdict"]) for d in told["drives"]] == [
        ("P", False, "wrong way"),
        ("Q", True, "right"),
    ]
    assert told["drives"][0]["seen"][0] == {
        "thrown_to": "straight",
        "answer": "lies",
        "lay": "diverging",
    }
    assert (told["routes"], told["changed"], told["record"]) == ([], [], records()[0])
    assert "Where does P lie now?" in err
    status, out, _ = commission(WRONG + RIGHT + "yes\nno\n", *DRIVES, "--json")
    assert (status, json.loads(out)["changed"]) == (0, ["`crossed` was written for drive P"])


def test_a_commissioning_that_was_left_or_never_begun_is_told_as_json(
    commission: Commission,
) -> None:
    status, out, _ = commission("quit\n", "--only", "H to C", "--json")
    told = json.loads(out)
    assert (status, told["status"]) == (3, "not whole")
    assert told["routes"][0]["stands"] is None and told["routes"][0]["not_asked"]
    status, out, _ = commission("", "--only", "R", "--json")
    assert (status, json.loads(out)) == (2, {"status": "error"})


# ----------------------------------------------------------------------- routes


def test_each_route_is_set_and_each_conflicting_one_refused(commission: Commission) -> None:
    status, out, _ = commission("yes\n" * 9 + "yes\n", *["--only", "H to EAST", "--only", "H to C"])
    assert status == 0
    assert "Set H to EAST.\nIs this so: P lies straight and H shows proceed?" in out
    assert "With H to EAST set, ask for H to C. Is it refused?" in out
    assert "With H to C set, ask for H to EAST. Is it refused?" in out
    assert "P lies diverging, Q lies straight and H shows proceed?" in out


def test_a_route_that_is_not_refused_is_told_and_fails(commission: Commission) -> None:
    status, out, _ = commission("yes\nno\nyes\nyes\n", "--only", "H to EAST")
    assert status == 1
    said = "WRONG: with H to EAST set, H to C was not refused."
    assert said in out
    record = Path(records()[0]).read_text("utf-8")
    assert said in record
    assert "NOT REFUSED: H to C" in record and "refused: H to D" in record


# ------------------------------------------------------------- leaving, and records


def test_the_record_says_what_was_asked_and_seen(commission: Commission) -> None:
    _, out, _ = commission(WRONG + RIGHT + "quit\nyes\nyes\n")
    name = f"roads-commission-{today()}.txt"
    assert records() == [name]
    assert name in out
    record = Path(name).read_text("utf-8")
    assert "status: proved" in record
    assert re.search(r"source: roads\.crank, sha256 [0-9a-f]{64}", record)
    assert "Not certified for trains that carry people" in record
    assert re.search(rf"begun {today()} \d\d:\d\d, ended {today()} \d\d:\d\d", record)
    assert "`crossed` was written for drive P." in record
    assert "NOT WHOLE" in record
    assert "  P  THE WRONG WAY\n      thrown to straight: lay diverging\n" in record
    assert "  Q  (wired crossed)  right\n" in record
    assert "  H to EAST  not asked  (P straight, H proceed)" in record


def test_a_second_record_of_a_day_does_not_touch_the_first(commission: Commission) -> None:
    for _ in range(3):
        commission(RIGHT + "yes\n", "--only", "P")
    day = today()
    assert records() == [
        f"roads-commission-{day}-2.txt",
        f"roads-commission-{day}-3.txt",
        f"roads-commission-{day}.txt",
    ]


def test_leaving_in_the_middle_what_was_learned_can_be_written(commission: Commission) -> None:
    status, _, _ = commission(WRONG + "straight\nquit\nyes\nyes\n")
    assert status == 3
    assert layout().count("crossed") == 2
    assert "Q  (wired crossed)  not asked to the end" in Path(records()[0]).read_text("utf-8")


@pytest.mark.parametrize("answers", [WRONG + "quit\nno\nno\n", WRONG + "quit\n", WRONG, ""])
def test_leaving_in_the_middle_all_can_be_thrown_away(commission: Commission, answers: str) -> None:
    status, _, _ = commission(answers)
    assert status in (1, 3)
    assert layout() == LAYOUT
    assert records() == []


def test_ctrl_c_leaves_and_still_asks(
    commission: Commission, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = iter(["diverging", "straight", "diverging", KeyboardInterrupt, "yes", "yes"])

    def read(prompt: str = "") -> str:
        row = next(rows)
        if row is KeyboardInterrupt:
            raise KeyboardInterrupt
        return str(row)

    monkeypatch.setattr("builtins.input", read)
    status, _, _ = commission("")
    assert status == 3
    assert "coil 100 ms  crossed   " in layout()
    assert len(records()) == 1


def test_ctrl_c_a_second_time_writes_no_record(
    commission: Commission, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = iter(["straight"])

    def read(prompt: str = "") -> str:
        try:
            return next(rows)
        except StopIteration:
            raise KeyboardInterrupt from None

    monkeypatch.setattr("builtins.input", read)
    status, _, _ = commission("")
    assert status == 130
    assert layout() == LAYOUT and records() == []


def test_a_layout_changed_meanwhile_is_left_alone(
    commission: Commission, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = iter((WRONG + "yes\nyes\n").split())
    other = LAYOUT.replace("# my first", "# my second")

    def read(prompt: str = "") -> str:
        Path("roads.crank").write_text(other, "utf-8")
        return next(rows)

    monkeypatch.setattr("builtins.input", read)
    status, _, err = commission("", "--only", "P")
    assert status == 1
    assert "nothing was changed: roads.crank has changed since it was read" in err
    assert layout() == other


def test_a_drive_line_in_a_used_file_is_changed_there(
    commission: Commission, tmp_path: Path
) -> None:
    track, bench = LAYOUT.split("decoder kind")
    (tmp_path / "bench.crank").write_text(f"decoder kind{bench}", "utf-8")
    (tmp_path / "roads.crank").write_text(f'{track}use "bench.crank"\n', "utf-8")
    status, out, _ = commission(WRONG + "yes\nno\n", "--only", "P")
    assert status == 0
    assert "Write this into bench.crank?" in out
    assert layout() == f'{track}use "bench.crank"\n'
    assert "coil 100 ms  crossed   " in (tmp_path / "bench.crank").read_text("utf-8")


def test_a_name_that_is_not_there_is_told(commission: Commission) -> None:
    status, _, err = commission("", "--only", "X")
    assert status == 2
    assert "there is nothing to commission that is called `X`" in err


def test_a_name_that_is_misspelt_is_told_with_what_is_nearest(commission: Commission) -> None:
    status, _, err = commission("", "--only", "p")
    assert status == 2
    assert "that is called `p`; did you mean `P`?" in err


def test_a_record_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(UnicodeEncodeError):
        new_record(tmp_path / "yard.crank", "2001-02-03", "\ud800", b"{}")
    assert list(tmp_path.iterdir()) == []


# --------------------------------------------------------------------- over a link


class Bench:
    """A controller with two drives, of which the wires may be swapped. It is told lines
    of CSV, and knows where its points lie."""

    def __init__(self) -> None:
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.where = f"tcp://127.0.0.1:{self._listening.getsockname()[1]}"
        self.lines: list[str] = []
        self.came = threading.Condition()
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        connection, _ = self._listening.accept()
        with connection.makefile("r") as stream:
            for row in stream:
                with self.came:
                    self.lines.append(row.strip())
                    self.came.notify_all()

    def side(self, count: int) -> str:
        """The output and side of the line that comes as this one."""
        with self.came:
            assert self.came.wait_for(lambda: len(self.lines) >= count, 20)
        return " ".join(self.lines[count - 1].split()[-2:])


@pytest.fixture
def target(tmp_path: Path, in_this_process: None) -> str:
    folder = tmp_path / "plain"
    folder.mkdir()
    (folder / "target.toml").write_text(
        'name = "plain"\ncontext = 1\nline = "l"\n'
        'without = ["controller", "vectors"]\n[[files]]\npath = "a"\ntemplate = "l"\n'
    )
    (folder / "l").write_text("{{ command.name }} {{ command.number }} {{ command.side }}\n")
    return "plain"


def test_throws_are_sent_and_swapped_wires_are_known_from_then_on(
    commission: Commission, target: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The coils of P are swapped; the routes that follow are sent as P really is wired."""
    bench = Bench()
    sent: list[str] = []

    def read(prompt: str = "") -> str:
        if "[done]" in sent or not prompt.startswith(">"):
            return "yes"
        if len(sent) < 3:
            sent.append(bench.side(len(sent) + 1))
            return "diverging" if sent[-1] == "1 green" else "straight"
        return "yes"

    monkeypatch.setattr("builtins.input", read)
    arguments = ("--to", bench.where, "--target", target, "--yes")
    status, _, _ = commission("", *arguments, "--only", "P", "--only", "H to EAST")
    assert sent == ["1 green", "1 red", "1 green"]
    assert status == 0
    assert layout().count("crossed") == 2
    # The route: H to stop, P straight by its red side, Q not needed, H off.
    assert bench.lines[3:] == ["H 3 red", "P 1 red", "H 3 green"]


def test_throws_are_asked_for_first_unless_yes_is_given(
    commission: Commission, target: str
) -> None:
    bench = Bench()
    answers = "no\nstraight\nyes\ndiverging\nno\nstraight\nno\n"
    status, out, _ = commission(answers, "--to", bench.where, "--target", target, "--only", "P")
    assert status == 0
    assert out.count("Send what must be sent to throw P to") == 3
    bench.side(1)
    assert bench.lines == ["P 1 red"]
    assert "Throw P to straight: K1.1, output number 1, green." in out


def test_what_is_sent_is_in_the_log_that_the_next_one_reads(
    commission: Commission, target: str
) -> None:
    bench = Bench()
    arguments = ("--to", bench.where, "--target", target, "--yes", "--log", "day.txt")
    status, _, _ = commission(RIGHT + "no\n", *arguments, "--only", "P")
    assert status == 0
    log = LogFile(Path("day.txt"))
    found = log.read(datetime.now().astimezone())
    rows = [entry.row for entry in found.entries]
    whats = [row.what for row in rows if isinstance(row, Begun)]
    assert whats == ["throw P to straight", "throw P to diverging", "throw P to straight"]
    sent = [(row.name, row.state) for row in rows if isinstance(row, Commanded)]
    assert sent == [("P", "straight"), ("P", "diverging"), ("P", "straight")]
    assert [row.how for row in rows if isinstance(row, Ended)] == ["done"] * 3
    log.close()


def test_what_the_log_says_was_thrown_just_before_gets_its_rest(
    commission: Commission, target: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    waited: list[float] = []
    monkeypatch.setattr(SystemClock, "now", lambda _: sum(waited))
    monkeypatch.setattr(SystemClock, "wait", lambda _, milliseconds: waited.append(milliseconds))
    bench = Bench()
    # What is still to come counts as just now: 100 ms of its pulse and 50 ms of rest.
    Path("day.txt").write_text("2999-01-01 00:00:00.000  sent: drive Q straight    Q\n")
    arguments = ("--to", bench.where, "--target", target, "--yes", "--log", "day.txt")
    commission("straight\nquit\nno\n", *arguments, "--only", "P")
    assert 149 <= waited[0] <= 150


def test_a_log_is_only_for_what_is_sent(commission: Commission) -> None:
    status, _, err = commission("", "--log", "day.txt")
    assert status == 2
    assert "--to must say where to send" in err


def test_where_nobody_answers_it_does_not_begin(commission: Commission, target: str) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    status, _, err = commission("", "--to", f"tcp://127.0.0.1:{port}", "--target", target)
    assert status == 2
    assert "cannot be reached" in err


def test_a_frog_on_an_output_is_crossed_and_one_on_a_contact_is_told_to_be_rewired(
    commission: Commission,
) -> None:
    text = layout() + "frog P = K1.4  # by relay\nfrog Q with drive\n"
    Path("roads.crank").write_text(text, "utf-8")
    only = ("--only", "frog P", "--only", "frog Q")
    status, out, _ = commission(WRONG + WRONG + "yes\nyes\n", *only)
    assert status == 1
    assert (
        "Switch frog P to straight: first K1.4, output number 4, red off; then K1.4, output number "
        "4, green."
    ) in " ".join(out.split())
    assert "Throw Q to diverging: K1.2" in out
    assert "REWIRE: swap the two wires that feed the frog Q at its contact." in out
    assert layout() == text.replace("frog P = K1.4  #", "frog P = K1.4  crossed  #")
    (record,) = records()
    assert "`crossed` was written for frog P." in Path(record).read_text("utf-8")
    assert commission(RIGHT + "no\n", "--only", "frog P")[0] == 0


# ------------------------------------------------------------- sections and signals

HEARD = (
    LAYOUT
    + """\
detector kind octo { inputs 8 }
detector B1 octo
report B = B1.1   # by the window
report C0 = B1.2
report D0 = B1.3
output GATE with open, closed = K1.4
"""
)

SECTIONS = ("--only", "B", "--only", "C0", "--only", "D0")


def test_exchanged_detectors_are_exchanged_in_the_layout(commission: Commission) -> None:
    Path("roads.crank").write_text(HEARD, "utf-8")
    answers = "nothing\nC0\nb1.1\nD0 alone (B1.3)\nyes\nyes\n"
    status, out, _ = commission(answers, *SECTIONS)
    assert status == 0
    assert layout() == HEARD.replace("report B = B1.1", "report B = B1.2").replace(
        "report C0 = B1.2", "report C0 = B1.1"
    )
    assert "B is reported on B1.2, not on B1.1; what follows of it is said at the end." in out
    record = Path(records()[0]).read_text("utf-8")
    assert "B  ON ANOTHER INPUT: B1.2, not B1.1" in record
    assert "`report B = B1.2` was written." in record
    (afterwards,) = re.findall("left as sha256 ([0-9a-f]{64})", record)
    assert afterwards == checked_file("roads.crank").source_hash


def test_a_missing_gap_is_named_by_its_joint(commission: Commission) -> None:
    Path("roads.crank").write_text(HEARD.replace("report B =", "report Q ="), "utf-8")
    answers = RIGHT + "nothing\nQ, C0\nskip\nskip\nno\n"  # Q is a drive and a section
    status, out, _ = commission(answers, "--only", "Q", "--only", "C0", "--only", "D0")
    assert status == 1
    assert (
        "Something is wrong with Q: C0 is reported as well: cut the rails between Q.straight and "
        "C0.left, or part the wires of the two."
    ) in " ".join(out.split())


def test_what_is_typed_for_an_input_that_is_not_there_is_asked_again(
    commission: Commission,
) -> None:
    Path("roads.crank").write_text(HEARD, "utf-8")
    status, out, _ = commission("nothing\nB1.9\nBB\nB\nno\n", "--only", "B")
    assert status == 0
    assert "Nothing is reported as `b1.9`" in out and "Nothing is reported as `bb`" in out


def test_signals_and_outputs_are_asked_of_by_what_they_show(commission: Commission) -> None:
    Path("roads.crank").write_text(HEARD, "utf-8")
    answers = "proceed\nstop\nproceed\nopen\nclosed\nopen\nyes\n"
    status, out, _ = commission(answers, "--only", "H", "--only", "GATE")
    assert status == 1
    said = " ".join(out.split())
    assert (
        "Let H show proceed: first K1.3, output number 3, red off; then K1.3, output number 3, "
        "green."
    ) in said
    assert (
        "Switch GATE to closed: first K1.4, output number 4, green off; then K1.4, output number "
        "4, red."
    ) in said
    assert "REWIRE: exchange the wires of stop and proceed at signal H" in " ".join(out.split())


def test_a_route_over_a_drive_that_is_faulty_is_not_set(commission: Commission) -> None:
    only = ("--only", "P", "--only", "H to EAST")
    status, out, _ = commission("nothing\nnothing\nnothing\nyes\n", *only)
    assert status == 1
    assert "Set H to EAST" not in out
    assert "Not set, as a drive of theirs is faulty: H to EAST." in out
    assert "H to EAST  not asked, as P is faulty" in Path(records()[0]).read_text("utf-8")


# ------------------------------------------------------------- going on from a record


def record() -> str:
    return str(Path(max(records(), key=len)).with_suffix(".json"))


def test_what_was_found_right_is_not_asked_again(commission: Commission) -> None:
    told = ("--by", "A. Member", "--remark", "wet rails")
    commission(RIGHT + "quit\nyes\n", *DRIVES, *told)
    first = json.loads(Path(record()).read_text("utf-8"))
    assert (first["by"], first["remark"]) == ("A. Member", "wet rails")
    assert [(r["kind"], r["name"], r["on"]) for r in first["right"]] == [("drive", "P", today())]
    assert "remark: wet rails" in Path(records()[0]).read_text("utf-8")

    status, out, _ = commission(RIGHT + "yes\n", *DRIVES, "--since", record())
    assert status == 0
    assert "1 check was found right before and has not changed: not asked again." in out
    assert "drive 1 of 1: Q" in out
    told = str(Path(record()).with_suffix(".txt"))  # the one that people read
    status, out, _ = commission("", *DRIVES, "--since", told)
    assert status == 0
    assert "All of it was found right before, and nothing of it has changed since." in out


@pytest.mark.parametrize(
    ("old", "new", "asked"),
    [
        ("# my first", "# my second", []),
        ("drive P = K1.1  coil", "drive P = K1.4  coil", ["P"]),
        ("coil 100 ms  crossed # came so", "coil 100 ms # came so", ["Q"]),
        ("decoder K1 quad at 1", "decoder K1 quad at 5", ["P", "Q"]),
    ],
)
def test_what_was_changed_since_is_asked_again(
    commission: Commission, old: str, new: str, asked: list[str]
) -> None:
    commission(RIGHT + RIGHT + "yes\n", *DRIVES)
    Path("roads.crank").write_text(LAYOUT.replace(old, new), "utf-8")
    _, out, _ = commission("quit\n", *DRIVES, "--since", record(), "--json")
    left = [drive["name"] for drive in json.loads(out)["drives"]]
    assert left == asked


def test_a_file_that_is_no_record_is_told(commission: Commission) -> None:
    for name, text in (("x.json", "{}"), ("y.json", "no JSON"), ("z.json", "\udc80")):
        Path(name).write_text(text, "utf-8", errors="surrogateescape")
        status, _, err = commission("", *DRIVES, "--since", name)
        assert status == 2
        assert f"{name} cannot be used: it is not the record of a commissioning" in err
    status, _, err = commission("", *DRIVES, "--since", "none.json")
    assert (status, "No such file" in err or "does not exist" in err) == (2, True)


# --------------------------------------------------------- the history of a layout


def test_the_records_beside_a_layout_are_its_history(
    commission: Commission, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, _ = commission("", "--history")
    assert status == 3
    assert out.startswith("No record stands beside it: it has never been commissioned.\n0 of ")
    commission(RIGHT + "straight\nnothing\nnothing\nyes\n", *DRIVES, "--by", "A. Member")
    status, out, _ = commission("", "--history")
    assert status == 1
    assert re.match(rf"{today()} ..:.., by A. Member: 1 found right, 1 wrong; the text as", out)
    assert "found wrong, and not found right since: drive Q\n" in out
    assert "never tested: signal H\nnever tested: routes " in out
    main(["check", "roads.crank"])
    told = capsys.readouterr().out
    assert f"At the bench, by its records, the last of {today()}:\n  1 of " in told
    main(["check", "roads.crank", "--json"])
    bench = json.loads(capsys.readouterr().out)["bench"]
    assert [(r["right"], r["wrong"], r["by"]) for r in bench["records"]] == [(1, 1, "A. Member")]
    states = {(check["kind"], check["name"]): check["state"] for check in bench["checks"]}
    assert (states["drive", "P"], states["drive", "Q"]) == ("right", "wrong")
    assert states["signal", "H"] == "never tested"


def test_errors_of_the_layout_are_told_as_json_where_that_is_asked_for(
    commission: Commission, capsys: pytest.CaptureFixture[str]
) -> None:
    commission(RIGHT + RIGHT + "yes\n", *DRIVES)
    Path("roads.crank").write_text(LAYOUT.replace("drive P", "drive PP"), "utf-8")
    capsys.readouterr()
    for words in (
        ["commission", "roads.crank", "--history", "--json"],
        ["compare", records()[0], "roads.crank", "--json"],
    ):
        assert main(words) == 2
        told = json.loads(capsys.readouterr().out)
        assert told["status"] == "error" and told["diagnostics"][0]["code"] == "E201"


def test_a_layout_is_compared_with_a_record_of_it(
    commission: Commission, capsys: pytest.CaptureFixture[str]
) -> None:
    commission(RIGHT + RIGHT + "yes\n", *DRIVES)
    Path("roads.crank").write_text(LAYOUT.replace("P = K1.1", "P = K1.4"), "utf-8")
    assert main(["compare", records()[0], "roads.crank"]) == 1
    out = capsys.readouterr().out
    assert "found right, but changed since: drive P\n" in out
    assert "Q" not in out
    assert main(["compare", records()[0], "roads.crank", "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    states = {(check["kind"], check["name"]): check["state"] for check in told["checks"]}
    assert states["drive", "P"] == "changed since"
    assert states["drive", "Q"] == "right"
    assert [record["of_this_text"] for record in told["records"]] == [False]


def test_what_is_no_record_is_told(
    commission: Commission, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("roads-commission-2001-02-03.json").write_text("{}")
    _, out, _ = commission("", "--history")
    assert "roads-commission-2001-02-03.json: it is not the record of a commissioning" in out
    assert main(["compare", "roads-commission-2001-02-03.txt", "roads.crank"]) == 2
    assert "cannot be used: it is not the record" in capsys.readouterr().err
