"""What must be shown, as SMT-LIB 2.6 text that any solver can read.

One script states the locking in force over one Boolean for each route (it is
set) and for each drive's positions (it lies there). Each property is a further
Boolean, true exactly when the property is violated. To show a property is to
find that locking and violation cannot hold together. Only core Booleans are
used (logic QF_UF), so a plain SAT solver will do as well.

The violations are stated from the track alone, never from the conflicts that
the route table lists: what the table forgot would be found out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

from bellcrank.layout.model import Layout
from bellcrank.machine.locking import Locking
from bellcrank.routes.model import Route, RouteTable

PropertyName = Literal["track", "positions", "overlaps", "flanks"]

SENTENCES: dict[PropertyName, str] = {
    "track": "no two set routes lead over the same section or fitting",
    "positions": "every drive on a set route lies right for it",
    "overlaps": "no set route leads into the overlap of another, "
    "and the drives in an overlap lie right",
    "flanks": "every drive that protects the flank of a set route lies right",
}
"""Each property as a sentence for people."""


@dataclass(frozen=True, slots=True)
class Script:
    """The obligations of one layout.

    text: SMT-LIB 2.6 without any check-sat.
    routes: each route's symbol.
    positions: for each drive and position its term.
    violations: each property's symbol, true when the property is violated.
    """

    text: str
    routes: Mapping[str, str]
    positions: Mapping[tuple[str, str], str]
    violations: Mapping[PropertyName, str]

    def obligation(self, assumed: Iterable[str]) -> str:
        """A whole script that asks whether terms can hold under the locking."""
        asserts = "".join(f"(assert {term})\n" for term in assumed)
        return f"{self.text}{asserts}(check-sat)\n"


def write_script(layout: Layout, table: RouteTable, locking: Locking) -> Script:
    """State the locking and the violations of a layout."""
    lines = ["(set-info :smt-lib-version 2.6)", "(set-logic QF_UF)"]
    routes = {name: f"r{index}" for index, name in enumerate(table.routes)}
    for name, symbol in routes.items():
        lines += [f"(declare-const {symbol} Bool) ; set: {_ascii(name)}"]
    positions = _declare_drives(layout, lines)
    lines.append("; the locking in force")
    lines += _locking(locking, routes, positions)
    lines.append("; what would be unsafe")
    violations: dict[PropertyName, str] = {}
    for name, terms in (
        ("track", _track(table, routes, lines)),
        ("positions", _wrong(table, routes, positions, lambda r: r.positions)),
        ("overlaps", _overlaps(table, routes, positions)),
        ("flanks", _wrong(table, routes, positions, lambda r: r.flank)),
    ):
        symbol = f"violated_{name}"
        lines.append(f"(declare-const {symbol} Bool)")
        lines.append(f"(assert (= {symbol} {_any(terms)}))")
        violations[name] = symbol  # type: ignore[index]
    return Script("\n".join(lines) + "\n", routes, positions, violations)


def _ascii(name: str) -> str:
    return name.encode("ascii", "backslashreplace").decode("ascii")


def _declare_drives(layout: Layout, lines: list[str]) -> dict[tuple[str, str], str]:
    """Declare where drives lie: in exactly one of their positions."""
    terms: dict[tuple[str, str], str] = {}
    for index, drive in enumerate(layout.drives.values()):
        if len(drive.positions) == 2:
            symbol = f"d{index}"
            first, second = drive.positions
            lines.append(
                f"(declare-const {symbol} Bool) ; {_ascii(drive.name)} lies {_ascii(first)}"
            )
            terms[drive.name, first] = symbol
            terms[drive.name, second] = f"(not {symbol})"
            continue
        symbols = []
        for number, position in enumerate(drive.positions):
            symbol = f"d{index}_{number}"
            lines.append(
                f"(declare-const {symbol} Bool) ; {_ascii(drive.name)} lies {_ascii(position)}"
            )
            terms[drive.name, position] = symbol
            symbols.append(symbol)
        lines.append(f"(assert {_any(symbols)})")
        lines += [
            f"(assert (not (and {one} {other})))"
            for i, one in enumerate(symbols)
            for other in symbols[i + 1 :]
        ]
    return terms


def _locking(
    locking: Locking, routes: Mapping[str, str], positions: Mapping[tuple[str, str], str]
) -> Iterable[str]:
    for need in locking.needs:
        yield f"(assert (=> {routes[need.route]} {positions[need.drive, need.position]}))"
    for lock in locking.locks:
        when = "".join(f" {positions[position]}" for position in lock.when)
        yield f"(assert (not (and {routes[lock.first]} {routes[lock.second]}{when})))"
    for need_set in locking.needs_set:
        yield f"(assert (=> {routes[need_set.route]} {routes[need_set.other]}))"


def _track(table: RouteTable, routes: Mapping[str, str], lines: list[str]) -> list[str]:
    """A term for each section, true when two set routes lead over it.

    With many users the count runs along a chain ("one of the first k is set"),
    so that the text grows with the users and not with their square.
    """
    users: dict[str, list[str]] = defaultdict(list)
    for route in table.routes.values():
        for section in route.sections:
            users[section].append(routes[route.name])
    terms = []
    for index, symbols in enumerate(users.values()):
        seen = symbols[0]
        for number, symbol in enumerate(symbols[1:], start=1):
            terms.append(f"(and {seen} {symbol})")
            if number + 1 < len(symbols):
                name = f"s{index}_{number}"
                lines.append(f"(define-fun {name} () Bool (or {seen} {symbol}))")
                seen = name
    return terms


def _wrong(
    table: RouteTable,
    routes: Mapping[str, str],
    positions: Mapping[tuple[str, str], str],
    needed: object,
) -> list[str]:
    assert callable(needed)
    return [
        f"(and {routes[route.name]} (not {positions[position]}))"
        for route in table.routes.values()
        for position in needed(route)
    ]


def _overlaps(
    table: RouteTable, routes: Mapping[str, str], positions: Mapping[tuple[str, str], str]
) -> list[str]:
    users: dict[str, list[Route]] = defaultdict(list)
    for route in table.routes.values():
        for section in route.sections:
            users[section].append(route)
    terms = _wrong(table, routes, positions, lambda r: r.overlap_positions)
    for route in table.routes.values():
        for section in route.overlap_sections:
            others = [routes[r.name] for r in users[section] if r is not route]
            if others:
                terms.append(f"(and {routes[route.name]} {_any(others)})")
    return terms


def _any(terms: Iterable[str]) -> str:
    terms = tuple(terms)
    if len(terms) < 2:
        return "".join(terms) or "false"
    return f"(or {' '.join(terms)})"
