"""Where two routes meet, sketched in a few lines of plain characters.

Each route is a line of what it passes, from left to right as the runs of the layout
read; a route that runs leftwards is told by `<` at its signal. What both pass stands in
one column, with a sign between the two lines that says how they meet there:

    W1 to T1  W1> - P1 ------ S1 - T1
                              X         X crossing
    G1 to T2        G1> - P3 - S1 - T2
"""

from __future__ import annotations

from itertools import pairwise

from bellcrank.layout.layout_model import Layout
from bellcrank.routes.conflicts import how_ways_meet
from bellcrank.routes.route_model import ReasonKind, Route

MOST_COLUMNS = 100

SIGNS: dict[ReasonKind, str] = {
    "crossing": "X",
    "fouling": "V",
    "head-on": "><",
    "opposed drive": "/",
    "shared section": "=",
    "overlap": "O",
}

WORDS: dict[str, str] = {
    "X": "crossing",
    "V": "side by side",
    "><": "head-on",
    "/": "drive in opposite positions",
    "=": "the same track",
    "O": "overlap",
}

Cell = tuple[str, str]
"""What is passed (an element, or "" for a signal), and how it is written."""


def sketch(layout: Layout, one: Route, other: Route, width: int = MOST_COLUMNS) -> tuple[str, ...]:
    """Two routes and where they meet, in lines of at most `width` characters.

    Empty if they pass no element in common, overlaps counted.
    """
    first, second = _cells(layout, one), _cells(layout, other)
    pairs = _common(first, second)
    if not pairs:
        return ()
    columns = _columns(first, second, pairs)
    head = max(len(one.name), len(other.name)) + 2
    least = max(20, min(width, MOST_COLUMNS) - head - 2)
    columns = _shortened(columns, least)
    upper, middle, lower = _lines(layout, one, other, columns)
    signs = dict.fromkeys(s for s in WORDS if s in middle.split())
    told = ", ".join(f"{sign} {WORDS[sign]}" for sign in signs)
    lines = [
        f"{one.name:{head}}{upper}",
        f"{'':{head}}{middle}",
        f"{other.name:{head}}{lower}",
    ]
    if len(lines[1]) + 3 + len(told) <= width:
        lines[1] += "   " + told
    else:
        lines.append(f"{'':{head}}{told}")
    return tuple(_cut(line.rstrip(), width) for line in lines)


def _cut(line: str, width: int) -> str:
    return line if len(line) <= width else line[: width - 3] + "..."


def _cells(layout: Layout, route: Route) -> list[Cell]:
    """What a route passes, from left to right."""
    reads = [layout.reads.get((way.element, way.entry)) for way in route.ways]  # type: ignore[call-overload]
    rightwards = sum(1 if hand == "left" else -1 for hand in reads if hand) >= 0
    start = f"{route.start}>" if rightwards else f"<{route.start}"
    cells: list[Cell] = [("", start)]
    cells += [(name, name) for name in route.elements]
    if route.end_kind != "stop":
        end = route.end
        if route.end_kind == "signal":
            end = f"{end}>" if rightwards else f"<{end}"
        cells.append(("", end))
    beyond = route.overlap.elements if route.overlap is not None else ()
    cells += [(name, f"({name})") for name in beyond]
    return cells if rightwards else cells[::-1]


def _common(first: list[Cell], second: list[Cell]) -> list[tuple[int, int]]:
    """The places of a longest row of elements that both pass, from left to right."""
    rows = [[0] * (len(second) + 1) for _ in range(len(first) + 1)]
    for i in reversed(range(len(first))):
        for j in reversed(range(len(second))):
            same = first[i][0] != "" and first[i][0] == second[j][0]
            rows[i][j] = max(rows[i + 1][j], rows[i][j + 1], (rows[i + 1][j + 1] + 1) * same)
    pairs = []
    i = j = 0
    while i < len(first) and j < len(second):
        if first[i][0] and first[i][0] == second[j][0] and rows[i][j] == rows[i + 1][j + 1] + 1:
            pairs.append((i, j))
            i, j = i + 1, j + 1
        elif rows[i + 1][j] >= rows[i][j + 1]:
            i += 1
        else:
            j += 1
    return pairs


