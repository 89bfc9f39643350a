"""Which elements are held and cleared as one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from bellcrank.diagnostics import Collector, Noun
from bellcrank.layout.declared_names import Names
from bellcrank.layout.layout_model import Element, Section, Signal
from bellcrank.syntax import tree as t

PIECE_OR_FITTING = Noun("a", "piece or fitting")
SECTION = Noun("a", "section")


def build_sections(
    lines: Iterable[t.SectionLine],
    elements: Mapping[str, Element],
    detection: bool,
    names: Names,
) -> tuple[dict[str, Section], dict[str, str]]:
    """All sections, and the section of each element.

    An element that no `section` line names is a section of its own, with its name.
    """
    written: dict[str, Section] = {}
    section_of: dict[str, str] = {}
    said: dict[str, t.Word] = {}
    for line in lines:
        sound = names.claim(line.name, SECTION)
        members = []
        for word in line.elements:
            if word.text not in elements:
                names.unknown(word, PIECE_OR_FITTING, elements)
            elif word.text in said:
                names.found.report(
                    "E321",
                    f"{word} is in a section already",
                    word.span,
                    expected="each piece and fitting in one section at most",
                    related=[(said[word.text].span, "put in a section here first")],
                )
            else:
                said[word.text] = word
                members.append(word.text)
        if sound and members:
            detected = detection and not line.without_detection
            name = line.name.text
            written[name] = Section(name, tuple(members), detected, line.span)
            section_of.update(dict.fromkeys(members, name))
    sections: dict[str, Section] = {}
    for element in elements.values():
        name = section_of.setdefault(element.name, element.name)
        if name not in sections:
            sections[name] = written.get(name) or Section(
                name, (element.name,), detection, element.span
            )
    return sections, section_of


def report_signals_inside(
    signals: Iterable[Signal], section_of: Mapping[str, str], found: Collector
) -> None:
    """Warn of signals with one section on both sides: a train that waits there
    occupies track that its own route needs clear."""
    for signal in signals:
        before = getattr(signal.before, "element", None)
        if before is None:
            continue
        section = section_of[before]
        if section == section_of[signal.beyond.element]:
            found.report(
                "W802",
                f"{signal.name} stands inside the section {section}: a train waiting at it "
                "occupies track that its own routes need clear",
                signal.span,
                hint="let a section end at each signal",
            )
