"""The layout: track, signals, sections and hardware, as immutable values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, NamedTuple, SupportsIndex

from bellcrank.diagnostics import Span
from bellcrank.layout.addressed import Addressed, AddressedKind
from bellcrank.layout.detectors import DetectorInput, Input, Reports
from bellcrank.layout.frog_model import Frog, FrogPart, KindFrog
from bellcrank.layout.shown_model import Shown
from bellcrank.layout.times import Times
from bellcrank.layout.variables import Learns, Variables
from bellcrank.syntax.tree import Table

Position = tuple[str, str]
"""A drive's name and one of its positions."""


Hand = Literal["left", "right"]
"""The two sides of an element, as runs read."""


class Leg(NamedTuple):
    """One place where track can be joined to an element."""

    element: str
    leg: str

    def __str__(self) -> str:
        return f"{self.element}.{self.leg}"


class Work(NamedTuple):
    """What a drive throws in one fitting; `drive` is the fitting's own name for it, empty
    if the fitting has no other."""

    element: str
    drive: str

    def __str__(self) -> str:
        return f"{self.element}.{self.drive}" if self.drive else self.element


class Edge(NamedTuple):
    """A place where track leaves the layout."""

    name: str

    def __str__(self) -> str:
        return f"edge {self.name}"


class Stop(NamedTuple):
    """A buffer stop, known by the leg it closes."""

    leg: Leg

    def __str__(self) -> str:
        return f"stop at {self.leg.element}"


TrackEnd = Leg | Edge | Stop


@dataclass(frozen=True, slots=True)
class KindWay:
    """A way through a kind of fitting: two legs, and where its drives must lie."""

    legs: tuple[str, str]
    when: tuple[Position, ...]


@dataclass(frozen=True, slots=True)
class FittingKind:
    """What all fittings of one kind have.

    legs: in order round the fitting.
    drives: name to positions; a drive without a name of its own has "".
    family: its name without what it is said to be `with`.
    frogs: those that are stated; none says nothing about whether it has any.
    drawn: how it looks in the picture, which nothing else depends on: kinds are equal without it.
    """

    name: str
    legs: tuple[str, ...]
    drives: Mapping[str, tuple[str, ...]]
    ways: tuple[KindWay, ...]
    family: str = ""
    frogs: tuple[KindFrog, ...] = ()
    drawn: Table | None = field(default=None, compare=False)

    def lets_lie(self, lies: Mapping[str, str]) -> bool:
        """Whether some way of it lets drives lie so, by its own names for them."""
        return any(all(lies.get(d, p) == p for d, p in way.when) for way in self.ways)

    def __reduce_ex__(self, protocol: SupportsIndex, /) -> str | tuple[Any, ...]:
        # What is handed to another process has the one PLAIN there, by which plain track is known.
        return "PLAIN" if self is PLAIN else object.__reduce_ex__(self, protocol)


PLAIN = FittingKind("plain piece", ("left", "right"), {}, (KindWay(("left", "right"), ()),))
"""A plain piece of track, named by the run it stands in."""


@dataclass(frozen=True, slots=True)
class Way:
    """A way through an element as a train takes it.

    when: the drives, by their names in the layout, and the positions needed.
    frogs: the same of what switches the frogs on it. They do not decide where a train goes, but
        must have the polarity of its road.
    """

    element: str
    entry: str
    exit: str
    when: tuple[Position, ...]
    frogs: tuple[Position, ...] = ()

    @property
    def lies_right(self) -> tuple[Position, ...]:
        """All that must lie right before a train takes it."""
        return self.when + self.frogs


@dataclass(frozen=True, slots=True)
class Element:
    """A piece or fitting of the layout."""

    name: str
    kind: FittingKind
    span: Span = field(compare=False)

    @property
    def plain(self) -> bool:
        return self.kind is PLAIN


