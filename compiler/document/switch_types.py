"""Address switches of decoders and detectors, as the document has them."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from msgspec import Meta

from bellcrank.document.conditions import fields, just, rule
from bellcrank.document.part import Part, Rules, Unique, about

MOST_SWITCHES = 16

SwitchNumber = Annotated[
    int,
    Meta(
        ge=1,
        le=MOST_SWITCHES,
        title="Switch number",
        description="The number of a switch, counted from 1.",
        examples=[1, 8],
    ),
]


class Switch(Part):
    """One address switch of a decoder or detector."""

    number: Annotated[SwitchNumber, about("Its number, from 1 without gaps.")]
    on: Annotated[bool, about("Whether it must be on.")]
    fixed: Annotated[
        bool,
        about("Whether it is not for the address, and stands alike on all of the kind."),
    ]
    counts: Annotated[
        int,
        about("What it adds to the address; 0 if it is not for the address.", 0, 4),
        Meta(ge=0, le=65_536),
    ]

    rules: ClassVar[Rules] = {
        "fixed": rule(
            fields(fixed=just(True)), fields(counts=just(0)), fields(counts={"minimum": 1})
        )
    }


Positions = Annotated[
    Literal[10, 16],
    Meta(
        title="Positions",
        description="How many positions a rotary switch has: 10 from 0 to 9, or 16 from 0 to F.",
    ),
]


class RotarySwitch(Part):
    """One rotary switch of a decoder or detector, which shows a digit of its address."""

    number: Annotated[SwitchNumber, about("Its number, from 1 without gaps.")]
    shows: Annotated[
        str,
        about("The digit that it must show, decimal or hexadecimal.", "0", "C"),
        Meta(pattern="^[0-9A-F]$"),
    ]
    counts: Annotated[
        int,
        about("What each step of it adds to the address.", 1, 10),
        Meta(ge=1, le=65_536),
    ]
    positions: Annotated[
        Positions, about("In how many positions it stands: 10, or 16 from 0 to F.")
    ]


Inverted = Annotated[bool, about("Whether a switch counts when it is off.")]

SwitchesOn = Annotated[
    Unique[SwitchNumber],
    about(
        "Which of its switches to put on, counted from 1; the others are off. Switches that "
        "are not for the address are among them.",
        [1, 3],
    ),
]

RotaryBank = Annotated[
    list[RotarySwitch],
    about("Every rotary switch, switch 1 first, and what it must show. Empty if it has none."),
]

SwitchBank = Annotated[
    list[Switch],
    about("Every switch, switch 1 first, and how it must stand: 16 at most. Empty if it has none."),
]
