"""The text of a first layout: a track plan, what is wished beside it, and remarks for people."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from bellcrank.starting.bench_lines import Line, decoder_lines, detector_lines
from bellcrank.starting.track_plan import Edge, Fittings, Item, LegOf, Piece, Read, Run, TrackPlan
from bellcrank.starting.wishes import Wish
from bellcrank.syntax.formatter import format_source
from bellcrank.syntax.parse import parse

WIDTH = 92
"""Of remarks."""

_RUNS = (
    "A run names track from left to right: pieces, legs of fittings, where it ends. Names are "
    "yours to change."
)
_SIGNALS = (
    "A signal stands where it is named: > is read by trains that run rightwards, < by those that "
    "run leftwards. Routes lead from signal to signal."
)
_IMAGINED = (
    "None of these signals stands there: they are only thought of, as places where routes begin. "
    "Where one stands, leave it out of this line and write `signal {} = K1.2`."
)
_DECODERS = (
    "The bench: change outputs, switches and addresses to what lies before you. Which output "
    "number your equipment calls by which packet differs, so packets are written only if you say "
    "it: `numbering from decoder 1`, or `from decoder 0`."
)
_DETECTORS = "Each section of track has an input that is on while a train is there."


def first_layout(plan: TrackPlan, wish: Wish) -> str:
    """The text of a layout, in the usual form. Raises WishError if it cannot be wired so."""
    text = "\n\n".join("\n".join(block) for block in _blocks(plan, wish)) + "\n"
    source, _ = parse(text, "layout.crank")
    return format_source(source)


def _blocks(plan: TrackPlan, wish: Wish) -> Iterator[list[str]]:
    without = "" if wish.detectors else " without detection"
    signals = wish.signals != "none"
    yield [
        *_remark(plan.about),
        *_remark("`bellcrank check` proves it: do so after each change."),
        f'layout "{wish.title}" on two rails{without}',
    ]
    yield [
        *(row for fittings in plan.fittings for row in _declared(fittings)),
        *(f"coupled {', '.join(drives)}" for drives in plan.coupled),
    ]
    yield [
        *_remark(_RUNS),
        *_remark(plan.advice),
        *_remark(_SIGNALS if signals else ""),
        *(_run(run, signals=signals) for run in plan.runs),
    ]
    if wish.detectors and plan.joint_sections:
        yield [
            f"section {name} = {', '.join(of)}  # one detector covers them"
            for name, of in plan.joint_sections
        ]
    if signals:
        if wish.signals == "imagined":
            yield [
                *_remark(_IMAGINED.format(plan.signals[0])),
                f"signal {', '.join(plan.signals)} imagined",
            ]
        elif plan.shunt and wish.decoders is None:
            yield [f"signal {signal} shunt" for signal in plan.signals]
        yield [
            *_remark("What you expect is decided with the proof."),
            *(_with_remark(Line(f"expect {text}", remark)) for text, remark in plan.expectations),
        ]
    if wish.decoders:
        lines = decoder_lines(plan, wish.decoders, signals=wish.signals == "real")
        yield [*_remark(_DECODERS), *map(_with_remark, lines)]
    if wish.detectors:
        lines = detector_lines(plan, wish.detectors)
        yield [*_remark(_DETECTORS), *map(_with_remark, lines)]


def _declared(fittings: Fittings) -> list[str]:
    called = f" with {fittings.with_words}" if fittings.with_words else ""
    names = ", ".join(fittings.names)
    return [*_remark(fittings.remark), f"{fittings.kind} {names}{called}"]


def _run(run: Run, *, signals: bool) -> str:
    items: Iterable[Item] = (i for i in run if signals or not isinstance(i, Read))
    return "run " + " - ".join(map(_item, items))


def _item(item: Item) -> str:
    match item:
        case Edge(name):
            return f"edge {name}"
        case Piece(name):
            return name
        case LegOf(fitting, leg):
            return f"{fitting}.{leg}"
        case Read(name, rightwards):
            return f"{'>' if rightwards else '<'}{name}"
    return "stop"


def _with_remark(line: Line) -> str:
    return f"{line.text}  # {line.remark}" if line.remark else line.text


def _remark(text: str) -> list[str]:
    return [f"# {row}" for row in textwrap.wrap(text, WIDTH, break_on_hyphens=False)]
