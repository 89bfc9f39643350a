"""Everything known about a layout as plain data: what targets are given.

The same data, written out as JSON, is the document that control software
reads; its schema is targets/json/layout.schema.json. VERSION is raised when a
field changes its meaning or goes away.

A mapping in a template has methods called `values`, `items` and so on: no field
may have such a name.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from bellcrank.compilation import Compilation
from bellcrank.emit.vectors import vectors_data
from bellcrank.hardware.packets import basic_accessory, bits, extended_accessory
from bellcrank.layout.model import (
    Decoder,
    DecoderKind,
    Edge,
    FittingKind,
    Layout,
    Leg,
    Position,
    Stop,
    TrackEnd,
)
from bellcrank.machine.commands import Command, drive_wire
from bellcrank.machine.locking import Locking
from bellcrank.machine.model import Clause, Event, Machine
from bellcrank.proof.story import Story
from bellcrank.proof.verdict import MovingVerdict, Verdict
from bellcrank.rehearsal.vectors import make_vectors
from bellcrank.routes.model import Route, RouteTable
from bellcrank.routes.sentences import explain
from bellcrank.timing.model import Timetable, Wait
from bellcrank.version import NOTICE, __version__

VERSION = 1

Data = dict[str, Any]


def document(compilation: Compilation) -> Data:
    """The whole document.

    Raises ValueError for a source with errors, or without its moving proof.
    """
    c = compilation
    if not (c.ok and c.layout and c.table and c.locking and c.machine and c.verdict):
        raise ValueError("a source with errors has no document")
    if c.moving is None:
        raise ValueError("a document tells of the moving proof, which was left out")
    return {
        "format": {"name": "bellcrank-layout", "version": VERSION},
        "notice": NOTICE,
        "compiler": {"name": "bellcrank", "version": __version__},
        "source": {"files": list(c.program.texts), "sha256": c.source_hash},
        "status": "proved" if c.proved else "UNPROVED",
        "verdict": verdict_data(c.verdict),
        "moving": moving_data(c.moving),
        "layout": layout_data(c.layout),
        "hardware": _hardware(c.layout),
        "locking": _locking(c.locking),
        "routes": [route_data(r, c.table) for r in c.table.routes.values()],
        "conflicts": [
            conflict_data(first, second, c.table, c.layout) for first, second in c.table.conflicts
        ],
        "states": states_data(c.layout),
        "commands": [_command(command, c.layout) for command in c.commands],
        "timetables": [timetable_data(timetable, c.layout) for timetable in c.timetables],
        "machine": machine_data(c.machine),
        "vectors": vectors_data(make_vectors(c.machine)),
    }


def verdict_data(verdict: Verdict) -> Data:
    return {
        "outcome": verdict.outcome,
        "solver": verdict.solver,
        "properties": [
            {
                "name": p.name,
                "sentence": p.sentence,
                "outcome": p.outcome,
                "obligations": p.obligations,
            }
            for p in verdict.properties
        ],
        "hazards": [
            {
                "violates": h.violates,
                "routes": list(h.routes),
                "sentence": h.sentence,
                "missing_rule": h.missing,
                "instead_of": str(h.instead_of) if h.instead_of else None,
            }
            for h in verdict.hazards
        ],
        "hazards_complete": verdict.complete,
        "expectations": [
            {"expectation": e.text, "outcome": e.outcome, "why": e.why or None}
            for e in verdict.expectations
        ],
        "never_set": list(verdict.never_set),
        "never_set_complete": verdict.never_set_complete,
        "assumptions": [{"name": n, "sentence": s} for n, s in verdict.assumptions.items()],
    }


def moving_data(moving: MovingVerdict) -> Data:
    return {
        "outcome": moving.outcome,
        "solvers": list(moving.solvers),
        "disagreement": moving.disagreement or None,
        "stopped": moving.stopped or None,
        "obligations": moving.obligations,
        "questions": len(moving.questions),
        "states": moving.states,
        "results": [
            {
                "name": r.name,
                "sentence": r.sentence,
                "outcome": r.outcome,
                "obligations": r.obligations,
                "story": story_data(r.story) if r.story is not None else None,
                "open": list(r.open),
            }
            for r in moving.results
        ],
        "assumptions": [{"name": n, "sentence": s} for n, s in moving.assumptions.items()],
    }


def story_data(story: Story) -> Data:
    return {
        "start": [{"drive": drive, "position": position} for drive, position in story.start],
        "steps": [
            {
                "sentence": step.sentence,
                "event": step.event,
                "place": str(step.span) if step.span else None,
            }
            for step in story.steps
        ],
        "ending": story.ending,
        "shortest": story.shortest,
    }


def layout_data(layout: Layout) -> Data:
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
        "signals": [
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
        ],
        "drives": [_drive(name, layout) for name in layout.drives],
    }


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


def _drive(name: str, layout: Layout) -> Data:
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
        "works": list(drive.works),
        "action": wiring.action if wiring else None,
        "milliseconds": wiring.milliseconds if wiring else None,
        "settles_milliseconds": wiring.settles if wiring else None,
        "rests_milliseconds": wiring.rests if wiring else None,
        "crossed": wiring.crossed if wiring else False,
        "detected": drive.detected,
        "positions": positions,
        "wires": list(wiring.wires) if wiring else [],
    }


def _hardware(layout: Layout) -> Data:
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


def _locking(locking: Locking) -> Data:
    return {
        "derived": locking.derived,
        "drives_need_clear": locking.drives_need_clear,
        "sectional": locking.sectional,
        "locks": [
            {"routes": [lock.first, lock.second], "when": _positions(lock.when)}
            for lock in locking.locks
        ],
        "needs": [
            {"route": n.route, "drive": n.drive, "position": n.position} for n in locking.needs
        ],
        "needs_set": [{"route": n.route, "other": n.other} for n in locking.needs_set],
        "needs_clear": [{"route": n.route, "section": n.section} for n in locking.needs_clear],
    }


def route_data(route: Route, table: RouteTable) -> Data:
    return {
        "name": route.name,
        "from": route.start,
        "to": route.end,
        "ends_at": route.end_kind,
        "calling_on": route.calling_on,
        "aspect": route.aspect,
        "approach": route.approach,
        "ways": [{"element": w.element, "entry": w.entry, "exit": w.exit} for w in route.ways],
        "sections": list(route.sections),
        "sections_clear": list(route.sections_clear),
        "positions": _positions(route.positions),
        "overlap": {
            "sections": list(route.overlap_sections),
            "positions": _positions(route.overlap_positions),
        }
        if route.overlap
        else None,
        "flank": _positions(route.flank),
        "conflicts": {
            other: [reason.kind for reason in table.reasons(route.name, other)]
            for other in table.conflicting[route.name]
        },
    }


def _positions(positions: Iterable[Position]) -> list[Data]:
    return [{"drive": drive, "position": position} for drive, position in positions]


def conflict_data(first: str, second: str, table: RouteTable, layout: Layout) -> Data:
    one, other = table.routes[first], table.routes[second]
    return {
        "routes": [first, second],
        "reasons": [
            {
                "kind": r.kind,
                "where": list(r.where),
                "opposed": [
                    {"drive": d, "positions": [mine, theirs]} for d, mine, theirs in r.demands
                ],
                "sentence": explain(r, one, other, layout),
            }
            for r in table.reasons(first, second)
        ],
    }


def _command(command: Command, layout: Layout) -> Data:
    return {
        "route": command.route or None,
        "step": command.step,
        "phase": command.phase,
        "device": command.device,
        "name": command.name,
        "state": command.state,
        "how": command.how,
        "decoder": command.decoder,
        "output": command.output,
        "number": command.number,
        "side": command.side,
        "value": command.value,
        "milliseconds": command.milliseconds,
        "only_if_set": list(command.only_if_set),
        "packet": packet_data(command, layout),
    }


def states_data(layout: Layout) -> list[Data]:
    """Everything that can be commanded, and the reports of detected sections, in a fixed
    order: for controllers that know each by a number."""
    found: list[Data] = []

    def add(device: str, name: str, state: str, of: Mapping[str, Any]) -> None:
        where = {key: of.get(key) for key in ("decoder", "output", "number", "side", "value")}
        found.append({"device": device, "name": name, "state": state, **where})

    for name in layout.drives:
        for position in _drive(name, layout)["positions"]:
            add("drive", name, position["position"], position)
    for signal in layout_data(layout)["signals"]:
        for aspect in signal["aspects"]:
            add("signal", signal["name"], aspect["name"], aspect)
    for section in layout.sections.values():
        if section.detected:
            for state in ("occupied", "clear"):
                add("section", section.name, state, {})
    return found


def packet_data(command: Command, layout: Layout) -> Data | None:
    """The packet of a command; None without an output, or if the layout does not say how
    outputs are numbered in packets."""
    first = layout.hardware.first_decoder
    if first is None or command.number is None:
        return None
    if command.value is not None:
        on = extended_accessory(command.number, command.value, first_decoder=first)
        return {"type": "extended", "on": _hex(on), "off": None, "bits": bits(on)}
    green = command.side == "green"
    on, off = (
        basic_accessory(command.number, green=green, activate=activate, first_decoder=first)
        for activate in (True, False)
    )
    return {"type": "basic", "on": _hex(on), "off": _hex(off), "bits": bits(on)}


def _hex(data: bytes) -> str:
    return data.hex(" ").upper()


def timetable_data(timetable: Timetable, layout: Layout) -> Data:
    """A timetable; what is done by hand has no time."""
    return {
        "what": timetable.what,
        "route": timetable.of or None,
        "total": timetable.total,
        "bound": timetable.bound,
        "commands": [
            {
                "at": None if timed.by_hand else timed.at,
                "until": None if timed.by_hand else timed.until,
                "after": [_wait(wait) for wait in timed.after],
                "command": _command(timed.command, layout),
            }
            for timed in timetable.commands
        ],
        "waits": [_wait(wait) for wait in timetable.waits],
    }


def _wait(wait: Wait) -> Data:
    return {
        "kind": wait.kind,
        "name": wait.name,
        "state": wait.state,
        "sentence": wait.sentence,
    }


def machine_data(machine: Machine) -> Data:
    """The machine, with the values in every literal in the order of their variable."""
    place = {
        name: {value: i for i, value in enumerate(v.values)}
        for name, v in machine.variables.items()
    }

    def ordered(variable: str, values: Iterable[str]) -> list[str]:
        return sorted(values, key=place[variable].__getitem__)

    def clause_data(clause: Clause) -> list[Data]:
        return [
            {"variable": variable, "one_of": ordered(variable, values)}
            for variable, values in clause
        ]

    def event_data(event: Event) -> Data:
        return {
            "name": event.name,
            "kind": event.kind,
            "actor": event.actor,
            "of": event.of,
            "route": event.route,
            "text": event.text,
            "guard": [clause_data(clause) for clause in event.guard],
            "updates": [
                {"variable": variable, "becomes": _becomes(ordered(variable, values), values)}
                for variable, values in event.updates.items()
            ],
        }

    return {
        "variables": [
            {
                "name": v.name,
                "kind": v.kind,
                "of": v.of,
                "domain": list(v.values),
                "initial": list(v.initial),
            }
            for v in machine.variables.values()
        ],
        "events": [event_data(event) for event in machine.events],
        "invariants": [
            {"of": i.of, "clause": clause_data(i.clause), "sentence": i.sentence}
            for i in machine.invariants
        ],
        "wishes": [{"text": w.text, "routes": list(w.routes)} for w in machine.wishes],
        "lemmas": len(machine.lemmas),
        "assumptions": [{"name": n, "sentence": s} for n, s in machine.assumptions.items()],
    }


def _becomes(values: list[str], becomes: Mapping[str, str]) -> list[Data]:
    """What values become, those together that become the same."""
    together: dict[str, list[str]] = {}
    for value in values:
        together.setdefault(becomes[value], []).append(value)
    return [{"from": before, "to": to} for to, before in together.items()]
