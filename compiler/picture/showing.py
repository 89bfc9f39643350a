"""Overlays made from what is known: a route, two routes, a state, a story."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from bellcrank.layout.layout_model import Layout, Position, Work
from bellcrank.machine.frame import AT_STOP, CLEAR, DERAILED, FREE, IDLE, MEETING, PUT_BACK
from bellcrank.machine.machine_model import Machine, State
from bellcrank.machine.parts import find_parts
from bellcrank.picture.overlays import Arrow, Named, Note, NoteKind, Overlay, WayKey
from bellcrank.routes.route_model import Reason, Route, RouteTable
from bellcrank.routes.sentences import why_conflict
from bellcrank.running.simulator import replay

Classes = defaultdict[str, tuple[str, ...]]


def sections_named(layout: Layout) -> dict[Named, tuple[str, ...]]:
    """Below the name of one element of each section, that of the section, where it is another.

    Of a section without detection, on a layout that has some, that is said as well.
    """
    found: dict[Named, tuple[str, ...]] = {}
    some = any(section.detected for section in layout.sections.values())
    for section in layout.sections.values():
        plain = (name for name in section.elements if layout.elements[name].plain)
        at = next(plain, section.elements[0])
        words = [] if section.elements == (section.name,) else [f"in {section.name}"]
        if some and not section.detected:
            words.append("undetected")
        if words:
            found["element", at] = (", ".join(words),)
    return found


def route_overlay(layout: Layout, route: Route) -> Overlay:
    """A route: its way, the sections it holds, its positions, flank and overlap."""
    elements = _held(layout, route)
    ways: dict[WayKey, tuple[str, ...]] = dict.fromkeys(_keys(route), ("set",))
    if route.overlap is not None:
        for name in route.overlap.elements:
            elements[name] = (*elements.get(name, ()), "overlap")
    notes = list(_positions(layout, route.positions, "position", ""))
    notes += _positions(layout, route.overlap_positions, "flank", "overlap: ")
    notes += _positions(layout, route.flank, "flank", "flank: ")
    signals = {route.start: ("off",)}
    if route.end_kind == "signal":
        signals[route.end] = ("exit",)
    words = [f"Route {route.name}: from {route.start} to {route.end}."]
    words.append(f"It holds {', '.join(route.sections)}.")
    if route.positions:
        words.append(f"It needs {_said(route.positions)}.")
    if route.flank:
        words.append(f"Flank: {_said(route.flank)}.")
    if route.overlap is not None:
        beyond = f"The overlap beyond {route.overlap.signal}, dotted: "
        needs = f", with {_said(route.overlap_positions)}" if route.overlap_positions else ""
        words.append(f"{beyond}{', '.join(route.overlap.sections)}{needs}.")
    return Overlay(
        elements,
        ways,
        signals,
        {route.start: route.aspect},
        arrows=_arrows(layout, route, second=False),
        notes=tuple(notes),
        sentence=f"{layout.title}: the route {route.name}.",
        text=tuple(words),
    )


def conflict_overlay(layout: Layout, table: RouteTable, one: Route, other: Route) -> Overlay:
    """Two routes, and rings where they meet if they do."""
    ways: defaultdict[WayKey, tuple[str, ...]] = defaultdict(tuple)
    for route, word in ((one, "set"), (other, "second")):
        for key in _keys(route):
            ways[key] += (word,)
    elements: dict[str, tuple[str, ...]] = {}
    for route in (one, other):
        for name in route.overlap.elements if route.overlap else ():
            elements[name] = ("overlap",)
    rings = meeting_places(layout, one, other, table.reasons(one.name, other.name))
    for name in rings:
        met = [key for key in ways if key[0] == name]
        for key in met:
            ways[key] += ("meets",)
        if not met:
            elements[name] = (*elements.get(name, ()), "meets")
    why = why_conflict(one, other, layout, table)
    verdict = f"They conflict: {why}." if why else "They do not meet and may run together."
    return Overlay(
        elements,
        dict(ways),
        {one.start: ("off",), other.start: ("off",)},
        {other.start: other.aspect, one.start: one.aspect},
        rings=rings,
        arrows=_arrows(layout, one, second=False) + _arrows(layout, other, second=True),
        sentence=f"{layout.title}: the routes {one.name} and {other.name}. {verdict}",
        text=(
            f"{one.name}: thick line, filled arrows.",
            f"{other.name}: thick broken line, open arrows.",
            verdict,
        ),
    )


def meeting_places(
    layout: Layout, one: Route, other: Route, reasons: Iterable[Reason]
) -> tuple[str, ...]:
    """The elements at which two routes meet, in the order of the layout."""
    found: set[str] = set()
    both = set(one.elements) & set(other.elements)
    for reason in reasons:
        for name in reason.where:
            if name in layout.elements and name not in layout.sections:
                found.add(name)
                continue
            parts = set(layout.sections[name].elements)
            on_way = parts & both or parts & (set(one.elements) | set(other.elements))
            found |= on_way or parts
        for drive, _, _ in reason.demands:
            found |= set(layout.drives[drive].elements)
    return tuple(name for name in layout.elements if name in found)


def state_overlay(
    layout: Layout, machine: Machine, table: RouteTable, state: State, text: Sequence[str] = ()
) -> Overlay:
    """A state of the machine: trains, routes that are set, sections held, signals off."""
    parts = find_parts(layout).parts
    elements: Classes = defaultdict(tuple)
    ways: defaultdict[WayKey, tuple[str, ...]] = defaultdict(tuple)
    signals: dict[str, tuple[str, ...]] = {}
    aspects: dict[str, str] = {}
    rings: list[str] = []
    for name, variable in machine.variables.items():
        value = state[name]
        if variable.kind == "track" and value != CLEAR and variable.of in parts:
            meets = value in (MEETING, DERAILED)
            for element in parts[variable.of].elements:
                elements[element] += ("occupied",)
            if meets:
                rings += _middle_of(parts[variable.of].elements, layout)
        elif variable.kind == "held" and value != FREE:
            for element in layout.sections[variable.of].elements:
                elements[element] += ("held",)
        elif variable.kind == "route" and value != IDLE and variable.of in table.routes:
            for key in _keys(table.routes[variable.of]):
                ways[key] = ("set",)
        elif variable.kind == "signal" and value not in (AT_STOP, PUT_BACK):
            signals[variable.of] = ("off",)
            aspects[variable.of] = table.routes[value].aspect
    for name in rings:
        elements[name] += ("meets",)
    lying = {v.of: state[n] for n, v in machine.variables.items() if v.kind == "drive"}
    for name in layout.elements:
        for way in layout.elements[name].kind.ways:
            key = (name, frozenset(way.legs))
            needs = _needs(layout, key)
            if needs and all(lying.get(drive) == position for drive, position in needs):
                ways[key] += ("lies",)
    return Overlay(
        dict(elements),
        dict(ways),
        signals,
        aspects,
        rings=tuple(rings),
        sentence=f"{layout.title}: a moment of the railway.",
        text=tuple(text),
    )


def story_overlay(
    layout: Layout,
    machine: Machine,
    table: RouteTable,
    steps: Sequence[str],
    ending: str,
    start: Mapping[str, str],
) -> Overlay:
    """A story in one picture: how things stand at its end, and where each step happens.

    steps: the names of the events, in order. start: where drives lie at first, as far as
    not in their first position. Raises ValueError if the steps cannot follow each other.
    """
    events = {event.name: event for event in machine.events}
    run = [events[name] for name in steps]
    lying = {machine.variable_of["drive", name].name: lies for name, lies in start.items()}
    first = machine.start() | lying
    overlay = state_overlay(layout, machine, table, replay(machine, run, first)[-1])
    places: defaultdict[str, list[str]] = defaultdict(list)
    parts = find_parts(layout).parts
    words = []
    for number, event in enumerate(run, start=1):
        of = event.of
        if of in table.routes:
            of = table.routes[of].start
        elif of in parts:
            of = _middle_of(parts[of].elements, layout)[0]
        elif of in layout.drives:
            of = layout.drives[of].works[0].element
        if of in layout.elements or of in layout.signals or of in layout.edges:
            places[of].append(str(number))
        words.append(f"{number}  {event.text}")
    notes = tuple(Note(of, ",".join(numbers), "step") for of, numbers in places.items())
    return Overlay(
        overlay.elements,
        overlay.ways,
        overlay.signals,
        overlay.aspects,
        overlay.rings,
        notes=notes,
        sentence=f"{layout.title}: how it happens that {ending}.",
        text=(*words, f"Then {ending}."),
    )


def _held(layout: Layout, route: Route) -> dict[str, tuple[str, ...]]:
    return {
        element: ("held",) for name in route.sections for element in layout.sections[name].elements
    }


def _keys(route: Route) -> list[WayKey]:
    return [(way.element, frozenset((way.entry, way.exit))) for way in route.ways]


def _arrows(layout: Layout, route: Route, *, second: bool) -> tuple[Arrow, ...]:
    plain = [w for w in route.ways if layout.elements[w.element].plain] or list(route.ways)
    return tuple(Arrow(w.element, w.entry, w.exit, second) for w in plain)


def _positions(
    layout: Layout, positions: Iterable[Position], kind: NoteKind, before: str
) -> Iterable[Note]:
    """Where drives must lie, beside every fitting that they work."""
    said: defaultdict[str, list[str]] = defaultdict(list)
    for drive, position in positions:
        for work in layout.drives[drive].works:
            said[work.element].append(f"{work.drive} {position}" if work.drive else position)
    for element, words in said.items():
        yield Note(element, before + ", ".join(words), kind)


def _said(positions: Iterable[Position]) -> str:
    return ", ".join(f"{drive} {position}" for drive, position in positions)


def _needs(layout: Layout, key: WayKey) -> tuple[Position, ...]:
    element, legs = key
    for way in layout.elements[element].kind.ways:
        if frozenset(way.legs) == legs:
            return tuple((layout.drive_of[Work(element, d)], p) for d, p in way.when)
    return ()


def _middle_of(elements: Sequence[str], layout: Layout) -> list[str]:
    """The element of some that stands for them all: a fitting if there is one."""
    fittings = [name for name in elements if not layout.elements[name].plain]
    return [(fittings or list(elements))[-1]]
