"""What the types of the document are made of.

The types are the one source of what is written as JSON and of the schema that is
published of it: `schema.py` derives it (JSON Schema, draft 2020-12). Every type has a
sentence about itself, every field one about the field, with its unit if it has one.

Lists are lists, as in JSON, since templates are given the very same; nobody changes one.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, ClassVar, TypeVar, dataclass_transform

from msgspec import Meta, Struct

Schema = Mapping[str, object]
"""A piece of JSON Schema."""

Rules = Mapping[str, Schema]
"""Conditions between fields, each under the field that it hangs on; see `conditions.py`."""


@dataclass_transform(frozen_default=True)
class Part(Struct, frozen=True, forbid_unknown_fields=True, gc=False):
    """An object of the document. rules: what must be so between its fields."""

    rules: ClassVar[Rules] = {}


def about(description: str, *examples: object) -> Meta:
    """What a field is about, in sentences, with examples of it."""
    return Meta(description=description, examples=list(examples) or None)


T = TypeVar("T")

_UNIQUE = Meta(extra_json_schema={"uniqueItems": True})

Some = Annotated[list[T], Meta(min_length=1)]
"""One at least."""

Unique = Annotated[list[T], _UNIQUE]
"""Each once."""

SomeUnique = Annotated[list[T], _UNIQUE, Meta(min_length=1)]

Several = Annotated[list[T], Meta(min_length=2)]
"""Two at least."""

SeveralUnique = Annotated[list[T], _UNIQUE, Meta(min_length=2)]

Pair = Annotated[list[T], _UNIQUE, Meta(min_length=2, max_length=2)]
"""Two, which are not the same."""


def _name(title: str, description: str, *examples: str) -> Meta:
    return Meta(min_length=1, title=title, description=description, examples=list(examples))


Name = Annotated[str, _name("Name", "A name from the layout.", "P1", "W1")]
"""Of anything."""

RouteName = Annotated[str, _name("Route name", "The name of a route.", "W1 to T1")]
ElementName = Annotated[str, _name("Element name", "The name of an element.", "P1", "A")]
LegName = Annotated[str, _name("Leg name", "The name of a leg of an element.", "toe", "left")]
DistrictName = Annotated[
    str, _name("District name", "The name of a district, track that one booster feeds.", "NORTH")
]

SectionName = Annotated[str, _name("Section name", "The name of a section.", "NECK")]
SignalName = Annotated[str, _name("Signal name", "The name of a signal.", "W1")]
AspectName = Annotated[str, _name("Aspect name", "The name of an aspect.", "stop", "clear")]
EdgeName = Annotated[str, _name("Edge name", "The name of an edge.", "WEST")]
DriveName = Annotated[str, _name("Drive name", "The name of a drive.", "P1", "S1.end1")]
PositionName = Annotated[
    str, _name("Position name", "The name of a position of a drive.", "straight", "diverging")
]
DecoderName = Annotated[str, _name("Decoder name", "The name of a decoder.", "K1")]
DetectorName = Annotated[str, _name("Detector name", "The name of a detector.", "B1")]
VariableName = Annotated[
    str,
    _name("Variable name", "The name of a variable of the machine.", "drive P1", "route W1 to T1"),
]
Value = Annotated[str, _name("Value", "A value of a variable of the machine.", "straight", "set")]
EventName = Annotated[
    str, _name("Event name", "The name of an event of the machine.", "request W1 to T1")
]
SourceFile = Annotated[
    str,
    _name(
        "Source file",
        "The name of a source file, with / between folders.",
        "harbour-terminus.crank",
    ),
]
Place = Annotated[
    str,
    _name("Place", "A place in the source, as file:line:column.", "harbour-terminus.crank:12:3"),
]
Sentence = Annotated[
    str,
    Meta(min_length=1, title="Sentence", description="Words for people; do not take them apart."),
]

Count = Annotated[int, Meta(ge=0, examples=[0, 12])]

Time = Annotated[int, Meta(ge=0, examples=[0, 450])]
"""A time of a timetable, in milliseconds."""

Milliseconds = Annotated[int, Meta(ge=1, le=600_000, examples=[200, 1500])]
"""How long something takes."""


class Assumption(Part):
    """Something that is assumed."""

    name: Annotated[Sentence, about("A short name for it.", "signals obeyed")]
    sentence: Annotated[
        Sentence,
        about(
            "The assumption as a sentence without its full stop.",
            "drivers obey signals: no train passes one that shows stop",
        ),
    ]


class DrivePosition(Part):
    """A drive and one of its positions."""

    drive: Annotated[DriveName, about("The name of the drive in `layout.drives`.")]
    position: Annotated[
        PositionName, about("One of the positions of that drive, such as straight or diverging.")
    ]