@dataclass(frozen=True, slots=True)
class Drive:
    """What throws points, or switches a frog. Coupled drives are one drive with several names.

    name: that of the first of its works: the element, or element and drive ("S1.end1")
        where that has several.
    works: all that it throws.
    detected: whether it reports where it lies.
    frog: the frog that it switches, if it throws no points. Its positions are then the two legs
        from which the frog may take its polarity, and its work is the frog.
    """

    name: str
    works: tuple[Work, ...]
    positions: tuple[str, ...]
    span: Span = field(compare=False)
    detected: bool = False
    frog: FrogPart | None = None

    @property
    def elements(self) -> tuple[str, ...]:
        """The fittings in which it throws something, each once."""
        return tuple(dict.fromkeys(work.element for work in self.works))


@dataclass(frozen=True, slots=True)
class LitLamp:
    """A side of an output that lights a lamp of a signal.

    blinking: whether it blinks, which the decoder or the lamp does by itself.
    """

    output: OutputRef
    side: Side
    blinking: bool = False


@dataclass(frozen=True, slots=True)
class Aspect:
    """An aspect of a signal and the output side that shows it, if wired; on a decoder
    that listens to extended packets the value that shows it, in place of a side.

    blinking: whether its lamp blinks, which the decoder or the lamp does by itself.
    beside: the lamps that are lit after this one and beside it, in their order.
    """

    name: str
    output: OutputRef | None = None
    side: Side | None = None
    value: int | None = None
    blinking: bool = False
    beside: tuple[LitLamp, ...] = ()

    @property
    def lamps(self) -> tuple[LitLamp, ...]:
        """All lamps that it lights, in their order; none where a value or a hand shows it."""
        if self.output is None or self.side is None:
            return ()
        return (LitLamp(self.output, self.side, self.blinking), *self.beside)


@dataclass(frozen=True, slots=True)
class Signal:
    """A signal at a joint, read by trains that leave `before` and enter `beyond`.

    aspects: stop first, the most permissive last.
    repeaters: the names of signals elsewhere that show the same, on the same outputs.
    imagined: whether it is only thought of, so that nothing stands there to show it. Trains go
        by it all the same: it is shown on the panel, or somebody tells them.
    """

    name: str
    before: Leg | Edge
    beyond: Leg
    shunt: bool
    aspects: tuple[Aspect, ...]
    span: Span = field(compare=False)
    repeaters: tuple[str, ...] = ()
    imagined: bool = False


@dataclass(frozen=True, slots=True)
class Section:
    """Track that is held and cleared as one, under one detector if detected."""

    name: str
    elements: tuple[str, ...]
    detected: bool
    span: Span = field(compare=False)


# ------------------------------------------------------------------- hardware

Side = Literal["green", "red"]
"""The two sides of an accessory output: green is straight and proceed, red is
diverging and stop (common practice)."""

Packets = Literal["basic", "extended"]
"""The two accessory packets of NMRA S-9.2.1: one side of an output, or one of many
aspects."""

Pulses = Literal["held", "timed"]
"""Who ends the pulse of a coil. `held`: it is on until a command switches it off (the bit C of
a basic accessory packet, NMRA S-9.2.1); `timed`: the decoder ends it by itself."""

Lamps = Literal["alone", "paired", "grouped"]
"""What goes out by itself when a lamp of a signal is switched on. `alone`: nothing; `paired`:
the other side of the same output; `grouped`: all other lamps of the signal on that decoder."""


class OutputRef(NamedTuple):
    """An output of a decoder, counted from 1 on that decoder."""

    decoder: str
    number: int

    def __str__(self) -> str:
        return f"{self.decoder}.{self.number}"


@dataclass(frozen=True, slots=True)
class DecoderKind(AddressedKind):
    """A kind of decoder, as its user describes it.

    packets: the accessory packets it listens to.
    pulses: who ends the pulse of a coil. lamps: what goes out when a lamp is switched on.
    terminals: what is printed at its terminals, by "green", "red" and "common"; a `%`
        stands for the number of the output. By "pair" where they count on: with 1 and 2 at the
        sides of output 1, 3 and 4 at those of output 2.
    variables: how it is set by configuration variables, if it is. learns: what it learns while
        its button is held, if it does.
    """

    packets: Packets = "basic"
    terminals: Mapping[str, str] = field(default_factory=dict)
    pulses: Pulses = "held"
    lamps: Lamps = "alone"
    variables: Variables | None = None
    learns: Learns | None = None

    @property
    def outputs(self) -> int:
        """How many outputs it has."""
        return self.size


