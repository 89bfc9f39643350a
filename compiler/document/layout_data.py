"""Track, signals, drives and hardware, for the document."""

from __future__ import annotations

from bellcrank.document import hardware_types, layout_types
from bellcrank.document.detector_data import (
    button_pairs_data,
    buttons_data,
    detectors_data,
    lamps_data,
    reports_data,
)
from bellcrank.document.frog_data import frog_data
from bellcrank.document.frog_types import KindFrog
from bellcrank.document.layout_types import EdgeEnd, End, LegEnd, StopEnd
from bellcrank.document.setting_data import learning_data, variables_data
from bellcrank.document.switch_data import printed, rotary_bank, switch_bank, switches_on
from bellcrank.layout.feeds import feeds, gaps
from bellcrank.layout.layout_model import (
    Aspect,
    Decoder,
    DecoderKind,
    District,
    Edge,
    FittingKind,
    Layout,
    Leg,
    Stop,
    Supply,
    TrackEnd,
)
from bellcrank.layout.wire_sizes import smallest_size
from bellcrank.machine.commands import drive_wire
from bellcrank.routes.route_model import RouteTable


def layout_data(layout: Layout) -> layout_types.Layout:
    """Track, signals and drives."""
    return layout_types.Layout(
        title=layout.title,
        rails=2 if layout.rails == 2 else 3,
        detection=layout.detection,
        kinds=[_kind(kind) for kind in _kinds_used(layout)],
        elements=[
            layout_types.Element(
                name=e.name,
                kind=e.kind.name,
                section=layout.section_of[e.name],
                legs={leg: _end(layout.joined[Leg(e.name, leg)]) for leg in e.kind.legs},
            )
            for e in layout.elements.values()
        ],
        sections=[
            layout_types.Section(name=s.name, elements=list(s.elements), detected=s.detected)
            for s in layout.sections.values()
        ],
        edges=[layout_types.Edge(name=name, at=_leg(leg)) for name, leg in layout.edges.items()],
        reversers=[name for name in layout.elements if name in layout.reversers],
        gaps=[
            layout_types.RailGap(
                one=_leg(gap.one),
                other=_leg(gap.other),
                cut=gap.cut,
                hand=gap.hand,
                signals=list(gap.signals),
            )
            for gap in gaps(layout)
        ],
        districts=[
            layout_types.District(
                name=d.name,
                elements=list(d.elements),
                millivolts=d.millivolts,
                milliamperes=d.milliamperes,
                fuse_milliamperes=d.fuse,
                wire_millimetres=d.wires,
                wire_hundredths_of_square_millimetre=_wire_size(d),
            )
            for d in layout.districts.values()
        ],
        feeds=[
            layout_types.Feed(
                at=_leg(feed.at),
                hand=feed.hand,
                elements=list(feed.elements),
                sections=list(feed.sections),
                detected=feed.detected,
                reverser=feed.reverser,
                district=feed.district,
            )
            for feed in feeds(layout)
        ],
        signals=signals_data(layout),
        drives=[drive_data(name, layout) for name in layout.drives],
        frogs=[frog_data(frog, layout) for frog in layout.frogs.values()],
    )


def signals_data(layout: Layout) -> list[layout_types.Signal]:
    """The signals, each with what shows its aspects."""
    return [
        layout_types.Signal(
            name=s.name,
            kind="shunt" if s.shunt else "main",
            before=_leg(s.before) if isinstance(s.before, Leg) else _edge(s.before),
            beyond=_leg(s.beyond),
            aspects=[_aspect(a, layout) for a in s.aspects],
            repeaters=list(s.repeaters),
            imagined=s.imagined,
        )
        for s in layout.signals.values()
    ]


def _aspect(aspect: Aspect, layout: Layout) -> layout_types.Aspect:
    output = aspect.output
    return layout_types.Aspect(
        name=aspect.name,
        decoder=output.decoder if output else None,
        output=output.number if output else None,
        number=layout.hardware.number_of(output) if output else None,
        side=aspect.side,
        value=aspect.value if output else None,
        blinking=aspect.blinking,
        lights=[
            layout_types.LitLamp(
                decoder=lamp.output.decoder,
                output=lamp.output.number,
                number=layout.hardware.number_of(lamp.output),
                side=lamp.side,
                blinking=lamp.blinking,
            )
            for lamp in aspect.beside
        ],
    )


def _kinds_used(layout: Layout) -> list[FittingKind]:
    return list({e.kind.name: e.kind for e in layout.elements.values()}.values())


def _kind(kind: FittingKind) -> layout_types.ElementKind:
    return layout_types.ElementKind(
        name=kind.name,
        legs=list(kind.legs),
        drives=[
            layout_types.KindDrive(name=name, positions=list(positions))
            for name, positions in kind.drives.items()
        ],
        ways=[
            layout_types.KindWay(
                legs=list(way.legs),
                when=[
                    layout_types.KindDrivePosition(drive=drive, position=position)
                    for drive, position in way.when
                ],
            )
            for way in kind.ways
        ],
        frogs=[KindFrog(name=frog.name, between=list(frog.between)) for frog in kind.frogs],
    )


