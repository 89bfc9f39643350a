"""The whole document: the type that everything else is part of.

VERSION is raised when a field changes its meaning or goes away.

A mapping in a template has methods called `values`, `items` and so on: no field
may have such a name.
"""

from __future__ import annotations

from functools import cached_property
from typing import Annotated, ClassVar, Literal

from msgspec import Meta, UnsetType

from bellcrank.document.command_types import Command, State, Timetable
from bellcrank.document.conditions import EMPTY, NOT_EMPTY, TEXT, among, each, fields, just, rule
from bellcrank.document.controller_types import Controller
from bellcrank.document.detector_types import Times
from bellcrank.document.hardware_types import Hardware
from bellcrank.document.layout_types import Layout
from bellcrank.document.machine_types import Machine
from bellcrank.document.noticed_types import NoticedKind
from bellcrank.document.part import Part, Rules, Sentence, Some, SomeUnique, SourceFile, about
from bellcrank.document.plain import Data, plain
from bellcrank.document.route_types import Conflict, Locking, Route
from bellcrank.document.vector_types import Vectors
from bellcrank.document.verdict_types import Moving, Verdict
from bellcrank.version import NOTICE

VERSION: Literal[1] = 1

SPARED = ("controller", "vectors")
"""Parts that take long to make, and are not made for targets that do without them."""


class Format(Part):
    """What kind of document this is. Refuse a document whose name or version you do not know."""

    name: Annotated[Literal["bellcrank-layout"], about("The name of this format, always the same.")]
    version: Annotated[Literal[1], about("Raised when a field changes its meaning or goes away.")]


class Compiler(Part):
    """The compiler that made the document."""

    name: Annotated[Literal["bellcrank"], about("The compiler's name, always the same.")]
    version: Annotated[
        str,
        about("The compiler's version.", "0.1.0"),
        Meta(pattern=r"^[0-9]+\.[0-9]+\.[0-9]+"),
    ]


class Source(Part):
    """The text that the layout was written in."""

    files: Annotated[
        SomeUnique[SourceFile],
        about("The names of all source files, relative to the folder of the first."),
    ]
    sha256: Annotated[
        str,
        about(
            "SHA-256 over the names and texts of all source files, as 64 hexadecimal digits. Two "
            "documents with the same digits come from the same text.",
            "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
        ),
        Meta(pattern="^[0-9a-f]{64}$"),
    ]


Status = Annotated[
    Literal["proved", "unmet", "UNPROVED", "no routes"],
    Meta(
        title="Status",
        description="Look at this first. `proved`: nothing unsafe can stand or is reachable, and "
        "every expectation holds. `unmet`: nothing unsafe can stand or is reachable, but an "
        "expectation does not hold, so the railway does not work as was meant. `UNPROVED`: it was "
        "refuted or not decided; `verdict` and `moving` say which. Do not set routes from a "
        "document that is UNPROVED without an operator who knows. `no routes`: no signal stands in "
        "any run, so there is no route to set and nothing was proved; drives can be thrown one by "
        "one.",
    ),
]


class Document(Part, dict=True, gc=True):
    """Everything that is known about one layout: its track and hardware, the verdict of the
    proof, every route, why two routes conflict, and the commands that set each route. Written
    for control software. No field is ever left out; null stands for what a layout does not
    have. The order of all lists is kept from one build to the next. For model and demonstration
    railways; not certified for trains that carry people."""

    format: Annotated[
        Format,
        about(
            "What kind of document this is. Refuse a document whose name or version you do not "
            "know."
        ),
    ]
    notice: Annotated[
        Sentence,
        about("What the document may be used for, as a sentence to show to the operator.", NOTICE),
    ]
    compiler: Annotated[Compiler, about("The compiler that made the document.")]
    source: Annotated[Source, about("The text that the layout was written in.")]
    status: Status
    verdict: Annotated[Verdict, about("What the proof found of routes as they stand.")]
    moving: Annotated[Moving, about("What was proved of trains and drives as they move.")]
    controlled: Annotated[
        Moving | None,
        about(
            "What was proved of the controller and the railway that it sees through reports; null "
            "if nothing was. Run no controller of which this is not `proved`."
        ),
    ]
    noticed: Annotated[
        Some[NoticedKind] | None,
        about(
            "What the controller notices if an assumption is broken once, and what can happen "
            "until then; null if that was not asked for (`build --broken all`, or some kinds "
            "alone)."
        ),
    ]
    layout: Annotated[Layout, about("The track, the signals and the drives.")]
    hardware: Annotated[
        Hardware,
        about(
            "The decoders and supplies, the detectors and the panel. All lists are empty for a "
            "layout that is worked by hand and eye."
        ),
    ]
    times: Annotated[Times, about("How long a controller waits where nobody reports.")]
    locking: Annotated[Locking, about("The rules in force.")]
    routes: Annotated[list[Route], about("Every route, in the order of the control table.")]
    conflicts: Annotated[
        list[Conflict],
        about(
            "Every pair of routes that must never be set together, each pair once. Pairs that "
            "are not listed do not get into each other's way on the track."
        ),
    ]
    states: Annotated[
        list[State],
        about(
            "Every position of every drive, every aspect of every signal, and whether each "
            "detected section is occupied or clear, in a fixed order: for controllers that know "
            "each by a number, such as its place here."
        ),
    ]
    commands: Annotated[
        list[Command],
        about(
            "The commands that set each route: route after route in the order of `routes`, and "
            "within a route in the order in which they are to be sent."
        ),
    ]
    timetables: Annotated[
        list[Timetable],
        about(
            "When to send commands: to set each route and to cancel it, in the order of "
            "`routes`, and at the end to start up. Nothing is assumed of where drives lie, so all "
            "are thrown."
        ),
    ]
    machine: Annotated[
        Machine,
        about("How trains, drives and interlocking may change, and what must always hold."),
    ]
    controller: Annotated[
        Controller | UnsetType | None,
        about(
            "What runs the railway: what it does at each report, request and time; null if it was "
            "not proved."
        ),
    ]
    vectors: Annotated[
        Vectors | UnsetType,
        about(
            "Test vectors: what the machine does, step by step, and what the controller does, "
            "input by input, to try other readers of them on."
        ),
    ]

    rules: ClassVar[Rules] = {
        "status": rule(
            fields(verdict=fields(outcome=just("proved")), moving=fields(outcome=just("proved"))),
            fields(status=among("proved", "no routes")),
            rule(
                fields(
                    verdict=fields(outcome=among("proved", "unmet")),
                    moving=fields(outcome=among("proved", "unmet")),
                ),
                fields(status=just("unmet")),
                rule(
                    fields(verdict=fields(outcome=just("refuted"))),
                    fields(status=just("UNPROVED")),
                    fields(status=among("unmet", "UNPROVED")),
                ),
            ),
        ),
        "routes": rule(
            fields(status=just("no routes")),
            fields(routes=EMPTY),
            rule(fields(status=just("proved")), fields(routes=NOT_EMPTY)),
        ),
        "commands": fields(commands=each(fields(route=TEXT))),
    }

    @cached_property
    def plain(self) -> Data:
        """The document as templates are given it: made once, however many there are."""
        return plain(self)
