"""Control table, conflict matrix and single routes for the terminal.

Nothing is wider than the columns asked for. Colour only adds to what the words say.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich import box
from rich.cells import cell_len, set_cell_size
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from bellcrank.layout.layout_model import Layout, Position
from bellcrank.routes.route_model import REASON_KINDS, Route, RouteTable
from bellcrank.routes.sentences import LETTERS, MEANINGS, why_conflict
from bellcrank.terminal.sheet import WIDTH, Sheet, count

WIDEST_WISH = 32
"""Columns beyond which a field of the control table is as well wrapped."""


def control_table(table: RouteTable, width: int = WIDTH) -> Table:
    """A row a route: what it needs and what it keeps from being set."""
    flank = any(r.flank for r in table.routes.values())
    overlap = any(r.overlap for r in table.routes.values())
    numbers = {name: number for number, name in enumerate(table.routes, start=1)}
    heads = ["route", "drives", "sections clear"]
    heads += ["overlap"] if overlap else []
    heads += ["flank"] if flank else []
    heads.append("conflicting routes")
    rows = []
    for route in table.routes.values():
        own = [s for s in route.sections_clear if s not in route.overlap_sections]
        row = [f"{numbers[route.name]} {route.name}", _lies(route.positions), ", ".join(own)]
        row += [_joined(route.overlap_sections, route.overlap_positions)] if overlap else []
        row += [_lies(route.flank)] if flank else []
        row.append(ranges(numbers[n] for n in table.conflicting[route.name]))
        rows.append([cell or "–" for cell in row])
    grid = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
    between = 3 * (len(heads) - 1)
    for head, columns in zip(heads, _widths([heads, *rows], width - between), strict=True):
        grid.add_column(head, width=columns, overflow="fold")
    for row in rows:
        grid.add_row(*map(Text, row))
    return grid


def _widths(rows: Sequence[Sequence[str]], room: int) -> list[int]:
    """Columns for each field: no word broken if that can be, the rest by need."""
    fields = list(zip(*rows, strict=True))
    # A route's number stays with the first word of its name.
    fields[0] = tuple(cell.replace(" ", "_", 1) for cell in fields[0])
    least = [max(cell_len(word) for cell in field for word in cell.split()) for field in fields]
    whole = [max(map(cell_len, field)) for field in fields]
    if sum(least) > room:  # words must be broken: each gives way in proportion
        return [max(4, n * room // sum(least)) for n in least]
    spare = room - sum(least)
    if sum(whole) <= room:
        return whole
    wishes = [max(n, min(w, WIDEST_WISH)) - n for n, w in zip(least, whole, strict=True)]
    return [
        n + wish * spare // max(sum(wishes), spare) for n, wish in zip(least, wishes, strict=True)
    ]


def _lies(positions: Iterable[Position]) -> str:
    """Drives by where they lie, in the order in which each position comes up first."""
    drives: dict[str, list[str]] = {}
    for drive, position in positions:
        drives.setdefault(position, []).append(drive)
    return "; ".join(f"{', '.join(names)} {position}" for position, names in drives.items())


def _joined(sections: Sequence[str], positions: Iterable[Position]) -> str:
    return "; ".join(part for part in (", ".join(sections), _lies(positions)) if part)


def ranges(numbers: Iterable[int]) -> str:
    """Numbers with runs of three or more drawn together: 1, 3–6, 9."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts = []
    for run in runs:
        parts += [f"{run[0]}–{run[-1]}"] if len(run) > 2 else [str(n) for n in run]
    return ", ".join(parts)


def conflict_matrix(table: RouteTable, width: int = WIDTH) -> Group:
    """Each pair of routes with a letter for its first reason, in bands of columns."""
    names = list(table.routes)
    digits = len(str(len(names)))
    longest = max(map(cell_len, names), default=0)
    label = min(longest, 30) + digits + 1
    cell = max(2, digits + 1)
    per_band = max(1, (width - label - 1) // cell)
    bands = [
        _band(table, names, start, min(start + per_band, len(names)), label, cell)
        for start in range(0, len(names), per_band)
    ]
    used = {r.kind for reasons in table.conflicts.values() for r in reasons[:1]}
    legend = "; ".join(f"{LETTERS[k]} {MEANINGS[k]}" for k in REASON_KINDS if k in used)
    parts: list[RenderableType] = []
    for band in bands:
        parts += [band, Text("")]
    sheet = Sheet(width)
    sheet.row("", f"{legend or 'no two routes conflict'}; · do not meet", head_width=0)
    return Group(*parts, sheet.text)


def _band(
    table: RouteTable, names: list[str], start: int, stop: int, label: int, cell: int
) -> Text:
    digits = len(str(len(names)))
    text = Text()
    text.append(" " * label + "".join(f"{n + 1:>{cell}}" for n in range(start, stop)) + "\n", "dim")
    for row, name in enumerate(names):
        room = label - digits - 1
        short = name if cell_len(name) <= room else set_cell_size(name, room - 1) + "…"
        text.append(f"{row + 1:>{digits}} " + set_cell_size(short, room))
        for column in range(start, stop):
            reasons = table.reasons(name, names[column])
            if row == column:
                text.append("\\".rjust(cell), "dim")
            elif reasons:
                text.append(LETTERS[reasons[0].kind].rjust(cell), "bold")
            else:
                text.append("·".rjust(cell), "dim")
        text.append("\n")
    text.rstrip()
    return text


def route_text(route: Route, layout: Layout, table: RouteTable, width: int = WIDTH) -> Text:
    """One route: where it goes, what it needs, and what conflicts with it."""
    rows = [
        ("from", f"signal {route.start}, which shows {route.aspect}"),
        ("to", f"{_end(route)}{', calling on into an occupied berth' if route.calling_on else ''}"),
        ("over", " – ".join(route.elements)),
        ("drives", _lies(route.positions) or "none"),
        ("sections clear", ", ".join(route.sections_clear) or "none"),
    ]
    if route.overlap:
        rows.append(("overlap", _joined(route.overlap_sections, route.overlap_positions)))
    if route.flank:
        rows.append(("flank", _lies(route.flank)))
    sheet = Sheet(width)
    sheet.line(route.name)
    for head, tail in rows:
        sheet.row(f"  {head}", tail, "dim", head_width=17)
    conflicting = table.conflicting[route.name]
    if not conflicting:
        sheet.row("", "conflicts with no other route", head_width=2)
    else:
        sheet.row("", count(len(conflicting), "conflicting route"), head_width=2)
    longest = min(24, max(map(cell_len, conflicting), default=0))
    for name in conflicting:
        why = why_conflict(route, table.routes[name], layout, table)
        if cell_len(name) > longest:
            sheet.row("", name, head_width=4)
        head = f"    {name}" if cell_len(name) <= longest else ""
        sheet.row(head, why, head_width=longest + 6)
    return sheet.text


def _end(route: Route) -> str:
    match route.end_kind:
        case "signal":
            return f"signal {route.end}"
        case "edge":
            return f"the edge {route.end}, where track leaves the layout"
        case "stop":
            return f"the stop in {route.end}"
