"""What a controller hears and how long it waits, as the document has it: detectors, reports, the
buttons and lamps of the panel, and times."""

from __future__ import annotations

from typing import Annotated, ClassVar

from msgspec import Meta

from bellcrank.document.conditions import NULL, NUMBER, TEXT, fields, rule
from bellcrank.document.layout_types import Address, OutputNumber, Side
from bellcrank.document.part import (
    DecoderName,
    DetectorName,
    DriveName,
    Milliseconds,
    Name,
    Part,
    PositionName,
    RouteName,
    Rules,
    SectionName,
    Sentence,
    SignalName,
    Some,
    about,
)
from bellcrank.document.switch_types import (
    MOST_SWITCHES,
    Inverted,
    RotaryBank,
    SwitchBank,
    SwitchesOn,
)
from bellcrank.routes.panel_model import PlaceKind as WhereRoutesEnd

InputNumber = Annotated[int, Meta(ge=1, le=256, examples=[1, 8])]

InputAddress = Annotated[int, Meta(ge=1, le=9999, examples=[1, 17])]

HeardDetector = Annotated[
    DetectorName | None,
    about("The name of the detector in `hardware.detectors`; null for an input without address."),
]

HeardInput = Annotated[
    InputNumber | None,
    about(
        "Which input of that detector, counted from 1 on the detector; null for an input without "
        "address. Its number on the layout is the detector's address + input - 1."
    ),
]

HeardNumber = Annotated[
    InputAddress | None,
    about("The number of the input on the layout; null for an input without address."),
]

InputName = Annotated[
    Sentence | None,
    about(
        "What the layout calls an input without address, such as the topic under which it is "
        "heard of; null for an input of a detector.",
        "rail/t1",
    ),
]

HEARD: Rules = {
    "detector": rule(
        fields(detector=NULL),
        fields(input=NULL, number=NULL, input_name=TEXT),
        fields(input=NUMBER, number=NUMBER, input_name=NULL),
    )
}
"""An input is one of a detector, or has a name of the user's own."""


class InputTerminals(Part):
    """What is printed at the terminals of one input; null where the layout does not say."""

    input: Annotated[InputNumber, about("The input, counted from 1 on its detector.")]
    terminal: Annotated[
        Sentence | None, about("The terminal of the input; null where nobody says.", "4")
    ]
    common: Annotated[
        Sentence | None,
        about("The terminal that all inputs share; null where nobody says.", "0 V"),
    ]


class Detector(Part):
    """A detector, or another module with inputs, and how it is addressed."""

    name: Annotated[DetectorName, about("The name of the detector.")]
    kind: Annotated[Name, about("The kind of detector, as its user calls it.", "octo")]
    address: Annotated[
        InputAddress,
        about(
            "The number of its first input; its other inputs have the numbers that follow. Inputs "
            "are numbered apart from outputs."
        ),
    ]
    assigned: Annotated[
        bool, about("Whether the address was chosen for it, as the layout states none.")
    ]
    inputs: Annotated[InputNumber, about("How many inputs it has.")]
    switches: Annotated[
        int,
        about("How many address switches it has; 0 if none.", 0, 8),
        Meta(ge=0, le=MOST_SWITCHES),
    ]
    inverted: Inverted
    switches_on: SwitchesOn
    switch_bank: SwitchBank
    rotary_bank: RotaryBank
    terminals: Annotated[
        Some[InputTerminals],
        about("What is printed at the terminals of every input, input 1 first."),
    ]

    rules: ClassVar[Rules] = {"switch_bank": fields(switch_bank={"maxItems": MOST_SWITCHES})}


Opens = Annotated[
    bool,
    about(
        "Whether it is the other way round: the input is off while that is so, and on otherwise."
    ),
]


class SectionReport(Part, tag_field="type", tag="section"):
    """An input that is on while a section is occupied."""

    section: Annotated[SectionName, about("The name of the section in `layout.sections`.")]
    opens: Opens
    detector: HeardDetector
    input: HeardInput
    number: HeardNumber
    input_name: InputName

    rules: ClassVar[Rules] = HEARD


