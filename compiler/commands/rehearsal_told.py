"""What came of the lines of a rehearsal, as the terminal tells it."""

from __future__ import annotations

from collections.abc import Iterator

from rich.padding import Padding
from rich.text import Text

from bellcrank.machine.machine_model import Invariant
from bellcrank.rehearsal.acts import Outcome
from bellcrank.rehearsal.railway import Railway
from bellcrank.routes.sentences import listed
from bellcrank.running.reasons import fact, lies_to
from bellcrank.running.simulator import ACCIDENTS
from bellcrank.terminal.console import show


def tell_outcome(railway: Railway, outcome: Outcome, *, numbered: bool) -> None:
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
