"""Power districts: track that is fed by a booster of its own."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from bellcrank.diagnostics import Noun
from bellcrank.layout.amounts import CURRENT, LENGTH, amount
from bellcrank.layout.declared_names import Names
from bellcrank.layout.layout_model import District, Element, Leg, Section, TrackEnd
from bellcrank.layout.supplies import check_fuse, what_is_given
from bellcrank.syntax import tree as t

DISTRICT = Noun("a", "district")
SOME_TRACK = Noun("a", "section, piece or fitting")


@dataclass(frozen=True, slots=True)
class FedTrack:
    """The track that districts feed."""

    elements: Mapping[str, Element]
    sections: Mapping[str, Section]
    joined: Mapping[Leg, TrackEnd]
    reversers: frozenset[str]

    def together(self) -> Iterator[tuple[str, tuple[str, ...]]]:
        """Elements that one booster must feed, with what they are called: those of a section,
        and those that one reverser feeds."""
        for section in self.sections.values():
            yield f"the section {section.name}", section.elements
        beside: dict[str, list[str]] = {name: [] for name in self.elements}
        for leg, end in self.joined.items():
            if isinstance(end, Leg) and {leg.element, end.element} <= self.reversers:
                beside[leg.element].append(end.element)
        met: set[str] = set()
        for name in self.elements:
            if name in self.reversers and name not in met:
                stretch = [name]
                for one in stretch:
                    stretch += [other for other in beside[one] if other not in stretch]
                met |= set(stretch)
                yield f"the track behind one reverser, {', '.join(stretch)},", tuple(stretch)


def build_districts(
    lines: Iterable[t.DistrictLine], track: FedTrack, names: Names
) -> dict[str, District]:
    """The districts, each piece and fitting in one of them. None if none is stated."""
    lines = list(lines)
    fed: dict[str, tuple[str, t.Word]] = {}
    members: dict[str, list[str]] = {}
    sound = [line for line in lines if names.claim(line.name, DISTRICT)]
    for line in sound:
        members[line.name.text] = _members(line, fed, track, names)
        if not line.feeds and not line.the_rest:
            names.found.report(
                "E630",
                f"{line.name} feeds nothing",
                line.name.span,
                expected="`feeds` and sections, or `feeds the rest`",
            )
    rest = [name for name in track.elements if name not in fed]
    takers = [line for line in sound if line.the_rest]
    for line in takers[1:]:
        names.found.report(
            "E630",
            f"{line.name} is to feed the rest, as {takers[0].name} is",
            line.name.span,
            expected="one district that feeds the rest",
            related=[(takers[0].name.span, "said here first")],
        )
    if takers:
        taker = takers[0].name
        members[taker.text] += rest
        fed |= dict.fromkeys(rest, (taker.text, taker))
    elif rest and sound:
        names.found.report(
            "W880",
            f"no district feeds {', '.join(rest[:5])}{' and more' if len(rest) > 5 else ''}",
            sound[-1].span,
            hint="let one of them feed it, or add a district that `feeds the rest`",
        )
    _check_together(fed, track, names)
    return {line.name.text: _district(line, members, track, names) for line in sound}


def _members(
    line: t.DistrictLine, fed: dict[str, tuple[str, t.Word]], track: FedTrack, names: Names
) -> list[str]:
    """What a district feeds by name. fed: what was fed before; this is added."""
    found: list[str] = []
    for word in line.feeds:
        section = track.sections.get(word.text)
        if section is None and word.text not in track.elements:
            names.unknown(word, SOME_TRACK, [*track.sections, *track.elements])
            continue
        for element in section.elements if section is not None else (word.text,):
            if element in fed:
                district, where = fed[element]
                names.found.report(
                    "E630",
                    f"{element} is fed by {district} already",
                    word.span,
                    expected="each piece and fitting in one district",
                    related=[(where.span, "fed here first")],
                )
                break
            fed[element] = line.name.text, word
            found.append(element)
    return found


def _check_together(fed: Mapping[str, tuple[str, t.Word]], track: FedTrack, names: Names) -> None:
    """Report what one booster must feed and two do."""
    for what, elements in track.together():
        by = {fed[element][0]: fed[element][1] for element in elements if element in fed}
        if len(by) > 1:
            (one, first), (other, second), *_ = by.items()
            names.found.report(
                "E630",
                f"{what} lies in {one} and in {other}",
                second.span,
                expected="a district ends where a section ends, and a reverser has one feed",
                related=[(first.span, f"fed by {one} here")],
            )


def _district(
    line: t.DistrictLine, members: Mapping[str, list[str]], track: FedTrack, names: Names
) -> District:
    volts, amperes = what_is_given(line.name, line.gives, names.found)
    fuse = amount(line.fuse, CURRENT, names.found) if line.fuse else None
    wires = amount(line.wires, LENGTH, names.found) if line.wires else None
    if amperes is not None and line.fuse is not None:
        check_fuse(line.name, line.fuse, fuse, amperes, names.found)
    own = set(members[line.name.text])
    elements = tuple(name for name in track.elements if name in own)
    return District(line.name.text, elements, line.span, volts, amperes, fuse, wires)