def _end(end: TrackEnd) -> End:
    match end:
        case Leg():
            return _leg(end)
        case Edge():
            return _edge(end)
        case Stop():
            return StopEnd()


def _leg(leg: Leg) -> LegEnd:
    return LegEnd(element=leg.element, leg=leg.leg)


def _edge(edge: Edge) -> EdgeEnd:
    return EdgeEnd(name=edge.name)


def drive_data(name: str, layout: Layout) -> layout_types.Drive:
    """A drive, with what throws it to each of its positions."""
    drive = layout.drives[name]
    wiring = layout.hardware.wirings.get(name)
    positions = []
    for position in drive.positions:
        wire = drive_wire(layout, name, position)
        positions.append(
            layout_types.WiredPosition(
                position=position,
                decoder=wire.ref.decoder if wire.ref else None,
                output=wire.ref.number if wire.ref else None,
                number=layout.hardware.number_of(wire.ref) if wire.ref else None,
                side=wire.side,
                value=wire.value,
            )
        )
    return layout_types.Drive(
        name=name,
        works=list(map(str, drive.works)),
        action=wiring.action if wiring else None,
        milliseconds=wiring.milliseconds if wiring else None,
        settles_milliseconds=wiring.settles if wiring else None,
        rests_milliseconds=wiring.rests if wiring else None,
        crossed=wiring.crossed if wiring else False,
        detected=drive.detected,
        device="frog" if drive.frog else "drive",
        positions=positions,
        wires=list(wiring.wires) if wiring else [],
        held_on=wiring.held_on if wiring else False,
        motors=wiring.motors if wiring else 1,
        takes_milliamperes=wiring.takes if wiring else None,
    )


def _wire_size(supply: Supply | District) -> int | None:
    """Hundredths of a square millimetre for the wires of a supply, if enough is said of it."""
    said = (supply.wires, supply.milliamperes, supply.millivolts)
    if any(each is None for each in said):
        return None
    return smallest_size(*(each or 0 for each in said))


def hardware_data(layout: Layout, table: RouteTable) -> hardware_types.Hardware:
    """Decoders and supplies, detectors and the panel."""
    first: dict[int | None, hardware_types.FirstDecoder] = {0: 0, 1: 1}
    return hardware_types.Hardware(
        first_decoder=first.get(layout.hardware.first_decoder),
        decoders=[_decoder(d, layout) for d in layout.hardware.decoders.values()],
        supplies=[
            hardware_types.Supply(
                name=s.name,
                feeds=list(s.feeds),
                at_a_time=s.at_a_time,
                rest_milliseconds=s.rest,
                millivolts=s.millivolts,
                milliamperes=s.milliamperes,
                fuse_milliamperes=s.fuse,
                charging_milliseconds=s.charging,
                wire_millimetres=s.wires,
                wire_hundredths_of_square_millimetre=_wire_size(s),
            )
            for s in layout.hardware.supplies.values()
        ],
        detectors=detectors_data(layout),
        reports=reports_data(layout),
        outputs=[
            hardware_types.NamedOutput(
                name=named.name,
                decoder=named.output.decoder,
                output=named.output.number,
                number=layout.hardware.number_of(named.output),
                action=named.action,
                milliseconds=named.milliseconds,
                states=[
                    hardware_types.OutputState(state=state, side=side)
                    for state, side in named.states.items()
                ],
            )
            for named in layout.hardware.outputs.values()
        ],
        buttons=buttons_data(layout, table),
        button_pairs=button_pairs_data(table),
        lamps=lamps_data(layout, table),
    )


def _decoder(decoder: Decoder, layout: Layout) -> hardware_types.Decoder:
    kind = decoder.kind
    return hardware_types.Decoder(
        name=decoder.name,
        kind=kind.name,
        address=decoder.address,
        assigned=decoder.assigned,
        packets=kind.packets,
        pulses=kind.pulses,
        lamps=kind.lamps,
        outputs=kind.outputs,
        switches=0 if kind.rotary else kind.switches,
        inverted=kind.inverted,
        switches_on=switches_on(kind, decoder.address),
        switch_bank=switch_bank(kind, decoder.address),
        rotary_bank=rotary_bank(kind, decoder.address),
        variables=variables_data(decoder, layout),
        learning=learning_data(decoder),
        terminals=[_terminals(kind, number) for number in range(1, kind.outputs + 1)],
    )


def _terminals(kind: DecoderKind, number: int) -> hardware_types.Terminals:
    """What is printed at the terminals of an output; None where the layout does not say."""
    return hardware_types.Terminals(
        output=number,
        green=printed(kind.terminals, "green", number),
        red=printed(kind.terminals, "red", number),
        common=printed(kind.terminals, "common", number),
    )
