"""What is told of the word under the cursor: what a route needs and what conflicts with it, what
stands on an output and by which packets it is switched, the legs and ways of a fitting."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from bellcrank.diagnostics import Collector, Span, printable
from bellcrank.diagnostics.explained import explained
from bellcrank.editing.analysis import Analysis
from bellcrank.editing.names import (
    AspectOf,
    FittingKindNamed,
    LegOf,
    Occurrence,
    PartOf,
    PositionOf,
    Thing,
)
from bellcrank.hardware.packet_bytes import basic_accessory
from bellcrank.layout.layout_model import (
    Decoder,
    Element,
    FittingKind,
    Layout,
    Leg,
    OutputRef,
    Position,
    Signal,
    Work,
)
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.routes.route_naming import by_start, find_route
from bellcrank.routes.sentences import listed, why_conflict
from bellcrank.syntax import tree as t

MOST_TOLD = 12
"""Routes that are told one by one."""


@dataclass(frozen=True, slots=True)
class Told:
    """What is told, as Markdown, and of which words."""

    text: str
    of: Span | None


def hover(
    analysis: Analysis, routed: Analysis | None, file: str, line: int, column: int
) -> Told | None:
    """What is told of a place; None if there is nothing to tell.

    routed: what was known when the routes could be found last, for a text with errors has none.
    line, column: as the compiler counts them.
    """
    said = [_page(code) for code in _codes(analysis, file, line, column)]
    here = analysis.names.at(file, line, column)
    way = _nodes_at(analysis, file, line, column)
    told = _of_words(analysis, routed, way, here)
    if told is not None:
        said.insert(0, told.text)
    if not said:
        return None
    return Told("\n\n---\n\n".join(said), told.of if told else None)


def _of_words(
    analysis: Analysis,
    routed: Analysis | None,
    way: Sequence[t.Node],
    here: Occurrence | None,
) -> Told | None:
    layout, table = analysis.draft.layout, analysis.draft.table
    for node in reversed(way):
        if isinstance(node, t.Output):
            return _told(_output(analysis, node), node.span)
        if isinstance(node, t.FreeOutput) and node.span in layout.chosen:
            refs = [r for r in layout.chosen[node.span] if isinstance(r, OutputRef)]
            return _told((line for r in refs for line in _of_output(layout, r)), node.span)
        if isinstance(node, t.RouteWay | t.RouteByName) and routed is not None:
            told = _told(_of_routes_named(routed, node, way), node.span)
            if told is not None and routed is not analysis:
                return Told(
                    f"{told.text}\n\n*of the last text whose routes could be found*", told.of
                )
            if told is not None:
                return told
    if here is None:
        return None
    match here.meaning:
        case Thing(name=name) | AspectOf(signal=name):
            return _told(_of_thing(name, layout, table), here.span)
        case LegOf(kind=kind):
            lines = _of_leg(way, here.text, layout)
            return _told([*lines, *_of_kind(layout.kinds.get(kind))], here.span)
        case PartOf() | PositionOf():
            return _told(_of_drive(way, layout), here.span)
        case FittingKindNamed(name=name):
            return _told(_of_kind(layout.kinds.get(name)), here.span)
    return None


def _told(lines: Iterable[str], span: Span) -> Told | None:
    text = "\n".join(lines)
    return Told(text, span) if text else None


# ------------------------------------------------------------------- error codes


def _codes(analysis: Analysis, file: str, line: int, column: int) -> list[str]:
    """The codes of what is said of a place."""
    here = (line, column)
    return list(
        dict.fromkeys(
            d.code
            for d in analysis.draft.diagnostics
            if d.span.file == file
            and (d.span.line, d.span.column) <= here <= (d.span.end_line, d.span.end_column)
        )
    )


def _page(code: str) -> str:
    """The page on a code, its layout as code."""
    page = explained(code)
    if page is None:
        return f"**{code}**"
    said = [f"**{code}: {page.title}**", *page.paragraphs]
    for example in page.examples:
        rows = "\n".join(f"{row.mark} {printable(row.text)}".rstrip() for row in example.rows)
        said += [f"{example.heading}:", f"```\n{rows}\n```"]
    return "\n\n".join(said)


# ------------------------------------------------------------------------- nodes


def _nodes_at(analysis: Analysis, file: str, line: int, column: int) -> list[t.Node]:
    """The nodes of the tree that a place is in, the outermost first."""
    source = next((f for f in analysis.draft.program.files if f.name == file), None)
    way = [s for s in source.statements if _holds(s, line, column)] if source else []
    if not way:
        return []
    return [node for node in t.nodes_in(way[-1]) if _holds(node, line, column)]


def _holds(node: t.Node, line: int, column: int) -> bool:
    start = (node.span.line, node.span.column)
    return start <= (line, column) <= (node.span.end_line, node.span.end_column)


# ------------------------------------------------------------------------ routes


def _of_routes_named(analysis: Analysis, ref: t.RouteRef, way: Sequence[t.Node]) -> Iterator[str]:
    """What is told of a route that is named, and of those beside it."""
    layout, table = analysis.draft.layout, analysis.draft.table
    route = _route_meant(ref, table) if table is not None else None
    if table is not None and route is not None:
        yield from _of_route(route, layout, table, _beside(ref, way, table))


def _route_meant(ref: t.RouteRef, table: RouteTable) -> Route | None:
    if isinstance(ref, t.RouteByName) and ref.name.text not in table.routes:
        return None
    return find_route(ref, table.routes, by_start(table.routes.values()), Collector(), "E401")


def _beside(ref: t.RouteRef, way: Sequence[t.Node], table: RouteTable) -> list[Route]:
    """The other routes that are named beside one: in what is expected, or in a rule."""
    around = next((n for n in reversed(way) if isinstance(n, t.ExpectLine | t.LocksRule)), None)
    refs: list[t.RouteRef] = []
    if isinstance(around, t.ExpectLine):
        refs = list(around.routes)
    elif isinstance(around, t.LocksRule):
        refs = [around.route] if ref is not around.route else list(around.others)
    meant = [_route_meant(other, table) for other in refs if other is not ref]
    return [route for route in meant if route is not None]


def _of_route(
    route: Route, layout: Layout, table: RouteTable, beside: Sequence[Route] = ()
) -> Iterator[str]:
    """What a route needs, and what conflicts with it and why. beside: others that are asked for
    first, whether they conflict or not."""
    start = f"{route.start}, which shows {route.aspect}"
    yield f"**{route.name}**: a route from {start}, to {_end(route)}"
    yield ""
    for other in beside:
        why = why_conflict(route, other, layout, table)
        yield f"- with **{other.name}**: " + (f"conflict: {why}" if why else "they do not meet")
    yield f"- over {' – '.join(route.elements)}"
    yield f"- drives: {_lie(route.positions) or 'none'}"
    yield f"- sections clear: {', '.join(route.sections_clear) or 'none'}"
    if route.overlap is not None:
        parts = [*route.overlap_sections, _lie(route.overlap_positions)]
        yield f"- overlap: {', '.join(filter(None, parts))}"
    if route.flank:
        yield f"- flank: {_lie(route.flank)}"
    conflicting = [n for n in table.conflicting[route.name] if n not in {o.name for o in beside}]
    for name in conflicting[:MOST_TOLD]:
        why = why_conflict(route, table.routes[name], layout, table)
        yield f"- conflicts with {name}: {why}"
    if len(conflicting) > MOST_TOLD:
        yield f"- and with {len(conflicting) - MOST_TOLD} more"


def _end(route: Route) -> str:
    ends = {"signal": "the signal", "edge": "the edge", "stop": "the stop in"}
    calling = ", calling on into an occupied berth" if route.calling_on else ""
    return f"{ends[route.end_kind]} {route.end}{calling}"


def _lie(positions: Iterable[Position]) -> str:
    return ", ".join(f"{drive} {position}" for drive, position in positions)


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - MOST_TOLD} more" if len(names) > MOST_TOLD else ""
    return ", ".join(names[:MOST_TOLD]) + more


# ------------------------------------------------------------------------ things


def _of_thing(name: str, layout: Layout, table: RouteTable | None) -> Iterator[str]:
    if table is not None and name in table.routes:
        yield from _of_route(table.routes[name], layout, table)
    elif name in layout.signals:
        yield from _of_signal(layout.signals[name], layout, table)
    elif name in layout.elements:
        yield from _of_element(layout.elements[name], layout, table)
    elif name in layout.sections:
        yield from _of_section(name, layout, table)
    elif name in layout.hardware.decoders:
        yield from _of_decoder(layout.hardware.decoders[name], layout)
    elif name in layout.edges:
        yield f"**{name}**: an edge, where track leaves the layout, at {layout.edges[name]}"
    elif name in layout.reports.detectors:
        one = layout.reports.detectors[name]
        yield f"**{name}**: a detector, {one.kind.name}, inputs {_numbers(one.numbers)}"


def _of_signal(signal: Signal, layout: Layout, table: RouteTable | None) -> Iterator[str]:
    sort = "a shunt signal" if signal.shunt else "a signal"
    yield f"**{signal.name}**: {sort} that trains read from {signal.before} into {signal.beyond}"
    yield ""
    for aspect in signal.aspects:
        shown = [f"{_number(layout, lamp.output)} {lamp.side}" for lamp in aspect.lamps]
        if aspect.value is not None and aspect.output is not None:
            shown = [f"{_number(layout, aspect.output)} value {aspect.value}"]
        yield f"- {aspect.name}" + (f": {' and '.join(shown)}" if shown else "")
    if table is not None:
        from_here = [r.name for r in table.routes.values() if r.start == signal.name]
        to_here = [r.name for r in table.routes.values() if r.end == signal.name]
        if from_here:
            yield f"- routes from it: {_some(from_here)}"
        if to_here:
            yield f"- routes to it: {_some(to_here)}"


def _of_element(element: Element, layout: Layout, table: RouteTable | None) -> Iterator[str]:
    section = layout.section_of.get(element.name, element.name)
    yield f"**{element.name}**: {element.kind.name}, in the section {section}"
    yield ""
    for leg in element.kind.legs:
        beyond = layout.joined.get(Leg(element.name, leg))
        yield f"- {leg}: " + (f"leads to {beyond}" if beyond else "leads nowhere yet")
    if not element.plain:
        yield from _ways(element.kind)
        for work, drive in layout.drive_of.items():
            if work.element == element.name:
                yield from _wired(str(work), drive, layout)
    if table is not None:
        over = [r.name for r in table.routes.values() if element.name in r.elements]
        if over:
            yield f"- routes over it: {_some(over)}"


def _of_kind(kind: FittingKind | None) -> Iterator[str]:
    """The legs, drives and ways of a kind of fitting."""
    if kind is None:
        return
    yield f"**{kind.name}**"
    yield ""
    yield f"- legs, in order round it: {', '.join(kind.legs)}"
    for drive, positions in kind.drives.items():
        yield f"- drive{' ' + drive if drive else ''}: {', '.join(positions)}"
    yield from _ways(kind)
    if kind.drawn is not None:
        yield f"- drawn as a {kind.drawn}"


def _ways(kind: FittingKind) -> Iterator[str]:
    for way in kind.ways:
        when = listed(f"{drive} {position}".strip() for drive, position in way.when)
        yield f"- way {' - '.join(way.legs)}" + (f" when {when}" if when else "")


def _of_leg(way: Sequence[t.Node], leg: str, layout: Layout) -> Iterator[str]:
    for node in reversed(way):
        if isinstance(node, t.LegHere | t.Passing):
            beyond = layout.joined.get(Leg(node.element.text, leg))
            yield f"{node.element}.{leg} " + (
                f"leads to {beyond}" if beyond else "leads nowhere yet"
            )
            yield ""
            return


def _of_section(name: str, layout: Layout, table: RouteTable | None) -> Iterator[str]:
    section = layout.sections[name]
    sort = "detected" if section.detected else "without detection"
    yield f"**{name}**: a section, {sort}: {', '.join(section.elements)}"
    if table is not None:
        over = [r.name for r in table.routes.values() if name in r.sections]
        yield f"\n- routes over it: {_some(over) or 'none'}"


# --------------------------------------------------------------------- hardware


def _of_drive(way: Sequence[t.Node], layout: Layout) -> Iterator[str]:
    for node in reversed(way):
        match node:
            case t.DriveName():
                name = node
            case t.Demand() | t.DriveLine():
                name = node.drive
            case t.ReportLine():
                name = node.what
            case _:
                continue
        work = Work(name.element.text, name.drive.text if name.drive else "")
        if work in layout.drive_of:
            yield f"**{name}**: a drive"
            yield ""
            yield from _wired(str(work), layout.drive_of[work], layout)
        return


def _wired(name: str, drive: str, layout: Layout) -> Iterator[str]:
    """Where a drive can lie, and what throws it there."""
    positions = layout.drives[drive].positions if drive in layout.drives else ()
    wiring = layout.hardware.wirings.get(drive)
    if wiring is None or not wiring.outputs:
        by_hand = wiring is not None
        yield f"- {name}: {', '.join(positions)}" + (
            ", thrown by hand" if by_hand else ", not wired"
        )
        return
    for index, position in enumerate(positions):
        output, side, value = wiring.place(index)
        number = layout.hardware.number_of(output)
        if side is None:
            yield f"- {name} {position}: {_number(layout, output)} value {value}"
        else:
            data = _bytes(layout, number, side == "green")
            yield f"- {name} {position}: {_number(layout, output)} {side}, packet `{data}`"


def _output(analysis: Analysis, node: t.Output) -> Iterator[str]:
    decoder = analysis.draft.layout.hardware.decoders.get(node.decoder.text)
    if decoder is None or not node.number.text.isdecimal():
        return
    number = int(node.number.text)
    if 1 <= number <= decoder.kind.outputs:
        yield from _of_output(analysis.draft.layout, OutputRef(decoder.name, number))


def _of_output(layout: Layout, ref: OutputRef) -> Iterator[str]:
    """What is on an output, and the packets that switch its two sides."""
    number = layout.hardware.number_of(ref)
    decoder = layout.hardware.decoders[ref.decoder]
    yield f"**{ref}**: output {number} of the layout, on {decoder.name} ({decoder.kind.name})"
    yield ""
    for what in _on(layout, ref):
        yield f"- {what}"
    if decoder.kind.packets == "basic":
        for side in ("green", "red"):
            yield f"- {side} on: `{_bytes(layout, number, side == 'green')}`"
        if layout.hardware.first_decoder is None:
            yield "- with outputs counted from decoder 1: a line `numbering` says what is the case"
    else:
        yield "- extended packets: a value is sent to it"


def _on(layout: Layout, ref: OutputRef) -> Iterator[str]:
    for name, wiring in layout.hardware.wirings.items():
        for index, position in enumerate(layout.drives[name].positions if wiring.outputs else ()):
            place = wiring.place(index)
            if place.output == ref:
                yield f"{place.side or place.value}: {name} {position}"
    for signal in layout.signals.values():
        for aspect in signal.aspects:
            for lamp in aspect.lamps:
                if lamp.output == ref:
                    yield f"{lamp.side}: {signal.name} {aspect.name}"
    for named in layout.hardware.outputs.values():
        if named.output == ref:
            yield from (f"{side}: {named.name} {state}" for state, side in named.states.items())


def _of_decoder(decoder: Decoder, layout: Layout) -> Iterator[str]:
    chosen = ", an address that was chosen for it" if decoder.assigned else ""
    yield f"**{decoder.name}**: {decoder.kind.name}, outputs {_numbers(decoder.numbers)}{chosen}"
    yield ""
    on = decoder.kind.switches_for(decoder.address)
    if on:
        numbers = [str(k) for k, stands in enumerate(on, 1) if stands]
        yield f"- switches on: {', '.join(numbers) or 'none'} of {len(on)}"
    shown = decoder.kind.digits_for(decoder.address)
    if shown:
        yield f"- rotary switches show {' '.join(f'{digit:X}' for digit in shown)}"
    for number in range(1, decoder.kind.outputs + 1):
        what = "; ".join(_on(layout, OutputRef(decoder.name, number))) or "free"
        yield f"- {decoder.name}.{number}: {what}"


def _numbers(numbers: range) -> str:
    return str(numbers[0]) if len(numbers) == 1 else f"{numbers[0]} to {numbers[-1]}"


def _number(layout: Layout, ref: OutputRef) -> str:
    """An output and its number on the layout."""
    return f"{ref} (output {layout.hardware.number_of(ref)})"


def _bytes(layout: Layout, number: int, green: bool) -> str:
    """The bytes that switch a side on (NMRA S-9.2.1), as `hardware/packet_bytes.py` has them."""
    first = layout.hardware.first_decoder
    try:
        data = basic_accessory(number, green=green, first_decoder=1 if first is None else first)
    except ValueError:
        return "there is none"
    return data.hex(" ").upper()
