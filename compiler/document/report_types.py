"""What commands tell of a layout with `--json`."""

from __future__ import annotations

from typing import Annotated, Literal

from bellcrank.diagnostics.error_pages import Severity
from bellcrank.document.command_types import Timetable
from bellcrank.document.part import Pair, Part, RouteName, Sentence, about
from bellcrank.document.route_types import Conflict, Reason, Route
from bellcrank.document.verdict_types import Moving, Verdict

StatusWord = Literal["proved", "unmet", "refuted", "undecided", "no routes", "error"]
"""What came of the proof; `unmet` where all that keeps trains safe is proved and an expectation is
not met; `error` for a source with errors, or a command used wrongly."""


class Related(Part):
    """Another place that belongs to a diagnostic."""

    file: Annotated[str, about("The name of its file.")]
    line: Annotated[int, about("Its line, from 1.")]
    column: Annotated[int, about("Its column, from 1.")]
    end_line: Annotated[int, about("The line in which it ends.")]
    end_column: Annotated[int, about("The column after its last character.")]
    message: Annotated[Sentence, about("What it has to do with it.")]


class Diagnostic(Part):
    """One thing wrong with a source, or worth a warning."""

    code: Annotated[str, about("Its code, on which `bellcrank explain` has a page.", "E201")]
    severity: Annotated[Severity, about("Whether it is an error or a warning.")]
    message: Annotated[Sentence, about("What is wrong.")]
    file: Annotated[str, about("The name of the file it is in.")]
    line: Annotated[int, about("Its line, from 1.")]
    column: Annotated[int, about("Its column, from 1.")]
    end_line: Annotated[int, about("The line in which it ends.")]
    end_column: Annotated[int, about("The column after its last character.")]
    expected: Annotated[
        Sentence | None, about("What would have been right; null if that cannot be said.")
    ]
    hint: Annotated[Sentence | None, about("A suggestion that would mend it; null if none.")]
    related: Annotated[list[Related], about("Other places that belong to it.")]


class Report(Part):
    """What is told of a layout that was read."""

    status: Annotated[StatusWord, about("What came of the proof.")]
    diagnostics: Annotated[list[Diagnostic], about("What is wrong with the source.")]
    verdict: Annotated[
        Verdict | None, about("What was proved of routes as they stand; null if nothing was.")
    ]
    moving: Annotated[
        Moving | None, about("What was proved of the moving railway; null if nothing was.")
    ]
    controlled: Annotated[
        Moving | None,
        about(
            "What was proved of the controller and the railway that it sees through reports; null "
            "if that was not asked for."
        ),
    ]


class AskedWrongly(Part):
    """What is told when the words of a command do not name routes of the layout."""

    status: Annotated[Literal["error"], about("Always the same.")]
    diagnostics: Annotated[list[Diagnostic], about("What is wrong with the words.")]
    verdict: Annotated[None, about("Nothing was proved.")]


class Built(Part):
    """What `build` tells beside the report."""

    files: Annotated[list[str], about("The paths of the files that were written.")]
    removed: Annotated[list[str], about("The paths of files of earlier builds that were removed.")]
    left: Annotated[
        list[str],
        about("The paths of files of earlier builds that were changed since, and so left."),
    ]


class Tables(Part):
    """What `table` tells beside the report."""

    routes: Annotated[list[Route], about("Every route, in the order of the control table.")]
    conflicts: Annotated[list[Conflict], about("Every pair of routes that conflict.")]


class TimetableTold(Part):
    """What `commands` tells beside the report."""

    timetable: Annotated[Timetable, about("What is sent, and when.")]
    notice: Annotated[Sentence, about("What it may be used for.")]


class PairExplained(Part):
    """Why two routes conflict, or may run together."""

    routes: Annotated[Pair[RouteName], about("Their names.")]
    conflict: Annotated[bool, about("Whether they conflict on the track.")]
    reasons: Annotated[list[Reason], about("Why they conflict.")]
    written_rules: Annotated[
        list[Sentence], about("Written rules that keep them apart, with their places.")
    ]
    can_stand: Annotated[
        bool | None,
        about("Whether the locking lets both be set; null if that could not be decided."),
    ]
