"""What came of a search for moves, as `rehearse --find --json` tells it."""

from __future__ import annotations

from typing import Annotated, Literal

from bellcrank.document.part import Part, about
from bellcrank.document.report_types import Diagnostic


class FoundMoves(Part):
    """What came of a search for moves."""

    status: Annotated[
        Literal["found", "none", "undecided", "error"],
        about(
            "`none` if there is no run to what is wished, as is proved; `undecided` if none was "
            "found in time; `error` if the layout, the script or the goal has errors."
        ),
    ]
    diagnostics: Annotated[list[Diagnostic], about("What is wrong with the layout or the goal.")]
    goal: Annotated[list[str], about("The conditions that are wished.", ["train in T1 before D1"])]
    acts: Annotated[
        int | None,
        about("How many requests and moves the run takes that was found; null if none was."),
    ]
    at_least: Annotated[
        int | None,
        about(
            "How many any run takes at least; if that is `acts`, none is shorter. Null if there "
            "is none."
        ),
    ]
    because: Annotated[
        Literal["nothing leads there", "all states were looked at", "induction"] | None,
        about("How it is known that there is none; null if there is one or it is not known."),
    ]
    script: Annotated[list[str], about("Lines of a script that lead there, and what it expects.")]
    states: Annotated[int, about("How many states were looked at.")]
    unsafe: Annotated[
        str | None,
        about("What the run comes to that must never be, as locking lets it; null if nothing."),
    ]
