"""Routes, why two conflict, and the locking in force, as the document has them."""

from __future__ import annotations

from typing import Annotated, ClassVar

from msgspec import Meta

from bellcrank.document.conditions import (
    EMPTY,
    NOT_EMPTY,
    among,
    fields,
    rule,
)
from bellcrank.document.part import (
    AspectName,
    DriveName,
    DrivePosition,
    ElementName,
    LegName,
    Name,
    Pair,
    Part,
    PositionName,
    RouteName,
    Rules,
    SectionName,
    Sentence,
    SignalName,
    Some,
    SomeUnique,
    Unique,
    about,
)
from bellcrank.routes.route_model import EndKind
from bellcrank.routes.route_model import ReasonKind as WhyConflict

# ----------------------------------------------------------------------- routes

EndsAt = Annotated[
    EndKind,
    Meta(
        title="Ends at",
        description="What `to` names: a signal, an edge, or the piece that ends at a stop.",
    ),
]

ReasonKind = Annotated[
    WhyConflict,
    Meta(
        title="Reason kind",
        description="Why two routes conflict. `crossing`: their roads cross in a fitting. "
        "`fouling`: their roads lie side by side in one fitting, too close for two trains. "
        "`head-on`: they run towards each other. `opposed drive`: they need a drive in different "
        "positions. `shared section`: they use one section. `overlap`: one runs into the other's "
        "overlap, or their overlaps need a drive in different positions. `flank`: one needs a "
        "drive for its flank in another position than the other does.",
    ),
]


class RouteWay(Part):
    """A way through one element, as a train takes it."""

    element: Annotated[ElementName, about("The name of the element.")]
    entry: Annotated[LegName, about("The leg by which a train enters.")]
    exit: Annotated[LegName, about("The leg by which it leaves.")]


class Overlap(Part):
    """The track beyond the end of a route that must stay clear."""

    sections: Annotated[
        Unique[SectionName],
        about("The names of the sections in the overlap that are not the route's own."),
    ]
    positions: Annotated[
        Unique[DrivePosition], about("The drives in the overlap and where they must lie.")
    ]


class Route(Part, rename={"from_": "from"}):
    """A way from a signal to the next in the same direction, to an edge or to a stop, and
    what it needs."""

    name: Annotated[
        RouteName, about("The name of the route, such as `W1 to T1`. It may hold spaces.")
    ]
    from_: Annotated[SignalName, about("The name of the signal that it starts at.")]
    to: Annotated[
        Name,
        about(
            "The name of the signal or edge that it ends at, or of the last piece before the "
            "stop; `ends_at` tells which."
        ),
    ]
    ends_at: EndsAt
    calling_on: Annotated[
        bool, about("Whether it leads into a berth where a train may stand already.")
    ]
    aspect: Annotated[AspectName, about("The aspect that its signal shows for it.")]
    approach: Annotated[
        ElementName | None,
        about(
            "The element in which a train waits at its signal; null where the signal stands at "
            "an edge."
        ),
    ]
    ways: Annotated[
        Some[RouteWay],
        about("The ways through each element, in the order in which a train takes them."),
    ]
    sections: Annotated[
        SomeUnique[SectionName],
        about(
            "The names of its sections in the order in which a train takes them; the last is "
            "the berth."
        ),
    ]
    sections_clear: Annotated[
        Unique[SectionName],
        about(
            "The names of the sections that must be clear before its signal may show other than "
            "stop: its own, except the berth when calling on, and those of the overlap."
        ),
    ]
    positions: Annotated[
        Unique[DrivePosition], about("The drives on its way and where they must lie.")
    ]
    overlap: Annotated[
        Overlap | None,
        about("The track beyond its end that must stay clear; null where there is none."),
    ]
    flank: Annotated[
        Unique[DrivePosition],
        about("The drives beside its way that keep others out, and where they must lie."),
    ]
    conflicts: Annotated[
        dict[RouteName, SomeUnique[ReasonKind]],
        about(
            "The routes that must not be set with it, by name, each with the kinds of reason, "
            "the one that a person would name first coming first. The same pairs stand in the "
            "document's `conflicts`, with where and why."
        ),
    ]


