"""What a word that is being written may become: keywords where the grammar has them, and names
of the kind that is meant there, with what is still free before what is taken."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import TypeVar

from lsprotocol import types as lsp

from bellcrank.editing.analysis import Analysis
from bellcrank.editing.expected import Slot, expected_after
from bellcrank.layout.layout_model import FittingKind, Layout, Leg, OutputRef
from bellcrank.routes.route_model import RouteTable
from bellcrank.syntax import tree as t

_WORD_BEFORE = re.compile(r"\w*\Z")

Kind = lsp.CompletionItemKind

P = TypeVar("P", t.Legs, t.FittingDrive)


@dataclass(frozen=True, slots=True)
class Offer:
    """A word that is offered. rank: those of a lower one come first."""

    text: str
    detail: str
    kind: Kind = Kind.Variable
    rank: int = 1


def completions(
    before: str, analysis: Analysis | None, routed: Analysis | None = None
) -> list[lsp.CompletionItem]:
    """What may stand at a place.

    before: the text of the file up to the place, with the word that is being written.
    analysis: what is known of the layout, which may be of an earlier text. routed: the same of the
        last text of which the routes are known.
    """
    written = _WORD_BEFORE.search(before)
    expected = expected_after(before[: written.start() if written else len(before)])
    if expected is None:
        return []
    offers = [Offer(word, "", Kind.Keyword, rank=5) for word in expected.keywords]
    if analysis is not None:
        known = _Known(analysis, (routed or analysis).draft.table)
        if expected.begins or isinstance(expected.slot and expected.slot.node, t.Declaration):
            offers += known.fitting_kinds(before)
        if expected.slot is not None:
            offers += known.names(expected.slot)
    best: dict[str, Offer] = {}
    for offer in sorted(offers, key=lambda o: o.rank):
        best.setdefault(offer.text, offer)
    return [_item(offer) for offer in best.values()]


def _item(offer: Offer) -> lsp.CompletionItem:
    return lsp.CompletionItem(
        offer.text,
        kind=offer.kind,
        detail=offer.detail or None,
        sort_text=f"{offer.rank}{_sortable(offer.text)}",
    )


def _sortable(text: str) -> str:
    """A name with its numbers as long as the longest, so that K2 comes before K10."""
    return re.sub(r"\d+", lambda m: m.group().rjust(6, "0"), text)


class _Known:
    """The names of a layout, by what they may stand for."""

    def __init__(self, analysis: Analysis, table: RouteTable | None) -> None:
        self._analysis = analysis
        self._table = table
        self._layout: Layout = analysis.draft.layout

    def names(self, slot: Slot) -> Iterator[Offer]:
        """What may stand in a slot."""
        find = _FINDERS.get(slot.key)
        if find is None:
            return
        taken = set(slot.before)
        yield from (offer for offer in find(self, slot) if offer.text not in taken)

    def fitting_kinds(self, before: str) -> Iterator[Offer]:
        """The names of kinds of fittings, or what is left of them after their first words."""
        row = before.rsplit("\n", 1)[-1].lstrip()
        said = row[: len(row) - len(row.split(" ")[-1])]
        for kind in self._layout.kinds.values():
            head, _, tail = kind.name.partition(" with ")
            if head.startswith(said):
                rest = head[len(said) :].split(" ")[0]
                yield Offer(rest, "kind of fitting", Kind.Class, rank=3)
            if tail and " with " in row:
                yield Offer(tail.split(" ")[0], kind.name, Kind.Class, rank=3)

    # ----------------------------------------------------------- the track

    def pieces(self, _: Slot) -> Iterator[Offer]:
        for name, element in self._layout.elements.items():
            if element.plain:
                yield Offer(name, "piece of track")

    def fittings(self, _: Slot) -> Iterator[Offer]:
        for name, element in self._layout.elements.items():
            if not element.plain:
                yield Offer(name, element.kind.name, Kind.Class)

    def elements(self, slot: Slot) -> Iterator[Offer]:
        yield from self.pieces(slot)
        yield from self.fittings(slot)

    def in_a_run(self, slot: Slot) -> Iterator[Offer]:
        """Legs of fittings that lead nowhere yet, and pieces whose track goes on elsewhere."""
        yield from self.pieces(slot)
        for name, element in self._layout.elements.items():
            if element.plain:
                continue
            yield Offer(name, element.kind.name, Kind.Class, rank=2)
            for leg in element.kind.legs:
                if Leg(name, leg) not in self._layout.joined:
                    yield Offer(f"{name}.{leg}", "leads nowhere yet", Kind.Property, rank=0)

    def edges(self, _: Slot) -> Iterator[Offer]:
        for name in self._layout.edges:
            yield Offer(name, "edge", Kind.Module)

    def sections(self, _: Slot) -> Iterator[Offer]:
        for name in self._layout.sections:
            yield Offer(name, "section", Kind.Struct)

    def track(self, slot: Slot) -> Iterator[Offer]:
        yield from self.sections(slot)
        yield from self.elements(slot)

    def drawn(self, slot: Slot) -> Iterator[Offer]:
        yield from self.elements(slot)
        yield from self.edges(slot)

    def drawn_beside(self, slot: Slot) -> Iterator[Offer]:
        yield from self.pieces(slot)
        if isinstance(slot.way[0], t.NoteLine):
            yield from self.fittings(slot)
            yield from self.edges(slot)
            yield from self.signals(slot)

    def legs(self, slot: Slot) -> Iterator[Offer]:
        kind, name = self._kind(slot), _element(slot)
        for part in _parts(slot, t.Legs):
            yield from (Offer(word.text, "leg", Kind.Property) for word in part.names)
        for leg in kind.legs if kind else ():
            beyond = self._layout.joined.get(Leg(name, leg))
            said = f"leads to {beyond}" if beyond else "leads nowhere yet"
            yield Offer(leg, said, Kind.Property, rank=1 if beyond else 0)

    # --------------------------------------------------------- signals and routes

    def signals(self, _: Slot) -> Iterator[Offer]:
        for name, signal in self._layout.signals.items():
            yield Offer(name, "shunt signal" if signal.shunt else "signal", Kind.Event)

    def undescribed(self, slot: Slot) -> Iterator[Offer]:
        """Signals, first those that no line describes."""
        described = {line.name.text for line in self._analysis.draft.program.of(t.SignalLine)}
        for offer in self.signals(slot):
            yield Offer(offer.text, offer.detail, offer.kind, 1 + (offer.text in described))

    def starts(self, slot: Slot) -> Iterator[Offer]:
        yield from self.signals(slot)
        table = self._table
        if table is not None and slot.key == (t.RouteByName, "name"):
            for route in table.routes.values():
                if " " not in route.name:
                    yield Offer(route.name, f"{route.start} to {route.end}", Kind.Function)

    def ends(self, slot: Slot) -> Iterator[Offer]:
        """Where routes from a signal end, and whatever else a route may end at."""
        assert isinstance(slot.node, t.RouteWay)
        table = self._table
        start = slot.node.start.text
        for route in table.routes.values() if table else ():
            if route.start == start:
                yield Offer(route.end, f"the route {route.name}", Kind.Event, rank=0)
        yield from self.signals(slot)
        yield from self.edges(slot)
        yield from self.pieces(slot)

    def aspects(self, slot: Slot) -> Iterator[Offer]:
        line = slot.way[0]
        signals = self._layout.signals
        if isinstance(line, t.RouteLine) and line.way.start.text in signals:
            for aspect in signals[line.way.start.text].aspects[1:]:
                yield Offer(aspect.name, f"aspect of {line.way.start}", Kind.EnumMember)
            return
        known = {aspect.name for signal in signals.values() for aspect in signal.aspects}
        yield from (Offer(name, "aspect", Kind.EnumMember) for name in sorted(known))

    # ------------------------------------------------------------------- drives

    def driven(self, slot: Slot) -> Iterator[Offer]:
        """Fittings with drives, first those of which no line says what throws them."""
        layout = self._layout
        thrown = {str(work) for w in layout.hardware.wirings for work in _works(layout, w)}
        for work in layout.drive_of:
            wired = str(work) in thrown or work.element in thrown
            rank = 2 if wired and isinstance(slot.way[0], t.DriveLine) else 1
            kind = layout.elements[work.element].kind.name
            yield Offer(work.element, kind, Kind.Class, rank)
            if work.drive:
                yield Offer(str(work), f"drive of {work.element}", Kind.Method, rank)

    def drives(self, slot: Slot) -> Iterator[Offer]:
        kind = self._kind(slot)
        for drive in kind.drives if kind else ():
            if drive:
                yield Offer(drive, "drive", Kind.Method)
        if kind is not None and isinstance(slot.way[0], t.FrogWired | t.FrogFed):
            yield from (Offer(f.name, "frog", Kind.Method) for f in kind.frogs if f.name)

    def positions(self, slot: Slot) -> Iterator[Offer]:
        kind, drive = self._kind(slot), _drive(slot)
        said = slot.node.drive if isinstance(slot.node, t.WayCondition) else None
        for part in _parts(slot, t.FittingDrive):
            if part.name is not None and said is None:
                yield Offer(part.name.text, "drive", Kind.Method)
            elif said is None or (part.name is not None and part.name.text == said.text):
                yield from (Offer(w.text, "position", Kind.EnumMember) for w in part.positions)
        for position in kind.drives.get(drive, ()) if kind else ():
            yield Offer(position, f"position of {_element(slot)}", Kind.EnumMember)
        if isinstance(slot.node, t.NeedWord) and slot.node.part is None:
            name = slot.node.name.text
            if name in self._layout.sections:
                yield Offer("clear", f"the section {name}", Kind.Keyword)
            table = self._table
            if table is not None and name in table.routes:
                yield Offer("set", f"the route {name}", Kind.Keyword)

    def reported(self, slot: Slot) -> Iterator[Offer]:
        told = self._layout.reports
        for name, section in self._layout.sections.items():
            if section.detected:
                yield Offer(name, "section", Kind.Struct, 2 if name in told.sections else 1)
        yield from self.driven(slot)

    def needed(self, slot: Slot) -> Iterator[Offer]:
        yield from self.driven(slot)
        yield from self.sections(slot)
        yield from self.starts(slot)

    def timed(self, slot: Slot) -> Iterator[Offer]:
        line = slot.way[0]
        if isinstance(line, t.TimeLine) and line.at_signals:
            yield from self.signals(slot)
        else:
            yield from self.reported(slot)

    # ----------------------------------------------------------------- hardware

    def outlets(self, _: Slot) -> Iterator[Offer]:
        """The next free output of each decoder, and kinds of decoders, which mean the next one."""
        taken = self._taken()
        for name, decoder in self._layout.hardware.decoders.items():
            free = [n for n in range(1, decoder.kind.outputs + 1) if (name, n) not in taken]
            if free:
                said = f"output {decoder.address + free[0] - 1}, free"
                yield Offer(f"{name}.{free[0]}", said, Kind.Interface, rank=0)
            yield Offer(name, f"decoder {decoder.kind.name}", Kind.Interface, rank=3)
        yield from self.decoder_kinds(_)

    def output_numbers(self, slot: Slot) -> Iterator[Offer]:
        """The outputs of a decoder that are free; those that are taken are not offered."""
        assert isinstance(slot.node, t.Output)
        decoder = self._layout.hardware.decoders.get(slot.node.decoder.text)
        if decoder is None:
            return
        taken = self._taken()
        for number in range(1, decoder.kind.outputs + 1):
            if (decoder.name, number) not in taken:
                yield Offer(
                    str(number), f"output {decoder.address + number - 1}, free", Kind.Value, 0
                )

    def decoders(self, _: Slot) -> Iterator[Offer]:
        for name, decoder in self._layout.hardware.decoders.items():
            yield Offer(name, f"decoder {decoder.kind.name}", Kind.Interface)

    def decoder_kinds(self, _: Slot) -> Iterator[Offer]:
        for line in self._analysis.draft.program.of(t.DecoderKindLine):
            yield Offer(line.name.text, "kind of decoder", Kind.Interface, rank=2)

    def detector_kinds(self, _: Slot) -> Iterator[Offer]:
        for line in self._analysis.draft.program.of(t.DetectorKindLine):
            yield Offer(line.name.text, "kind of detector", Kind.Interface, rank=2)

    def inlets(self, slot: Slot) -> Iterator[Offer]:
        for name, free in self._free_inputs().items():
            if free:
                yield Offer(f"{name}.{free[0]}", "input, free", Kind.Interface, rank=0)
        yield from self.detector_kinds(slot)

    def input_numbers(self, slot: Slot) -> Iterator[Offer]:
        assert isinstance(slot.node, t.Input)
        for number in self._free_inputs().get(slot.node.detector.text, ()):
            yield Offer(str(number), "input, free", Kind.Value, 0)

    def sides(self, _: Slot) -> Iterator[Offer]:
        yield Offer("green", "straight, proceed", Kind.EnumMember)
        yield Offer("red", "diverging, stop", Kind.EnumMember)

    def _taken(self) -> set[tuple[str, int]]:
        """Outputs that some line names, or that were chosen for one."""
        return self._chosen() | self._named(t.Output)

    def _free_inputs(self) -> dict[str, list[int]]:
        taken = self._chosen() | self._named(t.Input)
        return {
            name: [n for n in range(1, detector.kind.size + 1) if (name, n) not in taken]
            for name, detector in self._layout.reports.detectors.items()
        }

    def _chosen(self) -> set[tuple[str, int]]:
        """The outputs and inputs that were chosen where the text leaves them open."""
        return {
            (ref.decoder if isinstance(ref, OutputRef) else ref.detector, ref.number)
            for refs in self._layout.chosen.values()
            for ref in refs
        }

    def _named(self, kind: type[t.Output] | type[t.Input]) -> set[tuple[str, int]]:
        """The outputs or inputs that the text names."""
        return {
            (node.decoder.text if isinstance(node, t.Output) else node.detector.text, int(number))
            for file in self._analysis.draft.program.files
            for statement in file.statements
            for node in t.nodes_in(statement)
            if isinstance(node, kind) and (number := node.number.text).isdecimal()
        }

    def _kind(self, slot: Slot) -> FittingKind | None:
        element = self._layout.elements.get(_element(slot))
        return element.kind if element else None


def _parts(slot: Slot, kind: type[P]) -> Iterator[P]:
    """The parts of the definition of a fitting that stand before a slot in it."""
    if isinstance(slot.way[0], t.FittingDefinition):
        yield from (part for part in slot.way[0].parts if isinstance(part, kind))


def _element(slot: Slot) -> str:
    """The fitting that a leg, a drive or a position in a slot is of."""
    for node in reversed(slot.way):
        match node:
            case t.LegHere() | t.Passing() | t.DriveName():
                return node.element.text
            case t.Demand():
                return node.drive.element.text
            case t.DriveLine():
                return node.drive.element.text
            case t.ReportLine():
                return node.what.element.text
            case t.NeedWord():
                return node.name.text
    return ""


def _drive(slot: Slot) -> str:
    """A drive's own name in its fitting."""
    for node in reversed(slot.way):
        match node:
            case t.Demand() | t.DriveLine():
                return node.drive.drive.text if node.drive.drive else ""
            case t.ReportLine():
                return node.what.drive.text if node.what.drive else ""
            case t.NeedWord():
                return node.part.text if node.part else ""
    return ""


