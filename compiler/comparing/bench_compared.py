"""What a change of the text means at the bench: switches, wires, labels, what has to be tested
again.

Everything is read off what sheets and commands are made of: a decoder whose address is another has
other switches, and whatever hangs on it is commanded otherwise.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple, Protocol, TypeVar

from bellcrank.comparing.differences import CommandChange, Task, ThingKind
from bellcrank.compilation import Sound
from bellcrank.document import hardware_types, layout_types
from bellcrank.document.command_data import command_data
from bellcrank.document.layout_data import hardware_data, layout_data
from bellcrank.routes.route_model import Route
from bellcrank.routes.sentences import listed


class _Named(Protocol):
    @property
    def name(self) -> str: ...


N = TypeVar("N", bound=_Named)


@dataclass(frozen=True, slots=True)
class _BuiltRoute:
    """start: its signal. drives: those that it throws. built: all that setting it depends on."""

    start: str
    drives: frozenset[str]
    built: tuple[object, ...]


@dataclass(frozen=True, slots=True)
class Bench:
    """A layout as it is built.

    inputs: of each section and drive that reports the inputs by which it does, of a drive with the
    position of each. reported: the same without these.
    sections: what each is made of, and whether it reports. left_open: outputs and inputs that were
    chosen, and decoders and detectors whose address was.
    """

    decoders: Mapping[str, hardware_types.Decoder]
    outputs: Mapping[str, hardware_types.NamedOutput]
    detectors: Mapping[str, int]
    drives: Mapping[str, layout_types.Drive]
    signals: Mapping[str, layout_types.Signal]
    sections: Mapping[str, tuple[object, ...]]
    inputs: Mapping[tuple[ThingKind, str], tuple[str, ...]]
    reported: Mapping[tuple[ThingKind, str], tuple[str, ...]]
    routes: Mapping[str, _BuiltRoute]
    commands: Mapping[tuple[str, str], str]
    left_open: frozenset[str]


def bench_of(c: Sound) -> Bench:
    """What a layout is at the bench."""
    layout, hardware = layout_data(c.layout), hardware_data(c.layout, c.table)
    reports = c.layout.reports
    inputs: dict[tuple[ThingKind, str], tuple[str, ...]] = {
        ("section", name): (str(report.input),) for name, report in reports.sections.items()
    }
    reported = dict(inputs)
    for name, contacts in reports.contacts.items():
        inputs["drive", name] = tuple(f"{c.input} for {c.position}" for c in contacts)
        reported["drive", name] = tuple(str(c.input) for c in contacts)
    return Bench(
        _by_name(hardware.decoders),
        _by_name(hardware.outputs),
        {detector.name: detector.address for detector in hardware.detectors},
        _by_name(layout.drives),
        _by_name(layout.signals),
        {
            s.name: (s.detected, *s.elements, *inputs.get(("section", s.name), ()))
            for s in layout.sections
        },
        inputs,
        reported,
        {name: _built(route) for name, route in c.table.routes.items()},
        _commands(c),
        frozenset(_left_open(c)),
    )


def _left_open(c: Sound) -> Iterator[str]:
    """What bears a number that the text leaves open, in words as it is told."""
    for taken in c.layout.chosen.values():
        yield from map(str, taken)
    for decoder in c.layout.hardware.decoders.values():
        if decoder.assigned:
            yield decoder.name
    for detector in c.layout.reports.detectors.values():
        if detector.assigned:
            yield detector.name


def _built(route: Route) -> _BuiltRoute:
    positions = frozenset((*route.positions, *route.flank, *route.overlap_positions))
    return _BuiltRoute(
        route.start,
        frozenset(drive for drive, _ in positions),
        (route.sections, route.ways, positions, route.aspect),
    )


def _by_name(things: Iterable[N]) -> dict[str, N]:
    return {thing.name: thing for thing in things}


def _commands(c: Sound) -> dict[tuple[str, str], str]:
    """How each state of each thing is commanded, in words, with its packet if there is one."""
    found: dict[tuple[str, str], str] = {}
    for command in c.commands:
        data = command_data(command, c.layout)
        if data.decoder is None:
            said = "by hand"
        else:
            said = f"{data.decoder}.{data.output} {command.side_or_value}, number {data.number}"
            if data.packet is not None:
                said += f", packet {data.packet.on}"
        found[f"{data.device} {data.name}", data.state] = said
    return found


def commands_compared(before: Bench, now: Bench) -> Iterator[CommandChange]:
    """Things of both that are commanded otherwise, and those that are commanded only in one; in
    the order of the layout."""
    things = [
        f"{device} {name}"
        for device, named in (("drive", now.drives), ("signal", now.signals))
        for name in named
    ]
    place = {thing: number for number, thing in enumerate(things)}
    keys = dict.fromkeys((*before.commands, *now.commands))
    for key in sorted(keys, key=lambda key: place.get(key[0], len(place))):
        was, is_ = before.commands.get(key), now.commands.get(key)
        if was != is_:
            yield CommandChange(*key, was, is_)


def tasks(before: Bench, now: Bench) -> Iterator[Task]:
    """What is to be done at the bench, in the order of doing."""
    for name in before.decoders:
        if name not in now.decoders:
            yield Task("take out", "decoder", name, f"take out decoder {name}")
    for name in before.detectors:
        if name not in now.detectors:
            yield Task("take out", "detector", name, f"take out detector {name}")
    yield from _switches(before, now)
    yield from _wires(before, now)
    yield from _labels(before, now)
    yield from _tests(before, now)


def _switches(before: Bench, now: Bench) -> Iterator[Task]:
    for name, decoder in now.decoders.items():
        was = before.decoders.get(name)
        if was is None:
            yield Task("set switches", "decoder", name, f"fit decoder {name}; {_set(decoder)}")
        elif _settings(was) != _settings(decoder):
            yield Task("set switches", "decoder", name, f"on {name} {_set(decoder, was)}")
    for name, address in now.detectors.items():
        known = before.detectors.get(name)
        if known is None:
            said = f"fit detector {name}, its first input is {address}"
            yield Task("set switches", "detector", name, said)
        elif known != address:
            said = f"give detector {name} the address {address}, which was {known}"
            yield Task("set switches", "detector", name, said)


def _settings(decoder: hardware_types.Decoder) -> tuple[object, ...]:
    variables = [(v.number, v.value) for v in decoder.variables]
    lessons = [(lesson.output, lesson.number) for lesson in decoder.learning]
    bank = [(s.number, s.on) for s in decoder.switch_bank]
    rotary = [str(each) for each in decoder.rotary_bank]
    return decoder.kind, decoder.address, bank, rotary, variables, lessons


def _set(decoder: hardware_types.Decoder, was: hardware_types.Decoder | None = None) -> str:
    """What is to be set on a decoder. was: as it is now; only what is other is told."""
    bank = {s.number: s.on for s in decoder.switch_bank if not s.fixed}
    known = {} if was is None else {s.number: s.on for s in was.switch_bank}
    parts = []
    on = [str(number) for number, is_on in bank.items() if is_on and not known.get(number, False)]
    off = [str(number) for number, is_on in bank.items() if not is_on and known.get(number, False)]
    if was is None and bank:
        others = "the others" if on else "all switches"
        parts.append(f"{_numbers(on)} on, {others} off" if on else f"{others} off")
    else:
        parts += [f"{_numbers(on)} on"] if on else []
        parts += [f"{_numbers(off)} off"] if off else []
    learnt = {} if was is None else {v.number: v.value for v in was.variables}
    parts += [
        f"variable {v.number} to {v.value}"
        for v in decoder.variables
        if learnt.get(v.number) != v.value
    ]
    if not parts:
        return f"set the address {decoder.address}"
    return f"set {listed(parts)} (address {decoder.address})"


def _numbers(numbers: list[str]) -> str:
    return f"switch{'es' if len(numbers) > 1 else ''} {listed(numbers)}"


class _Hangs(NamedTuple):
    """Where a position or an aspect hangs. output: with its decoder, as `K1.2`. what: of these, in
    words."""

    decoder: str
    output: str
    what: str


def _hangs(state: str, at: layout_types.WiredPosition | layout_types.Aspect) -> Iterator[_Hangs]:
    if at.decoder is not None:
        side = at.side or f"value {at.value}"
        output = f"{at.decoder}.{at.output}"
        yield _Hangs(at.decoder, output, f"{state} on {output} {side}")


def _places(drive: layout_types.Drive) -> list[_Hangs]:
    """Where a drive hangs, position by position."""
    return [each for p in drive.positions for each in _hangs(p.position, p)]


def _lamp_places(signal: layout_types.Signal) -> list[_Hangs]:
    return [each for aspect in signal.aspects for each in _hangs(aspect.name, aspect)]


_Thing = tuple[ThingKind, str]
"""A drive or signal by its name."""


def _hung(bench: Bench) -> dict[_Thing, list[_Hangs]]:
    """Where drives and signals hang: those that are wired."""
    found: dict[_Thing, list[_Hangs]] = {
        ("drive", name): _places(drive) for name, drive in bench.drives.items()
    }
    found |= {("signal", name): _lamp_places(signal) for name, signal in bench.signals.items()}
    return {thing: places for thing, places in found.items() if places}


def _outputs(places: Iterable[_Hangs]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(place.output for place in places))


def _wires(before: Bench, now: Bench) -> Iterator[Task]:
    was, is_ = _hung(before), _hung(now)
    for (kind, name), places in was.items():
        if (kind, name) not in is_:
            said = f"take the wires of {kind} {name} off {listed(_outputs(places))}"
            yield Task("wire", kind, name, said)
    for (kind, name), places in is_.items():
        known = was.get((kind, name))
        if known == places:
            continue
        said = f"wire {kind} {name}: {listed([place.what for place in places])}"
        if known is not None and _outputs(known) != _outputs(places):
            said += f" (before on {listed(_outputs(known))})"
        yield Task("wire", kind, name, said)
    for name, output in now.outputs.items():
        other = before.outputs.get(name)
        if other is None or (other.decoder, other.output) != (output.decoder, output.output):
            said = f"wire {name} to {output.decoder}.{output.output}"
            if other is not None:
                said += f" (before on {other.decoder}.{other.output})"
            yield Task("wire", "output", name, said)
    for (kind, name), inputs in now.inputs.items():
        if before.inputs.get((kind, name)) != inputs:
            yield Task("wire", kind, name, f"wire the report of {kind} {name} to {listed(inputs)}")


def moved(before: Bench, now: Bench) -> Iterator[str]:
    """What was wired or addressed by a number that the text left open and still does, where another
    number was chosen: the name of each drive, signal, output, section, decoder and detector."""
    was, is_ = _by_number(before), _by_number(now)
    both = before.left_open, now.left_open
    for thing, numbers in is_.items():
        known = was.get(thing, numbers)
        if known == numbers:
            continue
        if not before.left_open.isdisjoint(known) and not now.left_open.isdisjoint(numbers):
            yield thing[1]
    for name, decoder in now.decoders.items():
        other = before.decoders.get(name)
        if other is not None and other.address != decoder.address and all(name in o for o in both):
            yield name
    for name, address in now.detectors.items():
        if before.detectors.get(name, address) != address and all(name in o for o in both):
            yield name


def _by_number(bench: Bench) -> dict[_Thing, tuple[str, ...]]:
    """The outputs and inputs by which each thing is wired."""
    found = {thing: _outputs(places) for thing, places in _hung(bench).items()}
    for name, output in bench.outputs.items():
        found["output", name] = (f"{output.decoder}.{output.output}",)
    for (kind, name), inputs in bench.reported.items():
        found[kind, name] = (*found.get((kind, name), ()), *inputs)
    return found


def _labels(before: Bench, now: Bench) -> Iterator[Task]:
    """A decoder's label tells its address and what hangs on its outputs."""
    hung, hangs = _hanging(before), _hanging(now)
    for name, decoder in now.decoders.items():
        was = before.decoders.get(name)
        same = was is not None and was.address == decoder.address
        if not same or hung[name] != hangs[name]:
            again = "" if was is None else " again"
            yield Task("label", "decoder", name, f"print the label of {name}{again}")


