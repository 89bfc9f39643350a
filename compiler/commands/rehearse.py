"""The command `rehearse`: a script of events, or a prompt that takes the same lines."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.text import Text

from bellcrank.commands.finding_moves import SECONDS
from bellcrank.commands.moves_wished import Wished, find_and_tell
from bellcrank.commands.reading_layout import compile_layout
from bellcrank.commands.reading_script import script_of
from bellcrank.commands.rehearsal_prompt import ask_for_lines
from bellcrank.commands.rehearsal_told import tell_outcome
from bellcrank.commands.reports import count_warnings
from bellcrank.compilation import Broken
from bellcrank.diagnostics import Diagnostic, has_errors
from bellcrank.document.rehearsal_data import Rehearsal, line_data
from bellcrank.document.report_data import diagnostics_data
from bellcrank.rehearsal.acts import Outcome, first_moment, run_script
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import Line
from bellcrank.routes.sentences import listed
from bellcrank.terminal.console import print_diagnostics, print_json, say, show

PASSED, FAILED, FAULTY = 0, 1, 2

_NO_PROOF = "A rehearsal shows one run. It proves nothing: see `bellcrank check`."


def rehearse(
    file: Path,
    script: Path | None,
    json: bool,
    find: str | None,
    by_hand: bool,
    out: Path | None,
    time_limit: float | None,
) -> int:
    """Run the command; returns the exit status."""
    if find is None and (by_hand or out is not None or time_limit is not None):
        given = "--by-hand" if by_hand else "--out" if out is not None else "--time-limit"
        say(f'{given} needs --find "GOAL"')
        return FAULTY
    if json and script is None and find is None:
        say("--json needs a script: what is typed at the prompt is answered in words")
        return FAULTY
    c = compile_layout(file)
    if isinstance(c, Broken):
        return _faulty(c.diagnostics, c.program.texts, as_json_=json)
    railway = Railway(c.machine, c.layout, c.table)
    if script is None and find is None:
        count_warnings(c, file)
        heading = f"{c.layout.title or 'layout'}. {_NO_PROOF}"
        return ask_for_lines(c, railway, heading)
    lines: tuple[Line, ...] = ()
    texts = dict(c.program.texts)
    if script is not None:
        lines, found, texts = script_of(script, c, railway)
        if has_errors(found):
            return _faulty((*c.diagnostics, *found), texts, as_json_=json)
    if not json:
        count_warnings(c, file)
    outcomes = run_script(railway, lines)
    status = PASSED if all(outcome.good for outcome in outcomes) else FAILED
    if find is not None and status == PASSED:
        wished = Wished(find, by_hand, SECONDS if time_limit is None else time_limit, out)
        beginning = "" if script is None else texts[lines[0].span.file] if lines else ""
        moment = outcomes[-1].moment if outcomes else first_moment(railway)
        return find_and_tell(c, railway, moment, wished, beginning, json=json)
    if json:
        print_json(
            Rehearsal(
                status="passed" if status == PASSED else "failed",
                diagnostics=diagnostics_data(c.diagnostics),
                lines=[line_data(outcome) for outcome in outcomes],
            )
        )
        return status
    for outcome in outcomes:
        tell_outcome(railway, outcome, numbered=True)
    show(_summary(outcomes))
    show(_NO_PROOF if find is None else "Nothing is looked for after a script that fails.")
    return status


def _faulty(diagnostics: Sequence[Diagnostic], texts: dict[str, str], *, as_json_: bool) -> int:
    if as_json_:
        print_json(Rehearsal("error", diagnostics_data(diagnostics), []))
    else:
        print_diagnostics(diagnostics, texts)
    return FAULTY


def _summary(outcomes: Sequence[Outcome]) -> Text:
    looked_at = [outcome.met for outcome in outcomes if outcome.met is not None]
    parts = [f"{len(outcomes)} {'line' if len(outcomes) == 1 else 'lines'}"]
    refused = [o.line.span.line for o in outcomes if o.refused]
    unmet = [o.line.span.line for o in outcomes if o.met is False]
    unsafe = [o.line.span.line for o in outcomes if o.unsafe]
    if looked_at and not unmet:
        many = len(looked_at) > 1
        parts.append(f"{len(looked_at)} expectation{'s' * many}, {'all ' * many}met")
    for lines, what in (
        (unmet, "expectation not met"),
        (refused, "act refused"),
        (unsafe, "something unsafe happened"),
    ):
        if lines:
            plural = "s" if len(lines) > 1 else ""
            parts.append(f"{what} in line{plural} {listed(map(str, lines))}")
    good = not (refused or unmet or unsafe)
    if not unsafe:
        parts.append("nothing unsafe happened")
    return Text.assemble(("passed: ", "green") if good else ("failed: ", "bold red"),
                         "; ".join(parts))  # fmt: skip
