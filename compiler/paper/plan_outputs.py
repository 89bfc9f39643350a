"""What stands below the names on the plan for the bench: the output that throws each drive and
shows each signal, the input that reports each section."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping

from bellcrank.document.detector_types import DriveReport, SectionReport
from bellcrank.document.document_types import Document
from bellcrank.document.hardware_types import Hardware
from bellcrank.document.layout_types import (
    Aspect,
    Drive,
    Element,
    ElementKind,
    Layout,
    LitLamp,
    WiredPosition,
)
from bellcrank.picture.overlays import Named, Overlay

Beneath = Mapping[Named, tuple[str, ...]]
"""Lines below names."""

LONGEST = 24
"""Letters of the name of an input on the plan: longer ones would push the track apart."""


def wiring_on_plan(document: Document) -> Overlay:
    """The plan with what each symbol is wired to: outputs, and below these inputs."""
    outputs = outputs_on_plan(document.layout)
    inputs = inputs_on_plan(document.layout, document.hardware)
    return Overlay(beneath=one_below_another([outputs, inputs]))


def one_below_another(parts: Iterable[Beneath]) -> Beneath:
    """The lines of all, those of the first on top."""
    found: defaultdict[Named, tuple[str, ...]] = defaultdict(tuple)
    for part in parts:
        for named, lines in part.items():
            found[named] += lines
    return found


def outputs_on_plan(layout: Layout) -> Beneath:
    """The outputs that throw each drive and show each signal, below its name."""
    beneath: dict[Named, list[str]] = defaultdict(list)
    drives = {work: drive for drive in layout.drives for work in drive.works}
    kinds = {kind.name: kind for kind in layout.kinds}
    for element in layout.elements:
        beneath["element", element.name] += _drives(element, kinds[element.kind], drives)
    for signal in layout.signals:
        lamps: list[Aspect | LitLamp] = []
        for aspect in signal.aspects:
            lamps += [aspect, *aspect.lights]
        beneath["signal", signal.name] += outputs_named(lamps)
    return {named: tuple(lines) for named, lines in beneath.items() if lines}


def inputs_on_plan(layout: Layout, hardware: Hardware) -> Beneath:
    """The inputs that report each section and each drive, below the name of one of its elements."""
    beneath: dict[Named, list[str]] = defaultdict(list)
    kinds = {kind.name: kind for kind in layout.kinds}
    of_section = {section.name: section.elements for section in layout.sections}
    plain = {e.name for e in layout.elements if not kinds[e.kind].drives}
    fitting_of = {
        work: element.name
        for element in layout.elements
        for work in drives_of(element, kinds[element.kind])
    }
    for report in hardware.reports:
        match report:
            case SectionReport(section=section):
                # Where a section has a piece without drives there is most room for it.
                elements = of_section[section]
                at = next((name for name in elements if name in plain), elements[0])
                whose = "" if at == section else f"{section} "
                beneath["element", at].append(f"{whose}in {_input(report)}")
            case DriveReport(drive=drive, position=position):
                at = fitting_of[drive]
                whose = "" if at == drive else f"{drive.removeprefix(f'{at}.')} "
                beneath["element", at].append(f"{whose}{position} in {_input(report)}")
    return {named: tuple(lines) for named, lines in beneath.items()}


def drives_of(element: Element, kind: ElementKind) -> Iterator[str]:
    """The names of the drives of a fitting, as `works` of a drive has them."""
    for drive in kind.drives:
        yield f"{element.name}.{drive.name}" if drive.name else element.name


def _drives(element: Element, kind: ElementKind, drives: dict[str, Drive]) -> Iterator[str]:
    names = zip(kind.drives, drives_of(element, kind), strict=True)
    for own, name in names:
        # Fittings may be worked by none that the layout knows of.
        if (drive := drives.get(name)) is not None:
            for line in outputs_named(drive.positions):
                yield f"{own.name} {line}".strip()


def outputs_named(states: Iterable[WiredPosition | Aspect | LitLamp]) -> list[str]:
    """Outputs with their numbers, each once and in their order: `21 · K2.1`."""
    outputs = {(s.number, s.decoder, s.output): None for s in states if s.decoder is not None}
    return [f"{number} · {decoder}.{output}" for number, decoder, output in outputs]


def _input(report: SectionReport | DriveReport) -> str:
    if report.input_name is not None:
        name = report.input_name
        return name if len(name) <= LONGEST else f"{name[: LONGEST - 1]}…"
    return f"{report.number} · {report.detector}.{report.input}"
