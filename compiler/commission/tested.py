"""What was found right, kept so that it need not be asked again while nothing of it changes.

Each check has a digest of all that it tried: what is wired to what, and what is to come of it. A
check that was found right counts for as long as its digest is the same, whatever else of the
layout is changed, moved or renamed.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Literal, NamedTuple

from bellcrank.commission.checks import (
    Check,
    Checklist,
    CutCheck,
    DriveCheck,
    RouteCheck,
    SectionCheck,
    StateCheck,
)
from bellcrank.commission.detecting import cuts_found, sections_found
from bellcrank.commission.findings import drive_findings, route_findings, state_findings
from bellcrank.commission.run import Run
from bellcrank.layout.detectors import DetectorInput, Input
from bellcrank.layout.layout_model import Layout

CheckKind = Literal["drive", "frog", "signal", "output", "section", "joint", "route"]


class Tested(NamedTuple):
    """A check that was found right. on: the day, as `2026-05-01`."""

    kind: CheckKind
    name: str
    digest: str
    on: str


def tested_in(run: Run, layout: Layout, on: str) -> tuple[Tested, ...]:
    """What was found right in a run.

    layout: as it was found to be, with what was put right in it.
    """
    return tuple(_tested(check, layout, on) for check in _right(run))


def still_tested(
    earlier: Iterable[Tested], checklist: Checklist, layout: Layout
) -> tuple[Tested, ...]:
    """What was found right earlier and is on the checklist as it was then."""
    on = {(each.kind, each.name, each.digest): each for each in earlier}
    return tuple(on[each[:3]] for each in checks_now(checklist, layout) if each[:3] in on)


def checks_now(checklist: Checklist, layout: Layout) -> tuple[Tested, ...]:
    """Every check of a checklist as it would be tested now, on no day."""
    return tuple(_tested(check, layout, "") for check in checklist.checks())


def without(checklist: Checklist, tested: Iterable[Tested]) -> Checklist:
    """A checklist of what is left to be asked."""
    done = {(each.kind, each.name) for each in tested}

    def left(check: Check) -> bool:
        return (_kind(check), name_of(check)) not in done

    return replace(
        checklist,
        drives=tuple(filter(left, checklist.drives)),
        states=tuple(filter(left, checklist.states)),
        sections=tuple(filter(left, checklist.sections)),
        cuts=tuple(filter(left, checklist.cuts)),
        routes=tuple(filter(left, checklist.routes)),
    )


def name_of(check: Check) -> str:
    """What a check is called, once among those of its kind."""
    return f"{check.inside} {check.outside}" if isinstance(check, CutCheck) else check.name


def _kind(check: Check) -> CheckKind:
    match check:
        case DriveCheck(frog=frog):
            return "drive" if frog is None else "frog"
        case StateCheck(device=device):
            return device
        case SectionCheck():
            return "section"
        case CutCheck():
            return "joint"
        case RouteCheck():
            return "route"


def _right(run: Run) -> Iterator[Check]:
    yield from (f.check for f in drive_findings(run) if f.verdict == "right")
    yield from (f.check for f in state_findings(run) if f.verdict == "right")
    yield from (f.check for f in sections_found(run) if f.verdict == "right")
    yield from (f.check for f in cuts_found(run) if f.cut)
    for route in route_findings(run):
        if route.stands and not route.let and not route.not_asked:
            yield route.route


def _tested(check: Check, layout: Layout, on: str) -> Tested:
    facts = json.dumps(_facts(check, layout), ensure_ascii=False, separators=(",", ":"))
    digest = hashlib.sha256(facts.encode("utf-8", "surrogatepass")).hexdigest()
    return Tested(_kind(check), name_of(check), digest, on)


# -------------------------------------------------------------------------- facts


def _facts(check: Check, layout: Layout) -> object:
    """All that a check tries, as JSON."""
    match check:
        case DriveCheck(name, works, positions, frog=frog):
            throws = frog.throws if frog is not None else tuple((name, p) for p in positions)
            return [works, positions, [[to, _thrown(drive, to, layout)] for drive, to in throws]]
        case StateCheck(device, name, states):
            if device == "signal":
                return [states, *(_lamp(name, state, layout) for state in states)]
            output = layout.hardware.outputs[name]
            number = layout.hardware.number_of(output.output)
            return [states, number, list(output.states.items()), output.action, output.milliseconds]
        case SectionCheck(_, elements, detected, input_, joints):
            beside = [[str(joint.here), str(joint.there)] for joint in joints]
            return [elements, detected, _number(input_, layout), beside]
        case CutCheck(inside, outside):
            return [str(inside), str(outside)]
        case RouteCheck(_, positions, signal, aspect, refuses):
            thrown = [[drive, to, _thrown(drive, to, layout)] for drive, to in positions]
            return [thrown, signal, aspect, _lamp(signal, aspect, layout), refuses]


def _thrown(drive: str, position: str, layout: Layout) -> object:
    """What throws a drive to a position."""
    wiring = layout.hardware.wirings.get(drive)
    if wiring is None or not wiring.outputs:
        return None
    place = wiring.place(layout.drives[drive].positions.index(position))
    number = layout.hardware.number_of(place.output)
    return [number, place.side, place.value, wiring.action, wiring.milliseconds, wiring.held_on]


def _lamp(signal: str, aspect: str, layout: Layout) -> object:
    """What lights an aspect of a signal."""
    (lit,) = (a for a in layout.signals[signal].aspects if a.name == aspect)
    if lit.output is None:
        return None
    lamps = [
        [layout.hardware.number_of(lamp.output), lamp.side, lamp.blinking] for lamp in lit.lamps
    ]
    return [layout.hardware.number_of(lit.output), lit.value, lamps]


def _number(input_: Input | None, layout: Layout) -> object:
    if isinstance(input_, DetectorInput):
        return layout.reports.number_of(input_)
    return input_ and input_.name
