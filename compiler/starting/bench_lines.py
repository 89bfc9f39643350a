"""What is wired to what: the lines for decoders, drives, lamps and detectors of any track plan."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bellcrank.starting.track_plan import TrackPlan
from bellcrank.starting.wishes import Decoders, Detectors, Drives

ACTIONS: dict[Drives, str] = {"coil": "coil 200 ms", "motor": "motor 3 s", "servo": "servo 1500 ms"}
"""How each kind of drive is stated, with a time that is common practice."""

_COUNTED = ("no", "one", "two")


@dataclass(frozen=True, slots=True)
class Line:
    """A line of a layout, and what is said behind it."""

    text: str
    remark: str = ""


def decoder_lines(plan: TrackPlan, wish: Decoders, *, signals: bool) -> Iterator[Line]:
    """Decoders, with an output for each drive and, if asked, for each signal."""
    lamps = plan.signals if signals else ()
    addresses = wish.addresses(len(plan.throws) + len(lamps))
    yield Line(
        f"decoder kind mine {{ outputs {wish.outputs}  switches {wish.switches} }}",
        "how many outputs and address switches",
    )
    names = [f"K{n}" for n in range(1, len(addresses) + 1)]
    for name, address in zip(names, addresses, strict=True):
        yield Line(f"decoder {name} mine at {address}", _numbers(address, wish.outputs))
    free = iter(_places(names, wish.outputs))
    remark = "add `crossed` if it moves the wrong way"
    for throw in plan.throws:
        each = "  one at each" if throw.at_once > 1 else ""
        yield Line(f"drive {throw.drive} = {next(free)}  {ACTIONS[wish.drives]}{each}", remark)
        remark = ""
    for signal in lamps:
        shunt = " shunt" if plan.shunt else ""
        yield Line(f"signal {signal}{shunt} = {next(free)}")
    at_once = max(throw.at_once for throw in plan.throws)
    yield Line(
        f"supply BENCH {{ feeds mine  {_COUNTED[at_once]} at a time  rest 250 ms }}",
        "drives thrown at once",
    )


def detector_lines(plan: TrackPlan, wish: Detectors) -> Iterator[Line]:
    """Detectors, with an input for each section."""
    sections = plan.sections
    names = [f"DET{n}" for n in range(1, -(-len(sections) // wish.inputs) + 1)]
    yield Line(f"detector kind board {{ inputs {wish.inputs} }}", "how many inputs")
    for n, name in enumerate(names):
        yield Line(f"detector {name} board at {1 + n * wish.inputs}")
    for section, place in zip(sections, _places(names, wish.inputs), strict=False):
        yield Line(f"report {section} = {place}")


def _places(names: Sequence[str], each: int) -> Iterator[str]:
    for name in names:
        for n in range(1, each + 1):
            yield f"{name}.{n}"


def _numbers(first: int, count: int) -> str:
    """The output numbers of a decoder, in words."""
    return f"output {first}" if count == 1 else f"outputs {first} to {first + count - 1}"
