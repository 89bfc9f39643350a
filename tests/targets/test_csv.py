"""The CSV files, read back with the csv module, say what the document says."""

from __future__ import annotations

import csv
import io
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from sound_layouts import checked, checked_file

from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED, Document
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

HOW = ["phase", "device", "name", "state", "how", "decoder", "output", "output number", "side",
       "value", "milliseconds"]  # fmt: skip

ODD = """
layout "=1+1, ; 'a'\t|cmd" on two rails
points P
run edge _W - A - >_1 - P.toe
run P.straight - <Größe - B - stop
run P.diverging - <信号 - C - stop
signal _1 shows stop, 黄, clear
route status = _1 to B
route compiler = _1 to C shows 黄
routes derive
"""
"""A title like a formula, names in letters of several scripts, and routes that
are called like the heads of columns."""


@cache
def compiled(path: Path | None) -> Document:
    if path is not None:
        return build_document(checked_file(path), SPARED)
    return build_document(checked(ODD), SPARED)


@cache
def files(path: Path | None) -> dict[str, bytes]:
    return render_target(load_target("csv"), compiled(path))


def rows(path: Path | None, name: str) -> list[list[str]]:
    text = files(path)[name].decode("utf-8")
    return list(csv.reader(io.StringIO(text, newline=""), strict=True))


def stamp(data: dict[str, Any]) -> str:
    """The head of the last column, whose fields are empty."""
    return "; ".join(
        [
            f"status: {data['status']}",
            f"compiler: {data['compiler']['name']} {data['compiler']['version']}",
            f"source sha256: {data['source']['sha256']}",
            f"notice: {data['notice']}",
        ]
    )


def field(value: object) -> str:
    """A value as it stands in a field: null is empty, several names part by "; "."""
    if value is None:
        return ""
    return "; ".join(value) if isinstance(value, list) else str(value)


def lamps(given: list[dict[str, object]]) -> list[str]:
    return [f"{lamp['number']} {lamp['side']}" for lamp in given]


def lies(positions: list[dict[str, str]]) -> str:
    return "; ".join(f"{p['drive']} {p['position']}" for p in positions)


every_layout = pytest.mark.parametrize(
    "path", [*EXAMPLES, None], ids=lambda p: p.stem if p else "odd names"
)


@every_layout
def test_four_files_are_written(path: Path | None) -> None:
    assert list(files(path)) == [
        "control-table.csv",
        "conflict-matrix.csv",
        "command-list.csv",
        "cancel-and-start-up.csv",
    ]


@every_layout
def test_the_control_table_has_a_row_for_each_route_with_all_it_needs(path: Path | None) -> None:
    data = compiled(path).plain
    head, *table = rows(path, "control-table.csv")
    assert head == [
        "route",
        "from",
        "to",
        "ends at",
        "calling on",
        "aspect",
        "drives",
        "sections clear",
        "overlap",
        "overlap drives",
        "flank",
        "conflicting routes",
        stamp(data),
    ]
    assert table == [
        [
            r["name"],
            r["from"],
            r["to"],
            r["ends_at"],
            "yes" if r["calling_on"] else "no",
            r["aspect"],
            lies(r["positions"]),
            field(r["sections_clear"]),
            field(r["overlap"]["sections"]) if r["overlap"] else "",
            lies(r["overlap"]["positions"]) if r["overlap"] else "",
            lies(r["flank"]),
            field(list(r["conflicts"])),
            "",
        ]
        for r in data["routes"]
    ]


@every_layout
def test_the_conflict_matrix_is_symmetric_and_holds_every_conflict(path: Path | None) -> None:
    data = compiled(path).plain
    names = [r["name"] for r in data["routes"]]
    head, *table = rows(path, "conflict-matrix.csv")
    assert head == ["route", *names, stamp(data)]
    assert [row[0] for row in table] == names
    assert all(row[-1] == "" for row in table)
    cells = [row[1:-1] for row in table]
    assert cells == [list(column) for column in zip(*cells, strict=True)]
    assert all(cells[i][i] == "" for i in range(len(names)))
    found = {
        (names[i], names[j]): cells[i][j].split("; ")
        for i in range(len(names))
        for j in range(i)
        if cells[i][j]
    }
    # Each pair is listed once, in the order of the routes: here the later comes first.
    assert found == {
        (c["routes"][1], c["routes"][0]): [r["kind"] for r in c["reasons"]]
        for c in data["conflicts"]
    }


@every_layout
def test_the_command_list_is_the_timetables_that_set_routes_row_for_row(path: Path | None) -> None:
    data = compiled(path).plain
    head, *table = rows(path, "command-list.csv")
    assert head == [
        "route",
        "step",
        "phase",
        "device",
        "name",
        "state",
        "how",
        "decoder",
        "output",
        "output number",
        "side",
        "value",
        "milliseconds",
        "only if set",
        "at ms",
        "until ms",
        "first waits until",
        "puts out",
        "lights",
        stamp(data),
    ]
    fields = "route step phase device name state how decoder output number side value milliseconds"
    expected = []
    for timetable in data["timetables"]:
        for timed in timetable["commands"] if timetable["what"] == "set" else ():
            command = timed["command"]
            expected.append(
                [
                    *(field(command[name]) for name in fields.split()),
                    field(command["only_if_set"]),
                    field(timed["at"]),
                    field(timed["until"]),
                    field([wait["sentence"] for wait in timed["after"]]),
                    *(field(lamps(command[of])) for of in ("puts_out", "lights")),
                    "",
                ]
            )
    assert table == expected