class DriveReport(Part, tag_field="type", tag="drive"):
    """A contact: an input that is on while a drive lies in a position. Where a drive with two
    positions has one contact alone, off means the other position."""

    drive: Annotated[DriveName, about("The name of the drive in `layout.drives`.")]
    position: Annotated[PositionName, about("The position in which the input is on.")]
    opens: Opens
    detector: HeardDetector
    input: HeardInput
    number: HeardNumber
    input_name: InputName

    rules: ClassVar[Rules] = HEARD


Report = SectionReport | DriveReport


class RouteButton(Part, tag_field="type", tag="route"):
    """A push button that asks for one route, or cancels it."""

    route: Annotated[RouteName, about("The name of the route in `routes`.")]
    cancels: Annotated[bool, about("Whether it cancels the route, instead of asking for it.")]
    detector: HeardDetector
    input: HeardInput
    number: HeardNumber
    input_name: InputName

    rules: ClassVar[Rules] = HEARD


PlaceKind = Annotated[
    WhereRoutesEnd,
    Meta(
        title="Place kind",
        description="Where routes begin and end: a `signal`, an `edge`, or a `stop`, which is "
        "named by the last piece before it.",
    ),
]


class PlaceButton(Part, tag_field="type", tag="place"):
    """A push button where routes begin or end. Of two that are pressed one after the other the
    first is where the route begins; `hardware.button_pairs` says which they ask for."""

    place: Annotated[Name, about("The name of the signal or edge, or of the piece before a stop.")]
    kind: PlaceKind
    detector: HeardDetector
    input: HeardInput
    number: HeardNumber
    input_name: InputName

    rules: ClassVar[Rules] = HEARD


class CancelButton(Part, tag_field="type", tag="cancel"):
    """A push button that cancels whatever route is set from a signal."""

    signal: Annotated[SignalName, about("The name of the signal in `layout.signals`.")]
    detector: HeardDetector
    input: HeardInput
    number: HeardNumber
    input_name: InputName

    rules: ClassVar[Rules] = HEARD


Button = RouteButton | PlaceButton | CancelButton


class ButtonPair(Part):
    """The route that two buttons at places ask for."""

    first: Annotated[Name, about("The place of the button that is pressed first.", "H")]
    second: Annotated[Name, about("The place of the button that is pressed after it.", "T1")]
    route: Annotated[RouteName, about("The name of the route in `routes`.")]


class RouteLamp(Part):
    """A lamp of the panel, lit while a route is set."""

    route: Annotated[RouteName, about("The name of the route in `routes`.")]
    decoder: Annotated[DecoderName, about("The name of the decoder in `hardware.decoders`.")]
    output: Annotated[OutputNumber, about("Which output of that decoder, counted from 1 on it.")]
    number: Annotated[Address, about("The number of the output on the layout.")]
    side: Annotated[Side, about("The side of the output that lights the lamp.")]


# ------------------------------------------------------------------------ times


class SignalTime(Part):
    """A time at a signal."""

    signal: Annotated[SignalName, about("The name of the signal.")]
    milliseconds: Annotated[Milliseconds, about("How long, in milliseconds.")]


class DriveTime(Part):
    """A time of a drive."""

    drive: Annotated[DriveName, about("The name of the drive.")]
    milliseconds: Annotated[Milliseconds, about("How long, in milliseconds.")]


class SectionTime(Part):
    """A time of a section."""

    section: Annotated[SectionName, about("The name of the section.")]
    milliseconds: Annotated[Milliseconds, about("How long, in milliseconds.")]


class Times(Part):
    """How long a controller waits where nobody reports: what the layout states and, where it does
    not, what is common practice on models."""

    approach_locking: Annotated[
        list[SignalTime],
        about(
            "For each signal at which a route begins: how long a cancelled route is held after the "
            "signal was put to stop."
        ),
    ]
    overlaps: Annotated[
        list[SignalTime],
        about(
            "For each signal with an overlap: how long that is kept once the train has come to the "
            "end of its route."
        ),
    ]
    drives: Annotated[
        list[DriveTime],
        about(
            "For each detected drive: the time within which it must have reported, from its "
            "command on."
        ),
    ]
    section_reports: Annotated[
        list[SectionTime],
        about("For each detected section: how late a report of it may be."),
    ]
    drive_reports: Annotated[
        list[DriveTime],
        about("For each detected drive: how late a report of it may be."),
    ]
