"""The command `check`: the verdict, and rules that are missing or not wanted."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from rich.text import Text

from bellcrank.commands.proving import (
    add_effort_options,
    compile_layout,
    effort_of,
    fail,
    layout_command,
    report,
    status,
    write_all,
)
from bellcrank.compilation import Compilation
from bellcrank.document.rules_data import rules_data
from bellcrank.machine.wording import Rule
from bellcrank.mending import (
    SECONDS_FOR_FIX,
    SECONDS_FOR_PROPOSAL,
    NotMendedError,
    RulesFound,
    fix,
    propose,
    spare,
)
from bellcrank.proof.smt_files import obligation_files
from bellcrank.proof.standing.forbidding import never_settable
from bellcrank.terminal.console import print_diagnostics, print_json, progress, show, width
from bellcrank.terminal.verdicts import verdict_text


def add_check(commands: Any) -> None:
    """Add the command to those of the command line."""
    parser = layout_command(
        commands,
        "check",
        "prove the layout, or show what is wrong",
        "bellcrank check harbour-terminus.crank\nbellcrank check harbour-terminus.crank --json\n"
        "bellcrank check harbour-terminus-forgetful.crank --fix",
    )
    add_effort_options(parser)
    rules = parser.add_mutually_exclusive_group()
    rules.add_argument(
        "--fix",
        action="store_true",
        help="write the rules that a `locking written` block lacks into it, and check again",
    )
    rules.add_argument(
        "--spare",
        action="store_true",
        help="list the written rules that could be left out of a locking that is proved",
    )
    parser.add_argument(
        "--obligations",
        type=Path,
        metavar="FOLDER",
        help="write every obligation there as a file for SMT-LIB solvers",
    )
    parser.set_defaults(run=check)


def check(options: argparse.Namespace) -> int:
    """Run the command; returns the exit status."""
    c = compile_layout(options, effort_of(options))
    if options.obligations is not None and c.layout and c.table and c.locking and c.moving:
        files = obligation_files(c.layout, c.table, c.locking, c.moving)
        failure = write_all(options.obligations, files)
        if failure:
            return fail(failure)
    try:
        found = _rules(options, c)
    except NotMendedError as error:
        return fail(f"nothing is written: {error}")
    except OSError as error:
        return fail(f"{error.filename or options.file} cannot be written: {error.strerror}")
    if found.mended is not None:
        c = compile_layout(options, effort_of(options))
    barred: Mapping[str, Sequence[Rule]] = {}
    if c.layout and c.locking and c.verdict:
        barred = never_settable(c.layout, c.locking, c.verdict, c.moving)
    if options.json:
        print_json(report(c), rules_data(found, barred))
        return status(c)
    print_diagnostics(c.diagnostics, c.program.texts)
    if c.verdict and c.layout and c.table:
        again = found.mended is not None
        text = verdict_text(
            c.verdict,
            c.moving,
            c.layout,
            c.table,
            width(),
            barred=barred,
            repair=None if again else found.repair,
        )
        show(text)
        for line in found.notes:
            show(Text(line))
    return status(c)


def _rules(options: argparse.Namespace, c: Compilation) -> RulesFound:
    """What is told beside the verdict: rules that are missing, or not wanted."""
    if not c.ok:
        return RulesFound()
    limit = options.time_limit
    with progress() as tell:
        if options.fix:
            return fix(c, options.file, SECONDS_FOR_FIX if limit is None else limit, tell)
        if options.spare:
            return spare(c, limit, tell)
        few = SECONDS_FOR_PROPOSAL
        return propose(c, few if limit is None else min(few, limit), tell)
