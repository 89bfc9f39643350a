"""The syntax tree: what a source says, statement by statement.

Every node is immutable and carries the span of the text it came from. Two
trees are equal when they say the same; where it stood does not count.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from typing import Literal

from bellcrank.diagnostics import Span


@dataclass(frozen=True, slots=True)
class Node:
    span: Span = field(compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Word(Node):
    """A name or a number as written."""

    text: str

    def __str__(self) -> str:
        return self.text


# ------------------------------------------------------------------ the whole


@dataclass(frozen=True, slots=True)
class LayoutLine(Node):
    title: str
    rails: Word | None
    without_detection: bool


@dataclass(frozen=True, slots=True)
class UseLine(Node):
    path: Word


# ------------------------------------------------------------------- fittings


@dataclass(frozen=True, slots=True)
class KindPhrase(Node):
    """The words that name a kind of fitting: "double slip" … "with one drive"."""

    words: tuple[Word, ...]
    with_words: tuple[Word, ...]

    @property
    def text(self) -> str:
        head = " ".join(w.text for w in self.words)
        tail = " ".join(w.text for w in self.with_words)
        return f"{head} with {tail}" if tail else head


@dataclass(frozen=True, slots=True)
class Legs(Node):
    names: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class FittingDrive(Node):
    name: Word | None
    positions: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class WayCondition(Node):
    drive: Word | None
    position: Word


@dataclass(frozen=True, slots=True)
class Way(Node):
    first: Word
    second: Word
    when: tuple[WayCondition, ...]


@dataclass(frozen=True, slots=True)
class FittingFrog(Node):
    """Where rails of two legs cross: `frog end1 between a1, b1`."""

    name: Word | None
    first: Word
    second: Word


Table = Literal["turntable", "traverser"]
"""What moves a vehicle from road to road, and has a look of its own in the picture."""


@dataclass(frozen=True, slots=True)
class FittingDrawing(Node):
    """How fittings of a kind look in the picture: `drawn as turntable`."""

    table: Table


@dataclass(frozen=True, slots=True)
class FittingDefinition(Node):
    kind: KindPhrase
    parts: tuple[Legs | FittingDrive | Way | FittingFrog | FittingDrawing, ...]


@dataclass(frozen=True, slots=True)
class Declaration(Node):
    """Fittings of one kind by name: `points P1, P2`."""

    kind: KindPhrase
    names: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class DriveName(Node):
    """`P1`, or `S1.end1` where a fitting has several drives. Frogs are named alike."""

    element: Word
    drive: Word | None

    def __str__(self) -> str:
        return f"{self.element}.{self.drive}" if self.drive else str(self.element)


@dataclass(frozen=True, slots=True)
class CoupledLine(Node):
    drives: tuple[DriveName, ...]


# ---------------------------------------------------------------------- track


@dataclass(frozen=True, slots=True)
class Edge(Node):
    name: Word


@dataclass(frozen=True, slots=True)
class Stop(Node):
    pass


@dataclass(frozen=True, slots=True)
class SignalHere(Node):
    name: Word
    rightwards: bool


@dataclass(frozen=True, slots=True)
class Piece(Node):
    name: Word


@dataclass(frozen=True, slots=True)
class LegHere(Node):
    element: Word
    leg: Word


RunItem = Edge | Stop | SignalHere | Piece | LegHere


@dataclass(frozen=True, slots=True)
class RunLine(Node):
    items: tuple[RunItem, ...]


@dataclass(frozen=True, slots=True)
class SectionLine(Node):
    name: Word
    elements: tuple[Word, ...]
    without_detection: bool


@dataclass(frozen=True, slots=True)
class ReverserLine(Node):
    pieces: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class DrawLine(Node):
    """How the picture is to look: these one above the next, from the top."""

    names: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class BridgeLine(Node):
    """In the picture, the line of the first passes over those of the others."""

    upper: Word
    lower: tuple[Word, ...]


WhereDrawn = Literal["above", "below", "beside"]
"""On which side of track something is drawn; beside it is either."""


@dataclass(frozen=True, slots=True)
class BesideTrack(Node):
    """Where something is drawn."""

    where: WhereDrawn
    names: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class PlatformLine(Node):
    """A platform in the picture, with what is written on it."""

    label: Word
    place: BesideTrack


@dataclass(frozen=True, slots=True)
class NoteLine(Node):
    """A text in the picture: beside something, or below the whole."""

    text: Word
    place: BesideTrack | None


# -------------------------------------------------------------------- signals


@dataclass(frozen=True, slots=True)
class Output(Node):
    decoder: Word
    number: Word

    def __str__(self) -> str:
        return f"{self.decoder}.{self.number}"


@dataclass(frozen=True, slots=True)
class FreeOutput(Node):
    """The next free output of a decoder of a kind."""

    kind: Word

    def __str__(self) -> str:
        return self.kind.text


Outlet = Output | FreeOutput


@dataclass(frozen=True, slots=True)
class LitLamp(Node):
    """A lamp that an aspect lights: a side of an output."""

    output: Outlet
    side: Word
    blinking: bool = False

    def __str__(self) -> str:
        return f"{self.output} {self.side}"


@dataclass(frozen=True, slots=True)
class Aspect(Node):
    """An aspect; `value` shows it on an extended decoder, one lamp or more elsewhere.

    blinking: of one that names no lamp; each lamp that is named says it of itself.
    """

    name: Word
    lamps: tuple[LitLamp, ...] = ()
    value: Word | None = None
    blinking: bool = False


@dataclass(frozen=True, slots=True)
class SignalLine(Node):
    name: Word
    shunt: bool
    aspects: tuple[Aspect, ...]
    output: Outlet | None
    repeaters: tuple[Word, ...] = ()


@dataclass(frozen=True, slots=True)
class ImaginedLine(Node):
    """Signals that are only thought of: nothing stands there."""

    signals: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class OverlapLine(Node):
    signal: Word
    elements: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class Demand(Node):
    """A drive in a position: `P1 straight`."""

    drive: DriveName
    position: Word

    def __str__(self) -> str:
        return f"{self.drive} {self.position}"


@dataclass(frozen=True, slots=True)
class FlankDerive(Node):
    pass


@dataclass(frozen=True, slots=True)
class FlankWritten(Node):
    route: RouteRef
    demands: tuple[Demand, ...]


# --------------------------------------------------------------------- routes


@dataclass(frozen=True, slots=True)
class Passing(Node):
    """A piece or fitting on a route's way, or one leg of it: `S1`, `S1.a2`."""

    element: Word
    leg: Word | None

    @property
    def text(self) -> str:
        return f"{self.element}.{self.leg}" if self.leg else self.element.text


