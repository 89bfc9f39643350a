"""The command `check`: the verdict, and rules that are missing or not wanted."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from rich.text import Text

from bellcrank.commands.proving import (
    add_effort_options,
    check_layout,
    effort_of,
    fail,
    layout_command,
    report,
    show_errors,
    status,
    write_all,
)
from bellcrank.commands.rule_advice import (
    SECONDS_FOR_FIX,
    SECONDS_FOR_PROPOSAL,
    RulesFound,
    fix,
    propose,
    rules_data,
    spare,
)
from bellcrank.compilation import Broken, Checked
from bellcrank.proof.smt_files import obligation_files
from bellcrank.proof.standing.minimal_core import never_settable
from bellcrank.syntax.rewrite import NotAsReadError
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
    c = _checked(options)
    if isinstance(c, Broken):
        return _broken(options, c)
    if options.obligations is not None:
        files = obligation_files(c.layout, c.table, c.locking, c.moving)
        failure = write_all(options.obligations, files)
        if failure:
            return fail(failure)
    try:
        found = _rules(options, c)
    except NotAsReadError as error:
        return fail(f"nothing is written: {error}")
    except OSError as error:
        return fail(f"{error.filename or options.file} cannot be written: {error.strerror}")
    if found.written is not None:
        c = _checked(options)
        if isinstance(c, Broken):
            return _broken(options, c, found)
    barred = never_settable(c.layout, c.locking, c.standing, c.moving)
    if options.json:
        print_json({**report(c), **rules_data(found, barred)})
        return status(c)
    print_diagnostics(c.diagnostics, c.program.texts)
    repair = None if found.written is not None else found.repair
    show(verdict_text(c, width(), barred=barred, repair=repair))
    for line in found.notes:
        show(Text(line))
    return status(c)


def _checked(options: argparse.Namespace) -> Broken | Checked:
    return check_layout(options.file, effort_of(options), seconds=options.time_limit)


def _broken(options: argparse.Namespace, c: Broken, found: RulesFound = RulesFound()) -> int:
    return show_errors(c, as_json=options.json, **rules_data(found, {}))


def _rules(options: argparse.Namespace, c: Checked) -> RulesFound:
    """What is told beside the verdict: rules that are missing, or not wanted."""
    limit = options.time_limit
    with progress() as tell:
        if options.fix:
            return fix(c, options.file, SECONDS_FOR_FIX if limit is None else limit, tell)
        if options.spare:
            return spare(c, limit, tell)
        few = SECONDS_FOR_PROPOSAL
        return propose(c, few if limit is None else min(few, limit), tell)
