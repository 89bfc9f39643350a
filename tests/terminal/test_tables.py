"""Tables for the terminal: never wider than 100 columns, whatever the names."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from rich.cells import cell_len
from rich.console import Console, RenderableType
from sound_layouts import checked, checked_file, undecided

from bellcrank import Checked
from bellcrank.routes.sentences import LETTERS, why_conflict
from bellcrank.terminal.sheet import WIDTH
from bellcrank.terminal.tables import (
    MOST_IN_A_MATRIX,
    conflict_list,
    conflict_matrix,
    conflicting_routes,
    control_table,
    route_text,
)
from bellcrank.terminal.verdicts import verdict_text

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))


def fan(roads: int, prefix: str = "") -> str:
    """One line that fans out to so many roads: two routes a road."""
    p = prefix
    lines = [f'layout "{prefix}Fan" on two rails', f"run edge {p}MAIN - {p}A - >{p}H - {p}P1.toe"]
    lines += [f"points {', '.join(f'{p}P{n}' for n in range(1, roads))}"]
    lines += [f"run {p}P{n}.straight - {p}P{n + 1}.toe" for n in range(1, roads - 1)]
    for n in range(1, roads + 1):
        leg = f"{p}P{n}.diverging" if n < roads else f"{p}P{n - 1}.straight"
        lines.append(f"run {leg} - <{p}S{n} - {p}T{n} - stop")
    return "\n".join(lines) + "\n"


LONG = "a_name_that_goes_on_for_much_longer_than_anyone_would_ever_write_on_a_panel_by_hand_"

FORGETFUL = """
expect {0}H to {0}T1 with {0}H to {0}T2
locking written { every route needs its positions }
"""


@cache
def checked_layout(what: str) -> Checked:
    match what:
        case "many":
            return undecided(fan(52))
        case "long names":
            return checked(fan(4, LONG))
        case "long names, unproved":
            return checked(fan(2, LONG) + FORGETFUL.replace("{0}", LONG))
        case "wide letters":
            return checked(fan(5, "信号所の分岐器と停車場線路番号_"))
        case _:
            path = next(p for p in EXAMPLES if p.stem == what)
            return checked_file(path)


LAYOUTS = [p.stem for p in EXAMPLES] + [
    "many",
    "long names",
    "long names, unproved",
    "wide letters",
]

every_layout = pytest.mark.parametrize("what", LAYOUTS)


def shown(what: RenderableType, width: int = WIDTH) -> list[str]:
    """The lines as a terminal of a width shows them, without colour."""
    stream = io.StringIO()
    Console(file=stream, width=width, highlight=False, markup=False, emoji=False).print(what)
    return stream.getvalue().split("\n")


def texts(c: Checked) -> Iterator[RenderableType]:
    yield control_table(c.table)
    yield conflict_matrix(c.table)
    yield verdict_text(c)
    for route in list(c.table.routes.values())[:5]:
        yield route_text(route, c.layout, c.table)


@every_layout
def test_nothing_is_wider_than_a_hundred_columns(what: str) -> None:
    for text in texts(checked_layout(what)):
        assert max(map(cell_len, shown(text))) <= WIDTH == 100


@pytest.mark.parametrize("what", [*[p.stem for p in EXAMPLES], "many"])
def test_lines_are_made_to_fit_and_not_broken_by_the_terminal(what: str) -> None:
    """On a terminal of any greater width the lines are the same."""
    for text in texts(checked_layout(what)):
        assert shown(text) == shown(text, width=300)


@every_layout
def test_the_control_table_names_every_route_whole(what: str) -> None:
    table = checked_layout(what).table
    assert table
    lines = [line.lstrip() for line in shown(control_table(table))]
    column = "".join(re.split(r" {2,}", line)[0].strip() for line in lines)
    column = re.sub(r"\s", "", column)
    for number, name in enumerate(table.routes, start=1):
        assert f"{number}{name}".replace(" ", "") in column


def bands(lines: list[str]) -> Iterator[tuple[list[int], list[tuple[int, list[str]]]]]:
    """The matrix as read from the screen: numbers of columns, then row by row."""
    columns: list[int] = []
    read: list[tuple[int, list[str]]] = []
    for line in lines:
        words = line.split()
        if words and all(w.isdigit() for w in words):
            columns, read = [int(w) for w in words], []
        elif columns and words and words[0].isdigit():
            read.append((int(words[0]), words[-len(columns) :]))
        elif columns:
            yield columns, read
            columns = []


@every_layout
def test_the_matrix_on_the_screen_is_symmetric_and_holds_every_conflict(what: str) -> None:
    table = checked_layout(what).table
    assert table
    names = list(table.routes)
    cells = {}
    for columns, read in bands(shown(conflict_matrix(table))):
        assert [row for row, _ in read] == list(range(1, len(names) + 1))
        for row, letters in read:
            cells |= {(row, c): x for c, x in zip(columns, letters, strict=True)}
    assert len(cells) == len(names) ** 2
    for (row, column), letter in cells.items():
        assert cells[column, row] == letter
        reasons = table.reasons(names[row - 1], names[column - 1])
        if row == column:
            assert letter == "\\"
        else:
            assert letter == (LETTERS[reasons[0].kind] if reasons else "·")


@every_layout
def test_the_columns_of_the_matrix_stand_under_their_numbers(what: str) -> None:
    """A matrix of one band: each row is as wide as the head."""
    table = checked_layout(what).table
    assert table
    lines = shown(conflict_matrix(table))
    head = 0
    for line in lines:
        words = line.split()
        if words and all(w.isdigit() for w in words):
            head = cell_len(line)
        elif head and words and words[0].isdigit():
            assert cell_len(line) == head
        else:
            head = 0


@every_layout
def test_the_legend_explains_every_letter_in_the_matrix_and_no_other(what: str) -> None:
    table = checked_layout(what).table
    assert table
    text = " ".join(shown(conflict_matrix(table)))
    legend = text[text.rindex("\\") :]
    used = {LETTERS[reasons[0].kind] for reasons in table.conflicts.values()}
    assert set(re.findall(r"\b([A-Z]) (?:they|one)", legend)) == used


@every_layout
def test_the_verdict_says_the_outcome_and_every_assumption_by_name(what: str) -> None:
    c = checked_layout(what)
    lines = shown(verdict_text(c))
    stopped = f" (stopped {c.moving.stopped})" if c.moving.stopped else ""
    said = f"verdict: {c.outcome} by {c.standing.solver}{stopped}, assuming"
    assert c.outcome != "unmet"
    assert said in " ".join(lines)
    for name in c.moving.assumptions:
        assert sum(line.startswith(f"  {name}") for line in lines) == 1


def test_a_hundred_and_four_routes_are_a_hundred_and_four_rows() -> None:
    table = checked_layout("many").table
    assert table and len(table.routes) == 104
    rows = [line for line in shown(control_table(table)) if re.match(r" *\d+ \S", line)]
    assert [int(row.split()[0]) for row in rows] == list(range(1, 105))


@every_layout
@pytest.mark.parametrize("width", [60, 100])
def test_the_list_of_conflicts_says_what_the_matrix_does(what: str, width: int) -> None:
    table = checked_layout(what).table
    assert table
    names = list(table.routes)
    text = "\n".join(shown(conflict_list(table, width), width))
    assert all(cell_len(line) <= width for line in text.split("\n"))
    parts = re.split(r"^ *(\d+) (?=\S)", text[: text.rindex("\n\n")], flags=re.M)[1:]
    rows = dict(zip(map(int, parts[::2]), parts[1::2], strict=True))
    assert list(rows) == list(range(1, len(names) + 1))
    for number, row in rows.items():
        read = {}
        for letter, listed in re.findall(r"\b([A-Z])\s+(\d[\d–,\s]*)", row):
            for first, _, last in (part.partition("–") for part in listed.split(",")):
                read |= dict.fromkeys(range(int(first), int(last or first) + 1), letter)
        mine = ((o, table.reasons(names[number - 1], n)) for o, n in enumerate(names, start=1))
        assert read == {o: LETTERS[r[0].kind] for o, r in mine if r}


def test_of_more_routes_than_a_matrix_can_show_conflicts_are_listed() -> None:
    many, few = (checked_layout(what).table for what in ("many", "harbour-terminus"))
    assert many and few and len(few.routes) <= MOST_IN_A_MATRIX < len(many.routes)
    assert shown(conflicting_routes(few)) == shown(conflict_matrix(few))
    assert shown(conflicting_routes(many)) == shown(conflict_list(many))


@pytest.mark.parametrize("what", ["many", "harbour-terminus", "four-track-station"])
def test_no_name_of_a_route_is_broken_and_numbers_stand_under_each_other(what: str) -> None:
    table = checked_layout(what).table
    assert table
    lines = shown(control_table(table, 80))
    digits = len(str(len(table.routes)))
    for number, name in enumerate(table.routes, start=1):
        assert sum(line.startswith(f"{number:>{digits}} {name} ") for line in lines) == 1


def test_why_is_one_sentence_whichever_route_is_named_first() -> None:
    c = checked_layout("harbour-terminus")
    one, other = c.table.routes["W1 to T1"], c.table.routes["G1 to T2"]
    why = why_conflict(one, other, c.layout, c.table)
    assert why == why_conflict(other, one, c.layout, c.table)
    assert why.startswith("they cross in S1 (double slip with one drive), which lies straight")
    assert why_conflict(one, one, c.layout, c.table) == ""


def test_a_recheck_that_was_stopped_is_not_said_to_have_covered_everything() -> None:
    c = undecided("run edge W - A - >H - B - stop\n")
    moving = replace(c.moving, solvers=("z3 1", "cvc5 1"))
    (said,) = (x for x in shown(verdict_text(replace(c, moving=moving))) if "verdict:" in x)
    assert "not all of it again by cvc5" in said and "every obligation" not in said
