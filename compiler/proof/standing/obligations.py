"""What must be shown, as SMT-LIB 2.6 text that any solver can read.

An obligation is one thing that must never be: two routes set over one section,
a drive that lies wrong for a set route. It is stated from the track alone,
never from the conflicts that the route table lists: what the table forgot
would be found out.

A script states the locking in force over one Boolean for each route (it is
set) and for each drive's positions (it lies there), and for each property a
further Boolean that is true exactly when the property is violated. To show a
property is to find that locking and violation cannot hold together. Only core
Booleans are used (logic QF_UF), so a plain SAT solver will do as well.

A script over some of the obligations holds only the routes they name and the
rules among those. Fewer rules allow more, so what is shown with them holds
with all rules too.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from bellcrank.layout.layout_model import Layout, Position
from bellcrank.machine.locking import Locking, Locks, Needs, NeedsSet
from bellcrank.routes.route_model import RouteTable

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
class Exclusive:
    """No two of these routes, all that lead over one section, may be set."""

    violates: PropertyName
    section: str
    routes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Apart:
    """While a route is set, none of the others may be that lead into its overlap."""

    violates: PropertyName
    route: str
    section: str
    others: tuple[str, ...]

    @property
    def routes(self) -> tuple[str, ...]:
        return (self.route, *self.others)


@dataclass(frozen=True, slots=True)
class Lies:
    """While a route is set, a drive must lie as it needs."""

    violates: PropertyName
    route: str
    position: Position

    @property
    def routes(self) -> tuple[str, ...]:
        return (self.route,)


Obligation = Exclusive | Apart | Lies


def obligations(table: RouteTable) -> tuple[Obligation, ...]:
    """Everything that must be shown of a layout's routes."""
    users: dict[str, list[str]] = defaultdict(list)
    for route in table.routes.values():
        for section in route.sections:
            users[section].append(route.name)
    found: list[Obligation] = list(_exclusive(users))
    for route in table.routes.values():
        found += [Lies("positions", route.name, p) for p in route.positions]
        found += [Lies("overlaps", route.name, p) for p in route.overlap_positions]
        found += [Lies("flanks", route.name, p) for p in route.flank]
        for section in route.overlap_sections:
            others = tuple(
                name
                for name in users[section]
                if name != route.name and section in route.overlap_entered_by(table.routes[name])
            )
            if others:
                found.append(Apart("overlaps", route.name, section, others))
    return tuple(found)


def _exclusive(users: Mapping[str, Sequence[str]]) -> Iterator[Exclusive]:
    """One obligation for each section, less those that another one contains.

    Where all routes over one section also lead over a second, to keep any two
    off the second is to keep any two off the first.
    """
    containing: dict[str, list[frozenset[str]]] = defaultdict(list)
    kept: set[str] = set()
    for section, names in sorted(users.items(), key=lambda item: -len(item[1])):
        routes = frozenset(names)
        if len(names) > 1 and not any(routes <= other for other in containing[names[0]]):
            kept.add(section)
            for name in names:
                containing[name].append(routes)
    for section, names in users.items():
        if section in kept:
            yield Exclusive("track", section, tuple(names))


@dataclass(frozen=True, slots=True)
class Script:
    """Some or all of the obligations of one layout.

    text: SMT-LIB 2.6 without any check-sat.
    routes: each route's symbol.
    positions: for each drive and position its term.
    violations: each property's symbol, true when the property is violated.
    """

    text: str
    routes: Mapping[str, str]
    positions: Mapping[Position, str]
    violations: Mapping[PropertyName, str]

    def obligation(self, assumed: Iterable[str]) -> str:
        """A whole script that asks whether terms can hold under the locking."""
        asserts = "".join(f"(assert {term})\n" for term in assumed)
        return f"{self.text}{asserts}(check-sat)\n"


