"""Command files played into a simulated bench: what is changed in one is found."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sound_layouts import NO_TIME, checked_file, undecided

from bellcrank import Checked
from bellcrank.commands.cli import main
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target
from bellcrank.layout.layout_model import Side
from bellcrank.readback.bench import Bench, NothingThereError, Shown
from bellcrank.readback.bench_check import read_back
from bellcrank.readback.readers import read

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

WIRED = """\
layout "Wired"
points P
run edge WEST - A - >H - P.toe
run P.straight - B - edge EAST
run P.diverging - <S - C - stop
decoder kind quad { outputs 4 }
decoder K quad at 21
drive P = K.1  coil 200 ms  crossed
signal H = K.2
"""

Rows = list[dict[str, str]]


def wrong(c: Checked, reader: str, data: bytes) -> tuple[str, ...]:
    file = {"csv": "command-list.csv", "json": "layout.json", "packets": "packets.txt"}[reader]
    return read_back(reader, {file: data}, c.layout, c.table, c.machine)


def command_list(c: Checked) -> bytes:
    return render_target(load_target("csv"), build_document(c, SPARED))["command-list.csv"]


def edited(data: bytes, edit: Callable[[Rows], None]) -> bytes:
    """A command list with its rows changed."""
    rows = list(csv.DictReader(io.StringIO(data.decode("utf-8"), newline="")))
    fields = list(rows[0])
    edit(rows)
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, fields)
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode("utf-8")


def row(rows: Rows, route: str, phase: str, name: str) -> dict[str, str]:
    (found,) = (r for r in rows if (r["route"], r["phase"], r["name"]) == (route, phase, name))
    return found


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_what_is_written_for_an_example_is_what_was_proved(path: Path) -> None:
    c = checked_file(path, NO_TIME)
    data = build_document(c, SPARED)
    for target, file, reader in (
        ("csv", "command-list.csv", "csv"),
        ("json", "layout.json", "json"),
    ):
        assert wrong(c, reader, render_target(load_target(target), data)[file]) == ()


def test_a_bench_does_what_its_wiring_says() -> None:
    c = undecided(WIRED)
    bench = Bench(c.layout)
    assert bench.lies == {"P": None}
    assert bench.shown("H") is bench.shown("S") is None
    bench.switch_on(21, "green", ends=True)  # crossed: the first position is on the red side
    assert bench.lies == {"P": "diverging"}
    bench.switch_on(21, "red", ends=True)
    assert bench.lies == {"P": "straight"}
    bench.switch_on(22, "green", ends=True)
    bench.by_hand("signal", "S", "stop")
    assert bench.shown("H") == Shown(("proceed",), ("stop",))
    assert bench.shown("S") == Shown(("stop",))
    with pytest.raises(NothingThereError, match="green side of output 23"):
        bench.switch_on(23, "green", ends=True)
    with pytest.raises(NothingThereError, match="red side of output 23"):
        bench.switch_off(23, "red")
    with pytest.raises(NothingThereError, match="nothing on output 22 knows the value 3"):
        bench.show(22, 3)
    with pytest.raises(NothingThereError, match="there is no drive Q"):
        bench.by_hand("drive", "Q", "straight")


def test_a_coil_that_nobody_switches_off_is_still_on() -> None:
    bench = Bench(undecided(WIRED).layout)
    bench.switch_on(21, "green", ends=False)
    assert bench.coils_on == {"P"}
    bench.switch_off(21, "green")
    assert bench.coils_on == set()
    timed = Bench(undecided(WIRED.replace("outputs 4", "outputs 4  pulses timed")).layout)
    timed.switch_on(21, "green", ends=False)
    assert timed.coils_on == set()


THREE = """\
layout "Three lamps"
run edge WEST - A - >H - B - edge EAST
decoder kind quad { outputs 4 }
decoder K quad at 21
decoder L quad at 31
signal H shows stop at K.1 red, caution at K.1 green, clear at L.1 green
numbering from decoder 1
"""


@pytest.mark.parametrize(
    ("lamps", "stays_on"),
    [
        ("alone", ("stop", "caution", "clear")),
        ("paired", ("stop", "clear")),  # K.1 has the lamps of stop and caution
        ("grouped", ("stop", "clear")),  # clear is on another decoder
    ],
)
def test_each_lamp_stays_on_until_it_is_put_out(lamps: str, stays_on: tuple[str, ...]) -> None:
    text = THREE.replace("outputs 4", f"outputs 4  lamps {lamps}")
    bench = Bench(undecided(text).layout)
    for number, side in ((31, "green"), (21, "green"), (21, "red")):
        bench.switch_on(number, "green" if side == "green" else "red", ends=True)
    assert bench.shown("H") == Shown(stays_on)


@pytest.mark.parametrize("lamps", ["alone", "paired", "grouped"])
@pytest.mark.parametrize("name", ["csv", "json", "packets", "events", "mqtt"])
def test_lamps_of_other_aspects_are_put_out_in_every_form(name: str, lamps: str) -> None:
    c = undecided(THREE.replace("outputs 4", f"outputs 4  lamps {lamps}"))
    assert complaints(c, name, made(c, name)) == ()


TWO_AT_ONCE = """\
layout "Two at once"
run edge WEST - A - >H - B - edge EAST
decoder kind quad { outputs 4 }
decoder K quad at 21
decoder L quad at 31
signal H shows stop at K.1 red and L.1 red, caution at K.1 green and L.1 red, clear at K.1 green
route H to EAST shows caution
numbering from decoder 1
"""


@pytest.mark.parametrize("lamps", ["alone", "paired", "grouped"])
@pytest.mark.parametrize("name", ["csv", "json", "packets", "events", "mqtt"])
def test_lamps_that_are_lit_together_are_lit_in_every_form(name: str, lamps: str) -> None:
    c = undecided(TWO_AT_ONCE.replace("outputs 4", f"outputs 4  lamps {lamps}"))
    assert complaints(c, name, made(c, name)) == ()


@pytest.mark.parametrize("name", ["csv", "json", "packets", "events", "mqtt"])
def test_an_aspect_of_which_only_a_part_is_lit_is_found_in_every_form(name: str) -> None:
    half = TWO_AT_ONCE.replace("stop at K.1 red and L.1 red", "stop at K.1 red")
    said = complaints(undecided(TWO_AT_ONCE), name, made(undecided(half), name))
    wrong = "after the list that cancels H to EAST H shows the lamp at the red side of output 21, "
    assert wrong + "not stop" in said


def test_a_signal_shows_the_aspect_whose_lamps_are_on_and_not_one_that_is_a_part_of_it() -> None:
    bench = Bench(undecided(TWO_AT_ONCE).layout)
    off: list[tuple[int, Side]] = [(21, "red"), (21, "green"), (31, "red")]
    for number, side in off:
        bench.switch_off(number, side)
    bench.switch_on(21, "green", ends=True)
    assert bench.shown("H") == Shown(("clear",))
    bench.switch_on(31, "red", ends=True)
    assert bench.shown("H") == Shown(("caution",))
    bench.switch_off(21, "green")
    assert bench.shown("H") == Shown((), (), ((31, "red"),))
    assert str(bench.shown("H")) == "the lamp at the red side of output 31"
    bench.switch_on(21, "red", ends=True)
    assert bench.shown("H") == Shown(("stop",))
    bench.switch_on(21, "green", ends=True)
    assert str(bench.shown("H")) == "stop and caution"


@pytest.mark.parametrize("name", ["csv", "json", "packets", "events", "mqtt"])
def test_a_signal_that_shows_stop_and_clear_at_once_after_a_cancel_is_found(name: str) -> None:
    paired = undecided(THREE.replace("outputs 4", "outputs 4  lamps grouped"))
    alone = undecided(THREE)
    said = complaints(alone, name, made(paired, name))
    assert (
        "after the list that cancels H to EAST H shows stop and perhaps caution and perhaps "
        "clear, not stop"
    ) not in said
    assert any("cancels H to EAST H shows stop" in sentence for sentence in said)


def test_a_coil_that_a_list_of_packets_leaves_on_is_found() -> None:
    c = undecided(NUMBERED)
    files = made(c, "packets")
    text = files["packets.txt"].decode("utf-8")
    assert " off at " in text
    left = re.sub(r"  off at \d+ ms  .. .. ..", "", text)
    said = complaints(c, "packets", {"packets.txt": left.encode("utf-8")})
    assert "after the list for H to B a coil of P is still on" in said


def test_a_wrong_side_in_a_list_is_found() -> None:
    c = undecided(WIRED)

    def swap(rows: Rows) -> None:
        row(rows, "H to EAST", "drives", "P")["side"] = "green"

    assert wrong(c, "csv", edited(command_list(c), swap)) == (
        "after the list for H to EAST P lies diverging, not straight",
    )


def test_commands_and_lists_that_are_left_out_are_found() -> None:
    c = undecided(WIRED)

    def drop(rows: Rows) -> None:
        rows.remove(row(rows, "H to C", "drives", "P"))
        rows.remove(row(rows, "H to C", "signals off", "H"))
        rows[:] = [r for r in rows if r["route"] != "H to EAST"]

    assert wrong(c, "csv", edited(command_list(c), drop)) == (
        "there is no list for H to EAST",
        "after the list for H to C P lies as it did before, not diverging",
        "after the list for H to C H shows stop, not proceed",
    )


def test_a_command_to_the_wrong_output_is_found() -> None:
    c = undecided(WIRED)

    def move(rows: Rows) -> None:
        row(rows, "H to C", "drives", "P")["output number"] = "24"

    assert wrong(c, "csv", edited(command_list(c), move)) == (
        "in the list for H to C: nothing is wired to the green side of output 24",
        "after the list for H to C P lies as it did before, not diverging",
    )


def test_lists_for_what_is_no_route_and_files_of_no_form_are_found() -> None:
    c = undecided(WIRED)

    def rename(rows: Rows) -> None:
        for r in rows:
            r["route"] = r["route"].replace("EAST", "OST")

    assert wrong(c, "csv", edited(command_list(c), rename)) == (
        "there is a list for H to OST, which is not a route",
        "there is no list for H to EAST",
    )
    for reader, data in (
        ("csv", b"route,step\r\nH to EAST,1\r\n"),
        ("csv", b"\xff\xfe"),
        ("json", b"{}"),
        ("json", b"[1,"),
        ("json", json.dumps({"commands": [{"number": 21, "side": "up"}]}).encode()),
    ):
        (said,) = wrong(c, reader, data)
        assert said.startswith(("it is not of the form", "output 21 has no side"))


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_any_other_side_in_a_list_for_which_a_drive_is_needed_is_found(data: st.DataObject) -> None:
    c = undecided(WIRED)

    def change(rows: Rows) -> None:
        needed = [r for r in rows if r["phase"] == "drives"]
        found = data.draw(st.sampled_from(needed))
        found["side"] = {"green": "red", "red": "green"}[found["side"]]

    assert wrong(c, "csv", edited(command_list(c), change))


# ------------------------------------------------------------ every form of commands

NUMBERED = """\
layout "Numbered"
points P, Q
run edge WEST - A - >H - P.toe
run P.straight - Q.toe
run P.diverging - <S - C - stop
run Q.straight - <R - B - stop
run Q.diverging - D - stop
numbering from decoder 0
decoder kind quad { outputs 4 }
decoder kind lamps { outputs 2  packets extended }
decoder L lamps at 101
drive P = quad  coil 200 ms  crossed
drive Q = quad  coil 200 ms
signal H shows stop, caution, clear = L.1
signal S = quad
signal R shows stop as 0, proceed as 9 = L.2
"""

FORMS = ("csv", "json", "packets", "events", "mqtt")


def made(c: Checked, name: str) -> dict[str, bytes]:
    data = build_document(c, SPARED)
    return render_target(load_target(name), data, {"range": "05.01.01.01.22.00"})


def complaints(c: Checked, name: str, files: dict[str, bytes]) -> tuple[str, ...]:
    reader = load_target(name).reads_back
    assert reader is not None
    return read_back(reader, files, c.layout, c.table, c.machine)


@pytest.mark.parametrize("name", FORMS)
def test_every_form_of_commands_does_what_was_proved(name: str) -> None:
    c = undecided(NUMBERED)
    assert complaints(c, name, made(c, name)) == ()


@pytest.mark.parametrize(
    ("name", "file", "right", "wrong"),
    [
        ("packets", "packets.txt", "numbering from decoder 0", "numbering from decoder 1"),
        ("packets", "packets.txt", "80 F8 78", "80 F9 79"),  # P diverging, crossed: straight
        ("packets", "packets.txt", "set H to B", "cancel H to B"),
        ("packets", "packets.txt", " ms  99 ", " ms  98 "),
        ("events", "event-table.csv", ",drive,P,straight,quad_1,1,1,red,",
         ",drive,P,straight,quad_1,1,1,green,"),
        ("events", "event-list.csv", "22.00.00.00", "22.00.00.01"),
        ("events", "event-list.csv", "22.00.00.00", "22.00.07.77"),
        ("mqtt", "messages.json", '\\"number\\":1,\\"side\\":\\"red\\"',
         '\\"number\\":1,\\"side\\":\\"green\\"'),
        ("mqtt", "messages.json", '\\"value\\":2', '\\"value\\":1'),
        ("mqtt", "messages.json", '"what": "set"', '"what": "cancel"'),
        ("json", "layout.json", '"side": "red",\n', '"side": "green",\n'),
    ],
)  # fmt: skip
def test_in_every_form_a_change_that_matters_is_found(
    name: str, file: str, right: str, wrong: str
) -> None:
    c = undecided(NUMBERED)
    files = made(c, name)
    text = files[file].decode("utf-8")
    assert right in text
    changed = {**files, file: text.replace(right, wrong).encode("utf-8")}
    assert complaints(c, name, changed)


def test_a_list_of_events_that_sends_a_report_is_refused() -> None:
    c = undecided(NUMBERED)
    files = made(c, "events")
    table = files["event-table.csv"].decode("utf-8").splitlines()
    [report, *_] = [row.split(",")[0] for row in table if ",report," in row]
    sent = files["event-list.csv"].replace(b"05.01.01.01.22.00.00.00", report.encode("ascii"))
    assert complaints(c, "events", {**files, "event-list.csv": sent}) == (
        f"{report} is a report and commands nothing",
    )


def test_a_list_that_cancels_and_the_start_up_are_read_again_in_every_form() -> None:
    c = undecided(NUMBERED)
    for name in FORMS:
        reader = load_target(name).reads_back
        assert reader is not None
        lists = read(reader, made(c, name))
        assert {key.what for key in lists} == {"set", "cancel", "start up"}, name
        assert {k.route for k in lists if k.what == "cancel"} == set(c.table.routes), name


def changed_beside(c: Checked, edit: Callable[[Rows], None]) -> tuple[str, ...]:
    """What is said when the list of cancelling and starting up is changed."""
    files = made(c, "csv")
    name = "cancel-and-start-up.csv"
    return complaints(c, "csv", {**files, name: edited(files[name], edit)})


def of(rows: Rows, what: str, route: str, name: str) -> dict[str, str]:
    (found,) = (r for r in rows if (r["what"], r["route"], r["name"]) == (what, route, name))
    return found


def test_cancelling_that_leaves_the_signal_off_or_moves_anything_is_found() -> None:
    c = undecided(WIRED)

    def clear(rows: Rows) -> None:
        of(rows, "cancel", "H to C", "H")["side"] = "green"

    assert changed_beside(c, clear) == (
        "after the list that cancels H to C H shows proceed and perhaps stop, not stop",
    )

    def throw(rows: Rows) -> None:
        rows.append({**of(rows, "cancel", "H to C", "H"), "output number": "21"})
        rows[-1]["puts out"] = ""

    assert changed_beside(c, throw) == (
        "the list that cancels H to C throws P, which must be left alone",
    )

    def another(rows: Rows) -> None:
        rows.append({**of(rows, "cancel", "S to WEST", "S"), "output number": "22"})
        rows[-1]["side"] = "green"

    assert changed_beside(c, another) == (
        "after the list that cancels S to WEST H shows proceed and perhaps stop, not stop",
    )


def test_a_start_up_that_leaves_something_as_it_was_is_found() -> None:
    c = undecided(WIRED)

    def drop(rows: Rows) -> None:
        rows.remove(of(rows, "start up", "", "S"))
        of(rows, "start up", "", "P")["side"] = "green"

    assert changed_beside(c, drop) == (
        "after the list of the start-up P lies diverging, not straight",
        "after the list of the start-up S shows what it showed before, not stop",
    )


def test_cancelling_and_start_up_are_there_for_all_or_for_none() -> None:
    c = undecided(WIRED)

    def only_one(rows: Rows) -> None:
        rows[:] = [r for r in rows if (r["what"], r["route"]) == ("cancel", "H to C")]

    assert changed_beside(c, only_one) == (
        "there is no list that cancels H to EAST",
        "there is no list that cancels S to WEST",
        "there is no list of the start-up",
    )
    files = made(c, "csv")
    assert complaints(c, "csv", {"command-list.csv": files["command-list.csv"]}) == ()

    def misname(rows: Rows) -> None:
        rows[0]["what"] = "undo"

    assert changed_beside(c, misname) == ("there is no list that does `undo`",)


def test_build_writes_nothing_where_a_target_writes_what_was_not_proved(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("halt.crank").write_text(WIRED)
    Path("mine").mkdir()
    Path("mine/target.toml").write_text(
        "context = 1\nreads_back = 'csv'\nwithout = ['controller', 'vectors']\n[[files]]\n"
        "path = 'command-list.csv'\ntemplate = 'it.jinja'\n"
    )
    Path("mine/it.jinja").write_text(
        "{% for c in commands %}{% if loop.first %}"
        "{{ ['route', 'device', 'name', 'state', 'output number', 'side', status] | csv -}}"
        "{% endif %}"
        "{{ [c.route, c.device, c.name, c.state, c.number, 'red' if c.number else none] | csv -}}"
        "{% endfor %}"
    )
    assert main(["build", "halt.crank", "--target", "mine"]) == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "what the target mine writes does not do what was proved: after the list for" in said
    assert not Path("halt").exists()