def _works(layout: Layout, drive: str) -> tuple[object, ...]:
    return layout.drives[drive].works if drive in layout.drives else ()


_Finder = Callable[[_Known, Slot], Iterator[Offer]]

_FINDERS: Mapping[tuple[type[t.Node], str], _Finder] = {
    (t.Piece, "name"): _Known.in_a_run,
    (t.LegHere, "element"): _Known.fittings,
    (t.LegHere, "leg"): _Known.legs,
    (t.Way, "first"): _Known.legs,
    (t.Way, "second"): _Known.legs,
    (t.WayCondition, "position"): _Known.positions,
    (t.FittingFrog, "first"): _Known.legs,
    (t.FittingFrog, "second"): _Known.legs,
    (t.SectionLine, "elements"): _Known.elements,
    (t.ReverserLine, "pieces"): _Known.elements,
    (t.DrawLine, "names"): _Known.drawn,
    (t.BridgeLine, "upper"): _Known.drawn,
    (t.BridgeLine, "lower"): _Known.drawn,
    (t.BesideTrack, "names"): _Known.drawn_beside,
    (t.SignalLine, "name"): _Known.undescribed,
    (t.ImaginedLine, "signals"): _Known.signals,
    (t.OverlapLine, "signal"): _Known.signals,
    (t.OverlapLine, "elements"): _Known.elements,
    (t.RouteWay, "start"): _Known.starts,
    (t.RouteByName, "name"): _Known.starts,
    (t.RouteLine, "name"): _Known.starts,
    (t.RouteWay, "end"): _Known.ends,
    (t.Passing, "element"): _Known.elements,
    (t.Passing, "leg"): _Known.legs,
    (t.RouteLine, "shows"): _Known.aspects,
    (t.Aspect, "name"): _Known.aspects,
    (t.DriveName, "element"): _Known.driven,
    (t.DriveName, "drive"): _Known.drives,
    (t.Demand, "position"): _Known.positions,
    (t.DrivePlace, "position"): _Known.positions,
    (t.ReportLine, "position"): _Known.positions,
    (t.NeedWord, "word"): _Known.positions,
    (t.NeedWord, "part"): _Known.drives,
    (t.NeedWord, "name"): _Known.needed,
    (t.OnlyOneOverRule, "places"): _Known.track,
    (t.Output, "decoder"): _Known.decoders,
    (t.Output, "number"): _Known.output_numbers,
    (t.FreeOutput, "kind"): _Known.outlets,
    (t.LitLamp, "side"): _Known.sides,
    (t.DrivePlace, "side"): _Known.sides,
    (t.LampLine, "side"): _Known.sides,
    (t.OutputLine, "side"): _Known.sides,
    (t.DecoderLine, "kind"): _Known.decoder_kinds,
    (t.DetectorLine, "kind"): _Known.detector_kinds,
    (t.SupplyLine, "feeds"): _Known.decoders,
    (t.DistrictLine, "feeds"): _Known.track,
    (t.FreeInput, "kind"): _Known.inlets,
    (t.Input, "number"): _Known.input_numbers,
}
"""What may stand in each slot of the tree."""
