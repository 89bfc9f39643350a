"""Why two routes conflict, in the words of the trade."""

from __future__ import annotations

from collections.abc import Iterable

from bellcrank.layout.layout_model import Layout
from bellcrank.routes.route_model import Reason, ReasonKind, Route, RouteTable

LETTERS: dict[ReasonKind, str] = {
    "crossing": "X",
    "fouling": "V",
    "head-on": "H",
    "opposed drive": "D",
    "shared section": "S",
    "overlap": "O",
    "flank": "F",
}
"""One letter for each kind of reason, for the conflict matrix."""

MEANINGS: dict[ReasonKind, str] = {
    "crossing": "they cross in a fitting",
    "fouling": "they lie side by side in one fitting",
    "head-on": "they meet head-on",
    "opposed drive": "they need a drive in opposite positions",
    "shared section": "they share a section",
    "overlap": "one runs into the other's overlap",
    "flank": "one needs its flank set against the other",
}


def listed(names: Iterable[str]) -> str:
    """Names as a person would list them: "A", "A and B", "A, B and C"."""
    names = tuple(names)
    if len(names) < 2:
        return "".join(names)
    return ", ".join(names[:-1]) + " and " + names[-1]


def explain(reason: Reason, first: Route, second: Route, layout: Layout) -> str:
    """A reason as a sentence without its full stop, about "they"."""
    where = listed(reason.where)
    match reason.kind:
        case "crossing":
            return f"they cross in {_fittings(reason.where, first, second, layout)}"
        case "fouling":
            return (
                f"they lie side by side in {_fittings(reason.where, first, second, layout)}, "
                "too close for two trains"
            )
        case "head-on":
            return f"they meet head-on in {where}"
        case "opposed drive":
            return f"they need {_opposed(reason, first, second)}"
        case "shared section":
            many = len(reason.where) > 1
            return f"they share the section{'s' if many else ''} {where}"
        case "overlap":
            return _overlap(reason, first, second, where)
        case "flank":
            return f"flank protection needs {_opposed(reason, first, second)}"


def why_conflict(one: Route, other: Route, layout: Layout, table: RouteTable) -> str:
    """Why two routes conflict, as a sentence without its full stop; "" if they do not.

    The routes may be given in either order.
    """
    first, second = one, other
    if (one.name, other.name) not in table.conflicts:
        first, second = other, one
    reasons = table.reasons(first.name, second.name)
    return "; ".join(explain(reason, first, second, layout) for reason in reasons)


def _opposed(reason: Reason, first: Route, second: Route) -> str:
    drives = f"{listed(drive for drive, _, _ in reason.demands)} in opposite positions"
    if len(reason.demands) > 1:
        return drives
    _, one, other = reason.demands[0]
    return f"{drives}: {one} for {first.name}, {other} for {second.name}"


def _overlap(reason: Reason, first: Route, second: Route, where: str) -> str:
    parts = []
    for route, other in ((first, second), (second, first)):
        shared = route.overlap_entered_by(other)
        if shared:
            parts.append(
                f"{other.name} runs through {listed(shared)}, "
                f"the overlap of {route.name} beyond {route.end}"
            )
    if reason.demands:
        parts.append(f"for an overlap they need {_opposed(reason, first, second)}")
    return listed(parts)


def _fittings(names: tuple[str, ...], first: Route, second: Route, layout: Layout) -> str:
    return listed(_fitting(name, first, second, layout) for name in names)


def _fitting(name: str, first: Route, second: Route, layout: Layout) -> str:
    kind = layout.elements[name].kind
    one, other = (
        {d: p for way in route.ways if way.element == name for d, p in way.when}
        for route in (first, second)
    )
    if not one and not other:
        return f"{name} ({kind.name}), which has no drive"
    if any(other.get(drive, position) != position for drive, position in one.items()):
        return f"{name} ({kind.name}), which cannot lie right for both"
    both = {**one, **other}
    if len(kind.drives) == 1:
        return f"{name} ({kind.name}), which lies {next(iter(both.values()))} for both"
    lies = listed(f"{drive} {position}" for drive, position in both.items())
    return f"{name} ({kind.name}), which lies right for both with {lies}"