@dataclass(slots=True)
class ScriptWriter:
    """Writes scripts over a layout's obligations, all of them or some."""

    layout: Layout
    table: RouteTable
    locking: Locking
    locks: dict[str, list[Locks]] = field(default_factory=lambda: defaultdict(list))
    needs: dict[str, list[Needs]] = field(default_factory=lambda: defaultdict(list))
    needs_set: dict[str, list[NeedsSet]] = field(default_factory=lambda: defaultdict(list))

    def __post_init__(self) -> None:
        for lock in self.locking.locks:
            self.locks[lock.first].append(lock)
        for need in self.locking.needs:
            self.needs[need.route].append(need)
        for need_set in self.locking.needs_set:
            self.needs_set[need_set.route].append(need_set)

    def whole(self) -> Script:
        """The script over all routes and rules."""
        return self._write(obligations(self.table), self.table.routes, self.layout.drives)

    def part(self, some: Sequence[Obligation]) -> Script:
        """The script over some obligations, the routes they name and their rules."""
        routes = dict.fromkeys(name for o in some for name in o.routes)
        drives = {need.drive for name in routes for need in self.needs[name]}
        drives |= {d for name in routes for lock in self.locks[name] for d, _ in lock.when}
        drives |= {o.position[0] for o in some if isinstance(o, Lies)}
        return self._write(some, routes, drives)

    def _write(
        self, some: Sequence[Obligation], names: Iterable[str], drives: Iterable[str]
    ) -> Script:
        lines = ["(set-info :smt-lib-version 2.6)", "(set-logic QF_UF)"]
        routes = {name: f"r{index}" for index, name in enumerate(names)}
        for name, symbol in routes.items():
            lines.append(f"(declare-const {symbol} Bool) ; set: {_ascii(name)}")
        positions = self._declare_drives(sorted(drives), lines)
        lines.append("; the locking in force")
        lines += self._rules(routes, positions)
        lines.append("; what would be unsafe")
        terms: dict[PropertyName, list[str]] = {name: [] for name in SENTENCES}
        for index, obligation in enumerate(some):
            terms[obligation.violates] += _violations(obligation, index, routes, positions, lines)
        violations: dict[PropertyName, str] = {}
        for name, unsafe in terms.items():
            violations[name] = f"violated_{name}"
            lines.append(f"(declare-const violated_{name} Bool)")
            lines.append(f"(assert (= violated_{name} {_any(unsafe)}))")
        return Script("\n".join(lines) + "\n", routes, positions, violations)

    def _declare_drives(self, drives: Iterable[str], lines: list[str]) -> dict[Position, str]:
        """Declare where drives lie: in exactly one of their positions."""
        terms: dict[Position, str] = {}
        for index, name in enumerate(drives):
            positions = self.layout.drives[name].positions
            if len(positions) == 2:
                symbol = f"d{index}"
                first, second = positions
                lines.append(f"(declare-const {symbol} Bool) ; {_ascii(f'{name} lies {first}')}")
                terms[name, first] = symbol
                terms[name, second] = f"(not {symbol})"
                continue
            symbols = [f"d{index}_{number}" for number in range(len(positions))]
            for symbol, position in zip(symbols, positions, strict=True):
                lines.append(f"(declare-const {symbol} Bool) ; {_ascii(f'{name} lies {position}')}")
                terms[name, position] = symbol
            lines.append(f"(assert {_any(symbols)})")
            lines += [
                f"(assert (not (and {one} {other})))"
                for i, one in enumerate(symbols)
                for other in symbols[i + 1 :]
            ]
        return terms

    def _rules(self, routes: Mapping[str, str], positions: Mapping[Position, str]) -> Iterator[str]:
        for name, symbol in routes.items():
            for need in self.needs[name]:
                yield f"(assert (=> {symbol} {positions[need.drive, need.position]}))"
            for lock in self.locks[name]:
                other = routes.get(lock.second)
                if other is not None:
                    when = "".join(f" {positions[position]}" for position in lock.when)
                    yield f"(assert (not (and {symbol} {other}{when})))"
            for need_set in self.needs_set[name]:
                other = routes.get(need_set.other)
                if other is not None:
                    yield f"(assert (=> {symbol} {other}))"


def write_script(layout: Layout, table: RouteTable, locking: Locking) -> Script:
    """The whole locking and all violations of a layout."""
    return ScriptWriter(layout, table, locking).whole()


def _violations(
    obligation: Obligation,
    index: int,
    routes: Mapping[str, str],
    positions: Mapping[Position, str],
    lines: list[str],
) -> list[str]:
    match obligation:
        case Exclusive():
            return _two_of([routes[name] for name in obligation.routes], index, lines)
        case Apart():
            others = _any(routes[name] for name in obligation.others)
            return [f"(and {routes[obligation.route]} {others})"]
        case Lies():
            return [f"(and {routes[obligation.route]} (not {positions[obligation.position]}))"]


def _two_of(symbols: list[str], index: int, lines: list[str]) -> list[str]:
    """Terms of which one is true if two of the symbols are.

    The count runs along a chain ("one of the first k is set"), so that the
    text grows with the symbols and not with their square.
    """
    terms = []
    seen = symbols[0]
    for number, symbol in enumerate(symbols[1:], start=1):
        terms.append(f"(and {seen} {symbol})")
        if number + 1 < len(symbols):
            name = f"s{index}_{number}"
            lines.append(f"(define-fun {name} () Bool (or {seen} {symbol}))")
            seen = name
    return terms


def _ascii(name: str) -> str:
    return name.encode("ascii", "backslashreplace").decode("ascii")


def _any(terms: Iterable[str]) -> str:
    terms = tuple(terms)
    if len(terms) < 2:
        return "".join(terms) or "false"
    return f"(or {' '.join(terms)})"
