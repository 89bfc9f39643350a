"""Drives of which the layout says one by one what throws them to each position: a coil for each
output, two outputs for one motor, an output for each position of a turntable, or values."""

from __future__ import annotations

from collections.abc import Sequence

from bellcrank.diagnostics import did_you_mean
from bellcrank.layout.decoders import Bench, side_named
from bellcrank.layout.layout_model import Drive, OutputRef, Place
from bellcrank.layout.packet_formats import HIGHEST_VALUE
from bellcrank.layout.quantities import number
from bellcrank.syntax import tree as t


def place_positions(line: t.DriveLine, drive: Drive, bench: Bench) -> tuple[Place, ...] | None:
    """What throws a drive to each of its positions, in their order; None if that is not said
    soundly, which has been reported."""
    if not _each_once(line.places, drive, bench):
        return None
    places = (
        _by_values(line, drive, bench)
        if line.places[0].value is not None
        else {p.position.text: _by_side(p, drive, bench) for p in line.places}
    )
    ordered = [places.get(position) for position in drive.positions]
    found = tuple(place for place in ordered if place is not None)
    return found if len(found) == len(ordered) else None


def _each_once(places: Sequence[t.DrivePlace], drive: Drive, bench: Bench) -> bool:
    """Whether each position of a drive is named once. Reports what is not."""
    found = bench.names.found
    seen: dict[str, t.DrivePlace] = {}
    sound = True
    for place in places:
        name = place.position.text
        if name not in drive.positions:
            found.report(
                "E201",
                f"{drive.name} has no position `{name}`",
                place.position.span,
                expected=" or ".join(drive.positions),
                hint=did_you_mean(name, drive.positions),
            )
            sound = False
        elif name in seen:
            found.report(
                "E609",
                f"it is said twice what throws {drive.name} {name}",
                place.position.span,
                expected="each position once",
                related=[(seen[name].position.span, "said here first")],
            )
            sound = False
        seen.setdefault(name, place)
    missing = [position for position in drive.positions if position not in seen]
    if sound and missing:
        found.report(
            "E609",
            f"nothing throws {drive.name} {missing[0]}",
            places[-1].span,
            expected=f"each of its positions: {', '.join(drive.positions)}",
        )
    return sound and not missing


def _by_side(place: t.DrivePlace, drive: Drive, bench: Bench) -> Place | None:
    assert place.output is not None
    assert place.side is not None
    side = side_named(place.side, "E609", bench.names.found)
    if side is None:
        return None
    ref = bench.take(drive.name, place.output, (side,))
    return None if ref is None else Place(ref, side, None)


def _by_values(line: t.DriveLine, drive: Drive, bench: Bench) -> dict[str, Place]:
    """The positions that values throw a drive to."""
    found = bench.names.found
    (outlet,) = line.outputs
    kind = bench.kind_of(outlet)
    ref = next(iter(bench.take_all(drive.name, outlet)), None)
    if kind is None or ref is None:
        return {}
    if kind.packets != "extended":
        found.report(
            "E612",
            f"{kind.name} listens to basic packets, which carry no values",
            outlet.span,
            expected="an output of a kind with `packets extended`",
        )
        return {}
    return _values(line.places, ref, bench)


def _values(places: Sequence[t.DrivePlace], ref: OutputRef, bench: Bench) -> dict[str, Place]:
    found = bench.names.found
    values: dict[int, t.DrivePlace] = {}
    placed: dict[str, Place] = {}
    for place in places:
        assert place.value is not None
        value = number(place.value, "the value of a position", 0, HIGHEST_VALUE, found)
        if value is None:
            continue
        first = values.setdefault(value, place)
        if first is not place:
            found.report(
                "E609",
                f"`{first.position}` and `{place.position}` have the same value, {value}",
                place.value.span,
                expected="a value of its own for each position",
                related=[(first.span, f"`{first.position}` has it")],
            )
            continue
        placed[place.position.text] = Place(ref, None, value)
    return placed