@dataclass(frozen=True, slots=True)
class RouteWay(Node):
    """A route by where it goes: `W1 to T1 via S1 then X calling on`."""

    start: Word
    end: Word
    via: tuple[Passing, ...]
    calling_on: bool

    def __str__(self) -> str:
        text = f"{self.start} to {self.end}"
        if self.via:
            text += " via " + " then ".join(v.text for v in self.via)
        return text + (" calling on" if self.calling_on else "")


@dataclass(frozen=True, slots=True)
class RouteByName(Node):
    name: Word

    def __str__(self) -> str:
        return self.name.text


RouteRef = RouteWay | RouteByName


@dataclass(frozen=True, slots=True)
class RoutesDerive(Node):
    """Every route from a signal to the next; `route` lines name some or add to them."""

    at_most: Word | None


@dataclass(frozen=True, slots=True)
class RoutesWritten(Node):
    """The routes of the `route` lines and no others."""


@dataclass(frozen=True, slots=True)
class RouteLine(Node):
    name: Word | None
    way: RouteWay
    shows: Word | None


# -------------------------------------------------------------------- locking


@dataclass(frozen=True, slots=True)
class LocksRule(Node):
    route: RouteRef
    others: tuple[RouteRef, ...]
    when: tuple[Demand, ...]


@dataclass(frozen=True, slots=True)
class NeedWord(Node):
    """`P1 straight`, `NECK clear` or `MAIN set`: what it is depends on the names."""

    name: Word
    part: Word | None
    word: Word


@dataclass(frozen=True, slots=True)
class NeedRoute(Node):
    """`D1 to YARD set`."""

    route: RouteWay


@dataclass(frozen=True, slots=True)
class NeedsRule(Node):
    route: RouteRef
    needs: tuple[NeedWord | NeedRoute, ...]


