"""Control table, conflict matrix and verdict for the terminal.

Nothing is wider than WIDTH columns. Colour only adds to what the words say.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from rich import box
from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from bellcrank.layout.model import Layout, Position
from bellcrank.proof.verdict import ASSUMPTIONS, Verdict
from bellcrank.routes.model import REASON_KINDS, Route, RouteTable
from bellcrank.routes.sentences import LETTERS, MEANINGS, explain, listed

WIDTH = 100

_COLOURS = {"proved": "green", "refuted": "bold red", "undecided": "bold yellow"}

_HOLDS = {"proved": "holds", "refuted": "fails", "undecided": "undecided"}

MOST_SHOWN = 10
"""Unsafe sets shown in full; --json gives them all."""


def control_table(table: RouteTable) -> Table:
    """A row a route: what it needs and what it keeps from being set."""
    grid = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, width=WIDTH)
    flank = any(r.flank for r in table.routes.values())
    overlap = any(r.overlap for r in table.routes.values())
    grid.add_column("route", ratio=5)
    grid.add_column("drives", ratio=5)
    grid.add_column("sections clear", ratio=4)
    if overlap:
        grid.add_column("overlap", ratio=3)
    if flank:
        grid.add_column("flank", ratio=3)
    grid.add_column("conflicting routes", ratio=8)
    numbers = {name: number for number, name in enumerate(table.routes, start=1)}
    for route in table.routes.values():
        cells = [
            f"{numbers[route.name]} {route.name}",
            _lies(route.positions) or "–",
            ", ".join(route.sections_clear[: len(route.sections_clear)
                      - len(route.overlap_sections)]) or "–",
        ]  # fmt: skip
        if overlap:
            cells.append(_joined(route.overlap_sections, route.overlap_positions))
        if flank:
            cells.append(_lies(route.flank) or "–")
        cells.append(_ranges(numbers[n] for n in table.conflicting[route.name]) or "–")
        grid.add_row(*(Text(cell) for cell in cells))
    return grid


def _lies(positions: Iterable[Position]) -> str:
    return ", ".join(f"{drive} {position}" for drive, position in positions)


def _joined(sections: Sequence[str], positions: Iterable[Position]) -> str:
    return "; ".join(part for part in (", ".join(sections), _lies(positions)) if part) or "–"


def _ranges(numbers: Iterable[int]) -> str:
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


def conflict_matrix(table: RouteTable) -> Group:
    """Each pair of routes with a letter for its first reason, in bands of columns."""
    names = list(table.routes)
    digits = len(str(len(names)))
    longest = max((len(n) for n in names), default=0)
    label = min(longest, 30) + digits + 1
    cell = max(2, digits + 1)
    per_band = max(1, (WIDTH - label - 1) // cell)
    bands = [
        _band(table, names, start, min(start + per_band, len(names)), label, cell)
        for start in range(0, len(names), per_band)
    ]
    used = {r.kind for reasons in table.conflicts.values() for r in reasons[:1]}
    legend = "; ".join(f"{LETTERS[k]} {MEANINGS[k]}" for k in REASON_KINDS if k in used)
    parts: list[RenderableType] = []
    for band in bands:
        parts += [band, Text("")]
    parts.append(Text(f"{legend or 'no two routes conflict'}; · may run together"))
    return Group(*parts)


def _band(
    table: RouteTable, names: list[str], start: int, stop: int, label: int, cell: int
) -> Text:
    digits = len(str(len(names)))
    text = Text()
    text.append(" " * label + "".join(f"{n + 1:>{cell}}" for n in range(start, stop)) + "\n", "dim")
    for row, name in enumerate(names):
        short = name if len(name) <= label - digits - 1 else name[: label - digits - 2] + "…"
        text.append(f"{row + 1:>{digits}} {short}".ljust(label))
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


def verdict_text(verdict: Verdict, layout: Layout, table: RouteTable) -> Text:
    """The verdict with its properties, expectations, hazards and assumptions."""
    text = Text()
    text.append(
        f"{layout.title}: {_count(len(table.routes), 'route')}, "
        f"{_count(len(layout.signals), 'signal')}, {_count(len(layout.drives), 'drive')}, "
        f"{_count(len(table.conflicts), 'conflicting pair')}\n"
    )
    for result in verdict.properties:
        text.append(f"{result.outcome:<10}", _COLOURS[result.outcome])
        text.append(f"{result.sentence}\n")
    for expectation in verdict.expectations:
        text.append(f"{_HOLDS[expectation.outcome]:<10}", _COLOURS[expectation.outcome])
        text.append(f"expect {expectation.text}\n")
        if expectation.why:
            text.append(f"{'':10}{expectation.span}: {expectation.why}\n")
    if verdict.hazards:
        text.append("\n")
        for line in _hazards(verdict):
            text.append(line + "\n")
    for name in verdict.never_set:
        text.append(f"note      {name} can never be set under these rules\n")
    text.append("\nverdict: ")
    text.append(verdict.outcome, _COLOURS[verdict.outcome])
    text.append(f" by {verdict.solver}, taking for granted\n")
    for name, sentence in ASSUMPTIONS.items():
        text.append(f"  {name}: {sentence}\n")
    text.rstrip()
    return text


def _hazards(verdict: Verdict) -> Iterator[str]:
    count = len(verdict.hazards)
    more = "" if verdict.complete else " at least"
    yield (
        f"The locking lets{more} {count} unsafe set{'s' if count > 1 else ''} of routes stand:"
        if count > 1 or not verdict.complete
        else "The locking lets an unsafe set of routes stand:"
    )
    for hazard in verdict.hazards[:MOST_SHOWN]:
        yield f"  {hazard.sentence}."
        others = hazard.routes[2 if hazard.missing.find(" locks ") > 0 else 1 :]
        if others:
            yield f"    (together with {listed(others)}, without which they cannot be set)"
        yield f"    missing rule: {hazard.missing}"
    if count > MOST_SHOWN:
        yield f"  … and {count - MOST_SHOWN} more; --json gives them all"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def route_text(route: Route, layout: Layout, table: RouteTable) -> Text:
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
    text = Text(f"{route.name}\n")
    for head, tail in rows:
        text.append(f"  {head:<15}", "dim")
        text.append(f"{tail}\n")
    conflicting = table.conflicting[route.name]
    text.append(f"  {_count(len(conflicting), 'conflicting route')}\n" if conflicting
                else "  conflicts with no other route\n")  # fmt: skip
    for name in conflicting:
        text.append(f"    {name}: {why_text(route, table.routes[name], layout, table)}\n")
    text.rstrip()
    return text


def _end(route: Route) -> str:
    match route.end_kind:
        case "signal":
            return f"signal {route.end}"
        case "edge":
            return f"the edge {route.end}, where track leaves the layout"
        case "stop":
            return f"the stop in {route.end}"


def why_text(one: Route, other: Route, layout: Layout, table: RouteTable) -> str:
    """Why two routes conflict, as one sentence without its full stop, or ""."""
    first, second = one, other
    if (one.name, other.name) not in table.conflicts:
        first, second = other, one
    return listed(
        explain(reason, first, second, layout) for reason in table.reasons(first.name, second.name)
    )
