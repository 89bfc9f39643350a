"""Every word of a layout that is a name, and what it is the name of.

Pieces, fittings, signals, edges, sections, decoders and so on share one list of names, so that a
name means one thing wherever it is read (`layout/declared_names.py`): of these the name alone says
what is meant. Legs, drives, frogs and positions are names within a kind of fitting, and are meant
with that kind; aspects are names within a signal. Which word of the tree is what stands in a table,
of which a test sees to it that no word is left out.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum, auto
from functools import cached_property

from bellcrank.diagnostics import Span
from bellcrank.layout.fittings import standard_fittings
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import Program
from bellcrank.syntax.parse import parse


class Role(Enum):
    """What a word is in its statement."""

    DECLARED = auto()
    """The name of a thing, where the thing is said to be there."""
    USED = auto()
    """The name of a thing, elsewhere."""
    LEG = auto()
    PART = auto()
    """A drive or a frog of a fitting."""
    POSITION = auto()
    ASPECT = auto()
    NUMBER = auto()
    """A number, an amount, a time or an address."""
    TEXT = auto()
    """A text in quotes."""
    WORD = auto()
    """A word of the language that the grammar takes for a name."""
    KIND = auto()
    """A word of the name of a kind of fitting."""


ROLES: Mapping[tuple[type[t.Node], str], Role] = {
    (t.LayoutLine, "rails"): Role.NUMBER,
    (t.UseLine, "path"): Role.TEXT,
    (t.KindPhrase, "words"): Role.KIND,
    (t.KindPhrase, "with_words"): Role.KIND,
    (t.Legs, "names"): Role.LEG,
    (t.FittingDrive, "name"): Role.PART,
    (t.FittingDrive, "positions"): Role.POSITION,
    (t.WayCondition, "drive"): Role.PART,
    (t.WayCondition, "position"): Role.POSITION,
    (t.Way, "first"): Role.LEG,
    (t.Way, "second"): Role.LEG,
    (t.FittingFrog, "name"): Role.PART,
    (t.FittingFrog, "first"): Role.LEG,
    (t.FittingFrog, "second"): Role.LEG,
    (t.Declaration, "names"): Role.DECLARED,
    (t.DriveName, "element"): Role.USED,
    (t.DriveName, "drive"): Role.PART,
    (t.Edge, "name"): Role.DECLARED,
    (t.SignalHere, "name"): Role.DECLARED,
    (t.Piece, "name"): Role.DECLARED,
    (t.LegHere, "element"): Role.USED,
    (t.LegHere, "leg"): Role.LEG,
    (t.ImaginedLine, "signals"): Role.USED,
    (t.SectionLine, "name"): Role.DECLARED,
    (t.SectionLine, "elements"): Role.USED,
    (t.ReverserLine, "pieces"): Role.USED,
    (t.DrawLine, "names"): Role.USED,
    (t.BridgeLine, "upper"): Role.USED,
    (t.BridgeLine, "lower"): Role.USED,
    (t.BesideTrack, "names"): Role.USED,
    (t.PlatformLine, "label"): Role.TEXT,
    (t.NoteLine, "text"): Role.TEXT,
    (t.Output, "decoder"): Role.USED,
    (t.Output, "number"): Role.NUMBER,
    (t.FreeOutput, "kind"): Role.USED,
    (t.LitLamp, "side"): Role.WORD,
    (t.Aspect, "name"): Role.ASPECT,
    (t.Aspect, "value"): Role.NUMBER,
    (t.SignalLine, "name"): Role.USED,
    (t.SignalLine, "repeaters"): Role.DECLARED,
    (t.OverlapLine, "signal"): Role.USED,
    (t.OverlapLine, "elements"): Role.USED,
    (t.Demand, "position"): Role.POSITION,
    (t.Passing, "element"): Role.USED,
    (t.Passing, "leg"): Role.LEG,
    (t.RouteWay, "start"): Role.USED,
    (t.RouteWay, "end"): Role.USED,
    (t.RouteByName, "name"): Role.USED,
    (t.RoutesDerive, "at_most"): Role.NUMBER,
    (t.RouteLine, "name"): Role.DECLARED,
    (t.RouteLine, "shows"): Role.ASPECT,
    (t.NeedWord, "name"): Role.USED,
    (t.NeedWord, "part"): Role.PART,
    (t.NeedWord, "word"): Role.POSITION,
    (t.OnlyOneOverRule, "places"): Role.USED,
    (t.NumberingLine, "first"): Role.NUMBER,
    (t.KindSetting, "words"): Role.WORD,
    (t.DecoderKindLine, "name"): Role.DECLARED,
    (t.DecoderLine, "name"): Role.DECLARED,
    (t.DecoderLine, "kind"): Role.USED,
    (t.DecoderLine, "address"): Role.NUMBER,
    (t.DrivePlace, "position"): Role.POSITION,
    (t.DrivePlace, "side"): Role.WORD,
    (t.DrivePlace, "value"): Role.NUMBER,
    (t.DriveLine, "action"): Role.WORD,
    (t.DriveLine, "duration"): Role.NUMBER,
    (t.DriveLine, "settles"): Role.NUMBER,
    (t.DriveLine, "rests"): Role.NUMBER,
    (t.DriveLine, "wires"): Role.TEXT,
    (t.DriveLine, "takes"): Role.NUMBER,
    (t.SupplyLine, "name"): Role.DECLARED,
    (t.SupplyLine, "feeds"): Role.USED,
    (t.SupplyLine, "at_a_time"): Role.WORD,
    (t.SupplyLine, "rest"): Role.NUMBER,
    (t.SupplyLine, "gives"): Role.NUMBER,
    (t.SupplyLine, "fuse"): Role.NUMBER,
    (t.SupplyLine, "capacitor"): Role.NUMBER,
    (t.SupplyLine, "wires"): Role.NUMBER,
    (t.DistrictLine, "name"): Role.DECLARED,
    (t.DistrictLine, "feeds"): Role.USED,
    (t.DistrictLine, "gives"): Role.NUMBER,
    (t.DistrictLine, "fuse"): Role.NUMBER,
    (t.DistrictLine, "wires"): Role.NUMBER,
    (t.DetectorKindLine, "name"): Role.DECLARED,
    (t.DetectorLine, "name"): Role.DECLARED,
    (t.DetectorLine, "kind"): Role.USED,
    (t.DetectorLine, "address"): Role.NUMBER,
    (t.Input, "detector"): Role.USED,
    (t.Input, "number"): Role.NUMBER,
    (t.NamedInput, "text"): Role.TEXT,
    (t.FreeInput, "kind"): Role.USED,
    (t.ReportLine, "position"): Role.POSITION,
    (t.LampLine, "side"): Role.WORD,
    (t.OutputLine, "name"): Role.DECLARED,
    (t.OutputLine, "states"): Role.WORD,
    (t.OutputLine, "side"): Role.WORD,
    (t.OutputLine, "action"): Role.WORD,
    (t.OutputLine, "duration"): Role.NUMBER,
    (t.TimeLine, "duration"): Role.NUMBER,
}
"""What each word of each node of the tree is."""

CALLED: Mapping[type[t.Node], str] = {
    t.Declaration: "fitting",
    t.Edge: "edge",
    t.SignalHere: "signal",
    t.Piece: "piece of track",
    t.SectionLine: "section",
    t.SignalLine: "repeater",
    t.RouteLine: "route",
    t.DecoderKindLine: "kind of decoder",
    t.DecoderLine: "decoder",
    t.SupplyLine: "supply",
    t.DistrictLine: "district",
    t.DetectorKindLine: "kind of detector",
    t.DetectorLine: "detector",
    t.OutputLine: "output",
}
"""What a thing is called that is said to be there in such a node."""


@dataclass(frozen=True, slots=True)
class Thing:
    """What a name of the one list of names means."""

    name: str


@dataclass(frozen=True, slots=True)
class LegOf:
    """A leg of a kind of fitting."""

    kind: str
    name: str


@dataclass(frozen=True, slots=True)
class PartOf:
    """A drive of a kind of fitting, or a frog of one."""

    kind: str
    name: str
    frog: bool = False


@dataclass(frozen=True, slots=True)
class PositionOf:
    """A position of a drive of a kind of fitting; drive: as in `FittingKind.drives`."""

    kind: str
    drive: str
    name: str


@dataclass(frozen=True, slots=True)
class FittingKindNamed:
    """A kind of fitting."""

    name: str


@dataclass(frozen=True, slots=True)
class AspectOf:
    """An aspect of a signal. Those of two signals have nothing to do with each other, whatever
    they are called."""

    signal: str
    name: str


Meaning = Thing | LegOf | PartOf | PositionOf | FittingKindNamed | AspectOf


@dataclass(frozen=True, slots=True)
class Occurrence:
    """A word of a layout.

    meaning: None of words that name nothing, or nothing that is known.
    declared: what the thing is called, if it is said here that there is one.
    """

    span: Span
    text: str
    role: Role
    meaning: Meaning | None
    declared: str | None = None


@dataclass(frozen=True)
class Names:
    """All words of a program."""

    program: Program

    @cached_property
    def occurrences(self) -> tuple[Occurrence, ...]:
        """In the order of the text, used files first."""
        # A piece is there where a run names it first.
        known: set[str] = set()
        found = []
        for each in _Walk(self.program).all():
            if each.declared == CALLED[t.Piece]:
                if each.text in known:
                    each = dataclasses.replace(each, role=Role.USED, declared=None)
                known.add(each.text)
            found.append(each)
        return tuple(found)

    @cached_property
    def _of(self) -> dict[Meaning, list[Occurrence]]:
        found: dict[Meaning, list[Occurrence]] = {}
        for each in self.occurrences:
            if each.meaning is not None:
                found.setdefault(each.meaning, []).append(each)
        return found

    def of(self, meaning: Meaning) -> tuple[Occurrence, ...]:
        """Every place where something is named."""
        return tuple(self._of.get(meaning, ()))

    def declared(self, meaning: Meaning) -> tuple[Occurrence, ...]:
        """Where it is said that there is such a thing."""
        named = self.of(meaning)
        return tuple(o for o in named if o.declared) or named[:1]

    def at(self, file: str, line: int, column: int) -> Occurrence | None:
        """The word that stands at a place, or that ends there."""
        here = [o for o in self.in_line(file, line) if o.span.column <= column <= o.span.end_column]
        return here[-1] if here else None

    def in_line(self, file: str, line: int) -> tuple[Occurrence, ...]:
        """The words that begin in a line."""
        return tuple(self._in_line.get((file, line), ()))

    def of_file(self, file: str) -> tuple[Occurrence, ...]:
        return tuple(o for o in self.occurrences if o.span.file == file)

    @cached_property
    def _in_line(self) -> dict[tuple[str, int], list[Occurrence]]:
        found: dict[tuple[str, int], list[Occurrence]] = {}
        for each in self.occurrences:
            found.setdefault((each.span.file, each.span.line), []).append(each)
        return found


@dataclass(frozen=True, slots=True)
class _Kind:
    """The drives of a kind of fitting and their positions, as far as they are known."""

    name: str
    drives: Mapping[str, tuple[str, ...]]

    def drive_of(self, position: str) -> str | None:
        having = [drive for drive, positions in self.drives.items() if position in positions]
        return having[0] if len(having) == 1 else None


class _Walk:
    """Goes through the trees of a program and tells of each word what it means."""

    def __init__(self, program: Program) -> None:
        self._program = program
        kinds = [_Kind(kind.name, kind.drives) for kind in standard_fittings().values()]
        kinds += [_defined(definition) for definition in program.of(t.FittingDefinition)]
        self._kinds = {kind.name: kind for kind in kinds}
        self._kind_of = {
            name.text: declaration.kind.text
            for declaration in program.of(t.Declaration)
            for name in declaration.names
        }

    def all(self) -> Iterator[Occurrence]:
        for file in self._program.files:
            for statement in file.statements:
                yield from sorted(self._in(statement, (statement,)), key=lambda o: o.span)

    def _in(self, node: t.Node, within: tuple[t.Node, ...]) -> Iterator[Occurrence]:
        """The words in a node. within: the nodes round it and itself, the outermost first."""
        for field in dataclasses.fields(node):
            value = getattr(node, field.name)
            for each in value if isinstance(value, tuple) else (value,):
                if isinstance(each, t.Word):
                    role = ROLES[type(node), field.name]
                    yield self._occurrence(each, role, node, within)
                elif isinstance(each, t.Node):
                    yield from self._in(each, (*within, each))

    def _occurrence(
        self, word: t.Word, role: Role, node: t.Node, within: tuple[t.Node, ...]
    ) -> Occurrence:
        declared = CALLED[type(node)] if role is Role.DECLARED else None
        if isinstance(within[0], t.FittingDefinition) and _says_first(node, word):
            declared = {Role.LEG: "leg", Role.PART: "drive", Role.POSITION: "position"}.get(role)
            if isinstance(node, t.FittingFrog):
                declared = "frog"
        if role is Role.KIND and isinstance(within[0], t.FittingDefinition):
            declared = "kind of fitting"
        if isinstance(node, t.Aspect) and role is Role.ASPECT:
            declared = "aspect"
        meaning = self._meaning(word, role, node, within)
        return Occurrence(word.span, word.text, role, meaning, declared)

    def _meaning(
        self, word: t.Word, role: Role, node: t.Node, within: tuple[t.Node, ...]
    ) -> Meaning | None:
        if role in (Role.DECLARED, Role.USED):
            return Thing(word.text)
        if isinstance(node, t.KindPhrase):
            return FittingKindNamed(node.text)
        if role is Role.ASPECT:
            match within[0]:
                case t.SignalLine(name=signal) | t.RouteLine(way=t.RouteWay(start=signal)):
                    return AspectOf(signal.text, word.text)
        kind = self._kind(node, within)
        if kind is None:
            return None
        if role is Role.LEG:
            return LegOf(kind.name, word.text)
        if role is Role.PART:
            frog = isinstance(node, t.FittingFrog) or isinstance(within[0], t.FrogWired | t.FrogFed)
            return PartOf(kind.name, word.text, frog)
        if role is Role.POSITION:
            return _position(word, kind, node, within)
        return None

    def _kind(self, node: t.Node, within: tuple[t.Node, ...]) -> _Kind | None:
        """The kind of fitting that a leg, a drive or a position belongs to."""
        if isinstance(within[0], t.FittingDefinition):
            return self._kinds.get(within[0].kind.text)
        element = _element(node, within)
        return self._kinds.get(self._kind_of.get(element.text, "")) if element else None


def _defined(definition: t.FittingDefinition) -> _Kind:
    drives = {
        part.name.text if part.name else "": tuple(p.text for p in part.positions)
        for part in definition.parts
        if isinstance(part, t.FittingDrive)
    }
    return _Kind(definition.kind.text, drives)


def _says_first(node: t.Node, word: t.Word) -> bool:
    """Whether a part of a definition says that there is a leg, a drive, a position or a frog."""
    frogs_name = isinstance(node, t.FittingFrog) and node.name is word
    return isinstance(node, t.Legs | t.FittingDrive) or frogs_name


def _element(node: t.Node, within: tuple[t.Node, ...]) -> t.Word | None:
    """The fitting that a word in a node is about."""
    drive = _drive(node, within)
    if drive is not None:
        return drive[0]
    match node:
        case t.LegHere() | t.Passing():
            return node.element
        case _:
            return None


def _drive(node: t.Node, within: tuple[t.Node, ...]) -> tuple[t.Word, t.Word | None] | None:
    """The fitting and the drive in it that a word in a node is about."""
    match node:
        case t.DriveName():
            return node.element, node.drive
        case t.Demand():
            return node.drive.element, node.drive.drive
        case t.NeedWord():
            return node.name, node.part
    match within[0]:
        case t.DriveLine(drive=drive) | t.ReportLine(what=drive):
            return drive.element, drive.drive
    return None


def _position(
    word: t.Word, kind: _Kind, node: t.Node, within: tuple[t.Node, ...]
) -> PositionOf | None:
    match node:
        case t.FittingDrive():
            drive: str | None = node.name.text if node.name else ""
        case t.WayCondition():
            drive = node.drive.text if node.drive else kind.drive_of(word.text)
        case _:
            named = _drive(node, within)
            drive = named[1].text if named and named[1] else ""
    if drive is None or word.text not in kind.drives.get(drive, ()):
        return None
    return PositionOf(kind.name, drive, word.text)


def standard_names() -> Names:
    """The names in the file of standard fittings."""
    from importlib import resources

    text = resources.files("bellcrank.grammar").joinpath(STANDARD_FITTINGS).read_text("utf-8")
    source, _ = parse(text, STANDARD_FITTINGS)
    return Names(Program((source,), {STANDARD_FITTINGS: text}))


STANDARD_FITTINGS = "fittings.crank"
"""The file of standard fittings, in the package `grammar`."""
