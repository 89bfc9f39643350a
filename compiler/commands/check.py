"""The command `check`: the verdict, and rules that are missing or not wanted."""

from __future__ import annotations

from pathlib import Path

import click
from rich.text import Text

from bellcrank.commands.declaring import (
    FOLDER,
    command,
    json_option,
    layout_file,
    recheck,
    time_limit,
)
from bellcrank.commands.exit_statuses import OF_A_PROOF, fail, status
from bellcrank.commands.reading_layout import compile_layout, prove_layout
from bellcrank.commands.reports import report, show_errors
from bellcrank.commands.rule_advice import (
    SECONDS_FOR_FIX,
    SECONDS_FOR_PROPOSAL,
    mend,
    mended,
    propose,
)
from bellcrank.commands.rule_advice import spare as spare_rules
from bellcrank.commands.writing import write_all
from bellcrank.compilation import Broken, Checked
from bellcrank.document.rules_data import rules_data
from bellcrank.file_sets.not_written import NotWrittenError
from bellcrank.proof.repair.rules_found import RulesFound
from bellcrank.proof.smt_files import obligation_files
from bellcrank.proof.standing.minimal_core import never_settable
from bellcrank.syntax.rewrite import NotAsReadError
from bellcrank.terminal.console import print_diagnostics, print_json, progress, show, width
from bellcrank.terminal.verdicts import verdict_text


@command(
    "check",
    examples=[
        "harbour-terminus.crank",
        "harbour-terminus.crank --json",
        "harbour-terminus-forgetful.crank --fix",
    ],
    statuses=OF_A_PROOF,
    exclusive=[("fix", "spare")],
)
@layout_file
@json_option
@time_limit
@recheck
@click.option(
    "--fix",
    is_flag=True,
    help="write the rules that a `locking written` block lacks into it, and check again",
)
@click.option(
    "--spare",
    is_flag=True,
    help="list the written rules that could be left out of a locking that is proved",
)
@click.option(
    "--obligations",
    type=FOLDER,
    metavar="FOLDER",
    help="write every obligation there as a file for SMT-LIB solvers, and in words",
)
def check(
    file: Path,
    json: bool,
    time_limit: float | None,
    recheck: bool,
    fix: bool,
    spare: bool,
    obligations: Path | None,
) -> int:
    """Run the command; returns the exit status."""
    sound = compile_layout(file)
    if isinstance(sound, Broken):
        return show_errors(sound, rules_data(RulesFound(), {}), json=json)
    found = RulesFound()
    if fix:
        try:
            with progress() as tell:
                found = mend(
                    sound, file, SECONDS_FOR_FIX if time_limit is None else time_limit, tell
                )
        except NotAsReadError as error:
            return fail(f"nothing is written: {error}")
        except OSError as error:
            return fail(f"{error.filename or file} cannot be written: {error.strerror}")
    if found.written is not None:
        sound = compile_layout(file)
        if isinstance(sound, Broken):
            return show_errors(sound, rules_data(found, {}), json=json)
    c = prove_layout(sound, recheck=recheck, seconds=time_limit)
    if obligations is not None:
        files = obligation_files(c.layout, c.table, c.locking, c.machine, c.standing, c.moving)
        try:
            write_all(obligations, files, c)
        except NotWrittenError as error:
            return fail(str(error))
    found = mended(found, c) if fix else _rules(c, spare=spare, limit=time_limit)
    barred = never_settable(c.layout, c.locking, c.standing, c.moving)
    if json:
        print_json(report(c), rules_data(found, barred))
        return status(c)
    print_diagnostics(c.diagnostics, c.program.texts)
    repair = None if found.written is not None else found.repair
    show(verdict_text(c, width(), barred=barred, repair=repair))
    for line in found.notes:
        show(Text(line))
    return status(c)


def _rules(c: Checked, *, spare: bool, limit: float | None) -> RulesFound:
    """What is told beside the verdict: rules that are missing, or not wanted."""
    with progress() as tell:
        if spare:
            return spare_rules(c, limit, tell)
        few = SECONDS_FOR_PROPOSAL
        return propose(c, few if limit is None else min(few, limit), tell)
