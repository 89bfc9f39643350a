"""Commands, when they are sent, and all that can be commanded, as the document has them."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from msgspec import Meta

from bellcrank.document.conditions import (
    EMPTY,
    LIT,
    NULL,
    NUMBER,
    SHOWN,
    TEXT,
    WIRED,
    among,
    each,
    fields,
    just,
    rule,
)
from bellcrank.document.layout_types import (
    Address,
    OutputNumber,
    Side,
    Wired,
    WiredNumber,
    WiredOutput,
    WiredSide,
    WiredValue,
)
from bellcrank.document.part import (
    DecoderName,
    Milliseconds,
    Name,
    Part,
    RouteName,
    Rules,
    Sentence,
    Time,
    Unique,
    about,
)
from bellcrank.layout.layout_model import Packets as AccessoryPackets
from bellcrank.machine.commands import How as HowDone
from bellcrank.machine.commands import Phase as PhaseOfSetting
from bellcrank.timing.timetable_model import WaitKind as WhoEndsIt
from bellcrank.timing.timetable_model import What as WhatItDoes

PacketType = Annotated[
    AccessoryPackets,
    Meta(
        title="Packet type",
        description="`basic` switches one side of an output, `extended` has an aspect shown.",
    ),
]

_BYTES = r"[0-9A-F]{2}( [0-9A-F]{2})"


class Packet(Part):
    """An accessory packet of NMRA S-9.2.1."""

    type: PacketType
    on: Annotated[
        str,
        about(
            "The bytes that carry out the command, in hexadecimal, the error byte last.",
            "84 FE 7A",
        ),
        Meta(pattern=rf"^{_BYTES}{{2,3}}$"),
    ]
    off: Annotated[
        Annotated[str, Meta(pattern=rf"^{_BYTES}{{2}}$")] | None,
        about(
            "The bytes that switch the side off again, as after the pulse of a coil; null for an "
            "extended packet.",
            "84 F6 72",
        ),
    ]
    bits: Annotated[
        str,
        about(
            "`on` as it goes over the track: a preamble of 14 ones, a 0 before each byte, a last "
            "1 (NMRA S-9.2).",
            "111111111111110100001000111111100011110101",
        ),
        Meta(pattern="^1{14}(0[01]{8}){3,4}1$"),
    ]


Phase = Annotated[
    PhaseOfSetting,
    Meta(
        title="Phase",
        description="`signals to stop` comes first, then `drives`, then `signals off`. Finish one "
        "phase before the next: no drive is thrown before the signals show stop, and no signal is "
        "cleared before the drives lie. `outputs` are for other things than routes, and "
        "in no list of a route.",
    ),
]

Device = Annotated[
    Literal["signal", "drive", "output"],
    Meta(
        title="Command device",
        description="What a command is sent to. A frog on an output is one of `layout.drives`.",
    ),
]

How = Annotated[
    HowDone,
    Meta(
        title="How carried out",
        description="How a command is carried out: by a `coil` (a pulse), `motor` or `servo`; by "
        "switching an `output` and leaving it (signals, frogs, and drives of which the layout says "
        "no more); or `by hand`, where nothing is wired.",
    ),
]


class Lamp(Part):
    """A lamp of a signal that must be put out: a side of an output that is switched off."""

    decoder: Annotated[DecoderName, about("The name of the decoder.")]
    output: Annotated[OutputNumber, about("The output, counted from 1 on its decoder.")]
    number: Annotated[Address, about("The number of the output.")]
    side: Annotated[Side, about("Its side.")]
    packet: Annotated[
        Annotated[str, Meta(pattern=rf"^{_BYTES}{{2}}$")] | None,
        about(
            "The bytes that switch it off (NMRA S-9.2.1, basic accessory packet with C = 0); null "
            "if the layout does not say how outputs are numbered in packets.",
            "84 F6 72",
        ),
    ]


class LampOn(Part):
    """A lamp of a signal that is lit beside another: a side of an output that is switched on."""

    decoder: Annotated[DecoderName, about("The name of the decoder.")]
    output: Annotated[OutputNumber, about("The output, counted from 1 on its decoder.")]
    number: Annotated[Address, about("The number of the output.")]
    side: Annotated[Side, about("Its side.")]
    packet: Annotated[
        Annotated[str, Meta(pattern=rf"^{_BYTES}{{2}}$")] | None,
        about(
            "The bytes that switch it on (NMRA S-9.2.1, basic accessory packet with C = 1); null "
            "if the layout does not say how outputs are numbered in packets.",
            "84 FE 7A",
        ),
    ]


class Command(Part):
    """One command: of a list that sets or cancels a route, or of the one that starts the
    layout up."""

    route: Annotated[
        RouteName | None,
        about("The name of the route it belongs to; null for one that starts the layout up."),
    ]
    step: Annotated[
        int,
        about(
            "Its place in the list that sets the route, from 1 without gaps; it names the "
            "command there and in the timetables. For the start-up likewise.",
            1,
        ),
        Meta(ge=1),
    ]
    phase: Phase
    device: Annotated[Device, about("What it is sent to.")]
    name: Annotated[Name, about("The name of the signal or drive.")]
    state: Annotated[
        Name,
        about(
            "The aspect that the signal is to show, the position that the drive is to lie in, or "
            "the leg that the frog is to take its polarity from.",
            "clear",
            "diverging",
        ),
    ]
    how: Annotated[
        How,
        about(
            "How it is carried out: by a `coil` (a pulse), `motor` or `servo`; by switching an "
            "`output` and leaving it (signals, and drives of which the layout says no more); or "
            "`by hand`, where nothing is wired."
        ),
    ]
    decoder: Annotated[
        Wired,
        about("The name of the decoder to command; null where the command is carried out by hand."),
    ]
    output: WiredOutput
    number: WiredNumber
    side: WiredSide
    value: WiredValue
    milliseconds: Annotated[
        Milliseconds | None,
        about(
            "For a coil the length of its pulse, for a motor or servo the time to wait until it "
            "has travelled, in milliseconds; null for signals, and where the layout does not say."
        ),
    ]
    held: Annotated[
        bool,
        about(
            "Whether what is switched on stays on until it is switched off again, as a coil whose "
            "decoder does not end its pulse by itself: send what ends it, such as `packet.off`, "
            "when `milliseconds` are over, and also if all else is broken off."
        ),
    ]
    puts_out: Annotated[
        list[Lamp],
        about(
            "The lamps to switch off before this one is switched on: those of the signal's other "
            "aspects, except those that this aspect lights too and where the decoder puts them out "
            "by itself. Of a drive that is held on in its positions (`held_on`), likewise the "
            "sides of the others; empty for others."
        ),
    ]
    lights: Annotated[
        list[LampOn],
        about(
            "The lamps to switch on after this one and beside it, where an aspect lights several; "
            "empty for others."
        ),
    ]
    only_if_set: Annotated[
        Unique[RouteName],
        about(
            "Empty for a command that is always meant. Otherwise the signal may be off for "
            "another route that can stand with this one, and the command is meant only while one "
            "of these routes is set: leave it out while none of them is."
        ),
    ]
    packet: Annotated[
        Packet | None,
        about(
            "The accessory packet that does it; null for what is done by hand, and if the layout "
            "does not say how outputs are numbered in packets."
        ),
    ]

    rules: ClassVar[Rules] = {
        **WIRED,
        **SHOWN,
        "how": rule(
            fields(decoder=NULL),
            fields(milliseconds=NULL, how=just("by hand"), held=just(False), puts_out=EMPTY),
            fields(how=among("coil", "motor", "servo", "output")),
        ),
        **LIT,
        "phase": rule(
            fields(phase=just("drives")),
            fields(device=just("drive"), lights=EMPTY),
            rule(
                fields(phase=just("outputs")),
                fields(device=just("output"), lights=EMPTY),
                fields(device=just("signal"), milliseconds=NULL, held=just(False)),
            ),
        ),
        "only_if_set": rule(
            fields(phase=among("drives", "signals off", "outputs")), fields(only_if_set=EMPTY)
        ),
    }


StateDevice = Annotated[
    Literal["drive", "signal", "section", "output"],
    Meta(title="State device", description="What has a state that is commanded or reported."),
]


class State(Part):
    """A state that can be commanded or reported."""

    device: Annotated[StateDevice, about("What has the state.")]
    name: Annotated[Name, about("The name of the drive, signal or section.")]
    state: Annotated[
        Name,
        about(
            "The position of a drive, the aspect of a signal, the leg that a frog takes its "
            "polarity from, or `occupied` or `clear` of a section.",
            "diverging",
            "occupied",
        ),
    ]
    decoder: Annotated[
        Wired,
        about("The name of the decoder that brings it about; null where nothing is wired."),
    ]
    output: WiredOutput
    number: WiredNumber
    side: WiredSide
    value: WiredValue
    puts_out: Annotated[
        list[Lamp],
        about(
            "The lamps to switch off before that of an aspect is switched on: those of the other "
            "aspects, except those that this aspect lights too and where the decoder puts them out "
            "by itself; of a drive that is held on in its positions (`held_on`), of a frog and of "
            "an output that stays on, likewise the sides of the others. Empty for sections."
        ),
    ]
    lights: Annotated[
        list[LampOn],
        about(
            "The lamps to switch on after that one and beside it, where an aspect lights several; "
            "empty for others."
        ),
    ]

    rules: ClassVar[Rules] = {
        **WIRED,
        **SHOWN,
        **LIT,
        "puts_out": rule(fields(device=just("section")), fields(puts_out=EMPTY)),
    }


# ------------------------------------------------------------------- timetables

WaitKind = Annotated[
    WhoEndsIt,
    Meta(
        title="Wait kind",
        description="Who ends the wait. `report`: the drive, which reports where it lies. "
        "`confirmation`: a person, who looks. `release`: the interlocking, which releases the "
        "route (see `machine`).",
    ),
]

What = Annotated[
    WhatItDoes,
    Meta(
        title="Timetable kind",
        description="What a timetable does: sets a route, cancels one, or brings all signals to "
        "stop and all drives to their first position. A document of a layout has these; what is "
        "told of a single command line may also put all signals to stop, throw one drive, or have "
        "one signal show an aspect.",
    ),
]


class Wait(Part):
    """Something that must be known, that no clock tells."""

    kind: WaitKind
    name: Annotated[Name, about("The name of the drive, the signal or the route.")]
    state: Annotated[
        Name,
        about(
            "The position that it lies in, the aspect that it shows, or `released`.",
            "straight",
            "released",
        ),
    ]
    sentence: Annotated[Sentence, about("What is waited for, as a sentence without its full stop.")]


class TimedCommand(Part):
    """A command and its time."""

    at: Annotated[
        Time | None,
        about("When to send it, in milliseconds from the start; null for what is done by hand."),
    ]
    until: Annotated[
        Time | None,
        about(
            "Until then, in milliseconds from the start, the drive is being thrown: its coil is "
            "on, or it travels. The same as `at` where that takes no time, as for signals; null "
            "for what is done by hand."
        ),
    ]
    after: Annotated[
        list[Wait],
        about(
            "What must be known before it, and so before everything after it; while that is "
            "waited for the clock stands still. What concerns a command with `only_if_set` that "
            "was left out need not be waited for."
        ),
    ]
    command: Annotated[Command, about("The command.")]

    rules: ClassVar[Rules] = {
        "command": rule(
            fields(command=fields(how=just("by hand"))),
            fields(at=NULL, until=NULL),
            fields(at=NUMBER, until=NUMBER),
        )
    }


class Timetable(Part):
    """Commands in the order in which they are carried out, with their times within the limits
    of drives and supplies."""

    what: What
    route: Annotated[RouteName | None, about("The name of the route; null where it is for none.")]
    total: Annotated[
        Time,
        about(
            "Milliseconds until all drives are taken to lie, without what is waited for and what "
            "is done by hand."
        ),
    ]
    bound: Annotated[
        Time,
        about(
            "Milliseconds below which no timetable within the limits can be. If it is less than "
            "the total, a shorter timetable was neither found nor ruled out."
        ),
    ]
    commands: Annotated[list[TimedCommand], about("In the order in which they are carried out.")]
    waits: Annotated[
        list[Wait],
        about("What must be known at the end, before it counts as done."),
    ]

    rules: ClassVar[Rules] = {
        "what": rule(
            fields(what=among("set", "cancel")),
            fields(route=TEXT, commands=each(fields(command=fields(route=TEXT)))),
            fields(route=NULL, commands=each(fields(command=fields(route=NULL)))),
        )
    }
