"""Track, signals and drives, as the document has them."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from msgspec import Meta

from bellcrank.document.conditions import (
    LIT,
    NULL,
    NUMBER,
    SHOWN,
    WIRED,
    fields,
    rule,
)
from bellcrank.document.frog_types import Frog, KindFrog
from bellcrank.document.part import (
    AspectName,
    DecoderName,
    DistrictName,
    DriveName,
    EdgeName,
    ElementName,
    LegName,
    Milliseconds,
    Part,
    PositionName,
    Rules,
    SectionName,
    Sentence,
    Several,
    SeveralUnique,
    SignalName,
    Some,
    SomeUnique,
    Unique,
    about,
)
from bellcrank.layout.feeds import Cut as RailsCut
from bellcrank.layout.layout_model import Action as DriveAction
from bellcrank.layout.layout_model import Hand
from bellcrank.layout.layout_model import Side as OutputSide

# ------------------------------------------------- what something is wired to

Side = Annotated[
    OutputSide,
    Meta(
        title="Side",
        description="A side of an accessory output: `green` (straight, proceed) or `red` "
        "(diverging, stop).",
    ),
]

Wired = Annotated[
    DecoderName | None,
    about("The name of the decoder in `hardware.decoders`; null where nothing is wired."),
]

OutputNumber = Annotated[int, Meta(ge=1, le=256, examples=[1, 4])]

WiredOutput = Annotated[
    OutputNumber | None,
    about(
        "Which output of that decoder, counted from 1 on the decoder; null where nothing is "
        "wired. Its number on the layout is the decoder's address + output - 1."
    ),
]

Address = Annotated[int, Meta(ge=1, le=2040, examples=[1, 21])]

WiredNumber = Annotated[
    Address | None,
    about(
        "The number of the output on the layout, its accessory address, counted from 1; null "
        "where nothing is wired."
    ),
]

WiredSide = Annotated[
    Side | None,
    about(
        "The side of an accessory output to activate: `green` (straight, proceed) or `red` "
        "(diverging, stop). Crossed wiring has been taken into account already. Null where "
        "there is no output, and where `value` is given."
    ),
]

AspectValue = Annotated[int, Meta(ge=0, le=255, examples=[0, 16])]

WiredValue = Annotated[
    AspectValue | None,
    about(
        "The value that shows an aspect, or sends a drive to a position, on a decoder which "
        "listens to extended packets (NMRA S-9.2.1, byte 3 of the extended accessory packet), 0 "
        "being stop; `side` is null then. "
        "Null everywhere else."
    ),
]


# ------------------------------------------------------------------------ track


class LegEnd(Part, tag_field="type", tag="leg"):
    """A place where track is joined: one leg of an element."""

    element: Annotated[ElementName, about("The name of the element.")]
    leg: Annotated[LegName, about("The name of its leg, one of those in the element's `legs`.")]


class EdgeEnd(Part, tag_field="type", tag="edge"):
    """A place where track leaves the layout."""

    name: Annotated[EdgeName, about("The name of the edge in `layout.edges`.")]


class StopEnd(Part, tag_field="type", tag="stop"):
    """A buffer stop."""


End = LegEnd | EdgeEnd | StopEnd
"""What lies beyond a leg."""


class KindDrive(Part):
    """One drive of a kind of element."""

    name: Annotated[
        str,
        about(
            "The name of the drive; empty for the only drive of a fitting, which bears the "
            "fitting's name.",
            "",
            "end1",
        ),
    ]
    positions: Annotated[
        SeveralUnique[PositionName],
        about("Where it can lie: the first on the green side of an output, the second on the red."),
    ]


class KindDrivePosition(Part):
    """A drive of a kind of element and where it must lie."""

    drive: Annotated[str, about("The drive, named as in `drives` of the kind.", "", "end1")]
    position: Annotated[PositionName, about("The position.")]


class KindWay(Part):
    """A way through a kind of element."""

    legs: Annotated[
        Unique[LegName],
        about("The two legs that it joins."),
        Meta(min_length=2, max_length=2),
    ]
    when: Annotated[
        list[KindDrivePosition],
        about("Where drives of the fitting must lie for it; empty where it lies right always."),
    ]


class ElementKind(Part):
    """A kind of element."""

    name: Annotated[
        str,
        about("Its name, such as points or double slip with one drive.", "points", "plain piece"),
        Meta(min_length=1),
    ]
    legs: Annotated[SeveralUnique[LegName], about("Its legs, in order round the fitting.")]
    drives: Annotated[list[KindDrive], about("Its drives.")]
    ways: Annotated[
        Some[KindWay], about("The ways through it. A train takes each in both directions.")
    ]
    frogs: Annotated[
        list[KindFrog],
        about("Its frogs, as far as they are stated; none says nothing about whether it has any."),
    ]


class Element(Part):
    """A fitting, such as points, or a plain piece of track."""

    name: Annotated[ElementName, about("The name of the element.")]
    kind: Annotated[
        str,
        about(
            "The kind of fitting, such as `points` or `double slip with one drive`, or "
            "`plain piece`.",
            "points",
            "plain piece",
        ),
        Meta(min_length=1),
    ]
    section: Annotated[SectionName, about("The name of the section that it lies in.")]
    legs: Annotated[
        dict[LegName, End],
        about(
            "What is joined to each of its legs, by the name of the leg, in order round the "
            "fitting: a leg of another element, an edge, or a stop."
        ),
        Meta(min_length=2),
    ]


class Section(Part):
    """Track that is held and cleared as one."""

    name: Annotated[SectionName, about("The name of the section.")]
    elements: Annotated[SomeUnique[ElementName], about("The names of the elements in it.")]
    detected: Annotated[
        bool,
        about("Whether a detector tells that it is occupied. If false, the operator must look."),
    ]


class Edge(Part):
    """A place where track leaves the layout, and where that is."""

    name: Annotated[EdgeName, about("The name of the edge.")]
    at: Annotated[LegEnd, about("The leg at which track leaves.")]


# ---------------------------------------------------------------------- signals


class LitLamp(Part):
    """A lamp that an aspect lights beside its first one."""

    decoder: Annotated[DecoderName, about("The name of the decoder.")]
    output: Annotated[OutputNumber, about("The output, counted from 1 on its decoder.")]
    number: Annotated[Address, about("The number of the output.")]
    side: Annotated[Side, about("Its side.")]
    blinking: Annotated[
        bool,
        about("Whether it blinks. The decoder or the lamp does that: no command says it."),
    ]


class Aspect(Part):
    """One aspect of a signal and how it is shown."""

    name: Annotated[AspectName, about("The name of the aspect, such as stop, caution or clear.")]
    decoder: Wired
    output: WiredOutput
    number: WiredNumber
    side: WiredSide
    value: WiredValue
    blinking: Annotated[
        bool,
        about(
            "Whether its lamp blinks, the first one if it lights several. The decoder or the lamp "
            "does that: no command says it."
        ),
    ]
    lights: Annotated[
        list[LitLamp],
        about(
            "The lamps that are lit after the first one, which `number` and `side` tell, and "
            "beside it; empty for most. A lamp may be lit in several aspects."
        ),
    ]

    rules: ClassVar[Rules] = {**WIRED, **SHOWN, **LIT}


SignalKind = Annotated[
    Literal["main", "shunt"],
    Meta(title="Signal kind", description="`main`, or `shunt` for a shunt signal."),
]


class Signal(Part):
    """A signal, which stands at a joint and is read in one direction."""

    name: Annotated[SignalName, about("The name of the signal.")]
    kind: SignalKind
    before: Annotated[
        LegEnd | EdgeEnd,
        about(
            "The leg by which a train comes to the signal, or the edge where the signal stands "
            "at one."
        ),
    ]
    beyond: Annotated[LegEnd, about("The leg that a train enters when it passes the signal.")]
    aspects: Annotated[
        Several[Aspect], about("What it can show: stop first, the most permissive last.")
    ]
    repeaters: Annotated[
        Unique[SignalName],
        about(
            "Signals elsewhere on the same outputs, which show the same. They are at no joint, and "
            "no route begins or ends there.",
            ["HR"],
        ),
    ]
    imagined: Annotated[
        bool,
        about(
            "Whether it is only thought of: nothing stands there, and no command is for it. "
            "Routes begin and end there all the same."
        ),
    ]


# ----------------------------------------------------------------------- drives

Action = Annotated[
    DriveAction,
    Meta(
        title="Action",
        description="What kind of drive it is: a `coil` needs a pulse and never a level, as it "
        "overheats when left on; `motor` and `servo` need time to travel.",
    ),
]


DriveDevice = Annotated[
    Literal["drive", "frog"],
    Meta(title="Drive device", description="What a drive moves: points, or the feed of a frog."),
]


class WiredPosition(Part):
    """One position and how it is reached. All null where the drive is thrown by hand or not
    wired."""

    position: Annotated[PositionName, about("The name of the position.")]
    decoder: Wired
    output: WiredOutput
    number: WiredNumber
    side: WiredSide
    value: WiredValue

    rules: ClassVar[Rules] = {**WIRED, **SHOWN}


class Drive(Part):
    """What throws points, or switches a frog."""

    name: Annotated[
        DriveName,
        about(
            "The name of the drive: that of its fitting, or fitting and drive (`S1.end1`) where "
            "the fitting has several."
        ),
    ]
    works: Annotated[
        SomeUnique[DriveName],
        about(
            "The names of all drives that are thrown together with it, its own first; more than "
            "one where drives are coupled."
        ),
    ]
    action: Annotated[
        Action | None,
        about(
            "What kind of drive it is. Null where it is thrown by hand or the layout does not say."
        ),
    ]
    milliseconds: Annotated[
        Milliseconds | None,
        about(
            "For a coil the length of its pulse, for a motor or servo the time it takes to "
            "travel, in milliseconds; null where the layout does not say."
        ),
    ]
    settles_milliseconds: Annotated[
        Milliseconds | None,
        about(
            "How long after its command it is taken to lie, in milliseconds, if that is longer "
            "than its pulse or travel; null where the layout does not say."
        ),
    ]
    rests_milliseconds: Annotated[
        Milliseconds | None,
        about(
            "How long it must be left alone after it was thrown, to cool, in milliseconds; null "
            "where the layout does not say."
        ),
    ]
    crossed: Annotated[
        bool,
        about(
            "Whether its wires are swapped. For information only: every `side` in this document "
            "has been swapped already."
        ),
    ]
    detected: Annotated[bool, about("Whether something reports where it lies.")]
    device: Annotated[
        DriveDevice,
        about(
            "`drive` throws points; `frog` switches the frog of this name in `layout.frogs`, and "
            "its positions are the legs that the frog takes its polarity from."
        ),
    ]
    positions: Annotated[
        Several[WiredPosition],
        about("Every position and the output side, or the value, that throws the drive there."),
    ]
    wires: Annotated[
        list[Sentence],
        about(
            "The names or colours of its wires: one for each position, in their order, and the "
            "common one last. Empty where the layout does not say.",
            ["white", "brown", "black"],
        ),
    ]
    held_on: Annotated[
        bool,
        about(
            "Whether the side that throws it stays on while it lies there, as with a motor that is "
            "driven both ways and stalls at the end of its travel."
        ),
    ]
    motors: Annotated[
        int,
        about(
            "How many coils, motors or servos are on its outputs: 1, or one at each of its "
            "`works`. A supply throws them all at once.",
            1,
            2,
        ),
        Meta(ge=1),
    ]
    takes_milliamperes: Annotated[
        Annotated[int, Meta(ge=1)] | None,
        about(
            "What each of them takes while it is thrown, in milliamperes; null where nobody says.",
            1200,
        ),
    ]

    rules: ClassVar[Rules] = {
        "action": rule(fields(action=NULL), fields(milliseconds=NULL), fields(milliseconds=NUMBER))
    }


# --------------------------------------------------------------- gaps and feeds

Cut = Annotated[
    RailsCut,
    Meta(
        title="Cut",
        description="What is cut at a joint: `one rail`, that of the detector; `both rails`, at "
        "each end of a stretch behind a reverser and between districts; on track with a centre "
        "conductor `one rail or centre conductor`, as the detector asks, and `centre conductor` "
        "between districts.",
    ),
]

OneSide = Annotated[
    Hand,
    Meta(title="Hand of track", description="One of two sides: `left` or `right`."),
]


class RailGap(Part):
    """A joint at which rails are cut."""

    one: Annotated[LegEnd, about("The leg on one side of the joint.")]
    other: Annotated[LegEnd, about("The leg on the other side of the joint.")]
    cut: Cut
    hand: Annotated[
        OneSide | None,
        about(
            "Of one rail that is cut, its side going from `one` to `other`. Null where both are "
            "cut, on track with a centre conductor, and where a loop joins left rail to right."
        ),
    ]
    signals: Annotated[Unique[SignalName], about("The signals that stand at the joint.")]


class Feed(Part):
    """Track between gaps, and where it is fed."""

    at: Annotated[
        LegEnd,
        about("Where its wires may be joined to it: the element, and the leg `hand` looks along."),
    ]
    hand: Annotated[
        OneSide | None,
        about(
            "The side of the rail that is fed through the detector, looking out of the element by "
            "that leg; the other rail is the return. Null on track with a centre conductor, and "
            "where a loop joins left rail to right."
        ),
    ]
    elements: Annotated[SomeUnique[ElementName], about("All elements that hang on this feed.")]
    sections: Annotated[
        SomeUnique[SectionName],
        about("The sections that they lie in; one where it is detected."),
    ]
    detected: Annotated[
        bool, about("Whether the feed goes through the input of the section's detector.")
    ]
    reverser: Annotated[
        Annotated[int, Meta(ge=1, examples=[1, 2])] | None,
        about("The number of the reverser whose output alone feeds it; null without one."),
    ]
    district: Annotated[
        DistrictName | None,
        about(
            "The district whose booster feeds it, itself or the reverser; null if none is stated."
        ),
    ]


class District(Part):
    """Track that one booster feeds."""

    name: Annotated[DistrictName, about("The name of the district.")]
    elements: Annotated[Unique[ElementName], about("All elements that it feeds.")]
    millivolts: Annotated[
        Annotated[int, Meta(ge=1)] | None,
        about("What its booster gives, in millivolts; null where nobody says.", 15000),
    ]
    milliamperes: Annotated[
        Annotated[int, Meta(ge=1)] | None,
        about("What its booster gives, in milliamperes; null where nobody says.", 3000),
    ]
    fuse_milliamperes: Annotated[
        Annotated[int, Meta(ge=1)] | None,
        about("Its fuse, in milliamperes; null where nobody says.", 3000),
    ]
    wire_millimetres: Annotated[
        Annotated[int, Meta(ge=1)] | None,
        about("How long its longest pair of wires is, in millimetres; null if not said.", 6000),
    ]
    wire_hundredths_of_square_millimetre: Annotated[
        Annotated[int, Meta(ge=1)] | None,
        about(
            "The cross-section that this pair needs, in hundredths of a square millimetre, as of a "
            "supply; null where that is not known, or where no single pair is large enough.",
            150,
        ),
    ]


Rails = Annotated[
    Literal[2, 3],
    Meta(
        title="Rails",
        description="2 for two-rail track, 3 for track with a centre conductor.",
    ),
]


class Layout(Part):
    """The track as a graph of elements, the signals along it, and the drives that throw it."""

    title: Annotated[
        str,
        about(
            "The layout's title, as written; may hold any characters. Where the layout has none, "
            "the name of its file.",
            "Saltmarsh Quay",
        ),
    ]
    rails: Rails
    detection: Annotated[
        bool,
        about(
            "Whether trains are detected on this layout at all; each section says it for itself."
        ),
    ]
    kinds: Annotated[
        Some[ElementKind],
        about(
            "Every kind of element that the layout uses: the ways through it, and where its "
            "drives must lie for each."
        ),
    ]
    elements: Annotated[Some[Element], about("Every fitting and every plain piece of track.")]
    sections: Annotated[
        Some[Section], about("Every section: track that is held and cleared as one.")
    ]
    edges: Annotated[list[Edge], about("Every place where track leaves the layout.")]
    reversers: Annotated[
        Unique[ElementName],
        about("The elements that stand between gaps and are fed through a reverser."),
    ]
    gaps: Annotated[
        list[RailGap],
        about(
            "Every joint at which rails must be cut for sections and reversers. Those that frogs "
            "need are not among them."
        ),
    ]
    districts: Annotated[
        list[District], about("The districts; empty where one supply feeds all track.")
    ]
    feeds: Annotated[
        Some[Feed],
        about(
            "A feed for each stretch of track between gaps; a long one may be given more, from "
            "the same wires."
        ),
    ]
    signals: Annotated[list[Signal], about("Every signal; without one there are no routes.")]
    drives: Annotated[
        list[Drive],
        about("Every drive, and every frog on an output. Drives that are coupled are one."),
    ]
    frogs: Annotated[
        list[Frog],
        about("Every frog that is known. Empty on three rails, where they need no feed."),
    ]