# -------------------------------------------------------------------- conflicts


class Opposed(Part):
    """One drive that cannot lie right for both routes."""

    drive: Annotated[DriveName, about("The name of the drive in `layout.drives`.")]
    positions: Annotated[
        Pair[PositionName],
        about("Where the first route of the pair needs it, then where the second does."),
    ]


class Reason(Part):
    """One reason why two routes conflict."""

    kind: ReasonKind
    where: Annotated[
        Unique[Name],
        about(
            "Where it is: names of elements for `crossing`, `fouling` and `head-on`; of sections "
            "for `shared section` and `overlap`; empty where only drives are opposed."
        ),
    ]
    opposed: Annotated[
        Unique[Opposed],
        about(
            "The drives that the two routes need in different positions; empty for reasons that "
            "are not about drives."
        ),
    ]
    sentence: Annotated[
        Sentence,
        about("The reason as a sentence about the two routes, without its full stop."),
    ]

    rules: ClassVar[Rules] = {
        "kind": rule(
            fields(kind=among("opposed drive", "flank")),
            fields(where=EMPTY, opposed=NOT_EMPTY),
            rule(
                fields(kind=among("crossing", "fouling", "head-on", "shared section")),
                fields(where=NOT_EMPTY, opposed=EMPTY),
                # An overlap is entered, or its drives are opposed, or both.
                rule(fields(where=EMPTY), fields(opposed=NOT_EMPTY)),
            ),
        )
    }


class Conflict(Part):
    """Two routes that must never be set together, and why."""

    routes: Annotated[
        Pair[RouteName], about("The names of the two routes, in the order of `routes`.")
    ]
    reasons: Annotated[
        Some[Reason],
        about("Every reason, the one that a person would name first coming first."),
    ]


# ---------------------------------------------------------------------- locking


class Lock(Part):
    """Two routes that must not be set together."""

    routes: Annotated[Pair[RouteName], about("The two routes.")]
    when: Annotated[
        Unique[DrivePosition],
        about(
            "The rule counts only while every drive named here lies so; empty where it counts "
            "always."
        ),
    ]


class DriveNeeded(Part):
    """A route, a drive and where it must lie."""

    route: Annotated[RouteName, about("The route that holds the drive while it is set.")]
    drive: Annotated[DriveName, about("The name of the drive in `layout.drives`.")]
    position: Annotated[PositionName, about("The position in which it is held.")]


class RouteNeeded(Part):
    """A route and the one that must be set before it."""

    route: Annotated[RouteName, about("The route that may be set only while the other is.")]
    other: Annotated[RouteName, about("The route that must be set.")]


class ClearNeeded(Part):
    """A route and a section that must be clear before it is set."""

    route: Annotated[RouteName, about("The route.")]
    section: Annotated[SectionName, about("The name of the section in `layout.sections`.")]


class Locking(Part):
    """The locking that the verdict is about: all the rules in force. They may go beyond
    `conflicts` and the routes' own positions, where the layout adds rules, and fall short of
    them, where it is unproved."""

    derived: Annotated[
        bool,
        about(
            "Whether it was derived from the routes (rules of the layout's own may be added) or "
            "written by hand."
        ),
    ]
    drives_need_clear: Annotated[
        bool,
        about(
            "Whether a drive is thrown only while every section with points of its own is clear. "
            "Derived locking always sees to that."
        ),
    ]
    sectional: Annotated[
        bool,
        about(
            "Whether sections are released one by one behind a train; else a route is released "
            "whole. A route with a section that is not detected is released whole in any case."
        ),
    ]
    locks: Annotated[list[Lock], about("Pairs of routes that must not be set together.")]
    needs: Annotated[list[DriveNeeded], about("Drives that routes hold while they are set.")]
    needs_set: Annotated[list[RouteNeeded], about("Routes that may be set only while another is.")]
    needs_clear: Annotated[
        list[ClearNeeded], about("Sections that must be clear before a route is set.")
    ]
