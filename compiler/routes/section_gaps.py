"""Pieces that a `section` line has left out, so that a way leaves the section and comes back.

A way that comes back into a section it has left would need that section for its front and its
tail at once, so it is no route. Where only track that no `section` line names lies between, and
no signal, it is most likely that the line forgets it.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass

from bellcrank.diagnostics import Collector
from bellcrank.layout.layout_model import Layout, Leg, Signal, TrackEnd
from bellcrank.routes.track_search import Path
from bellcrank.syntax import tree as t


@dataclass(frozen=True, slots=True)
class SectionGap:
    """Track between two elements of a section that lies in no section of more than itself.

    before, after: the elements of the section on either side of it.
    """

    section: str
    before: str
    left_out: tuple[str, ...]
    after: str


def gap_in(path: Path, layout: Layout, at: Mapping[TrackEnd, Signal]) -> SectionGap | None:
    """Where a way leaves a section and comes back to it only for want of what lies between."""
    last_in: dict[str, int] = {}
    for index, way in enumerate(path.ways):
        section = layout.section_of[way.element]
        first = last_in.get(section, index) + 1
        if first < index:
            between = path.ways[first:index]
            joints = [
                leg
                for w in path.ways[first - 1 : index + 1]
                for leg in (Leg(w.element, w.entry), Leg(w.element, w.exit))
            ][1:-1]
            alone = all(layout.section_of[w.element] == w.element for w in between)
            if not alone or any(leg in at for leg in joints):
                return None
            left_out = tuple(w.element for w in between)
            return SectionGap(section, path.ways[first - 1].element, left_out, way.element)
        last_in[section] = index
    return None


def parts_of(section: str, layout: Layout) -> tuple[tuple[str, ...], ...]:
    """The elements of a section, those together that lie side by side; one part as a rule."""
    left = dict.fromkeys(layout.sections[section].elements) if section in layout.sections else {}
    parts = []
    while left:
        part = [next(iter(left))]
        del left[part[0]]
        for element in part:  # which grows meanwhile
            for leg in layout.elements[element].kind.legs:
                beyond = layout.joined.get(Leg(element, leg))
                if isinstance(beyond, Leg) and beyond.element in left:
                    del left[beyond.element]
                    part.append(beyond.element)
        parts.append(tuple(part))
    return tuple(parts)


def report_section_gaps(
    gaps: Iterable[tuple[SectionGap, Path]],
    lines: Iterable[t.SectionLine],
    stranded: Container[str],
    found: Collector,
) -> None:
    """Report each gap once, with the first way that is no route because of it.

    stranded: the signals from which there is no route at all.
    """
    written = {line.name.text: line for line in lines}
    ways: dict[tuple[str, frozenset[str]], list[tuple[SectionGap, Path]]] = {}
    for gap, path in gaps:
        ways.setdefault((gap.section, frozenset(gap.left_out)), []).append((gap, path))
    for some in ways.values():
        gap, path = some[0]
        line = written[gap.section]
        more = f" and {len(some) - 1} more" if len(some) > 1 else ""
        found.report(
            "E403" if any(path.start in stranded for _, path in some) else "W816",
            f"{between(gap)}: so there is no route {path.start} to {path.end}{more}, which "
            f"would leave {gap.section} and come back to it",
            line.name.span,
            hint=f"write `{mended(gap, line)}`",
        )


def between(gap: SectionGap) -> str:
    """What is left out, and where it lies."""
    one = len(gap.left_out) == 1
    is_, lies = ("is", "it lies") if one else ("are", "they lie")
    return (
        f"{', '.join(gap.left_out)} {is_} not in the section {gap.section}, though {lies} "
        f"between {gap.before} and {gap.after}"
    )


def mended(gap: SectionGap, line: t.SectionLine) -> str:
    """The `section` line with what it left out, in the order in which it lies."""
    names = [word.text for word in line.elements]
    left_out = list(gap.left_out)
    first, second = names.index(gap.before), names.index(gap.after)
    if second < first:
        first, left_out = second, left_out[::-1]
    names[first + 1 : first + 1] = left_out
    tail = " without detection" if line.without_detection else ""
    return f"section {line.name} = {', '.join(names)}{tail}"
