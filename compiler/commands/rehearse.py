"""The command `rehearse`: a script of events, or a prompt that takes the same lines."""

from __future__ import annotations

import io
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

from rich.console import Group
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from bellcrank.commands.finding_moves import SECONDS
from bellcrank.commands.moves_wished import Wished, find_and_tell
from bellcrank.commands.reading_layout import compile_layout
from bellcrank.commands.reading_script import script_of
from bellcrank.compilation import Broken
from bellcrank.diagnostics import Diagnostic, did_you_mean, has_errors
from bellcrank.document.rehearsal_data import Rehearsal, line_data
from bellcrank.document.report_data import diagnostics_data
from bellcrank.machine.machine_model import Invariant, State
from bellcrank.rehearsal.acts import Moment, Outcome, first_moment, perform, run_script
from bellcrank.rehearsal.forms import ACTS, EXPECTATIONS
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.retelling import what_could_be_done
from bellcrank.rehearsal.script import Line, Reader
from bellcrank.routes.sentences import listed
from bellcrank.running.reasons import fact, lies_to, whereabouts
from bellcrank.running.simulator import ACCIDENTS
from bellcrank.terminal.console import print_diagnostics, print_json, say, show

PASSED, FAILED, FAULTY = 0, 1, 2

_NO_PROOF = "A rehearsal shows one run. It proves nothing: see `bellcrank check`."

_HELP = {
    "possible": "what could be done now, in the words that would do it",
    "state": "trains, routes, signals and drives, as they are",
    "undo": "take the last act back",
    "help": "this list",
    "quit": "leave",
}
"""The words of the prompt that no script has."""

_OF_OTHER_PROMPTS = {
    "exit": "quit",
    "bye": "quit",
    "q": "quit",
    "stop": "quit",
    "end": "quit",
    "?": "help",
    "list": "possible",
    "what": "possible",
    "show": "state",
    "status": "state",
    "back": "undo",
}
"""What the same is called elsewhere."""


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
        print_diagnostics(c.diagnostics, c.program.texts)
        return _prompt(railway)
    lines: tuple[Line, ...] = ()
    texts = dict(c.program.texts)
    if script is not None:
        lines, found, texts = script_of(script, c, railway)
        if has_errors(found):
            return _faulty((*c.diagnostics, *found), texts, as_json_=json)
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
    print_diagnostics(c.diagnostics, texts)
    for outcome in outcomes:
        _tell(railway, outcome, numbered=True)
    show(_summary(outcomes))
    show(_NO_PROOF if find is None else "Nothing is looked for after a script that fails.")
    return status


def _faulty(diagnostics: Sequence[Diagnostic], texts: dict[str, str], *, as_json_: bool) -> int:
    if as_json_:
        print_json(Rehearsal("error", diagnostics_data(diagnostics), []))
    else:
        print_diagnostics(diagnostics, texts)
    return FAULTY


# -------------------------------------------------------------------- telling


def _tell(railway: Railway, outcome: Outcome, *, numbered: bool) -> None:
    """Show what came of a line."""
    indent = 2
    if numbered:
        show(Text(f"{outcome.line.span.line:>4}  {outcome.line.text}"))
        indent = 8
    for said in _said(railway, outcome):
        show(Padding.indent(said, indent))


def _said(railway: Railway, outcome: Outcome) -> Iterator[Text]:
    variables = railway.machine.variables
    for step in outcome.steps:
        thrown = [
            fact(variables[name], step.state[name])
            for name in step.event.updates
            if variables[name].kind == "drive" and lies_to(variables[name], step.state[name])
        ]
        if thrown:
            yield Text(f"{step.event.text}; {listed(thrown)}")
        elif step.event.text != outcome.line.text:
            yield Text(step.event.text)
        for invariant in step.broken:
            yield Text.assemble((f"{_harm(invariant)}: {invariant.sentence}", "bold red"))
    if outcome.refused:
        yield Text.assemble(("refused: ", "bold yellow"), "; ".join(outcome.refused))
    if outcome.note:
        yield Text(outcome.note)
    if outcome.met is not None:
        met = ("met: ", "green") if outcome.met else ("NOT MET: ", "bold red")
        yield Text.assemble(met, "; ".join(outcome.found))


def _harm(invariant: Invariant) -> str:
    return "ACCIDENT" if invariant.of in ACCIDENTS else "BREACH"


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


# ----------------------------------------------------------------- the prompt


