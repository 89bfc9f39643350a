"""What feeds each frog, from the lines that say so.

A frog on an output becomes a drive of a kind: its positions are the two legs from which it may
take its polarity, and each way over it needs one of them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from bellcrank.diagnostics import Noun, Span, did_you_mean
from bellcrank.layout.decoders import Bench
from bellcrank.layout.frog_model import Frog, FrogFeed, FrogPart
from bellcrank.layout.frogs import alike, deciding_drive
from bellcrank.layout.layout_model import Drive, Element, Leg, TrackEnd, Wiring, Work
from bellcrank.layout.packet_formats import report_frog_on_extended
from bellcrank.layout.track import FITTING
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program

_Line = t.FrogWired | t.FrogFed

FITTING_WITH_FROG = Noun("a", "fitting with a frog")

_FEEDS: Mapping[t.FrogFeed, FrogFeed] = {
    "drive": "contact",
    "reverser": "reverser",
    "dead": "dead",
}


@dataclass(frozen=True, slots=True)
class FrogTrack:
    """What of the layout tells of its frogs."""

    rails: int
    elements: Mapping[str, Element]
    joined: Mapping[Leg, TrackEnd]
    reversers: frozenset[str]
    drive_of: Mapping[Work, str]


@dataclass(frozen=True, slots=True)
class Frogs:
    """All frogs; and of those on outputs, what switches each, and how that is wired."""

    frogs: Mapping[FrogPart, Frog]
    drives: Mapping[str, Drive]
    wirings: Mapping[str, Wiring]

    def switched(self) -> dict[str, tuple[Frog, ...]]:
        """The frogs of each element that have an output."""
        found: dict[str, tuple[Frog, ...]] = {}
        for frog in self.frogs.values():
            if frog.feed == "output":
                element = frog.part.element
                found[element] = (*found.get(element, ()), frog)
        return found


def build_frogs(program: Program, track: FrogTrack, bench: Bench) -> Frogs:
    """The frogs of a layout and what feeds them."""
    lines: list[_Line] = program.of((t.FrogWired, t.FrogFed))
    if track.rails == 3:
        _report_three_rails(lines, bench)
        return Frogs({}, {}, {})
    same = alike(track.elements.values(), track.joined, track.reversers)
    frogs = {
        part: Frog(part, kind, None, None, part in same, element.span)
        for element in track.elements.values()
        for kind in element.kind.frogs
        for part in [FrogPart(element.name, kind.name)]
    }
    said: dict[FrogPart, Span] = {}
    drives: dict[str, Drive] = {}
    wirings: dict[str, Wiring] = {}
    for line, name in _named(lines):
        frog = _find(name, frogs, bench)
        if frog is None:
            continue
        first = said.setdefault(frog.part, name.span)
        if first is not name.span:
            bench.names.found.report(
                "E202",
                f"what feeds the frog {name} is said twice",
                name.span,
                hint="keep one of the two",
                related=[(first, "said here first")],
            )
            continue
        if frog.alike and not (isinstance(line, t.FrogFed) and line.feed == "dead"):
            _warn_of_nothing_to_switch(frog, name, bench)
        if isinstance(line, t.FrogWired):
            wired = _wire(line, frog, bench)
            if wired is not None:
                frogs[frog.part], drive, wiring = wired
                drives[drive.name], wirings[drive.name] = drive, wiring
        else:
            feed = _FEEDS[line.feed]
            drive_name = _with_contact(frog, track) if feed == "contact" else None
            frogs[frog.part] = replace(frog, feed=feed, drive=drive_name, span=name.span)
    return Frogs(frogs, drives, wirings)


def _named(
    lines: list[_Line],
) -> Iterator[tuple[_Line, t.DriveName]]:
    for line in lines:
        for name in (line.frog,) if isinstance(line, t.FrogWired) else line.frogs:
            yield line, name


def _report_three_rails(lines: list[_Line], bench: Bench) -> None:
    for line, name in _named(lines):
        bench.names.found.report(
            "E620",
            f"on three rails there is nothing to feed at the frog {name}: both running rails are "
            "of one polarity",
            name.span if isinstance(line, t.FrogFed) else line.span,
            expected="`on two rails` in the `layout` line, if the track has no centre conductor",
            hint="leave this line out",
        )


def _find(name: t.DriveName, frogs: Mapping[FrogPart, Frog], bench: Bench) -> Frog | None:
    """The frog that is named, or None with the reason reported."""
    element = name.element.text
    found = frogs.get(FrogPart(element, name.drive.text if name.drive else ""))
    if found is not None:
        return found
    parts = [str(part) for part in frogs if part.element == element and part.frog]
    if parts:
        bench.names.found.report(
            "E201",
            f"{name.element} has no frog `{name.drive}`"
            if name.drive
            else f"{name.element} has several frogs; say which is meant",
            (name.drive or name.element).span,
            expected=" or ".join(parts),
            hint=did_you_mean(str(name), parts),
        )
    elif name.drive is not None and FrogPart(element, "") in frogs:
        bench.names.found.report(
            "E201",
            f"{name.element} has one frog, without a name of its own",
            name.drive.span,
            expected=f"`{name.element}` alone",
        )
    elif element not in bench.names.bearers or bench.names.bearers[element][0] != FITTING:
        bench.names.unknown(name.element, FITTING_WITH_FROG, map(str, frogs))
    else:
        bench.names.found.report(
            "E201",
            f"of the kind of {name.element} no frogs are stated",
            name.element.span,
            expected="a fitting with a frog",
            hint="add a line such as `frog between …, …` to its `fitting`",
        )
    return None


def _warn_of_nothing_to_switch(frog: Frog, name: t.DriveName, bench: Bench) -> None:
    one, other = frog.kind.between
    bench.names.found.report(
        "W860",
        f"at the frog {name} nothing need be switched: as the track is joined, the rails of {one} "
        f"and {other} that cross there are of one polarity",
        name.span,
        hint="leave this frog out, and wire it to either of the two rails",
    )


def _with_contact(frog: Frog, track: FrogTrack) -> str | None:
    """The drive of which a contact serves; None if none does, which is told once the routes that
    it concerns are known."""
    element = track.elements[frog.part.element]
    decides = deciding_drive(element.kind, frog.kind)
    return track.drive_of[Work(element.name, decides[0])] if decides else None


def _wire(line: t.FrogWired, frog: Frog, bench: Bench) -> tuple[Frog, Drive, Wiring] | None:
    name = frog.part.called
    kind = bench.kind_of(line.output)
    if kind is not None and report_frog_on_extended(name, kind, line.output, bench.names):
        return None
    outputs = bench.take_all(name, line.output)
    if not outputs:
        return None
    drive = Drive(
        name,
        (Work(frog.part.element, frog.part.frog),),
        frog.kind.between,
        line.frog.span,
        frog=frog.part,
    )
    wiring = Wiring(name, outputs, None, None, line.crossed, line.span)
    return replace(frog, feed="output", drive=name, span=line.frog.span), drive, wiring
