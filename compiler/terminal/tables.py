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
from bellcrank.routes.headings import Heading
from bellcrank.routes.route_model import REASON_KINDS, Route, RouteTable
from bellcrank.routes.sentences import LETTERS, MEANINGS, why_conflict
from bellcrank.terminal.sheet import WIDTH, Sheet, count

WIDEST_WISH = 32
"""Columns beyond which a field of the control table is as well wrapped."""

MOST_IN_A_MATRIX = 40
"""Routes beyond which conflicts are listed: a matrix of more bands is nobody's to read."""

LONGEST_NAME = 30
"""Columns to which the name of a route is cut beside its conflicts."""


def control_table(table: RouteTable, width: int = WIDTH) -> Table:
    """A row a route: what it needs and what it keeps from being set."""
    flank = any(r.flank for r in table.routes.values())
    overlap = any(r.overlap for r in table.routes.values())
    numbers = {name: number for number, name in enumerate(table.routes, start=1)}
    digits = len(str(len(numbers)))
    heads: list[Heading] = ["route", "drives", "sections clear"]
    heads += ["overlap"] if overlap else []
    heads += ["flank"] if flank else []
    heads.append("conflicting routes")
    rows = []
    for route in table.routes.values():
        own = [s for s in route.sections_clear if s not in route.overlap_sections]
        number = f"{numbers[route.name]:>{digits}}"
        row = [f"{number} {route.name}", _lies(route.positions), ", ".join(own)]
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
    whole = [max(map(cell_len, field)) for field in fields]
    fields[0] = tuple(map(_with_its_number, fields[0]))
    least = [max(cell_len(word) for cell in field for word in cell.split()) for field in fields]
    if whole[0] + sum(least[1:]) <= room:  # no name of a route need be broken
        least[0] = whole[0]
    if sum(least) > room:  # words must be broken: each gives way in proportion
        return [max(4, n * room // sum(least)) for n in least]
    spare = room - sum(least)
    if sum(whole) <= room:
        return whole
    wishes = [max(n, min(w, WIDEST_WISH)) - n for n, w in zip(least, whole, strict=True)]
    return [
        n + wish * spare // max(sum(wishes), spare) for n, wish in zip(least, wishes, strict=True)
    ]


def _with_its_number(cell: str) -> str:
    """A numbered name, its first word drawn together with its number."""
    shown = cell.lstrip(" ")
    return "_" * (len(cell) - len(shown)) + shown.replace(" ", "_", 1)


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


def conflicting_routes(table: RouteTable, width: int = WIDTH) -> Group:
    """Which routes conflict, and what for: a matrix, or a list where that would be too large."""
    most = MOST_IN_A_MATRIX
    return (conflict_matrix if len(table.routes) <= most else conflict_list)(table, width)


def conflict_matrix(table: RouteTable, width: int = WIDTH) -> Group:
    """Each pair of routes with a letter for its first reason, in bands of columns."""
    names = list(table.routes)
    digits = len(str(len(names)))
    longest = max(map(cell_len, names), default=0)
    label = min(longest, LONGEST_NAME) + digits + 1
    cell = max(2, digits + 1)
    per_band = max(1, (width - label - 1) // cell)
    parts: list[RenderableType] = []
    for start in range(0, len(names), per_band):
        stop = min(start + per_band, len(names))
        parts += [_band(table, names, start, stop, label, cell), Text("")]
    sheet = Sheet(width)
    sheet.row("", f"{_legend(table)}; · do not meet", head_width=0)
    return Group(*parts, sheet.text)


def conflict_list(table: RouteTable, width: int = WIDTH) -> Group:
    """A row a route: the numbers of those with which it conflicts, by the first reason."""
    numbers = {name: number for number, name in enumerate(table.routes, start=1)}
    digits = len(str(len(numbers)))
    room = min(max(map(cell_len, numbers)), LONGEST_NAME)
    listed, legend = Sheet(width), Sheet(width)
    for name, number in numbers.items():
        by_kind: dict[str, list[int]] = {}
        for other in table.conflicting[name]:
            by_kind.setdefault(table.reasons(name, other)[0].kind, []).append(numbers[other])
        parts = [f"{LETTERS[k]} {ranges(by_kind[k])}" for k in REASON_KINDS if k in by_kind]
        head = f"{number:>{digits}} {_shortened(name, room)}  "
        listed.row(head, "; ".join(parts) or "–", head_width=digits + room + 3)
    legend.row("", f"{_legend(table)}; routes by their numbers", head_width=0)
    return Group(listed.text, Text(""), legend.text)


def _shortened(name: str, room: int) -> str:
    """A name in so many columns, cut if it must be: it stands whole in the control table."""
    fits = cell_len(name) <= room
    return set_cell_size(name if fits else set_cell_size(name, room - 1) + "…", room)


def _legend(table: RouteTable) -> str:
    used = {r.kind for reasons in table.conflicts.values() for r in reasons[:1]}
    legend = "; ".join(f"{LETTERS[k]} {MEANINGS[k]}" for k in REASON_KINDS if k in used)
    return legend or "no two routes conflict"


def _band(
    table: RouteTable, names: list[str], start: int, stop: int, label: int, cell: int
) -> Text:
    digits = len(str(len(names)))
    text = Text()
    text.append(" " * label + "".join(f"{n + 1:>{cell}}" for n in range(start, stop)) + "\n", "dim")
    for row, name in enumerate(names):
        room = label - digits - 1
        text.append(f"{row + 1:>{digits}} " + _shortened(name, room))
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
