"""From the syntax tree to the layout."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from bellcrank.diagnostics import (
    MOST_MISTAKES,
    Collector,
    Diagnostic,
    Span,
    TooManyMistakesError,
    has_errors,
)
from bellcrank.layout.above import build_above
from bellcrank.layout.allotting import allot_outputs
from bellcrank.layout.aspects import wire_signal
from bellcrank.layout.declared_names import Names
from bellcrank.layout.decoders import Bench, assign_addresses, build_decoders
from bellcrank.layout.districts import FedTrack, build_districts
from bellcrank.layout.fittings import as_far_as_known, define, standard_fittings
from bellcrank.layout.frog_lines import FrogTrack, build_frogs
from bellcrank.layout.graph import (
    ReversingLoop,
    reversing_loops,
    track_graph,
    turning_elements,
    unreachable_edges,
    unreachable_legs,
    unsignalled_legs,
)
from bellcrank.layout.input_board import build_board
from bellcrank.layout.kinds import build_kinds
from bellcrank.layout.layout_model import (
    Aspect,
    Drive,
    FittingKind,
    Hardware,
    Layout,
    Leg,
    Signal,
    Work,
)
from bellcrank.layout.named_outputs import build_outputs
from bellcrank.layout.no_track import has_track, report_no_track, without_what_needs_track
from bellcrank.layout.on_times import check_times, times_needed
from bellcrank.layout.panel_wiring import wire_panel
from bellcrank.layout.quantities import number
from bellcrank.layout.reporting import Railway, build_reports
from bellcrank.layout.sections import PIECE_OR_FITTING, build_sections, report_signals_inside
from bellcrank.layout.shown import Drawable, build_shown
from bellcrank.layout.signals_meant import as_signal
from bellcrank.layout.stated_times import build_times
from bellcrank.layout.supplies import build_supplies
from bellcrank.layout.track import SIGNAL, Track, declare, lay
from bellcrank.layout.wiring import (
    build_wirings,
    find_drive,
)
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program

TWO_ASPECTS = (Aspect("stop"), Aspect("proceed"))


def build_layout(program: Program) -> tuple[Layout, tuple[Diagnostic, ...]]:
    """Resolve the names, join the track and wire the hardware of a program.

    Returns what could be made of it and the diagnostics. The layout may be
    built upon only if none of them is an error; after too many it is empty.
    """
    found = Collector(most=MOST_MISTAKES)
    try:
        if program.files and not has_track(program):
            layout = _layout(without_what_needs_track(program), found)
            if not has_errors(found.diagnostics):
                report_no_track(program, found)
        else:
            layout = _layout(program, found)
    except TooManyMistakesError:
        layout = _layout(Program((), {}), Collector())
    return layout, found.result()


def _layout(program: Program, found: Collector) -> Layout:
    names = Names(found)
    title, rails, detection = _layout_line(program, found)
    kinds, faulty = _kinds(program.of(t.FittingDefinition), found)
    track = Track()
    declare(program.of(t.Declaration), kinds, faulty, names, track)
    lay(program.of(t.RunLine), names, track)
    sections, section_of = build_sections(
        program.of(t.SectionLine), track.elements, detection, names
    )
    named_drives, drive_of = _drives(track, program.of(t.CoupledLine), names)
    reversers = _reversers(program.of(t.ReverserLine), track, names)

    first_decoder = _numbering(program.of(t.NumberingLine), found)
    bench = Bench(names, build_kinds(program.of(t.DecoderKindLine), names, first_decoder))
    build_decoders(program.of(t.DecoderLine), bench)
    barred = [line.name.text for line in program.of(t.RouteLine) if line.name]
    # What the lines of detectors claim later is not for decoders that are added.
    barred += [line.name.text for line in program.of(t.DetectorLine)]
    barred += [line.name.text for line in program.of(t.DetectorKindLine)]
    allot_outputs(
        program.of(
            (t.DecoderLine, t.DriveLine, t.SignalLine, t.LampLine, t.FrogWired, t.OutputLine)
        ),
        named_drives,
        drive_of,
        bench,
        barred,
    )
    assign_addresses(bench)
    wirings, wired_drives = build_wirings(program.of(t.DriveLine), named_drives, drive_of, bench)
    frog_track = FrogTrack(rails, track.elements, track.joined, reversers, drive_of)
    frogs = build_frogs(program, frog_track, bench)
    supplies = build_supplies(program.of(t.SupplyLine), wirings, bench)
    signals = _signals(track, program.of(t.SignalLine), program.of(t.ImaginedLine), bench)
    outputs = build_outputs(program.of(t.OutputLine), bench)
    wired = {**wirings, **frogs.wirings}
    needed = times_needed(
        wired.values(), {**wired_drives, **frogs.drives}, signals.values(), outputs.values()
    )
    check_times(needed, bench.decoders, found)
    hardware = Hardware(bench.decoders, wired, supplies, first_decoder, outputs)
    fed_track = FedTrack(track.elements, sections, track.joined, reversers)
    districts = build_districts(program.of(t.DistrictLine), fed_track, names)
    unreported = Railway(track.elements, sections, section_of, wired_drives, drive_of, track.joined)
    board = build_board(program, names, barred)
    reports, railway = build_reports(program, unreported, board)
    panel_wires = wire_panel(program, board, bench)
    times = build_times(program, railway, signals, wirings, names)

    lines = (*track.elements, *track.edges)
    pieces = {name for name, element in track.elements.items() if element.plain}
    layout = Layout(
        title=title,
        rails=rails,
        detection=detection,
        kinds=kinds,
        elements=track.elements,
        joined=track.joined,
        edges=track.edges,
        signals=signals,
        drives={**railway.drives, **frogs.drives},
        drive_of=drive_of,
        sections=sections,
        section_of=section_of,
        reversers=reversers,
        hardware=hardware,
        where={name: span for name, (_, span) in names.bearers.items()},
        reads=track.reads,
        above=build_above(program.of(t.DrawLine), lines, names),
        shown=build_shown(program, Drawable(pieces, lines, {*lines, *signals}), names),
        reports=reports,
        times=times,
        panel_wires=panel_wires,
        frogs=frogs.frogs,
        switched=frogs.switched(),
        districts=districts,
        chosen={**bench.allotted, **{span: (taken,) for span, taken in board.allotted.items()}},
    )
    if not has_errors(found.diagnostics):
        _check_track(layout, found)
    return layout


def _layout_line(program: Program, found: Collector) -> tuple[str, int, bool]:
    lines = program.of(t.LayoutLine)
    if not lines:
        # Named after the file; two rails and detection are what most layouts have.
        name = program.files[-1].name if program.files else "layout"
        return name.rsplit("/", 1)[-1].removesuffix(".crank"), 2, True
    for line in lines[1:]:
        found.report(
            "E107",
            "there are two `layout` lines",
            line.span,
            hint="keep one of the two",
            related=[(lines[0].span, "said here first")],
        )
    line = lines[0]
    rails = number(line.rails, "a number of rails", 2, 3, found) if line.rails else 2
    return line.title, rails or 2, not line.without_detection


def _numbering(lines: list[t.NumberingLine], found: Collector) -> int | None:
    """The number in its packets of the decoder that has the first outputs, if it is said."""
    for line in lines[1:]:
        found.report(
            "E107",
            "there are two `numbering` lines",
            line.span,
            hint="keep one of the two",
            related=[(lines[0].span, "said here first")],
        )
    if not lines:
        return None
    return number(lines[0].first, "the number of the first decoder", 0, 1, found)


def _kinds(
    definitions: list[t.FittingDefinition], found: Collector
) -> tuple[dict[str, FittingKind], dict[str, FittingKind]]:
    """The kinds that there are, and those whose definition is faulty, as far as known."""
    kinds = dict(standard_fittings())
    faulty: dict[str, FittingKind] = {}
    for definition in definitions:
        kind = define(definition, kinds, found)
        if kind is not None:
            kinds[kind.name] = kind
        else:
            known = as_far_as_known(definition)
            faulty.setdefault(known.name, known)
    return kinds, faulty


def _drives(
    track: Track, lines: list[t.CoupledLine], names: Names
) -> tuple[dict[str, Drive], dict[Work, str]]:
    drives: dict[str, Drive] = {}
    for element in track.elements.values():
        for drive, positions in element.kind.drives.items():
            work = Work(element.name, drive)
            drives[str(work)] = Drive(str(work), (work,), positions, element.span)
    drive_of = {work: drive.name for drive in drives.values() for work in drive.works}
    for line in lines:
        coupled = [find_drive(d, drives, drive_of, names) for d in line.drives]
        first = coupled[0]
        for word, named in zip(line.drives[1:], coupled[1:], strict=True):
            other = drives[drive_of[named.works[0]]] if named else None
            if first is None or other is None:
                continue
            if other.name == first.name:
                names.found.report("E323", f"{word} is coupled to {first.name} already", word.span)
            elif other.positions != first.positions:
                names.found.report(
                    "E323",
                    f"{word} cannot be coupled to {first.name}: their positions differ",
                    word.span,
                    expected=f"a drive with the positions {', '.join(first.positions)}",
                )
            else:
                first = Drive(first.name, first.works + other.works, first.positions, first.span)
                drives[first.name] = first
                del drives[other.name]
                drive_of.update(dict.fromkeys(other.works, first.name))
    return drives, drive_of


def _reversers(lines: list[t.ReverserLine], track: Track, names: Names) -> frozenset[str]:
    reversers: set[str] = set()
    for line in lines:
        for word in line.pieces:
            if word.text in track.elements:
                reversers.add(word.text)
            else:
                names.unknown(word, PIECE_OR_FITTING, track.elements)
    return frozenset(reversers)


def _signals(
    track: Track, lines: list[t.SignalLine], imagined: list[t.ImaginedLine], bench: Bench
) -> dict[str, Signal]:
    names = bench.names
    signals = {
        name: Signal(name, p.before, p.beyond, False, TWO_ASPECTS, p.word.span)
        for name, p in track.signals.items()
    }
    said: dict[str, Span] = {}
    for line in lines:
        name = line.name.text
        if name not in signals:
            names.unknown(line.name, SIGNAL, signals, as_signal(name, track.elements, track.joined))
            continue
        if name in said:
            names.found.report(
                "E107",
                f"{name} is described twice",
                line.span,
                hint="put all of it in one line",
                related=[(said[name], "described here first")],
            )
            continue
        said[name] = line.span
        signals[name] = wire_signal(signals[name], line, bench)
    for word in (word for line in imagined for word in line.signals):
        name = word.text
        if name not in signals:
            names.unknown(word, SIGNAL, signals, as_signal(name, track.elements, track.joined))
        elif any(aspect.output is not None for aspect in signals[name].aspects):
            names.found.report(
                "E322",
                f"{name} is imagined, and an output shows it",
                word.span,
                hint=f"leave {name} out here, or its output out there",
                related=[(said[name], "wired here")],
            )
        else:
            signals[name] = replace(signals[name], imagined=True)
    return signals


def _check_track(layout: Layout, found: Collector) -> None:
    graph = track_graph(layout)
    lost = unreachable_legs(layout, graph)
    if lost:
        found.report(
            "E314",
            f"no train can reach {_track_names(layout, lost)}: no edge and no signal leads there",
            layout.elements[lost[0].element].span,
            hint="add a signal from which trains set out there, or join it to the rest",
        )
    unsignalled = tuple(leg for leg in unsignalled_legs(layout, graph) if leg not in lost)
    if unsignalled:
        found.report(
            "W808",
            f"trains come to {_track_names(layout, unsignalled)} only by running back, "
            "and no signal lets them do so",
            layout.elements[unsignalled[0].element].span,
            hint="add a signal where trains wait before they run back",
        )
    for name in unreachable_edges(layout, graph):
        if layout.edges[name] in lost:
            continue
        found.report(
            "E315",
            f"the edge {name} is of no use: no train comes to it past a signal, "
            "and no signal is read by trains that enter there",
            layout.where[name],
            hint="add a signal that trains read on the way in or out",
        )
    report_signals_inside(layout.signals.values(), layout.section_of, found)
    if layout.rails == 2:
        _warn_of_idle_reversers(layout, found)
        _warn_of_sections_parted(layout, found)
        for loop in reversing_loops(layout.elements, layout.joined, layout.reversers):
            _report_loop(loop, layout, found)


def _warn_of_sections_parted(layout: Layout, found: Collector) -> None:
    """Warn of a detected section that a reverser feeds in part: its input cannot hang on both."""
    for section in layout.sections.values():
        behind = [name for name in section.elements if name in layout.reversers]
        if section.detected and 0 < len(behind) < len(section.elements):
            found.report(
                "W881",
                f"of the section {section.name} {', '.join(behind)} alone is behind a reverser, "
                "and one input of a detector cannot be fed from both sides",
                section.span,
                hint=f"make a section of its own of {', '.join(behind)}",
            )


def _warn_of_idle_reversers(layout: Layout, found: Collector) -> None:
    if not layout.reversers:
        return
    turning = turning_elements(layout.elements, layout.joined)
    idle = [name for name in layout.elements if name in layout.reversers - turning]
    if idle:
        found.report(
            "W809",
            f"{', '.join(idle)} is fed through a reverser but lies on no turning loop",
            layout.elements[idle[0]].span,
            hint="name the track between the gaps of the loop"
            if turning
            else "leave the `reverser` line out: nothing on this layout comes back turned round",
        )


def _track_names(layout: Layout, legs: Sequence[Leg]) -> str:
    names = list(dict.fromkeys(_leg_name(layout, leg) for leg in legs))
    return ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")


def _report_loop(loop: ReversingLoop, layout: Layout, found: Collector) -> None:
    ways = []
    for stretch in loop.stretches[:4]:
        (a, b), (c, d) = stretch.joints
        ways.append(
            f"{' - '.join(stretch.elements)} (gaps at {_joint(layout, a, b)} "
            f"and {_joint(layout, c, d)})"
        )
    hint = "lay plain track into the loop: it has no stretch that could be fed by itself"
    if ways:
        pieces = ", ".join(loop.stretches[0].elements)
        hint = (
            f"gap both rails at both ends of {' or '.join(ways)}, feed that stretch "
            f"through a reverser, and write `reverser {pieces}`"
        )
    first = loop.stretches[0].elements[0] if loop.stretches else loop.elements[0]
    found.report(
        "W801",
        "a train comes back turned round, which joins left rail to right, a short circuit: "
        + " - ".join(loop.elements),
        layout.elements[first].span,
        hint=hint,
    )


def _joint(layout: Layout, a: Leg, b: Leg) -> str:
    return "/".join(sorted(_leg_name(layout, leg) for leg in (a, b)))


def _leg_name(layout: Layout, leg: Leg) -> str:
    return leg.element if layout.elements[leg.element].plain else str(leg)