@dataclass(frozen=True, slots=True)
class EveryPositions(Node):
    """Every route needs its positions."""


@dataclass(frozen=True, slots=True)
class EverySectionsClear(Node):
    """Every route needs its sections clear."""


@dataclass(frozen=True, slots=True)
class EveryDriveClear(Node):
    """Every drive needs its section clear."""


@dataclass(frozen=True, slots=True)
class OnlyOneRule(Node):
    routes: tuple[RouteRef, ...]


@dataclass(frozen=True, slots=True)
class OnlyOneOverRule(Node):
    """`only one route over each of S1, S2`, or over a single place."""

    places: tuple[Word, ...]


Rule = (
    LocksRule
    | NeedsRule
    | EveryPositions
    | EverySectionsClear
    | EveryDriveClear
    | OnlyOneRule
    | OnlyOneOverRule
)


@dataclass(frozen=True, slots=True)
class LockingLine(Node):
    derive: bool
    rules: tuple[Rule, ...]


@dataclass(frozen=True, slots=True)
class ReleaseLine(Node):
    """Routes are released section by section, or whole."""

    by_section: bool


@dataclass(frozen=True, slots=True)
class ExpectLine(Node):
    routes: tuple[RouteRef, ...]
    never: bool


# ------------------------------------------------------------------- hardware


@dataclass(frozen=True, slots=True)
class NumberingLine(Node):
    """The number in its packets of the decoder that has the first outputs."""

    first: Word


@dataclass(frozen=True, slots=True)
class KindSetting(Node):
    """One setting of a kind of decoder or detector, by its keyword, with the words after it.

    Texts among them, as `terminals` has, are without their quotes.
    """

    keyword: str
    words: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class DecoderKindLine(Node):
    name: Word
    settings: tuple[KindSetting, ...]


@dataclass(frozen=True, slots=True)
class DecoderLine(Node):
    """A decoder; without an address, one is chosen for it."""

    name: Word
    kind: Word
    address: Word | None


@dataclass(frozen=True, slots=True)
class DrivePlace(Node):
    """A position of a drive, and the side of an output that throws it there, or the value."""

    position: Word
    output: Outlet | None
    side: Word | None
    value: Word | None


@dataclass(frozen=True, slots=True)
class DriveLine(Node):
    """What a drive is wired to, or that it is thrown by hand, or neither: that it reports.

    places: where each position is wired, if that is stated one by one; `outputs` are theirs.
    """

    drive: DriveName
    outputs: tuple[Outlet, ...]
    by_hand: bool
    action: Word | None
    duration: Word | None
    crossed: bool
    detected: bool
    settles: Word | None = None
    rests: Word | None = None
    wires: tuple[Word, ...] = ()
    places: tuple[DrivePlace, ...] = ()
    held_on: bool = False
    one_at_each: bool = False
    takes: Word | None = None


@dataclass(frozen=True, slots=True)
class SupplyLine(Node):
    """A supply: what it feeds and what it can bear.

    gives: amounts in volts and amperes, in any order. capacitor: what it stores and through
        what it is charged. wires: the length of the longest pair of its wires.
    """

    name: Word
    feeds: tuple[Word, ...]
    at_a_time: Word | None
    rest: Word | None
    gives: tuple[Word, ...] = ()
    fuse: Word | None = None
    capacitor: tuple[Word, ...] = ()
    wires: Word | None = None


@dataclass(frozen=True, slots=True)
class DistrictLine(Node):
    """Track that one booster feeds.

    feeds: sections, pieces and fittings. the_rest: whether it feeds all that no other does.
    gives, fuse, wires: as of a supply.
    """

    name: Word
    feeds: tuple[Word, ...]
    the_rest: bool
    gives: tuple[Word, ...] = ()
    fuse: Word | None = None
    wires: Word | None = None


# ----------------------------------------------------- detectors and the panel


@dataclass(frozen=True, slots=True)
class DetectorKindLine(Node):
    name: Word
    settings: tuple[KindSetting, ...]


@dataclass(frozen=True, slots=True)
class DetectorLine(Node):
    """A detector; without an address, one is chosen for it."""

    name: Word
    kind: Word
    address: Word | None


@dataclass(frozen=True, slots=True)
class Input(Node):
    """An input of a detector: `B1.4`."""

    detector: Word
    number: Word

    def __str__(self) -> str:
        return f"{self.detector}.{self.number}"