def _hanging(bench: Bench) -> defaultdict[str, set[tuple[ThingKind, str, str]]]:
    """What hangs on each decoder, with its place there."""
    found: defaultdict[str, set[tuple[ThingKind, str, str]]] = defaultdict(set)
    for drive in bench.drives.values():
        for place in _places(drive):
            found[place.decoder].add(("drive", drive.name, place.what))
    for signal in bench.signals.values():
        for place in _lamp_places(signal):
            found[place.decoder].add(("signal", signal.name, place.what))
    for output in bench.outputs.values():
        found[output.decoder].add(("output", output.name, str(output.output)))
    return found


def _tests(before: Bench, now: Bench) -> Iterator[Task]:
    """What no test of before says anything about any more."""
    was, is_ = _by_thing(before), _by_thing(now)
    drives = [
        name
        for name, drive in now.drives.items()
        if before.drives.get(name) != drive
        or was[f"drive {name}"] != is_[f"drive {name}"]
        or before.inputs.get(("drive", name)) != now.inputs.get(("drive", name))
    ]
    signals = [
        name
        for name, signal in now.signals.items()
        if before.signals.get(name) != signal or was[f"signal {name}"] != is_[f"signal {name}"]
    ]
    yield from (Task("test", "drive", name, f"test drive {name}") for name in drives)
    yield from (Task("test", "signal", name, f"test signal {name}") for name in signals)
    for name, section in now.sections.items():
        if before.sections.get(name) != section:
            yield Task("test", "section", name, f"test section {name}")
    for name, route in now.routes.items():
        touched = not route.drives.isdisjoint(drives) or route.start in signals
        if touched or before.routes.get(name) != route:
            yield Task("test", "route", name, f"test route {name}")


def _by_thing(bench: Bench) -> defaultdict[str, dict[str, str]]:
    """How each thing is commanded, by its states."""
    found: defaultdict[str, dict[str, str]] = defaultdict(dict)
    for (thing, state), said in bench.commands.items():
        found[thing][state] = said
    return found
