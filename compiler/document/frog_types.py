"""Frogs, as the document has them."""

from __future__ import annotations

from typing import Annotated, ClassVar

from msgspec import Meta

from bellcrank.document.conditions import TEXT, among, fields, rule
from bellcrank.document.part import (
    DriveName,
    DrivePosition,
    ElementName,
    LegName,
    Pair,
    Part,
    Rules,
    about,
)
from bellcrank.layout.frog_model import FrogFeed as FeedOfFrog

FrogFeed = Annotated[
    FeedOfFrog,
    Meta(
        title="Frog feed",
        description="What a frog takes its polarity from: `contact`, a contact of the drive named "
        "in `drive`; `output`, an output that routes switch; `reverser`, a reverser that switches "
        "by itself; `dead`, nothing.",
    ),
]


class KindFrog(Part):
    """A frog of a kind of element: where rails of two legs that face each other cross."""

    name: Annotated[
        str,
        about("The name of the frog; empty for the only frog of a fitting.", "", "end1"),
    ]
    between: Annotated[Pair[LegName], about("The two legs.")]


class FrogCase(Part):
    """When a frog must have which polarity."""

    when: Annotated[
        list[DrivePosition],
        about("Where drives of the fitting lie; empty where that tells nothing."),
    ]
    way: Annotated[
        Pair[LegName] | None,
        about(
            "The legs of the way that is used, where only that tells; null where `when` decides."
        ),
    ]
    from_leg: Annotated[
        LegName,
        about("The leg that the frog takes its polarity from: from its rail that faces `facing`."),
    ]
    facing: Annotated[LegName, about("The other leg of the frog.")]


class Frog(Part):
    """A frog (crossing nose), what feeds it, and which polarity it needs when."""

    name: Annotated[
        str,
        about(
            "The name of the frog: that of its fitting, or fitting and frog (`S1.end1`) where the "
            "fitting has several.",
            "P1",
            "S1.end1",
        ),
        Meta(min_length=1),
    ]
    element: Annotated[ElementName, about("The name of its fitting.")]
    between: Annotated[
        Pair[LegName], about("The two legs of which rails that face each other cross there.")
    ]
    feed: Annotated[FrogFeed | None, about("What feeds it; null where the layout does not say.")]
    drive: Annotated[
        DriveName | None,
        about(
            "The name in `layout.drives` of the drive whose contact serves it, or, where it has an "
            "output, of what switches it; null for any other."
        ),
    ]
    contact: Annotated[
        DriveName | None,
        about(
            "The drive of which a contact can serve this frog, as its position decides; null where "
            "no position of one drive does."
        ),
    ]
    alike: Annotated[
        bool,
        about(
            "Whether the two rails are of one polarity as the track is joined, so that nothing "
            "need be switched."
        ),
    ]
    cases: Annotated[
        list[FrogCase],
        about("When it takes its polarity from which leg. Where no case is, any will do."),
    ]

    rules: ClassVar[Rules] = {
        "drive": rule(fields(feed=among("output")), fields(drive=TEXT)),
        "feed": rule(fields(feed=among("contact")), fields(drive=TEXT, contact=TEXT)),
    }
