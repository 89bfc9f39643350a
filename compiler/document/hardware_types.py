"""Decoders, detectors, supplies and the panel, as the document has them."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from msgspec import Meta

from bellcrank.document.conditions import fields
from bellcrank.document.detector_types import Button, ButtonPair, Detector, Report, RouteLamp
from bellcrank.document.layout_types import Action, Address, OutputNumber, Side
from bellcrank.document.part import (
    DecoderName,
    Milliseconds,
    Name,
    Part,
    Rules,
    Sentence,
    Some,
    SomeUnique,
    about,
)
from bellcrank.document.switch_types import (
    MOST_SWITCHES,
    Inverted,
    RotaryBank,
    SwitchBank,
    SwitchesOn,
)
from bellcrank.layout.layout_model import Lamps as WhatGoesOut
from bellcrank.layout.layout_model import Packets as AccessoryPackets
from bellcrank.layout.layout_model import Pulses as WhoEndsPulses
from bellcrank.layout.variables import HIGHEST_CONTENT, HIGHEST_VARIABLE, VariableIs

Packets = Annotated[
    AccessoryPackets,
    Meta(
        title="Packets",
        description="Accessory packets of NMRA S-9.2.1: `basic`, which switch one side of an "
        "output, or `extended`, which carry the value of an aspect.",
    ),
]


Pulses = Annotated[
    WhoEndsPulses,
    Meta(
        title="Pulses",
        description="Who ends the pulse of a coil. `held`: it is on until it is switched off "
        "again; `timed`: the decoder ends it by itself.",
    ),
]

Lamps = Annotated[
    WhatGoesOut,
    Meta(
        title="Lamps",
        description="What goes out by itself when a lamp of a signal is switched on. `alone`: "
        "nothing; `paired`: the other side of the same output; `grouped`: all other lamps of the "
        "signal on that decoder.",
    ),
]


class Terminals(Part):
    """What is printed at the terminals of one output; null where the layout does not say."""

    output: Annotated[OutputNumber, about("The output, counted from 1 on its decoder.")]
    green: Annotated[
        Sentence | None, about("The terminal of its green side; null where nobody says.", "A1")
    ]
    red: Annotated[
        Sentence | None, about("The terminal of its red side; null where nobody says.", "B1")
    ]
    common: Annotated[
        Sentence | None,
        about("The terminal of the wire that both sides share; null where nobody says.", "C"),
    ]


WhatVariableHolds = Annotated[
    VariableIs,
    Meta(
        title="What a variable holds",
        description="`address low` and `address high`, the two parts of the address; "
        "`configuration`, how the decoder is addressed (NMRA S-9.2.2); `on time`, how long an "
        "output is on; `stated`, what the layout says of all decoders of the kind.",
    ),
]


class Variable(Part):
    """A configuration variable of a decoder, and what to write into it."""

    number: Annotated[
        int, about("The number of the variable.", 1, 9), Meta(ge=1, le=HIGHEST_VARIABLE)
    ]
    value: Annotated[int, about("What it must hold.", 5, 20), Meta(ge=0, le=HIGHEST_CONTENT)]
    what: Annotated[WhatVariableHolds, about("What it is.")]
    output: Annotated[
        OutputNumber | None,
        about("The output on the decoder whose time it is; null if it is something else."),
    ]
    packet: Annotated[
        Annotated[str, Meta(pattern=r"^[0-9A-F]{2}( [0-9A-F]{2}){5}$")] | None,
        about(
            "The bytes that write it while the decoder is in use at its address (operations mode, "
            "NMRA S-9.2.1), in hexadecimal; sent twice at least. Null for what makes the decoder "
            "listen to another address, which is written on a programming track, and where the "
            "layout does not say how outputs are numbered in packets.",
            "81 F0 EC 02 14 8B",
        ),
    ]


class Lesson(Part):
    """A number that a decoder learns while its button is held."""

    output: Annotated[OutputNumber, about("The output, counted from 1 on its decoder.")]
    number: Annotated[Address, about("The number to command, to its green side.")]


class Decoder(Part):
    """A decoder and how it is addressed."""

    name: Annotated[DecoderName, about("The name of the decoder.")]
    kind: Annotated[Name, about("The kind of decoder, as its user calls it.", "quad")]
    address: Annotated[
        Address,
        about(
            "The output number of its first output; its other outputs have the numbers that follow."
        ),
    ]
    assigned: Annotated[
        bool, about("Whether the address was chosen for it, as the layout states none.")
    ]
    packets: Annotated[
        Packets,
        about(
            "The accessory packets it listens to (NMRA S-9.2.1): `basic`, which switch one side "
            "of an output, or `extended`, which carry the value of an aspect."
        ),
    ]
    pulses: Annotated[
        Pulses,
        about("Who ends the pulse of a coil: a command (`held`), or it does so (`timed`)."),
    ]
    lamps: Annotated[
        Lamps,
        about(
            "What goes out by itself when a lamp is switched on: nothing (`alone`), the other side "
            "of its output (`paired`), or all others of the signal (`grouped`)."
        ),
    ]
    outputs: Annotated[OutputNumber, about("How many outputs it has.")]
    switches: Annotated[
        int,
        about("How many address switches it has; 0 if none.", 0, 9),
        Meta(ge=0, le=MOST_SWITCHES),
    ]
    inverted: Inverted
    switches_on: SwitchesOn
    switch_bank: SwitchBank
    rotary_bank: RotaryBank
    variables: Annotated[
        list[Variable],
        about(
            "What its configuration variables must hold, in their order. Empty if it is not set "
            "by variables."
        ),
    ]
    learning: Annotated[
        list[Lesson],
        about(
            "What it learns while its button is held, one after the other: the number of its first "
            "output, from which the others follow, or that of each. Empty if it does not learn."
        ),
    ]
    terminals: Annotated[
        Some[Terminals],
        about("What is printed at the terminals of every output, output 1 first."),
    ]

    # Told as a limit of the list, generators of code would write out each length.
    rules: ClassVar[Rules] = {"switch_bank": fields(switch_bank={"maxItems": MOST_SWITCHES})}


Millivolts = Annotated[int, Meta(ge=1)]

Milliamperes = Annotated[int, Meta(ge=1)]


class Supply(Part):
    """A supply and what it can bear."""

    name: Annotated[Name, about("The name of the supply.", "BENCH")]
    feeds: Annotated[SomeUnique[DecoderName], about("The names of the decoders that it feeds.")]
    at_a_time: Annotated[
        Annotated[int, Meta(ge=1, le=256)] | None,
        about("How many drives may be thrown at once; null for no limit.", 1),
    ]
    rest_milliseconds: Annotated[
        Milliseconds | None,
        about("How long it must rest after each throw, in milliseconds; null for no rest."),
    ]
    millivolts: Annotated[
        Millivolts | None, about("What it gives, in millivolts; null where nobody says.", 16000)
    ]
    milliamperes: Annotated[
        Milliamperes | None, about("What it gives, in milliamperes; null where nobody says.", 3000)
    ]
    fuse_milliamperes: Annotated[
        Milliamperes | None, about("Its fuse, in milliamperes; null where nobody says.", 3000)
    ]
    charging_milliseconds: Annotated[
        Milliseconds | None,
        about(
            "How long its capacitor takes to be charged again, in milliseconds: five time "
            "constants; null where it has none.",
            2350,
        ),
    ]
    wire_millimetres: Annotated[
        Annotated[int, Meta(ge=1)] | None,
        about(
            "How long its longest pair of wires is, in millimetres; null where nobody says.", 6000
        ),
    ]
    wire_hundredths_of_square_millimetre: Annotated[
        Annotated[int, Meta(ge=1)] | None,
        about(
            "The cross-section that this pair needs, in hundredths of a square millimetre, so that "
            "no more than a tenth of the voltage is lost at the whole current; null where that is "
            "not known, or where no single pair is large enough.",
            75,
        ),
    ]


class OutputState(Part):
    """What one side of an output brings about."""

    state: Annotated[Name, about("The state, as the layout calls it.", "on", "open")]
    side: Side


class NamedOutput(Part):
    """An output for something that no route needs, such as a light, a gate or an uncoupler. It is
    no part of the proof."""

    name: Annotated[Name, about("The name of the output.", "GATE")]
    decoder: DecoderName
    output: Annotated[OutputNumber, about("The output, counted from 1 on its decoder.")]
    number: Annotated[Address, about("Its number on the layout.")]
    action: Annotated[
        Action | None, about("What is wired to it; null for something that is on or off.")
    ]
    milliseconds: Annotated[
        Milliseconds | None,
        about(
            "The pulse of a coil, or the travel of a motor or servo, in milliseconds; null for "
            "anything else."
        ),
    ]
    states: Annotated[
        Some[OutputState],
        about("What its two sides bring about, or one of them if the other is free."),
    ]


FirstDecoder = Annotated[
    Literal[0, 1],
    Meta(
        title="First decoder",
        description="The number, in packets, of the decoder that has the outputs 1 to 4: 0 or 1, "
        "as equipment differs.",
    ),
]


class Hardware(Part):
    """The decoders and supplies, the detectors and the panel. All lists are empty for a layout that
    is worked by hand and eye."""

    first_decoder: Annotated[
        FirstDecoder | None,
        about(
            "The number, in packets, of the decoder that has the outputs 1 to 4: 0 or 1, as "
            "equipment differs; null where the layout does not say. Output n is pair (n-1) mod 4 "
            "of decoder (n-1) div 4 + this (NMRA S-9.2.1, basic accessory packet); the address in "
            "an extended packet is n - 1 + 4 times this."
        ),
    ]
    decoders: Annotated[list[Decoder], about("Every decoder, in the order of the source.")]
    supplies: Annotated[
        list[Supply],
        about(
            "Every supply, in the order of the source. A decoder that no supply names has no "
            "limits."
        ),
    ]
    detectors: Annotated[list[Detector], about("Every detector, in the order of the source.")]
    reports: Annotated[
        list[Report],
        about(
            "Which inputs report what: that a section is occupied, or that a drive lies in a "
            "position. Sections stand before drives, each in the order of the source."
        ),
    ]
    buttons: Annotated[
        list[Button], about("Every push button of the panel, in the order of the source.")
    ]
    button_pairs: Annotated[
        list[ButtonPair],
        about("The routes that two buttons at places ask for, pressed one after the other."),
    ]
    outputs: Annotated[
        list[NamedOutput],
        about("Every output for something that no route needs, in the order of the source."),
    ]
    lamps: Annotated[list[RouteLamp], about("Every lamp of the panel, in the order of the source.")]
