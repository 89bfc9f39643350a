"""All that a layout is built from, as far as its text says: to buy, to cut and to count.

Counted from the rows of the wiring list, so that a wire which stands there once is counted once.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from bellcrank.document.document_types import Document
from bellcrank.document.layout_types import Drive
from bellcrank.paper.input_list import detector_inputs
from bellcrank.paper.labels import label_words
from bellcrank.paper.wiring_list import Row, decoder_outputs

PartSort = Literal[
    "drive",
    "frog relay",
    "signal",
    "decoder",
    "detector",
    "supply",
    "reverser",
    "button",
    "lamp",
    "wire",
    "plug",
    "track feed",
    "label",
]


@dataclass(frozen=True, slots=True)
class PartRow:
    """Parts of one kind.

    kind: which, in a few words; empty where there is one kind only. count: how many.
    names: those that have names, in the order of the document. free: what is left of them,
    outputs or inputs.
    """

    part: PartSort
    kind: str
    count: int
    names: tuple[str, ...] = ()
    free: tuple[str, ...] = ()


def parts_list(document: Document) -> list[PartRow]:
    """Every part, sort by sort; in a sort by kind, in the order in which kinds come up."""
    return [
        *_by_kind(
            "drive",
            (
                (_drive_kind(d), name)
                for d in document.layout.drives
                for name in (d.works if d.motors > 1 else [d.name])
                if d.device == "drive"
            ),
        ),
        *_by_kind(
            "frog relay",
            (("two contacts", d.name) for d in document.layout.drives if d.device == "frog"),
        ),
        *_by_kind(
            "signal",
            (
                (f"{signal.kind}, {len(signal.aspects)} aspects", name)
                for signal in document.layout.signals
                if not signal.imagined
                for name in (signal.name, *signal.repeaters)
            ),
        ),
        *_boxes(document),
        *_by_kind("supply", (("", supply.name) for supply in document.hardware.supplies)),
        *_counted("reverser", {"": len({f.reverser for f in document.layout.feeds} - {None})}),
        *_counted("button", {"": len(document.hardware.buttons)}),
        *_counted("lamp", {"of the panel": len(document.hardware.lamps)}),
        *_wires(document),
        *_counted("track feed", {"two wires each": len(document.layout.feeds)}),
        *_labels(document),
    ]


def _drive_kind(drive: Drive) -> str:
    if drive.action is not None:
        return drive.action if drive.milliseconds is None else _lasting(drive)
    wired = any(position.decoder is not None for position in drive.positions)
    return "on an output, kind not said" if wired else "by hand"


def _lasting(drive: Drive) -> str:
    return f"{drive.action} {drive.milliseconds} ms"


def _by_kind(part: PartSort, named: Iterable[tuple[str, str]]) -> Iterator[PartRow]:
    names: dict[str, list[str]] = defaultdict(list)
    for kind, name in named:
        names[kind].append(name)
    for kind, of_it in names.items():
        yield PartRow(part, kind, len(of_it), tuple(of_it))


def _counted(part: PartSort, counts: dict[str, int]) -> Iterator[PartRow]:
    for kind, count in counts.items():
        if count:
            yield PartRow(part, kind, count)


def _boxes(document: Document) -> Iterator[PartRow]:
    """Decoders and detectors, each kind with what it has free."""
    names: dict[tuple[PartSort, str], list[str]] = defaultdict(list)
    free: dict[tuple[PartSort, str], list[str]] = defaultdict(list)
    for decoder in decoder_outputs(document):
        key: tuple[PartSort, str] = (
            "decoder",
            f"{decoder.kind}, {_many(decoder.outputs, 'output')}",
        )
        names[key].append(decoder.name)
        free[key] += (f"{decoder.name}.{o.output}" for o in decoder.list if not o.uses)
    for detector in detector_inputs(document):
        key = ("detector", f"{detector.kind}, {_many(detector.inputs, 'input')}")
        names[key].append(detector.name)
        free[key] += (f"{detector.name}.{i.input}" for i in detector.list if i.told is None)
    for (part, kind), of_it in names.items():
        yield PartRow(part, kind, len(of_it), tuple(of_it), tuple(free[part, kind]))


def _many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _wires(document: Document) -> Iterator[PartRow]:
    rows = [
        row
        for decoder in decoder_outputs(document)
        for output in decoder.list
        for row in output.rows
    ]
    inputs = sum(
        i.told is not None for detector in detector_inputs(document) for i in detector.list
    )
    return wires_of(rows, inputs)


def wires_of(rows: Iterable[Row], inputs: int = 0) -> Iterator[PartRow]:
    """Wires by the names or colours that the layout gives them, and plugs with several in one.

    inputs: how many inputs have a wire.
    """
    wires: dict[str, int] = defaultdict(int)
    plugs = 0
    for row in rows:
        if row.side == "all":
            plugs += 1
        else:
            wires[row.wire or NO_COLOUR] += 1
    wires[NO_COLOUR] += inputs
    yield from _counted("wire", {k: n for k, n in wires.items() if k != NO_COLOUR})
    yield from _counted("wire", {NO_COLOUR: wires[NO_COLOUR]})
    yield from _counted("plug", {"with all wires of an output": plugs})


NO_COLOUR = "colour not said"


def _labels(document: Document) -> Iterator[PartRow]:
    counts: dict[str, int] = defaultdict(int)
    for words in label_words(document):
        counts[words.of] += 1
    if counts:
        kind = ", ".join(_many(count, of) for of, count in counts.items())
        yield PartRow("label", kind, sum(counts.values()))
