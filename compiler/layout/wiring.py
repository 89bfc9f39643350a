"""What is wired to which output: drives; for signals see `aspects.py`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import cast

from bellcrank.diagnostics import Collector, Noun, Span, did_you_mean, nearest
from bellcrank.layout.amounts import current
from bellcrank.layout.declared_names import Names, work_named
from bellcrank.layout.decoders import Bench
from bellcrank.layout.layout_model import (
    Action,
    Drive,
    OutputRef,
    Place,
    Wiring,
    Work,
)
from bellcrank.layout.packet_formats import (
    report_drive_on_extended,
)
from bellcrank.layout.placing import place_positions
from bellcrank.layout.pulses import pulse_made
from bellcrank.layout.quantities import milliseconds
from bellcrank.layout.track import FITTING
from bellcrank.syntax import tree as t

FITTING_WITH_DRIVE = Noun("a", "fitting with a drive")


def build_wirings(
    lines: Iterable[t.DriveLine],
    named: Mapping[str, Drive],
    drive_of: Mapping[Work, str],
    bench: Bench,
) -> tuple[dict[str, Wiring], dict[str, Drive]]:
    """How each drive is thrown, and the drives, of which those are detected whose lines say so.

    named: the drives, of which nothing is known yet but what they move. If any drive is wired, all
    must be, or by hand.
    """
    found = bench.names.found
    drives = dict(named)
    wirings: dict[str, Wiring] = {}
    lines = tuple(lines)
    thrown: set[str] = set()
    said: dict[str, t.DriveLine] = {}
    for line in lines:
        drive = find_drive(line.drive, drives, drive_of, bench.names)
        if drive is None:
            # Of this fitting some drive is meant, so that none of them is forgotten.
            element = line.drive.element.text
            thrown |= {d.name for d in drives.values() if d.works[0].element == element}
            if (near := nearest(str(line.drive), drives)) is not None:
                thrown.add(near)
            continue
        if line.outputs or line.by_hand:
            thrown.add(drive.name)
        if work_named(line.drive) != drive.works[0]:
            found.report(
                "E609",
                f"{line.drive} is coupled to {drive.name} and thrown with it",
                line.drive.span,
                hint=f"wire {drive.name} alone, with `one at each` if each of them has its own"
                if line.outputs
                else f"say it of {drive.name} alone",
            )
            continue
        first = said.setdefault(drive.name, line)
        if first is not line:
            found.report(
                "E202",
                f"{drive.name} has two `drive` lines",
                line.span,
                hint="keep one line with all of it",
                related=[(first.span, "the other line")],
            )
            continue
        drives[drive.name] = replace(drive, detected=line.detected)
        wiring = _wiring(line, drive, bench)
        if wiring is not None:
            wirings[drive.name] = wiring
    if any(line.outputs or line.by_hand for line in lines):
        free = bench.free_outputs()
        for drive in drives.values():
            unsure = bench.names.doubtful | bench.names.guessed
            if drive.name not in thrown and drive.works[0].element not in unsure:
                _report_forgotten(drive, said.get(drive.name), bench, next(free, None))
    return wirings, drives


def _report_forgotten(
    drive: Drive, line: t.DriveLine | None, bench: Bench, free: OutputRef | None
) -> None:
    """Report a drive of which no line says how it is thrown; one may say that it reports.

    free: an output for it; with none it may be on the next of a kind, for which a decoder is added.
    """
    reports = " detected" if line else ""
    output = free or next((kind for kind, known in bench.kinds.items() if known), "K1.1")
    bench.names.found.report(
        "E601",
        f"{drive.name} is on no output, while other drives are wired",
        line.span if line else drive.span,
        expected=f"a line such as `drive {drive.name} = {output}  coil 200 ms{reports}`",
        hint=f"write `drive {drive.name} by hand{reports}` if nothing throws it",
    )


def _wiring(line: t.DriveLine, drive: Drive, bench: Bench) -> Wiring | None:
    found = bench.names.found
    if not line.outputs:
        return Wiring(drive.name, (), None, None, False, line.span)
    wanted = (len(drive.positions) + 1) // 2
    # Of kinds in place of an output it has been reported, as none was given out.
    valued = bool(line.places) and line.places[0].value is not None
    unfit = [
        report_drive_on_extended(drive.name, drive.positions, kind, outlet, bench.names)
        for outlet in (line.outputs[:1] if line.places else line.outputs)
        if (isinstance(outlet, t.Output) or line.places)
        and (kind := bench.kind_of(outlet)) is not None
        and not valued
    ]
    if any(unfit):
        return None
    # A kind of decoder alone stands for as many outputs as are needed.
    alone = len(line.outputs) == 1 and isinstance(line.outputs[0], t.FreeOutput)
    stated: tuple[Place, ...] = ()
    if line.places:
        stated = place_positions(line, drive, bench) or ()
        outputs = tuple(dict.fromkeys(place.output for place in stated))
        if not stated:
            return None
    else:
        outputs = tuple(
            ref for outlet in line.outputs for ref in bench.take_all(drive.name, outlet)
        )
    if len(line.outputs) != wanted and not alone and not line.places:
        found.report(
            "E609",
            f"{drive.name} has {len(drive.positions)} positions and needs {wanted} "
            f"output{'s' if wanted > 1 else ''}, two positions on each",
            line.outputs[0].span.to(line.outputs[-1].span),
            expected=f"{wanted} output{'s' if wanted > 1 else ''}",
        )
        return None
    said = (line.duration, line.settles, line.rests)
    times = [milliseconds(word, found) if word else None for word in said]
    takes = current(line.takes, found) if line.takes else None
    if any(word and ms is None for word, ms in zip(said, times, strict=True)) or (
        line.takes and takes is None
    ):
        return None
    time, settles, rests = times
    action = cast(Action, line.action.text) if line.action else None
    if action == "coil" and time is not None:
        assert line.duration is not None
        kinds = [kind for outlet in line.outputs if (kind := bench.kind_of(outlet)) is not None]
        time = pulse_made(drive.name, line.duration, time, kinds, found)
        _check_rest(line, time, rests, found)
    if line.wires and (
        len(line.wires) != len(drive.positions) + 1 or not all(w.text.strip() for w in line.wires)
    ):
        found.report(
            "E609",
            f"{drive.name} has {len(drive.positions)} positions, and "
            f"{sum(bool(wire.text.strip()) for wire in line.wires)} of its wires are named",
            line.wires[0].span.to(line.wires[-1].span),
            expected=f"{len(drive.positions) + 1} wires: for {', '.join(drive.positions)}, "
            "and then the common",
        )
    if line.held_on and (action != "motor" or valued):
        found.report(
            "E609",
            f"{drive.name} is to be held on, and only a motor may be that, on sides of outputs",
            _action_span(line),
            expected="such as `motor 3 s  held on`",
        )
        return None
    if valued and action == "coil":
        found.report(
            "E609",
            f"{drive.name} is thrown by a value, which has no pulse for a coil",
            _action_span(line),
            expected="`motor` or `servo` and the time that it takes",
        )
        return None
    if valued and line.crossed:
        found.report(
            "E609",
            f"{drive.name} is thrown by values, and no wires of it can be crossed",
            line.span,
            expected="other values for its positions, without `crossed`",
        )
        return None
    if line.one_at_each and len(drive.works) == 1:
        found.report(
            "E609",
            f"{drive.name} throws one fitting alone; there is nothing else for one at each",
            line.span,
            expected=f"another fitting in a line `coupled {drive.name}, …`, or no such words",
        )
        return None
    if len(outputs) != wanted and not stated:
        return None
    return Wiring(
        drive.name,
        outputs,
        action,
        time,
        line.crossed,
        line.span,
        settles,
        rests,
        tuple(wire.text for wire in line.wires),
        stated,
        line.held_on,
        len(drive.works) if line.one_at_each else 1,
        takes,
    )


def _action_span(line: t.DriveLine) -> Span:
    """Where it is said what throws a drive, or else the whole line."""
    if line.action is None or line.duration is None:
        return line.span
    return line.action.span.to(line.duration.span)


def _check_rest(line: t.DriveLine, pulse: int, rests: int | None, found: Collector) -> None:
    """Report a coil that would overheat as it is thrown too often."""
    if rests is not None and rests < pulse:
        assert line.rests is not None
        found.report(
            "E611",
            f"a coil that rests for {rests} ms after a pulse of {pulse} ms overheats",
            line.rests.span,
            expected=f"a rest of {pulse} ms at least",
        )


def find_drive(
    name: t.DriveName, drives: Mapping[str, Drive], drive_of: Mapping[Work, str], names: Names
) -> Drive | None:
    """The drive that is named, or None with the reason reported."""
    found = drive_of.get(work_named(name))
    if found is not None:
        return drives[found]
    element = name.element.text
    if element in names.doubtful:
        return None  # what it has follows from its kind, of which it was reported
    parts = sorted(str(w) for w in drive_of if w.element == element and w.drive)
    if parts:
        names.found.report(
            "E201",
            f"{name.element} has no drive `{name.drive}`"
            if name.drive
            else f"{name.element} has several drives; say which is meant",
            (name.drive or name.element).span,
            expected=" or ".join(parts),
            hint=did_you_mean(str(name), parts),
        )
    elif name.drive is not None and Work(element, "") in drive_of:
        names.found.report(
            "E201",
            f"{name.element} has one drive, without a name of its own",
            name.drive.span,
            expected=f"`{name.element}` alone",
        )
    elif element not in names.bearers or names.bearers[element][0] != FITTING:
        names.unknown(name.element, FITTING_WITH_DRIVE, map(str, drive_of))
    else:
        names.found.report(
            "E201",
            f"{name.element} has no drive",
            name.element.span,
            expected="a fitting with a drive",
        )
    return None
