"""From the route table and the written rules to the locking in force.

Derived locking comes from the route table. Written locking is what the user
wrote and nothing else, except that each route needs the frogs on its way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from bellcrank.diagnostics import (
    MOST_MISTAKES,
    Collector,
    Diagnostic,
    Instead,
    Span,
    TooManyMistakesError,
)
from bellcrank.layout.layout_model import Layout, Position
from bellcrank.machine.locking import (
    Expectation,
    Locking,
    Locks,
    Needs,
    NeedsClear,
    NeedsSet,
    OnlyOne,
    OnlyOneOver,
)
from bellcrank.machine.parts import PassagesAsked, coming_from
from bellcrank.routes.demands import find_position
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.routes.route_naming import by_start, find_route
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program


@dataclass(slots=True)
class _Rules:
    locks: list[Locks] = field(default_factory=list)
    needs: list[Needs] = field(default_factory=list)
    needs_set: list[NeedsSet] = field(default_factory=list)
    needs_clear: list[NeedsClear] = field(default_factory=list)
    groups: list[OnlyOne] = field(default_factory=list)
    places: list[OnlyOneOver] = field(default_factory=list)
    drives_need_clear: bool = False


def build_locking(
    program: Program, layout: Layout, table: RouteTable
) -> tuple[Locking, tuple[Diagnostic, ...]]:
    """The locking of a layout whose routes are without errors, and the diagnostics."""
    found = Collector(most=MOST_MISTAKES)
    try:
        locking = _locking(program, layout, table, found)
    except TooManyMistakesError:
        locking = Locking(False, (), (), (), (), ())
    return locking, found.result()


def _locking(program: Program, layout: Layout, table: RouteTable, found: Collector) -> Locking:
    lines = program.of(t.LockingLine)
    for line in lines[1:]:
        if line.derive != lines[0].derive:
            found.report(
                "E505",
                "locking is both derived and written",
                line.span,
                expected="one of the two; `locking derive { … }` takes rules of your own too",
                related=[(lines[0].span, "the other line")],
            )
    derived = lines[0].derive if lines else True
    rules = _Rules(drives_need_clear=derived)
    if derived:
        _derive(layout, table, rules)
    else:
        # No rule of a user speaks of frogs: they follow from the roads that routes take.
        for route in table.routes.values():
            rules.needs += [
                Needs(route.name, drive, leg)
                for drive, leg in route.demands.items()
                if layout.drives[drive].frog is not None
            ]
    routes = table.routes.values()
    reader = _Reader(layout, table, by_start(routes), routes_over(routes), found, rules)
    for line in lines:
        for rule in line.rules:
            reader.rule(rule)
    reader.report_both_ways()
    expectations = tuple(reader.expectations(program.of(t.ExpectLine)))
    sectional = _sectional(program.of(t.ReleaseLine), derived, layout, table, found)
    return Locking(
        derived,
        tuple(rules.locks),
        tuple(rules.needs),
        tuple(rules.needs_set),
        tuple(rules.needs_clear),
        expectations,
        drives_need_clear=rules.drives_need_clear,
        sectional=sectional,
        groups=tuple(rules.groups),
        places=tuple(rules.places),
    )


def _sectional(
    lines: Sequence[t.ReleaseLine],
    derived: bool,
    layout: Layout,
    table: RouteTable,
    found: Collector,
) -> bool:
    """Whether sections are released one by one: as the layout says, else as is usual."""
    if not lines:
        return derived
    for line in lines[1:]:
        found.report(
            "E107",
            "how routes are released is said twice",
            line.span,
            expected="one of `release section by section` and `release whole routes`",
            related=[(lines[0].span, "said here first")],
        )
    blind = [
        next((s for s in route.sections if not layout.sections[s].detected), None)
        for route in table.routes.values()
    ]
    if lines[0].by_section and blind and None not in blind:
        found.report(
            "W812",
            "no route can be released section by section: each has a section without detection, "
            f"such as {blind[0]}",
            lines[0].span,
            hint="write `release whole routes`, which is what happens",
        )
    return lines[0].by_section


def _derive(layout: Layout, table: RouteTable, rules: _Rules) -> None:
    before = coming_from(PassagesAsked(layout))
    for route in table.routes.values():
        rules.needs += [Needs(route.name, d, p) for d, p in route.demands.items()]
        clear = dict.fromkeys(route.sections_clear)
        for section in (*route.sections, *route.overlap_sections):
            # A train on its way in from an edge is not held up before the first signal.
            clear |= dict.fromkeys(before[section])
        rules.needs_clear += [NeedsClear(route.name, s) for s in clear]
    rules.locks += [Locks(first, second) for first, second in table.conflicts]


def routes_over(routes: Iterable[Route]) -> dict[str, list[str]]:
    """For each section that is led over the routes that do; not those of which an overlap
    alone lies in it."""
    over: dict[str, list[str]] = {}
    for route in routes:
        for section in dict.fromkeys(route.sections):
            over.setdefault(section, []).append(route.name)
    return over


@dataclass(slots=True)
class _Reader:
    """Reads written rules."""

    layout: Layout
    table: RouteTable
    starts: dict[str, list[Route]]
    over: Mapping[str, Sequence[str]]
    found: Collector
    rules: _Rules

    def rule(self, rule: t.Rule) -> None:
        match rule:
            case t.LocksRule():
                self._locks(rule)
            case t.NeedsRule():
                self._needs(rule)
            case t.OnlyOneRule():
                self._only_one(rule)
            case t.OnlyOneOverRule():
                for place in rule.places:
                    self._only_one_over(place)
            case t.EveryPositions():
                for route in self.table.routes.values():
                    self.rules.needs += [
                        Needs(route.name, d, p, rule.span)
                        for d, p in route.demands.items()
                        if self.layout.drives[d].frog is None
                    ]
            case t.EverySectionsClear():
                for route in self.table.routes.values():
                    self.rules.needs_clear += [
                        NeedsClear(route.name, s, rule.span) for s in route.sections_clear
                    ]
            case t.EveryDriveClear():
                self.rules.drives_need_clear = True

    def _route(self, ref: t.RouteRef) -> Route | None:
        return find_route(ref, self.table.routes, self.starts, self.found, "E501")

    def _locks(self, rule: t.LocksRule) -> None:
        route = self._route(rule.route)
        others = [(self._route(ref), ref) for ref in rule.others]
        when = [find_position(demand, self.layout, self.found) for demand in rule.when]
        if route is None or None in when:
            return
        positions = tuple(dict.fromkeys(p for p in when if p is not None))
        if len(dict(positions)) < len(positions):
            self.found.report(
                "E503",
                "this `when` can never hold: it needs a drive in two positions at once",
                rule.when[0].span.to(rule.when[-1].span),
                expected="each drive in one position",
            )
            return
        for other, ref in others:
            if other is not None:
                self._lock(route, other, positions, ref.span)

    def _lock(self, route: Route, other: Route, when: tuple[Position, ...], span: Span) -> None:
        if other.name == route.name:
            self.found.report(
                "E504",
                f"{route.name} cannot lock itself",
                span,
                expected="another route",
            )
            return
        self.rules.locks.append(Locks(route.name, other.name, when, span))

    def _only_one(self, rule: t.OnlyOneRule) -> None:
        routes = [(self._route(ref), ref) for ref in rule.routes]
        names = dict.fromkeys(route.name for route, _ in routes if route is not None)
        self.rules.groups.append(OnlyOne(tuple(names), rule.span))
        for index, (one, _) in enumerate(routes):
            for other, ref in routes[index + 1 :]:
                if one is not None and other is not None:
                    self._lock(one, other, (), ref.span)

    def _only_one_over(self, place: t.Word) -> None:
        section = self._section(place)
        if section is None:
            return
        routes = self.over.get(section, ())
        if not routes:
            in_overlap = any(section in r.overlap_sections for r in self.table.routes.values())
            self.found.report(
                "W821",
                f"no route leads over {place}, so that this rule keeps none apart",
                place.span,
                expected="a section, or a piece or fitting, that routes lead over",
                hint="it lies in an overlap; what leads into it is kept out by `R locks S`"
                if in_overlap
                else None,
            )
            return
        self.rules.places.append(OnlyOneOver(section, tuple(routes), place.span))
        self.rules.locks += [
            Locks(one, other, (), place.span, over=section)
            for one, other in combinations(routes, 2)
        ]

    def _needs(self, rule: t.NeedsRule) -> None:
        route = self._route(rule.route)
        for need in rule.needs:
            if isinstance(need, t.NeedRoute):
                other = self._route(need.route)
                if route is not None and other is not None:
                    self._need_set(route, other, need.span)
            else:
                self._need_word(route, need)

    def _need_set(self, route: Route, other: Route, span: Span) -> None:
        if route.name == other.name:
            self.found.report("E504", f"{route.name} cannot need itself", span)
        else:
            self.rules.needs_set.append(NeedsSet(route.name, other.name, span))

    def _need_word(self, route: Route | None, need: t.NeedWord) -> None:
        if need.part is None and need.word.text == "clear":
            self._need_clear(route, need)
        elif need.part is None and need.word.text == "set":
            other = self._route(t.RouteByName(need.name.span, need.name))
            if route is not None and other is not None:
                self._need_set(route, other, need.span)
        else:
            drive = t.DriveName(
                need.name.span.to((need.part or need.name).span), need.name, need.part
            )
            position = find_position(t.Demand(need.span, drive, need.word), self.layout, self.found)
            if route is not None and position is not None:
                self.rules.needs.append(Needs(route.name, *position, need.span))

    def _need_clear(self, route: Route | None, need: t.NeedWord) -> None:
        section = self._section(need.name)
        if section is not None and route is not None:
            self.rules.needs_clear.append(NeedsClear(route.name, section, need.span))

    def _section(self, name: t.Word) -> str | None:
        """A section by its name, or by that of a piece or fitting in it."""
        if name.text in self.layout.sections:
            return name.text
        section = self.layout.section_of.get(name.text)
        if section is None:
            known = (*self.layout.sections, *self.layout.section_of)
            self.found.report(
                "E501",
                f"there is no section `{name}`",
                name.span,
                expected="a section, or a piece or fitting in it",
                hint=self.found.did_you_mean(name.text, known),
            )
        return section

    def report_both_ways(self) -> None:
        """Report routes whose rules need one drive in two positions: where there is one, at the
        rule that says otherwise than the track."""
        first: dict[tuple[str, str], Needs] = {}
        for need in self.rules.needs:
            other = first.setdefault((need.route, need.drive), need)
            if other.position == need.position or need.span is None:
                continue
            by_track = self.table.routes[need.route].demands.get(need.drive)
            wrong, right = (other, need) if need.position == by_track else (need, other)
            hint = "a route with two such rules could never be set; keep one of them"
            if by_track in (need.position, other.position):
                said = f"by the track {need.route} needs {need.drive} {by_track}: write that here"
                hint = Instead(wrong.position, by_track, said)
            self.found.report(
                "E503",
                f"{need.route} would need {need.drive} both {right.position} and {wrong.position}",
                wrong.span or need.span,
                hint=hint,
                related=[(right.span, "needed otherwise here")] if right.span else (),
            )

    def expectations(self, lines: Iterable[t.ExpectLine]) -> Iterator[Expectation]:
        for line in lines:
            routes = [self._route(ref) for ref in line.routes]
            names = [r.name for r in routes if r is not None]
            if len(names) < len(routes):
                continue
            again = [r for i, r in enumerate(line.routes) if names[i] in names[:i]]
            if again:
                self.found.report(
                    "E504", f"`{again[0]}` is named twice", again[0].span, expected="another route"
                )
                continue
            yield Expectation(tuple(names), line.never, line.span)
