"""What is to be asked of a layout: its wired drives, its frogs, signals and other outputs, its
sections, the gaps at its reversers, and its routes, in order.

Which rail a frog has the polarity of is seen by a lamp between frog and rail, which stays dark
(common practice). So a frog is asked of as a drive is: its positions are the two legs from
whose rails it may take its polarity.

Whether each detector tells of its own section, and of no other, is seen by one vehicle that takes
current and is pushed through that section, with nothing else on the track. Where a gap is
missing the vehicle takes current through the next section's detector as well (common practice).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping

from bellcrank.commission.checks import (
    Check,
    Checklist,
    CutCheck,
    DriveCheck,
    FrogCheck,
    Joint,
    RouteCheck,
    SectionCheck,
    StateCheck,
)
from bellcrank.diagnostics import did_you_mean
from bellcrank.layout.detectors import DetectorInput, Input
from bellcrank.layout.feeds import feeds, gaps
from bellcrank.layout.frog_model import Frog
from bellcrank.layout.frogs import deciding_drive
from bellcrank.layout.layout_model import Layout, Position
from bellcrank.machine.commands import Command, drive_wire
from bellcrank.routes.route_model import RouteTable


def checklist_of(
    layout: Layout, table: RouteTable, commands: Iterable[Command], only: Iterable[str] = ()
) -> Checklist:
    """The checklist of a layout.

    only: names of what is to be asked of, if not all is: of drives, frogs, signals, outputs,
        sections and routes; of elements with a gap beside a reverser; of decoders and detectors,
        for all that is wired to them.
    Raises ValueError, as a sentence, for a name of nothing that can be asked of.
    """
    drives = (*_drives(layout), *_frogs(layout))
    states = (*_signals(layout), *_outputs(layout))
    sections = tuple(_sections(layout)) if layout.reports.sections else ()
    cuts = tuple(_cuts(layout))
    routes = tuple(_routes(table, commands))
    wanted = set(only)
    if wanted:
        asked: list[Check] = [*drives, *states, *sections, *cuts, *routes]
        known = {name for check in asked for name in _names(check, layout)}
        for name in only:
            if name not in known:
                hint = did_you_mean(name, known)
                raise ValueError(
                    f"there is nothing to commission that is called `{name}`"
                    + (f"; {hint}" if hint else "")
                )

        def kept(check: Check) -> bool:
            return not wanted.isdisjoint(_names(check, layout))

        drives, states = tuple(filter(kept, drives)), tuple(filter(kept, states))
        sections, cuts = tuple(filter(kept, sections)), tuple(filter(kept, cuts))
        routes = tuple(filter(kept, routes))
    taken = _taken(layout)
    free = tuple(
        DetectorInput(detector.name, number)
        for detector in layout.reports.detectors.values()
        for number in range(1, detector.kind.inputs + 1)
        if DetectorInput(detector.name, number) not in taken
    )
    return Checklist(drives, routes, states, sections, cuts, taken, free)


# ------------------------------------------------------------------------- checks


def _drives(layout: Layout) -> Iterable[DriveCheck]:
    for drive in layout.drives.values():
        if drive.frog is None and drive_wire(layout, drive.name, drive.positions[0]).ref:
            crossed = layout.hardware.wirings[drive.name].crossed
            yield DriveCheck(drive.name, tuple(map(str, drive.works)), drive.positions, crossed)


def _frogs(layout: Layout) -> Iterable[DriveCheck]:
    for frog in layout.frogs.values():
        throws = _throws(frog, layout)
        if throws is not None:
            name = frog.part.called
            crossed = frog.feed == "output" and layout.hardware.wirings[name].crossed
            yield DriveCheck(name, (name,), frog.kind.between, crossed, throws)


def _throws(frog: Frog, layout: Layout) -> FrogCheck | None:
    """What tries a frog; None if nothing that is thrown feeds it."""
    if frog.drive is None or frog.alike:
        return None
    one, other = frog.kind.between
    if frog.feed == "output":
        return FrogCheck(((frog.drive, one), (frog.drive, other)), own=True)
    decides = deciding_drive(layout.elements[frog.part.element].kind, frog.kind)
    assert decides is not None
    at = {leg: (frog.drive, position) for position, leg in [*decides[1].items()][::-1]}
    return FrogCheck((at[one], at[other]), own=False)


def _signals(layout: Layout) -> Iterable[StateCheck]:
    for signal in layout.signals.values():
        wired = tuple(aspect.name for aspect in signal.aspects if aspect.output is not None)
        if wired:
            yield StateCheck("signal", signal.name, wired)


def _outputs(layout: Layout) -> Iterable[StateCheck]:
    for output in layout.hardware.outputs.values():
        yield StateCheck("output", output.name, tuple(output.states))


def _sections(layout: Layout) -> Iterable[SectionCheck]:
    """The sections of which something is to be reported, and those beside them."""
    joints: defaultdict[str, list[Joint]] = defaultdict(list)
    for gap in gaps(layout):
        for here, there in ((gap.one, gap.other), (gap.other, gap.one)):
            inside, beyond = layout.section_of[here.element], layout.section_of[there.element]
            if inside != beyond:
                joints[inside].append(Joint(here, there, beyond))
    for section in layout.sections.values():
        report = layout.reports.sections.get(section.name)
        heard = report is not None or any(
            joint.beyond in layout.reports.sections for joint in joints[section.name]
        )
        if heard:
            yield SectionCheck(
                section.name,
                section.elements,
                section.detected,
                report.input if report is not None else None,
                tuple(joints[section.name]),
            )


def _cuts(layout: Layout) -> Iterable[CutCheck]:
    feed_of = {element: feed for feed in feeds(layout) for element in feed.elements}
    for gap in gaps(layout):
        if gap.cut == "both rails":
            turned = gap.other.element in layout.reversers
            inside, outside = (gap.other, gap.one) if turned else (gap.one, gap.other)
            feed = feed_of[inside.element]
            yield CutCheck(inside, outside, feed.reverser, feed.district)


def _routes(table: RouteTable, commands: Iterable[Command]) -> Iterable[RouteCheck]:
    positions: dict[str, list[Position]] = {name: [] for name in table.routes}
    for command in commands:
        if command.phase == "drives":
            positions[command.route].append((command.name, command.state))
    for name, route in table.routes.items():
        refuses = tuple(table.conflicting[name])
        yield RouteCheck(name, tuple(positions[name]), route.start, route.aspect, refuses)


# -------------------------------------------------------------------------- names


def _names(check: Check, layout: Layout) -> set[str]:
    """The names by which a check may be asked for."""
    hardware = layout.hardware
    match check:
        case DriveCheck(name, frog=frog):
            throws = frog.throws if frog is not None else ((name, check.positions[0]),)
            drives = {drive for drive, _ in throws}
            return {name} | {o.decoder for d in drives for o in hardware.wirings[d].outputs}
        case StateCheck("signal", name):
            aspects = layout.signals[name].aspects
            lamps = {lamp.output.decoder for aspect in aspects for lamp in aspect.lamps}
            return {name} | lamps | {a.output.decoder for a in aspects if a.output is not None}
        case StateCheck("output", name):
            return {name, hardware.outputs[name].output.decoder}
        case SectionCheck(name, input=DetectorInput(detector)):
            return {name, detector}
        case CutCheck(inside, outside):
            return {inside.element, outside.element}
        case _:
            return {check.name}


def _taken(layout: Layout) -> Mapping[Input, str]:
    reports = layout.reports
    taken: dict[Input, str] = dict.fromkeys(layout.panel_wires.buttons.values(), "a button")
    for contacts in reports.contacts.values():
        taken |= {each.input: f"{each.drive} {each.position}" for each in contacts}
    return taken | {report.input: report.section for report in reports.sections.values()}