def _prompt(railway: Railway) -> int:
    """Take lines until there are no more; returns the exit status."""
    typed = sys.stdin is not None and sys.stdin.isatty()
    if typed:
        with suppress(ImportError):
            import readline  # noqa: F401  # lets lines be edited and called back
        show(f"{railway.layout.title or 'layout'}. {_NO_PROOF} `help` lists what can be said.")
    moments = [first_moment(railway)]
    reader = Reader(railway, "typed")
    status = PASSED
    for number, row in enumerate(_rows(typed=typed), start=1):
        word = row.split("#", 1)[0].strip()
        if word == "quit":
            break
        if word in _HELP:
            _answer(word, railway, moments)
            continue
        line = reader.line(row, number)
        if reader.found.diagnostics:
            found = [_with_words_of_the_prompt(d, word) for d in reader.found.diagnostics]
            print_diagnostics(found, {"typed": "\n" * (number - 1) + row})
            reader.found.diagnostics.clear()
            status = FAULTY
        if line is None:
            continue
        outcome = perform(railway, moments[-1], line)
        if outcome.moment != moments[-1]:
            moments.append(outcome.moment)
        _tell(railway, outcome, numbered=not typed)
        if not outcome.good:
            status = max(status, FAILED)
    return PASSED if typed else status


def _with_words_of_the_prompt(diagnostic: Diagnostic, word: str) -> Diagnostic:
    """What is wrong with a line, and whether it was meant for a word of the prompt."""
    if (here := _OF_OTHER_PROMPTS.get(word)) is not None:
        return replace(diagnostic, hint=f"here it is called `{here}`: {_HELP[here]}")
    hint = diagnostic.hint or did_you_mean(word, _HELP) or "`help` lists what can be said"
    return replace(diagnostic, hint=hint) if diagnostic.code == "E705" else diagnostic


def _rows(*, typed: bool) -> Iterator[str]:
    """The lines that come in, up to their end."""
    if not typed:
        if isinstance(sys.stdin, io.TextIOWrapper):
            sys.stdin.reconfigure(errors="replace")
        yield from sys.stdin or ()
        return
    try:
        while True:
            yield input("> ")
    except EOFError:
        print()
    except KeyboardInterrupt:
        print()
        raise


def _answer(word: str, railway: Railway, moments: list[Moment]) -> None:
    match word:
        case "possible":
            for line in what_could_be_done(railway, moments[-1]):
                show(Padding.indent(Text(line), 2))
        case "state":
            show(_state_table(railway, moments[-1].state))
        case "undo":
            if len(moments) > 1:
                moments.pop()
                show("  taken back")
            else:
                show("  there is nothing to take back")
        case "help":
            show(_help())


def _state_table(railway: Railway, state: State) -> Table:
    """What is not at rest, and where the drives lie."""
    variables = railway.machine.variables
    rows: dict[str, list[str]] = {"trains": [], "routes": [], "signals": [], "drives": []}
    for name, variable in variables.items():
        value = state[name]
        resting = value == variable.values[0]
        match variable.kind:
            case "track" if not resting:
                rows["trains"].append(whereabouts(variable, value))
            case "edge" if not resting:
                rows["trains"].append(fact(variable, value))
            case "route" if not resting:
                held = [v.of for v in variables.values() if v.kind == "held"
                        and state[v.name] == variable.of]  # fmt: skip
                rows["routes"].append(
                    fact(variable, value) + (f"; held for it: {', '.join(held)}" if held else "")
                )
            case "signal" if not resting:
                rows["signals"].append(fact(variable, value))
            case "drive":
                rows["drives"].append(fact(variable, value))
    rest = {"trains": "none", "routes": "none is set", "signals": "all at stop", "drives": "none"}
    table = Table.grid(padding=(0, 2))
    for what, said in rows.items():
        joint = ", " if what == "drives" else "\n"
        table.add_row(f"  {what}", joint.join(said) or rest[what])
    return table


def _help() -> Group:
    parts: list[Any] = []
    for heading, rows in (
        ("acts", [(form.words, form.meaning) for form in ACTS]),
        ("expectations", [(form.words, form.meaning) for form in EXPECTATIONS]),
        ("at the prompt", list(_HELP.items())),
    ):
        parts.append(Text(heading, "bold"))
        parts.append(_listing(rows))
    parts.append(Text("Words in brackets may be left out. What steps say can be typed as well."))
    return Group(*parts)


def _listing(rows: Iterable[tuple[str, str]]) -> Table:
    table = Table.grid(padding=(0, 2))
    for words, meaning in rows:
        table.add_row(Text(f"  {words}"), Text(meaning))
    return table
