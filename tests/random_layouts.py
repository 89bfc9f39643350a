"""Random small layouts: each as a text and as a plain table of the same track.

`random_layout(seed)` always gives the same layout for the same seed. Points,
three way points, slips and diamonds are joined at random, loops included;
edges, stops, signals, sections, overlaps, written flanks, coupled drives,
calling-on routes, extra rules and expectations come by chance. The rules and
expectations are there twice as well: in the text, and as plain numbers.

Most texts compile without errors, though not all: no use is made of the
compiler to sort them. Tests count those that do (`valid_layouts`).
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from itertools import combinations
from pathlib import Path

import bellcrank
from bellcrank import Broken, Sound

sys.path.insert(0, str(Path(__file__).parent / "outside"))

from brute_force import Rules, derived_rules
from plain_table import (
    KINDS,
    Lies,
    PlainRoute,
    Table,
    find_routes,
    overlap_entered,
    overlap_needs,
    share_track,
)

MOST_DRIVES = 6
MOST_ROUTES = 20
"""Bounds that keep trying everything short."""


@dataclass
class RandomLayout:
    """A layout as text, and what the same layout is as plain values.

    written: whether the locking is written, with rules dropped perhaps.
    expectations: two routes by number, and whether they must never stand together.
    """

    seed: int
    text: str
    table: Table
    routes: list[PlainRoute]
    written: bool
    rules: Rules
    expectations: list[tuple[int, int, bool]]


@dataclass
class _Line:
    """A stretch of track between two fittings or ends, as a run will name it.

    items: from left to right, the first and last a leg, an edge or "stop".
    signals: at each joint, ">" and "<" signals.
    """

    items: list[str]
    signals: dict[int, list[str]] = field(default_factory=dict)

    def text(self) -> str:
        words = [self.items[0]]
        for index, item in enumerate(self.items[1:]):
            words += [*self.signals.get(index, []), item]
        return "run " + " - ".join(words)


def random_layout(seed: int) -> RandomLayout:
    """The layout of a seed."""
    rng = random.Random(seed)
    while True:
        fittings, lines, table = _draw(rng)
        if sum(len(KINDS[kind][0]) for kind in fittings.values()) > MOST_DRIVES:
            continue
        _group_sections(rng, table)
        _couple(rng, table)
        routes = _keep_useful_signals(lines, table)
        if 2 <= len(routes) <= MOST_ROUTES:
            break
    _add_overlaps(rng, table)
    routes = find_routes(table)
    text = [f'layout "Random {seed}" on two rails']
    text += [f"{_declare(kind, name)}" for name, kind in fittings.items()]
    text += [line.text() for line in lines]
    text += [f"section {name} = {', '.join(parts)}" for name, parts in table.sections.items()]
    text += [f"coupled {', '.join(drives)}" for drives in table.coupled]
    text += [f"overlap {signal} = {', '.join(parts)}" for signal, parts in table.overlaps.items()]
    text += _add_flanks(rng, table, routes)
    text += _add_calling_on(rng, routes)
    written = rng.random() < 0.6
    rules, locking = _locking(rng, table, routes, written)
    text += locking
    expectations = list(_expectations(rng, routes))
    for one, other, never in expectations:
        word = "never with" if never else "with"
        text.append(f"expect {reference(routes[one], routes)} {word} "
                    f"{reference(routes[other], routes)}")  # fmt: skip
    return RandomLayout(seed, "\n".join(text) + "\n", table, routes, written, rules, expectations)


# ---------------------------------------------------------------------- track


def _draw(rng: random.Random) -> tuple[dict[str, str], list[_Line], Table]:
    """Fittings with all their legs joined at random, in one piece of railway."""
    kinds = rng.choices(list(KINDS), weights=[6, 1, 2, 1, 1, 1, 2], k=rng.randint(1, 5))
    fittings = {f"F{n}": kind for n, kind in enumerate(kinds)}
    legs = [
        f"{name}.{leg}"
        for name, kind in fittings.items()
        for leg in dict.fromkeys(leg for way in KINDS[kind][1] for leg in way[:2])
    ]
    twice = _joined_twice(rng, fittings)
    # Enough legs must be left over to join the fittings to each other.
    ends = rng.randint(2, min(6, len(legs) - 2 * (len(kinds) - 1) - len(twice)))
    ends -= (len(legs) + ends) % 2
    edges = [f"edge E{n}" for n in range(max(ends, 1))]
    joined = [e if n == 0 or rng.random() < 0.6 else "stop" for n, e in enumerate(edges)]
    while True:
        loose = [leg for leg in legs if not any(leg in pair for pair in twice)] + joined
        rng.shuffle(loose)
        pairs = [*twice, *zip(loose[::2], loose[1::2], strict=True)]
        if _one_railway(pairs, fittings):
            break
    lines = []
    pieces = signals = 0
    # Without signals between the fittings, several ways lead from one to another.
    density = rng.choice((0.0, 0.3, 0.5))
    for one, other in pairs:
        at_end = "." not in one or "." not in other
        least = 1 if at_end or one.split(".")[0] == other.split(".")[0] else 0
        count = max(least, rng.choice((0, 1, 1, 2)))
        line = _Line([one, *(f"T{pieces + n}" for n in range(count)), other])
        pieces += count
        for direction in ("<", ">"):
            joint = _joint_for(rng, line, direction, density)
            if joint is not None:
                line.signals.setdefault(joint, []).append(f"{direction}S{signals}")
                signals += 1
        lines.append(line)
    return fittings, lines, _table(fittings, lines)


def _joined_twice(rng: random.Random, fittings: dict[str, str]) -> list[tuple[str, str]]:
    """Two lines between two fittings, as for running round; often none."""
    if len(fittings) < 2 or rng.random() < 0.6:
        return []
    one, other = rng.sample(sorted(fittings), 2)
    twice = []
    for name in (one, other):
        legs = {leg for way in KINDS[fittings[name]][1] for leg in way[:2]} - {"toe"}
        twice.append([f"{name}.{leg}" for leg in rng.sample(sorted(legs), 2)])
    return list(zip(*twice, strict=True))


def _one_railway(pairs: list[tuple[str, str]], fittings: dict[str, str]) -> bool:
    reached = {next(iter(fittings))}
    for _ in fittings:
        for one, other in pairs:
            if "." not in one and "." not in other:
                return False
            named = {end.split(".")[0] for end in (one, other) if "." in end}
            if named & reached:
                reached |= named
    return reached == set(fittings)


def _joint_for(rng: random.Random, line: _Line, direction: str, density: float) -> int | None:
    """Where a signal of one direction stands in a line, if there is one."""
    last = len(line.items) - 2
    comes_from = line.items[0] if direction == ">" else line.items[-1]
    leads_to = line.items[-1] if direction == ">" else line.items[0]
    joints = list(range(last + 1))
    # No train comes from a stop; a signal protects nothing just before an end.
    if comes_from == "stop":
        joints.remove(0 if direction == ">" else last)
    if "." not in leads_to:
        joints.remove(last if direction == ">" else 0)
    likely = 1.0 if "." not in comes_from else 0.2 if "." not in leads_to else density
    return rng.choice(joints) if joints and rng.random() < likely else None


def _table(fittings: dict[str, str], lines: list[_Line]) -> Table:
    joints = []
    signals = {}
    for line in lines:
        for index, (one, other) in enumerate(zip(line.items, line.items[1:], strict=False)):
            left = one if "." in one or index == 0 else f"{one}.right"
            right = other if "." in other or index + 2 == len(line.items) else f"{other}.left"
            joints.append((left, right))
            for signal in line.signals.get(index, []):
                ends = (left, right) if signal[0] == ">" else (right, left)
                signals[signal[1:]] = ends
    return Table(fittings, joints, signals)


def _declare(kind: str, name: str) -> str:
    phrase, _, rest = kind.partition(" with ")
    return f"{phrase} {name} with {rest}" if rest else f"{phrase} {name}"


def _group_sections(rng: random.Random, table: Table) -> None:
    taken: set[str] = set()
    for number in range(rng.choice((0, 0, 1, 1, 2))):
        group = {rng.choice(list(table.fittings))}
        for one, other in rng.sample(table.joints, len(table.joints)):
            if "." in one and "." in other and len(group) < 3 and rng.random() < 0.5:
                named = {one.split(".")[0], other.split(".")[0]}
                if named & group:
                    group |= named
        if not group & taken:
            table.sections[f"SEC{number}"] = tuple(sorted(group))
            taken |= group


def _couple(rng: random.Random, table: Table) -> None:
    alike = [d for d, p in table.drives().items() if p == ("straight", "diverging")]
    if len(alike) > 1 and rng.random() < 0.25:
        table.coupled.append(tuple(rng.sample(alike, 2)))


def _keep_useful_signals(lines: list[_Line], table: Table) -> list[PlainRoute]:
    """Take away signals from which no route leads, until none is left."""
    while True:
        routes = find_routes(table)
        idle = set(table.signals) - {route.start for route in routes}
        if not idle:
            return routes
        for name in idle:
            del table.signals[name]
        for line in lines:
            for joint, signals in line.signals.items():
                line.signals[joint] = [s for s in signals if s[1:] not in idle]


def _add_overlaps(rng: random.Random, table: Table) -> None:
    ends = {route.end for route in find_routes(table)} & set(table.signals)
    for signal in sorted(ends):
        if rng.random() < 0.5:
            continue
        first, leg = table.signals[signal][1].split(".")
        elements = [first]
        after = [
            table.beyond(f"{first}.{exit_}").split(".")[0]
            for entry, exit_, _ in table.ways(first)
            if entry == leg
        ]
        second = rng.choice(after)
        if second in table.elements and after.count(second) == 1 and rng.random() < 0.4:
            elements.append(second)
        if len(set(elements)) < len(elements):
            continue
        table.overlaps[signal] = tuple(elements)
        needs = overlap_needs(table, signal)
        for route in find_routes(table):
            all_needs = [*route.positions.items(), *needs]
            both_ways = len(set(all_needs)) > len(dict(all_needs))
            if route.end == signal and both_ways:
                del table.overlaps[signal]
                break


# --------------------------------------------------------------------- routes


def reference(route: PlainRoute, routes: list[PlainRoute]) -> str | None:
    """Words that mean one route and no other; None if there are none."""

    def told_by(via: tuple[str, ...]) -> bool:
        meant = [
            r
            for r in routes
            if (r.start, r.end, r.calling_on) == (route.start, route.end, route.calling_on)
            and _passes(r.elements, via)
        ]
        return len(meant) == 1

    for via in ((), route.elements):
        if told_by(via):
            words = f"{route.start} to {route.end}"
            words += f" via {' then '.join(via)}" if via else ""
            return words + (" calling on" if route.calling_on else "")
    return None


def _passes(elements: tuple[str, ...], via: tuple[str, ...]) -> bool:
    rest = iter(elements)
    return all(name in rest for name in via)


def _named(routes: list[PlainRoute]) -> list[int]:
    return [i for i, route in enumerate(routes) if reference(route, routes)]


def _add_flanks(rng: random.Random, table: Table, routes: list[PlainRoute]) -> Iterator[str]:
    for number in _named(routes):
        route = routes[number]
        taken = {drive for drive, _ in route.demands()}
        free = {d: p for d, p in table.drives().items() if d not in taken}
        if free and rng.random() < 0.12:
            drive = rng.choice(sorted(free))
            position = rng.choice(free[drive])
            route.flank[drive] = position
            yield f"flank {reference(route, routes)} = {drive} {position}"


def _add_calling_on(rng: random.Random, routes: list[PlainRoute]) -> Iterator[str]:
    named = _named(routes)
    if named and rng.random() < 0.2:
        route = routes[rng.choice(named)]
        yield "routes derive"
        yield f"route {reference(route, routes)} calling on"
        routes.append(
            PlainRoute(route.start, route.end, route.ways, route.sections, route.positions,
                       calling_on=True)
        )  # fmt: skip


# -------------------------------------------------------------------- locking


def _locking(
    rng: random.Random, table: Table, routes: list[PlainRoute], written: bool
) -> tuple[Rules, list[str]]:
    extra, lines = _extra_rules(rng, table, routes)
    if not written:
        if not lines and rng.random() < 0.5:
            return derived_rules(routes), []
        return derived_rules(routes).plus(extra), ["locking derive {", *lines, "}"]
    rules = Rules()
    if rng.random() < 0.5:
        lines.append("  every route needs its positions")
        rules.needs += derived_rules(routes).needs
    else:
        forget = rng.choice((0, 0.05, 0.3))
        for i in _named(routes):
            for drive, position in dict(routes[i].demands()).items():
                if rng.random() >= forget:
                    rules.needs.append((i, drive, position))
                    lines.append(f"  {reference(routes[i], routes)} needs {drive} {position}")
    if rng.random() < 0.5:
        lines.append("  every route needs its sections clear")
    forget = rng.choice((0, 0.02, 0.1, 0.4))
    for i, j in combinations(_named(routes), 2):
        together = share_track(routes[i], routes[j]) or overlap_entered(routes[i], routes[j])
        if together and rng.random() >= forget:
            rules.locks.append(_lock(rng, i, j, routes, lines, table, may_be_weak=0.05))
    return rules.plus(extra), ["locking written {", *lines, "}"]


def _lock(
    rng: random.Random, i: int, j: int, routes: list[PlainRoute], lines: list[str], table: Table,
    may_be_weak: float,
) -> tuple[int, int, Lies]:  # fmt: skip
    one, other = reference(routes[i], routes), reference(routes[j], routes)
    when: Lies = {}
    if table.drives() and rng.random() < may_be_weak:
        drive = rng.choice(sorted(table.drives()))
        when = {drive: rng.choice(table.drives()[drive])}
    words = f"  {one} locks {other}" if rng.random() < 0.8 else f"  {other} locks {one}"
    if when:
        words += " when " + ", ".join(f"{d} {p}" for d, p in when.items())
    elif rng.random() < 0.2:
        words = f"  only one of {one}, {other}"
    lines.append(words)
    return i, j, when


def _extra_rules(
    rng: random.Random, table: Table, routes: list[PlainRoute]
) -> tuple[Rules, list[str]]:
    """A few rules that are not wanted for safety, as people write them."""
    rules, lines = Rules(), []
    named = _named(routes)
    if len(named) < 2:
        return rules, lines
    # Two at most, so that no route with those it needs is a set of over four.
    for _ in range(rng.choice((0, 0, 0, 1, 2))):
        i, j = rng.sample(named, 2)
        rules.needs_set.append((i, j))
        lines.append(f"  {reference(routes[i], routes)} needs {reference(routes[j], routes)} set")
    if rng.random() < 0.3:
        i, j = rng.sample(named, 2)
        rules.locks.append(_lock(rng, i, j, routes, lines, table, may_be_weak=0.5))
    if rng.random() < 0.2:
        i = rng.choice(named)
        taken = {drive for drive, _ in routes[i].demands()}
        free = {d: p for d, p in table.drives().items() if d not in taken}
        if free:
            drive = rng.choice(sorted(free))
            position = rng.choice(free[drive])
            rules.needs.append((i, drive, position))
            lines.append(f"  {reference(routes[i], routes)} needs {drive} {position}")
    return rules, lines


def _expectations(rng: random.Random, routes: list[PlainRoute]) -> Iterator[tuple[int, int, bool]]:
    named = _named(routes)
    if len(named) >= 2:
        for _ in range(rng.choice((0, 1, 2))):
            one, other = rng.sample(named, 2)
            yield one, other, rng.random() < 0.5


# ------------------------------------------------------------------- compiled


@cache
def compiled(seed: int) -> tuple[RandomLayout, Broken | Sound]:
    """A layout and what the compiler makes of it."""
    layout = random_layout(seed)
    return layout, bellcrank.compile(layout.text, f"random-{seed}.crank")


def valid_layouts(seeds: range, least: float = 0.8) -> list[tuple[RandomLayout, Sound]]:
    """The layouts that compile without errors; fails if they are too few to test much."""
    valid = [(layout, c) for layout, c in map(compiled, seeds) if isinstance(c, Sound)]
    assert len(valid) >= least * len(seeds), f"only {len(valid)} of {len(seeds)} compile"
    return valid


@contextmanager
def shown(layout: RandomLayout) -> Iterator[None]:
    """A failure inside shows the text of the layout."""
    try:
        yield
    except AssertionError as wrong:
        wrong.add_note(layout.text)
        raise
