"""Trains that block each other, as `check --json` tells them."""

from __future__ import annotations

from typing import Annotated

from bellcrank.document.part import Part, RouteName, Sentence, about
from bellcrank.proof.standing.blocked_trains import BlockedSearch


class RouteBlocked(Part):
    """A way on for a train that waits."""

    route: Annotated[RouteName, about("The route that it cannot be given.")]
    section: Annotated[str, about("A section that the route needs clear, where another stands.")]


class TrainWaiting(Part):
    """A train that waits for others that wait for it."""

    section: Annotated[str, about("The section in which it stands.")]
    signal: Annotated[str, about("The signal before which it stands.")]
    blocked: Annotated[list[RouteBlocked], about("Every way on for it.")]
    goes_back: Annotated[
        RouteName | None, about("A route by which it could go back; null if there is none.")
    ]


class TrainsBlocked(Part):
    """Trains that block each other."""

    waiting: Annotated[list[TrainWaiting], about("The trains.")]
    story: Annotated[
        list[Sentence],
        about("How they come there and what is refused then, as the lines of a rehearsal."),
    ]


class BlockedTold(Part):
    """What was found of trains that block each other, which is no fault of the locking."""

    blocked_trains: Annotated[
        TrainsBlocked | None,
        about("A small set of trains that can come to block each other; null if none was found."),
    ]
    blocked_trains_complete: Annotated[
        bool, about("Whether any that stand at signals would have been found.")
    ]


def blocked_data(search: BlockedSearch) -> BlockedTold:
    """What became of the search for trains that block each other."""
    found = search.found
    return BlockedTold(
        blocked_trains=None
        if found is None
        else TrainsBlocked(
            waiting=[
                TrainWaiting(
                    section=train.section,
                    signal=train.signal,
                    blocked=[RouteBlocked(route=r, section=s) for r, s in train.blocks],
                    goes_back=train.goes_back,
                )
                for train in found.waiting
            ],
            story=list(found.story),
        ),
        blocked_trains_complete=search.complete,
    )