@dataclass(frozen=True, slots=True)
class Decoder(Addressed[DecoderKind]):
    """A decoder in the layout; `address` is the number of its first output."""


Action = Literal["coil", "motor", "servo"]


class Place(NamedTuple):
    """What throws a drive to a position: a side of an output, or a value that is sent to it."""

    output: OutputRef
    side: Side | None
    value: int | None


@dataclass(frozen=True, slots=True)
class Wiring:
    """How a drive is thrown. Without outputs it is thrown by hand.

    milliseconds: the pulse of a coil, the travel of a motor or servo.
    settles: milliseconds from its command until it is taken to lie, if that is longer.
    rests: milliseconds that it must be left alone after it was thrown, to cool.
    wires: the names of its wires, one for each position and one for the common.
    stated: what throws it to each position, where the layout says so one by one; without it
        they come two to an output, in their order, green before red.
    held_on: whether what throws it stays on while it lies, as with a motor driven both ways.
    motors: how many coils, motors or servos are on its outputs: of coupled drives each fitting
        may have one of its own.
    takes: milliamperes that each of them takes while it is thrown.
    """

    drive: str
    outputs: tuple[OutputRef, ...]
    action: Action | None
    milliseconds: int | None
    crossed: bool
    span: Span
    settles: int | None = None
    rests: int | None = None
    wires: tuple[str, ...] = ()
    stated: tuple[Place, ...] = ()
    held_on: bool = False
    motors: int = 1
    takes: int | None = None

    def place(self, index: int) -> Place:
        """What throws it to a position, by the position's place in the order of all.

        Where the wiring is crossed each two positions that follow each other are swapped.
        """
        if self.stated:
            other = index ^ 1 if self.crossed else index
            return self.stated[other if other < len(self.stated) else index]
        red = bool(index % 2) != self.crossed
        return Place(self.outputs[index // 2], "red" if red else "green", None)


@dataclass(frozen=True, slots=True)
class Supply:
    """A supply and its limits.

    at_a_time: drives that may be thrown at once: as stated, or as its current allows.
    rest: milliseconds after each throw.
    millivolts, milliamperes: what it gives. fuse: milliamperes.
    charging: milliseconds in which its capacitor is charged again.
    wires: millimetres from it to the farthest decoder.
    """

    name: str
    feeds: tuple[str, ...]
    at_a_time: int | None
    rest: int | None
    span: Span
    millivolts: int | None = None
    milliamperes: int | None = None
    fuse: int | None = None
    charging: int | None = None
    wires: int | None = None


@dataclass(frozen=True, slots=True)
class NamedOutput:
    """An output for something that no route needs: a light, a gate, an uncoupler.

    states: what its sides bring about, by the sides; of one side alone if the other is free.
    milliseconds: the pulse of a coil, the travel of a motor or servo.
    """

    name: str
    output: OutputRef
    states: Mapping[str, Side]
    action: Action | None
    milliseconds: int | None
    span: Span


@dataclass(frozen=True, slots=True)
class District:
    """Track that one booster feeds.

    elements: all of it. What it gives, its fuse and its wires are told as of a supply.
    """

    name: str
    elements: tuple[str, ...]
    span: Span
    millivolts: int | None = None
    milliamperes: int | None = None
    fuse: int | None = None
    wires: int | None = None


@dataclass(frozen=True, slots=True)
class Hardware:
    """Decoders, supplies and the wiring of drives, by name; outputs for other things.

    first_decoder: the number in its packets of the decoder that has outputs 1 to 4: 0
        or 1, as equipment differs; None if the layout does not say.
    """

    decoders: Mapping[str, Decoder]
    wirings: Mapping[str, Wiring]
    supplies: Mapping[str, Supply]
    first_decoder: int | None = None
    outputs: Mapping[str, NamedOutput] = field(default_factory=dict)

    def number_of(self, output: OutputRef) -> int:
        """The number of an output on the layout: its accessory address."""
        return self.decoders[output.decoder].address + output.number - 1


@dataclass(frozen=True, slots=True)
class PanelWires:
    """What the buttons and lamps of the panel are wired to, by the place of their lines.

    Which routes they are for is found once the routes are.
    """

    buttons: Mapping[Span, Input] = field(default_factory=dict)
    lamps: Mapping[Span, tuple[OutputRef, Side]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Above:
    """A wish about the picture: an element or edge is drawn above another."""

    upper: str
    lower: str
    span: Span

    def __str__(self) -> str:
        return f"draw {self.upper} above {self.lower}"


@dataclass(frozen=True, slots=True)
class Layout:
    """A whole layout. All mappings are in the order of the source.

    joined: what lies beyond each leg.
    drive_of: the name of the drive that throws each work.
    section_of: the section each element lies in.
    reversers: elements fed through a reverser.
    districts: track fed by boosters of its own; none where one supply feeds all.
    reads: on which side of its element each leg lies as the run that names it reads.
    above: what is to be drawn above what; nothing but the picture asks for it.
    shown: bridges, platforms and notes; likewise.
    reports: which inputs report sections occupied, and where drives lie.
    times: of approach locking, overlaps, drives and reports.
    frogs: on two rails; none on three, where both rails are of one polarity.
    switched: the frogs of each element that have an output.
    chosen: the outputs and inputs that were chosen where only a kind is named, by the place
        where it is.
    """

    title: str
    rails: int
    detection: bool
    kinds: Mapping[str, FittingKind]
    elements: Mapping[str, Element]
    joined: Mapping[Leg, TrackEnd]
    edges: Mapping[str, Leg]
    signals: Mapping[str, Signal]
    drives: Mapping[str, Drive]
    drive_of: Mapping[Work, str]
    sections: Mapping[str, Section]
    section_of: Mapping[str, str]
    reversers: frozenset[str]
    hardware: Hardware
    where: Mapping[str, Span] = field(compare=False)
    reads: Mapping[Leg, Hand] = field(default_factory=dict)
    above: tuple[Above, ...] = ()
    shown: Shown = field(default_factory=Shown)
    reports: Reports = field(default_factory=Reports)
    times: Times = field(default_factory=Times)
    panel_wires: PanelWires = field(default_factory=PanelWires)
    frogs: Mapping[FrogPart, Frog] = field(default_factory=dict)
    switched: Mapping[str, tuple[Frog, ...]] = field(default_factory=dict)
    districts: Mapping[str, District] = field(default_factory=dict)
    chosen: Mapping[Span, tuple[OutputRef | DetectorInput, ...]] = field(default_factory=dict)

    def ways_from(self, leg: Leg) -> tuple[Way, ...]:
        """The ways a train may take that enters an element by this leg."""
        element = self.elements[leg.element]
        ways = []
        for way in element.kind.ways:
            for entry, exit_ in (way.legs, way.legs[::-1]):
                if entry == leg.leg:
                    when = tuple(
                        (self.drive_of[Work(element.name, drive)], position)
                        for drive, position in way.when
                    )
                    frogs = tuple(
                        (frog.drive, fed_from)
                        for frog in self.switched.get(element.name, ())
                        if frog.drive is not None and (fed_from := frog.kind.leg_of(way.legs))
                    )
                    ways.append(Way(element.name, entry, exit_, when, frogs))
        return tuple(ways)

    def drives_by_name(self) -> dict[str, str]:
        """The name of the drive behind each name that a drive may be called by: coupled
        drives have several; what switches a frog is called as that is."""
        names = {str(work): name for work, name in self.drive_of.items()}
        return names | {drive.name: drive.name for drive in self.drives.values() if drive.frog}

    def drives_in(self, element: str) -> list[str]:
        """What the drives of a fitting may be called."""
        return [str(work) for work in self.drive_of if work.element == element]