Column = tuple[str, str, str]
"""The cells of the two routes, and the element if it is common to both."""


def _columns(first: list[Cell], second: list[Cell], pairs: list[tuple[int, int]]) -> list[Column]:
    ends = [(-1, -1), *pairs, (len(first), len(second))]
    columns: list[Column] = []
    for (i, j), (i2, j2) in pairwise(ends):
        if i >= 0:
            columns.append((first[i][1], second[j][1], first[i][0]))
        upper = [cell[1] for cell in first[i + 1 : i2]]
        lower = [cell[1] for cell in second[j + 1 : j2]]
        many = max(len(upper), len(lower))
        # Before the first common element both lines end against it, later they begin.
        for side in (upper, lower):
            blank = [""] * (many - len(side))
            side[:] = blank + side if i < 0 else side + blank
        columns += [(a, b, "") for a, b in zip(upper, lower, strict=True)]
    return columns


def _shortened(columns: list[Column], width: int) -> list[Column]:
    """Columns of which some in the middle are left out until the rest fits."""

    def wide(listed: list[Column]) -> int:
        return sum(max(len(a), len(b)) + 3 for a, b, _ in listed) - 3

    while wide(columns) > width and len(columns) > 4:
        plain = [
            k
            for k in range(1, len(columns) - 1)
            if not columns[k][2] and "..." not in columns[k][:2]
        ]
        inner = [k for k in range(2, len(columns) - 2) if "..." not in columns[k][:2]]
        choice = plain or inner
        if not choice:
            break
        k = choice[len(choice) // 2]
        columns = [*columns[:k], ("...", "...", ""), *columns[k + 1 :]]
        merged: list[Column] = []
        for column in columns:
            if not (merged and column[:2] == merged[-1][:2] == ("...", "...")):
                merged.append(column)
        if len(merged) == len(columns) and wide(merged) > width and not plain:
            break
        columns = merged
    return columns


def _lines(layout: Layout, one: Route, other: Route, columns: list[Column]) -> tuple[str, str, str]:
    upper = middle = lower = ""
    for k, (a, b, common) in enumerate(columns):
        size = max(len(a), len(b), 2 if common else 1)
        sign = _sign(layout, one, other, common) if common else ""
        before = "" if k == 0 else "   "
        middle += before + f"{sign:{size}}"
        upper += _joined(upper, a, size, k, any(c[0] for c in columns[k:]))
        lower += _joined(lower, b, size, k, any(c[1] for c in columns[k:]))
    return upper, middle, lower


def _joined(line: str, cell: str, size: int, column: int, goes_on: bool) -> str:
    """A cell with the track before it; blank before the route begins and after it ends."""
    begun = bool(line.strip())
    if not cell:
        gap = "-" if begun and goes_on else " "
        first = " " if line[-1:] not in ("-", "") else gap
        return (first + gap * 2 if column else "") + gap * size
    before = "" if column == 0 else " - " if begun else "   "
    if begun and line.endswith("-"):
        before = "-- "
    fill = "-" if goes_on and len(cell) < size else " "
    return before + cell + (f" {fill * (size - len(cell) - 1)}" if len(cell) < size else "")


def _sign(layout: Layout, one: Route, other: Route, element: str) -> str:
    """How two routes meet in an element."""
    ways = [[w for w in route.ways if w.element == element] for route in (one, other)]
    if not ways[0] or not ways[1]:
        return SIGNS["overlap"]
    kinds = {how_ways_meet(a, b, layout.elements[element].kind) for a in ways[0] for b in ways[1]}
    demands = other.demands
    if any(demands.get(d, p) != p for way in ways[0] for d, p in way.when):
        return SIGNS["opposed drive"] if "head-on" not in kinds else SIGNS["head-on"]
    for kind in SIGNS:
        if kind in kinds:
            return SIGNS[kind]
    return ""
