"""Warnings of signals as nobody means them: not read, not come to, never off.

Each names the one slip of the pen that most likely lies behind, and what to write instead.
What one warning explains, no other repeats.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import fields, is_dataclass

from bellcrank.diagnostics import Collector, Instead
from bellcrank.layout.graph import unsignalled_entries
from bellcrank.layout.layout_model import Layout, Leg, Signal
from bellcrank.layout.signals_meant import arrow_missing, arrow_of, named_like_signals, turned
from bellcrank.routes.arrivals import (
    Arrivals,
    find_arrivals,
    may_be_put_down,
    met_and_passed,
    out_of_reach,
    stretch_from_edge,
)
from bellcrank.routes.ends import left_behind, signal_out
from bellcrank.routes.route_model import Route
from bellcrank.routes.route_naming import names_with_via
from bellcrank.routes.sentences import listed
from bellcrank.routes.track_search import Path
from bellcrank.routes.walks import Walks
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program

MOST_WAYS = 1_000
"""Ways that are looked through for a `route` line to suggest."""


def warn_of_slips(program: Program, walks: Walks, routes: Mapping[str, Route]) -> frozenset[Leg]:
    """Warn of signals that are most likely not what was meant. Returns the legs at which one
    most likely should stand."""
    layout, found = walks.layout, walks.found
    misread = _warn_of_forgotten_arrows(program, layout, found)
    come = find_arrivals(layout, routes.values())
    explained = _warn_of_entries(layout, come, misread, found)
    turned_round = _warn_of_waiting_over_points(layout, routes, explained, found)
    written = bool(program.of(t.RoutesWritten))
    stuck = _warn_of_no_way_on(walks, routes, come) if written else frozenset()
    _warn_of_none_coming(walks, routes, come, explained, written=written)
    missing = {end for name in misread for end in _joints_of(name, layout)}
    return turned_round | stuck | missing


def _joints_of(piece: str, layout: Layout) -> Iterator[Leg]:
    """The legs of a plain piece and those that are joined to them."""
    for leg in (Leg(piece, "left"), Leg(piece, "right")):
        beyond = layout.joined[leg]
        yield leg
        if isinstance(beyond, Leg):
            yield beyond


# ------------------------------------------------------------ forgotten arrows


def _warn_of_forgotten_arrows(program: Program, layout: Layout, found: Collector) -> set[str]:
    """Warn of pieces that are named like signals, or of which a line says that a route begins
    there; returns them."""
    likely = named_like_signals(layout)
    starts, others = _words_outside_runs(program)
    told: set[str] = set()
    for word in starts:
        name = word.text
        arrow = None if name in likely else arrow_missing(name, layout)
        if arrow is not None:
            told.add(name)
            found.report(
                "W818",
                f"{name} is a piece of plain track, though a route is said to begin there: "
                "no train reads it",
                layout.where[name],
                hint=Instead(name, f"{arrow}{name}"),
                related=[(word.span, "the route")],
            )
    for name, (arrow, alike) in likely.items():
        if name in others:
            continue
        told.add(name)
        kin = listed([signal.name for signal in alike[:3]])
        found.report(
            "W818",
            f"{name} is a piece of plain track, though it is named like the "
            f"signal{'s' if len(alike) > 1 else ''} {kin}: no train reads it",
            layout.where[name],
            hint=Instead(name, f"{arrow}{name}"),
        )
    return told


def _words_outside_runs(program: Program) -> tuple[list[t.Word], set[str]]:
    """Where routes are said to begin, each name once, and all other words of all statements
    except runs."""
    starts: dict[str, t.Word] = {}
    others: set[str] = set()
    pending: list[object] = []
    for file in program.files:
        pending += [s for s in reversed(file.statements) if not isinstance(s, t.RunLine)]
    while pending:
        thing = pending.pop()
        if isinstance(thing, t.Word):
            others.add(thing.text)
        elif isinstance(thing, tuple):
            pending += reversed(thing)
        elif isinstance(thing, t.RouteWay):
            starts.setdefault(thing.start.text, thing.start)
            pending += [thing.end, thing.via]
        elif is_dataclass(thing):
            pending += [getattr(thing, field.name) for field in fields(thing)]
    return list(starts.values()), others


# --------------------------------------------------------------- edges


def _warn_of_entries(
    layout: Layout, come: Arrivals, misread: set[str], found: Collector
) -> set[str]:
    """Warn of edges where trains should come in and meet no signal. Returns the signals that
    no train comes to because of it."""
    explained: set[str] = set()
    if not layout.signals:
        return explained
    for edge in unsignalled_entries(layout):
        met, passed = met_and_passed(edge, layout)
        unmet = [name for name in met if name not in come.forwards]
        missed = unmet or [name for name in passed if name not in come]
        if not missed:
            continue
        explained |= {*unmet, *(name for name in passed if name not in come)}
        stretch = stretch_from_edge(edge, layout)
        if misread.intersection(leg.element for leg in stretch):
            continue
        facing_away = _facing_away(stretch, layout)
        explained |= {facing_away.name} if facing_away else set()
        why = (
            f"no route leads up to {listed(missed[:3])}, read by trains that run this way"
            if unmet
            else f"no route leads a train to {listed(missed[:3])}"
        )
        found.report(
            "W815",
            f"trains that come in at {edge} meet no signal before {stretch[-1].element}, and {why}",
            facing_away.span if facing_away else layout.where[edge],
            hint=_home(edge, stretch, facing_away, layout),
        )
    return explained


def _facing_away(stretch: tuple[Leg, ...], layout: Layout) -> Signal | None:
    """The signal right before the first fitting from an edge that is read the other way."""
    last = stretch[-1]
    return next((s for s in layout.signals.values() if s.before == last), None)


def _home(
    edge: str, stretch: tuple[Leg, ...], facing_away: Signal | None, layout: Layout
) -> str | None:
    """What to write so that trains from an edge meet a signal before the first fitting."""
    if facing_away is not None:
        arrow = turned(arrow_of(facing_away.before, facing_away.beyond, layout.reads))
        return f"write `{arrow}{facing_away.name}` if it is read by trains that come in"
    first = stretch[-1]
    if len(stretch) > 1:
        inner = stretch[-2]
        return signal_out(layout, Leg(inner.element, "left" if inner.leg == "right" else "right"))
    if layout.reads[first] == "left":
        return f"write `edge {edge} - >S_{edge} - {first}`, with a name of your own"
    return f"write `{first} - <S_{edge} - edge {edge}`, with a name of your own"


# --------------------------------------------------------------- signals


def _warn_of_waiting_over_points(
    layout: Layout, routes: Mapping[str, Route], explained: set[str], found: Collector
) -> frozenset[Leg]:
    """Warn of signals at which trains stand over a fitting. Returns the legs of plain track
    beyond them."""
    turned_round: set[Leg] = set()
    ends: dict[str, Route] = {}
    for route in routes.values():
        if route.end_kind == "signal":
            ends.setdefault(route.end, route)
    before = {signal.before for signal in layout.signals.values()}
    for name, route in ends.items():
        signal = layout.signals[name]
        if name in explained or not isinstance(signal.before, Leg):
            continue
        section = layout.sections[layout.section_of[signal.before.element]]
        if any(layout.elements[e].plain for e in section.elements):
            continue
        if not layout.elements[signal.beyond.element].plain:
            continue  # between two fittings no track could be meant
        arrow = turned(arrow_of(signal.before, signal.beyond, layout.reads))
        turned_round.add(signal.beyond)
        found.report(
            "W819",
            f"a train that {route.name} leads up to {name} waits on {signal.before.element}, "
            "so that nothing else can pass there",
            signal.span,
            hint=f"put a piece of track between {signal.before} and {name}"
            if signal.beyond in before
            else f"write `{arrow}{name}` if it is read by trains that leave "
            f"{signal.beyond.element}",
        )
    return frozenset(turned_round)


def _warn_of_no_way_on(walks: Walks, routes: Mapping[str, Route], come: Arrivals) -> frozenset[Leg]:
    """Warn of signals where trains stand for good, as no `route` line begins there. Returns
    the legs by which these trains would come back."""
    layout = walks.layout
    unasked = _unasked(walks)
    starts = {route.start for route in routes.values()}
    stuck: dict[str, str] = {}
    behind_them: set[Leg] = set()
    for route in routes.values():
        behind = left_behind(route.ways, layout, walks.at)
        back = walks.at.get(behind)
        signals = [route.end] if route.end_kind == "signal" else []
        signals += [back.name] if back is not None else []
        if route.end_kind != "edge" and signals and starts.isdisjoint(signals):
            stuck.setdefault(signals[0], f"a train that {route.name} leads to it")
            behind_them.add(behind)
    for name in layout.signals:
        if name in come.from_edges and name in come.forwards and name not in starts:
            stuck.setdefault(name, "a train that comes to it from the edge")
    for name, train in stuck.items():
        paths = unasked.from_signal(name).paths
        signal = layout.signals[name]
        walks.found.report(
            "W820",
            f"no `route` line begins at {name}, so {train} can never go on",
            signal.span,
            hint=f"write `route {next(_named(paths))[1]}`" if paths else None,
        )
    return frozenset(behind_them)


def _unasked(walks: Walks) -> Walks:
    """Ways that no line asks for: there may be too many without anybody being told."""
    return Walks(walks.layout, MOST_WAYS, Collector())


def _warn_of_none_coming(
    walks: Walks,
    routes: Mapping[str, Route],
    come: Arrivals,
    explained: set[str],
    *,
    written: bool,
) -> None:
    layout = walks.layout
    starts = {route.start for route in routes.values()}
    never = out_of_reach(layout, routes.values(), come)
    alone = [name for name in layout.signals if name in starts and name not in come]
    for name in dict.fromkeys((*never, *alone)):
        if name in explained:
            continue
        signal = layout.signals[name]
        by_hand = may_be_put_down(signal, layout, walks.at)
        walks.found.report(
            "W817",
            f"no train comes to {name}: no route leads one there, and none comes from an edge"
            + ("; only one that is put down there by hand" if by_hand else ""),
            signal.span,
            hint=_leading_to(signal, walks) if written else _signal_leading_to(signal),
        )


def _leading_to(signal: Signal, walks: Walks) -> str:
    """A `route` line that would lead trains to a signal."""
    unasked = _unasked(walks)
    for other in walks.layout.signals:
        for path, name in _named(unasked.from_signal(other).paths):
            back = left_behind(path.ways, walks.layout, walks.at)
            if path.end == signal.name or back == signal.before:
                return f"write `route {name}`"
    return _signal_leading_to(signal)


def _named(paths: Sequence[Path]) -> Iterator[tuple[Path, str]]:
    """The ways from one signal, each with the name of its route."""
    for end in dict.fromkeys(path.end for path in paths):
        some = [path for path in paths if path.end == end]
        yield from zip(some, names_with_via(some), strict=True)


def _signal_leading_to(signal: Signal) -> str:
    where = signal.before.element if isinstance(signal.before, Leg) else str(signal.before)
    return f"put a signal from which a route leads to {where}"