@every_layout
def test_the_other_list_is_the_timetables_that_cancel_and_start_up(path: Path | None) -> None:
    data = compiled(path).plain
    head, *table = rows(path, "cancel-and-start-up.csv")
    more = ["at ms", "until ms", "first waits until", "then waits until", "puts out", "lights"]
    assert head == ["what", "route", "step", *HOW, *more, stamp(data)]
    fields = "phase device name state how decoder output number side value milliseconds"
    expected = []
    for timetable in data["timetables"]:
        if timetable["what"] == "set":
            continue
        last = len(timetable["commands"])
        for step, timed in enumerate(timetable["commands"], start=1):
            then = timetable["waits"] if step == last else []
            expected.append(
                [
                    timetable["what"],
                    field(timetable["route"]),
                    str(step),
                    *(field(timed["command"][name]) for name in fields.split()),
                    field(timed["at"]),
                    field(timed["until"]),
                    field([wait["sentence"] for wait in timed["after"]]),
                    field([wait["sentence"] for wait in then]),
                    *(field(lamps(timed["command"][of])) for of in ("puts_out", "lights")),
                    "",
                ]
            )
    assert table == expected
    assert {row[0] for row in table} == {"cancel", "start up"}
    assert {row[1] for row in table if row[0] == "cancel"} == {r["name"] for r in data["routes"]}


@every_layout
def test_every_row_ends_in_crlf_and_has_as_many_fields_as_the_head(path: Path | None) -> None:
    """RFC 4180, section 2, rules 1 and 4."""
    for name, content in files(path).items():
        assert content.endswith(b"\r\n")
        assert content.count(b"\r") == content.count(b"\n") == content.count(b"\r\n")
        table = rows(path, name)
        assert len(table) == content.count(b"\r\n")
        assert {len(row) for row in table} == {len(table[0])}, name


@every_layout
def test_no_field_would_be_taken_for_a_formula(path: Path | None) -> None:
    """That spreadsheets take these first characters for one is common practice."""
    for name in files(path):
        for row in rows(path, name):
            assert not [value for value in row if value[:1] in ("=", "+", "-", "@", "\t")]


def test_each_file_says_in_its_first_row_that_a_layout_is_not_proved() -> None:
    path = next(p for p in EXAMPLES if compiled(p).status == "UNPROVED")
    for name in files(path):
        assert rows(path, name)[0][-1].startswith("status: UNPROVED; ")


@pytest.mark.parametrize(
    ("target", "given"), [("csv", {}), ("events", {"range": "05.01.01.01.22.00"})]
)
def test_a_remark_in_the_layout_changes_one_line_of_each_file(
    target: str, given: dict[str, str]
) -> None:
    text = (EXAMPLES[0].parent / "harbour-terminus.crank").read_text("utf-8")
    before, after = (
        render_target(load_target(target), build_document(checked(t), SPARED), given)
        for t in (text, "# looked through in spring\n" + text)
    )
    assert before.keys() == after.keys()
    for name in before:
        pairs = zip(before[name].split(b"\r\n"), after[name].split(b"\r\n"), strict=True)
        assert [n for n, (old, new) in enumerate(pairs) if old != new] == [0], name


@every_layout
def test_a_reader_that_takes_columns_by_their_heads_meets_no_row_that_is_no_row(
    path: Path | None,
) -> None:
    text = files(path)["control-table.csv"].decode("utf-8")
    reader = csv.DictReader(io.StringIO(text, newline=""), strict=True)
    assert [row["route"] for row in reader] == [r["name"] for r in compiled(path).plain["routes"]]
    assert reader.fieldnames is not None
    proved = compiled(path).status == "proved"
    assert reader.fieldnames[-1].startswith("status: proved;") == proved


def test_odd_names_come_through_unchanged() -> None:
    table = rows(None, "control-table.csv")
    assert [row[:3] for row in table[1:3]] == [["status", "_1", "B"], ["compiler", "_1", "C"]]
    assert {"Größe to _W", "信号 to _W"} <= {row[0] for row in table}
    assert table[2][5] == "黄"


@pytest.mark.parametrize(
    "title",
    [
        "plain",
        "a, b",
        "semi; colon",
        "it's",
        "=SUM(A1:A9)",
        "+1",
        "-1",
        "@x",
        " blank ",
        "\ttab",
        "",
    ],
)
def test_no_title_can_break_a_row_that_carries_it(tmp_path: Path, title: str) -> None:
    text = ODD.replace("=1+1, ; 'a'\t|cmd", title)
    compilation = checked(text)
    (tmp_path / "target.toml").write_text(
        'context = 1\n[[files]]\npath = "titles.csv"\ntemplate = "titles.jinja"\n'
    )
    (tmp_path / "titles.jinja").write_text(
        "{% for r in routes -%}\n{{ [r.name, layout.title, status] | csv -}}\n{% endfor %}\n"
    )
    document = build_document(compilation, SPARED)
    written = render_target(load_target(str(tmp_path)), document)["titles.csv"]
    table = list(csv.reader(io.StringIO(written.decode("utf-8"), newline=""), strict=True))
    assert table == [[name, title, "proved"] for name in compilation.table.routes]
