"""What is different between two layouts, as `compare --json` tells it."""

from __future__ import annotations

from typing import Annotated, Literal

from bellcrank.document.part import Part, RouteName, Sentence, about
from bellcrank.document.report_types import StatusWord


class RouteChanged(Part):
    """A route that is gone, new, or leads or is set otherwise."""

    route: Annotated[RouteName, about("Its name.")]
    change: Annotated[Literal["gone", "new", "changed"], about("What became of it.")]
    what: Annotated[list[Sentence], about("What is other about a route that is changed.")]


class PairChanged(Part):
    """Two routes of which the locking says something else than before."""

    routes: Annotated[list[RouteName], about("Their names.")]
    now: Annotated[
        bool | None,
        about("Whether both can be set together now; null if that could not be decided."),
    ]
    because: Annotated[Sentence, about("Why not, now or before.")]


class LineChanged(Part):
    """Something that is stated, and is gone, new or changed."""

    text: Annotated[
        Sentence, about("What is stated; of an assumption that is changed, its name and in what.")
    ]
    change: Annotated[Literal["gone", "new", "changed"], about("What became of it.")]


class BenchTask(Part):
    """Something to do at the bench."""

    kind: Annotated[
        Literal["take out", "set switches", "wire", "label", "test"], about("What is done.")
    ]
    thing: Annotated[
        Literal["decoder", "detector", "drive", "signal", "frog", "output", "section", "route"],
        about("To what."),
    ]
    name: Annotated[str, about("The name of it.")]
    text: Annotated[Sentence, about("What to do.")]


class CommandChanged(Part):
    """A state of a thing that is commanded otherwise than before."""

    thing: Annotated[str, about("The thing.", "drive P1")]
    state: Annotated[str, about("The state.", "straight")]
    before: Annotated[Sentence | None, about("How it was commanded; null if it was not.")]
    now: Annotated[Sentence | None, about("How it is commanded; null if it is not.")]


class ComparisonTold(Part):
    """What is different between two layouts."""

    before: Annotated[StatusWord, about("What came of the proof of the old one.")]
    now: Annotated[StatusWord, about("What came of the proof of the new one.")]
    same: Annotated[bool, about("Whether nothing is different.")]
    routes: Annotated[list[RouteChanged], about("Routes.")]
    pairs: Annotated[
        list[PairChanged],
        about("Pairs of routes of both that can be set together now and could not, or could."),
    ]
    expectations: Annotated[list[LineChanged], about("What is expected.")]
    assumptions: Annotated[list[LineChanged], about("What is assumed of trains and people.")]
    bench: Annotated[list[BenchTask], about("What to do at the bench, in this order.")]
    commands: Annotated[list[CommandChanged], about("What is commanded otherwise.")]
    moved: Annotated[
        list[str],
        about(
            "What has another output, input or address only because the text leaves that open: "
            "drives, signals, outputs, sections, decoders and detectors."
        ),
    ]
