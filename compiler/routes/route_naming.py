"""Readable, stable names for routes, and finding the route a name means."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from bellcrank.diagnostics import Collector, Instead, Span
from bellcrank.layout.layout_model import Way
from bellcrank.routes.route_model import Route
from bellcrank.routes.track_search import Path, passes
from bellcrank.syntax import tree as t


def via_names(paths: Sequence[Path]) -> list[tuple[str, ...]]:
    """For ways with one start and end, what tells each from the others.

    Few pieces, the one that tells most first looked for; legs where two ways
    lead over the same pieces; none for a lone way.
    """
    # For each piece and leg, the ways that pass it, as bits.
    passing: dict[str, int] = defaultdict(int)
    for index, path in enumerate(paths):
        for name in path.passes:
            passing[name] |= 1 << index
    every = (1 << len(paths)) - 1
    return [_via(path, every & ~(1 << index), passing) for index, path in enumerate(paths)]


def _via(path: Path, others: int, passing: Mapping[str, int]) -> tuple[str, ...]:
    """Pieces, then legs, of which no other way passes all."""
    chosen: set[str] = set()
    for candidates in (path.elements, path.passes):
        while others:
            # Of those that leave the fewest other ways, the earliest on this one.
            name = min(candidates, key=lambda name: (others & passing[name]).bit_count())
            if others & passing[name] == others:
                break
            chosen.add(name)
            others &= passing[name]
    return tuple(name for name in path.passes if name in chosen)


def names_with_via(paths: Sequence[Path]) -> list[str]:
    """How ways with one start and end are told apart in a route line."""
    return [
        f"{p.start} to {p.end}" + (f" via {' then '.join(via)}" if via else "")
        for p, via in zip(paths, via_names(paths), strict=True)
    ]


def goes_via(passed: Iterable[str], via: Iterable[str]) -> bool:
    """Whether a way passes the named pieces and legs in the order named."""
    rest = iter(passed)
    return all(name in rest for name in via)


def matches(way: t.RouteWay, start: str, end: str, ways: Sequence[Way]) -> bool:
    """Whether a written route means a way; its end may be named by its last piece."""
    return (
        way.start.text == start
        and way.end.text in (end, ways[-1].element)
        and goes_via(passes(ways), [v.text for v in way.via])
    )


def by_start(routes: Iterable[Route]) -> dict[str, list[Route]]:
    """Routes by the signal they start at."""
    result: dict[str, list[Route]] = defaultdict(list)
    for route in routes:
        result[route.start].append(route)
    return dict(result)


def find_route(
    ref: t.RouteRef, routes: Mapping[str, Route], by_start: Mapping[str, Sequence[Route]],
    found: Collector, code: str,
) -> Route | None:  # fmt: skip
    """The route that a rule or expectation names, or None with the reason reported.

    code: the diagnostic for a route that does not exist.
    """
    if isinstance(ref, t.RouteByName):
        if ref.name.text in routes:
            return routes[ref.name.text]
        if from_here := by_start.get(ref.name.text, ()):
            expected = f"a route from {ref.name}: " + _some([r.name for r in from_here])
        else:
            example = next(iter(routes), "W1 to T1")
            expected = f"the name of a route, or where it goes: `{example}`"
        found.report(
            code,
            f"there is no route `{ref.name}`",
            ref.span,
            expected=expected,
            hint=found.did_you_mean(ref.name.text, routes),
        )
        return None
    candidates = [
        r
        for r in by_start.get(ref.start.text, ())
        if r.calling_on == ref.calling_on and matches(ref, r.start, r.end, r.ways)
    ]
    exact = [r for r in candidates if r.end == ref.end.text]
    candidates = exact or candidates
    if len(candidates) > 1:
        found.report(
            "E402",
            f"`{ref}` means {len(candidates)} routes",
            ref.span,
            expected=" or ".join(r.name for r in candidates[:4]),
            hint=Instead(str(ref), candidates[0].name, f"say which: `{candidates[0].name}`"),
        )
        return None
    if candidates:
        return candidates[0]
    from_here = by_start.get(ref.start.text, ())
    if from_here:
        word, names = ref.end, sorted({r.end for r in from_here})
        expected = f"a route from {ref.start}: " + _some([r.name for r in from_here])
    else:
        word, names = ref.start, sorted(by_start)
        expected = (
            f"a route from one of: {_some(names)}"
            if names
            else "signals in the runs: without one there is no route"
        )
    found.report(
        code,
        f"there is no route `{ref}`",
        ref.span,
        expected=expected,
        hint=found.did_you_mean(word.text, names) if word.text not in names else None,
    )
    return None


def read_refs(text: str, file: str) -> list[t.RouteRef]:
    """The routes that words name one after another, as on a command line.

    `W1 to T1 via S1 MAIN` names two. file: what messages call the text.
    """
    words = [
        t.Word(Span(file, 1, m.start() + 1, 1, m.end() + 1), m.group())
        for m in re.finditer(r"\S+", text)
    ]
    refs: list[t.RouteRef] = []
    while words:
        start = words.pop(0)
        if len(words) < 2 or words[0].text != "to":
            refs.append(t.RouteByName(start.span, start))
            continue
        end = words[1]
        words = words[2:]
        via: list[t.Passing] = []
        while len(words) > 1 and words[0].text == ("then" if via else "via"):
            via.append(t.Passing(words[1].span, words[1], None))
            words = words[2:]
        calling_on = [w.text for w in words[:2]] == ["calling", "on"]
        words = words[2:] if calling_on else words
        span = start.span.to((via[-1] if via else end).span)
        refs.append(t.RouteWay(span, start, end, tuple(via), calling_on))
    return refs


COMMAND_LINE = "command line"
"""What messages call the words of a command."""


def asked_refs(text: str, routes: Mapping[str, Route]) -> list[t.RouteRef]:
    """The routes that the words of a command name, one after another; a name that some
    route has is never taken apart. An `and` between two of them is passed over, as messages
    say it of two routes; not where a route is called so."""
    if text in routes:
        whole = _whole(text)
        return [t.RouteByName(whole, t.Word(whole, text))]
    match read_refs(text, COMMAND_LINE):
        case [first, t.RouteByName(name=t.Word(text="and")), second] if "and" not in routes:
            return [first, second]
        case refs:
            return refs


def asked_routes(
    refs: Sequence[t.RouteRef], routes: Mapping[str, Route], found: Collector
) -> list[Route]:
    """The routes that these mean; those that do not exist are reported."""
    starts = by_start(routes.values())
    asked = [find_route(ref, routes, starts, found, "E401") for ref in refs]
    return [route for route in asked if route is not None]


def report_number(text: str, refs: Sequence[t.RouteRef], expected: str, found: Collector) -> None:
    """Report that the words of a command name too many routes, or none."""
    found.report("E402", f"these words name {len(refs)} routes", _whole(text), expected=expected)


def _whole(text: str) -> Span:
    return Span(COMMAND_LINE, 1, 1, 1, len(text) + 1)


def _some(names: list[str]) -> str:
    shown = ", ".join(names[:6])
    return shown + (f" or {len(names) - 6} more" if len(names) > 6 else "")