@dataclass(frozen=True, slots=True)
class NamedInput(Node):
    """An input that its user names in words of their own, without quotes."""

    text: Word

    def __str__(self) -> str:
        return f'"{self.text}"'


@dataclass(frozen=True, slots=True)
class FreeInput(Node):
    """The next free input of a detector of a kind."""

    kind: Word

    def __str__(self) -> str:
        return self.kind.text


Inlet = Input | NamedInput | FreeInput


@dataclass(frozen=True, slots=True)
class ReportLine(Node):
    """Which input reports a section occupied, or a drive in a position.

    what: a section, or a drive if a position follows.
    opens: whether the input is off while that is so, and on otherwise.
    """

    what: DriveName
    position: Word | None
    inlet: Inlet
    opens: bool = False


@dataclass(frozen=True, slots=True)
class ButtonLine(Node):
    """A push button of the panel. A name alone is that of a route or of a place."""

    what: RouteRef
    cancels: bool
    inlet: Inlet


@dataclass(frozen=True, slots=True)
class LampLine(Node):
    """A lamp of the panel, lit while the route is set."""

    route: RouteRef
    output: Outlet
    side: Word


@dataclass(frozen=True, slots=True)
class OutputLine(Node):
    """An output with a name of its own, for something that no route needs: a light, a gate.

    states: what its two sides bring about, or what the one that is named does.
    """

    name: Word
    states: tuple[Word, ...]
    output: Outlet
    side: Word | None
    action: Word | None
    duration: Word | None


TimeOf = Literal["approach locking", "overlap", "drive", "report"]


@dataclass(frozen=True, slots=True)
class TimeLine(Node):
    """How long something takes, everywhere or at some signals, for some drives or sections."""

    of: TimeOf
    duration: Word
    places: tuple[DriveName, ...]

    @property
    def at_signals(self) -> bool:
        """Whether its places are signals; otherwise they are drives and sections."""
        return self.of in ("approach locking", "overlap")


# ------------------------------------------------------------------------ frogs

FrogFeed = Literal["drive", "reverser", "dead"]
"""What a frog takes its polarity from, unless it is an output: a contact of the drive, a
reverser that switches by itself, or nothing."""


@dataclass(frozen=True, slots=True)
class FrogWired(Node):
    """A frog on an output."""

    frog: DriveName
    output: Outlet
    crossed: bool


@dataclass(frozen=True, slots=True)
class FrogFed(Node):
    """Frogs that are on no output."""

    frogs: tuple[DriveName, ...]
    feed: FrogFeed


Statement = (
    LayoutLine
    | UseLine
    | FittingDefinition
    | Declaration
    | CoupledLine
    | RunLine
    | SectionLine
    | ReverserLine
    | DrawLine
    | BridgeLine
    | PlatformLine
    | NoteLine
    | SignalLine
    | ImaginedLine
    | OverlapLine
    | FlankDerive
    | FlankWritten
    | RoutesDerive
    | RoutesWritten
    | RouteLine
    | LockingLine
    | ReleaseLine
    | ExpectLine
    | NumberingLine
    | DecoderKindLine
    | DecoderLine
    | DriveLine
    | SupplyLine
    | DetectorKindLine
    | DetectorLine
    | ReportLine
    | ButtonLine
    | LampLine
    | TimeLine
    | FrogWired
    | FrogFed
    | OutputLine
    | DistrictLine
)


def nodes_in(node: Node) -> Iterator[Node]:
    """A node and all within it, in the order of its fields."""
    yield node
    for each in fields(node):
        value = getattr(node, each.name)
        for part in value if isinstance(value, tuple) else (value,):
            if isinstance(part, Node):
                yield from nodes_in(part)


@dataclass(frozen=True, slots=True)
class Comment(Node):
    """A comment, from its # to the end of the line."""

    text: str
    alone: bool = field(compare=False)
    """Whether nothing stands before it on its line."""


@dataclass(frozen=True, slots=True)
class SourceFile:
    """One file's statements and comments, in the order of the text.

    unread: the words of lines that could not be read, of which something may be missing.
    """

    name: str = field(compare=False)
    statements: tuple[Statement, ...]
    comments: tuple[Comment, ...] = ()
    unread: frozenset[str] = frozenset()
