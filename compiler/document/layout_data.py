"""Track, signals, drives and decoders as plain data, for the document."""

from __future__ import annotations

from bellcrank.document.data import Data
from bellcrank.layout.layout_model import (
    Decoder,
    DecoderKind,
    Edge,
    FittingKind,
    Layout,
    Leg,
    Stop,
    TrackEnd,
)
from bellcrank.machine.commands import drive_wire


def layout_data(layout: Layout) -> Data:
    """Track, signals and drives."""
    return {
        "title": layout.title,
        "rails": layout.rails,
        "detection": layout.detection,
        "kinds": [_kind(kind) for kind in _kinds_used(layout)],
        "elements": [
            {
                "name": e.name,
                "kind": e.kind.name,
                "section": layout.section_of[e.name],
                "legs": {leg: _end(layout.joined[Leg(e.name, leg)]) for leg in e.kind.legs},
            }
            for e in layout.elements.values()
        ],
        "sections": [
            {"name": s.name, "elements": list(s.elements), "detected": s.detected}
            for s in layout.sections.values()
        ],
        "edges": [{"name": name, "at": _end(leg)} for name, leg in layout.edges.items()],
        "reversers": [name for name in layout.elements if name in layout.reversers],
        "signals": signals_data(layout),
        "drives": [drive_data(name, layout) for name in layout.drives],
    }


def signals_data(layout: Layout) -> list[Data]:
    """The signals, each with what shows its aspects."""
    return [
        {
            "name": s.name,
            "kind": "shunt" if s.shunt else "main",
            "before": _end(s.before),
            "beyond": _end(s.beyond),
            "aspects": [
                {
                    "name": a.name,
                    "decoder": a.output.decoder if a.output else None,
                    "output": a.output.number if a.output else None,
                    "number": layout.hardware.number_of(a.output) if a.output else None,
                    "side": a.side,
                    "value": a.value if a.output else None,
                }
                for a in s.aspects
            ],
        }
        for s in layout.signals.values()
    ]


def _kinds_used(layout: Layout) -> list[FittingKind]:
    return list({e.kind.name: e.kind for e in layout.elements.values()}.values())


def _kind(kind: FittingKind) -> Data:
    return {
        "name": kind.name,
        "legs": list(kind.legs),
        "drives": [
            {"name": name, "positions": list(positions)} for name, positions in kind.drives.items()
        ],
        "ways": [
            {
                "legs": list(way.legs),
                "when": [{"drive": d, "position": p} for d, p in way.when],
            }
            for way in kind.ways
        ],
    }


def _end(end: TrackEnd) -> Data:
    match end:
        case Leg():
            return {"type": "leg", "element": end.element, "leg": end.leg}
        case Edge():
            return {"type": "edge", "name": end.name}
        case Stop():
            return {"type": "stop"}


def drive_data(name: str, layout: Layout) -> Data:
    """A drive, with what throws it to each of its positions."""
    drive = layout.drives[name]
    wiring = layout.hardware.wirings.get(name)
    positions = []
    for position in drive.positions:
        wire = drive_wire(layout, name, position)
        positions.append(
            {
                "position": position,
                "decoder": wire.ref.decoder if wire.ref else None,
                "output": wire.ref.number if wire.ref else None,
                "number": layout.hardware.number_of(wire.ref) if wire.ref else None,
                "side": wire.side,
            }
        )
    return {
        "name": name,
        "works": list(map(str, drive.works)),
        "action": wiring.action if wiring else None,
        "milliseconds": wiring.milliseconds if wiring else None,
        "settles_milliseconds": wiring.settles if wiring else None,
        "rests_milliseconds": wiring.rests if wiring else None,
        "crossed": wiring.crossed if wiring else False,
        "detected": drive.detected,
        "positions": positions,
        "wires": list(wiring.wires) if wiring else [],
    }


def hardware_data(layout: Layout) -> Data:
    """Decoders and supplies."""
    return {
        "first_decoder": layout.hardware.first_decoder,
        "decoders": [_decoder(d) for d in layout.hardware.decoders.values()],
        "supplies": [
            {
                "name": s.name,
                "feeds": list(s.feeds),
                "at_a_time": s.at_a_time,
                "rest_milliseconds": s.rest,
            }
            for s in layout.hardware.supplies.values()
        ],
    }


def _decoder(decoder: Decoder) -> Data:
    kind = decoder.kind
    shown = kind.switches_for(decoder.address)
    assert shown is not None  # the layout stage refuses what switches cannot set
    return {
        "name": decoder.name,
        "kind": kind.name,
        "address": decoder.address,
        "assigned": decoder.assigned,
        "packets": kind.packets,
        "outputs": kind.outputs,
        "switches": kind.switches,
        "inverted": kind.inverted,
        "switches_on": [k for k, on in enumerate(shown, start=1) if on],
        "switch_bank": [
            {"number": k, "on": on, "fixed": k in kind.fixed, "counts": weight}
            for k, (on, weight) in enumerate(zip(shown, kind.switch_weights, strict=True), start=1)
        ],
        "terminals": [
            {"output": number, **_terminals(kind, number)} for number in range(1, kind.outputs + 1)
        ],
    }


def _terminals(kind: DecoderKind, number: int) -> Data:
    """What is printed at the terminals of an output; None where the layout does not say."""
    return {
        name: kind.terminals[name].replace("%", str(number)) if name in kind.terminals else None
        for name in ("green", "red", "common")
    }
