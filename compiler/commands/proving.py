"""What the commands share that read a layout and prove it: their options, their exit
statuses, and how they tell what was found."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from rich.text import Text

from bellcrank.atomic_files import write_files
from bellcrank.compilation import Compilation, compile_file
from bellcrank.diagnostics import Collector
from bellcrank.document.report_data import diagnostics_data
from bellcrank.document.report_types import AskedWrongly, Report, StatusWord
from bellcrank.document.verdict_data import moving_data, verdict_data
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.routes.route_model import Route, RouteTable
from bellcrank.routes.route_naming import COMMAND_LINE, asked_refs, asked_routes, report_number
from bellcrank.terminal.console import print_diagnostics, print_json, progress, say, show

PROVED, REFUTED, FAULTY, UNDECIDED = 0, 1, 2, 3

STOPPED = 130
"""What a shell reports of a program stopped by Ctrl-C."""

_STATUS = {"proved": PROVED, "refuted": REFUTED, "undecided": UNDECIDED}

EXIT_CODES = """\
exit status:
  0  proved, and every expectation holds
  1  refuted, or an expectation fails
  2  an error in the input or on the command line
  3  undecided: no answer within the time given
130  stopped by Ctrl-C; 141 if what reads the output went away
"""


# -------------------------------------------------------------------- options


def layout_command(
    commands: Any, name: str, purpose: str, examples: str
) -> argparse.ArgumentParser:
    """Add a command on a layout to those of the command line; returns its parser."""
    shown = "\n".join("  " + line for line in examples.split("\n"))
    parser: argparse.ArgumentParser = commands.add_parser(
        name,
        help=purpose,
        description=purpose[0].upper() + purpose[1:] + ".",
        epilog=f"examples:\n{shown}\n\n{EXIT_CODES}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", type=Path, metavar="FILE", help="a layout (.crank)")
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.add_argument(
        "--time-limit",
        type=_seconds,
        metavar="SECONDS",
        help="give up the proof after this long; what is left open is undecided",
    )
    return parser


def _seconds(text: str) -> float:
    try:
        seconds = float(text)
    except ValueError:
        seconds = -1.0
    if not 0 <= seconds < 1e9:
        raise argparse.ArgumentTypeError(f"`{text}` is no number of seconds")
    return seconds


def add_effort_options(parser: argparse.ArgumentParser) -> None:
    """The options that say how much is done for the proof."""
    parser.add_argument(
        "--recheck",
        action="store_true",
        help="have a second solver, cvc5, decide every obligation again",
    )


def effort_of(options: argparse.Namespace) -> Effort:
    """What the effort options say."""
    return Effort(recheck=options.recheck)


# --------------------------------------------------------------- what is read


def compile_layout(options: argparse.Namespace, effort: Effort | None) -> Compilation:
    """Compile the file of a command; without an effort there is no moving proof."""
    with progress() as tell:
        return compile_file(options.file, seconds=options.time_limit, effort=effort, progress=tell)


def routes_asked_for(options: argparse.Namespace, table: RouteTable) -> list[Route] | None:
    """The one or two routes that the words of a command mean; None, with the reason told,
    if they mean none."""
    text = " ".join(options.routes)
    found = Collector()
    refs = asked_refs(text, table.routes)
    if not 1 <= len(refs) <= 2:
        report_number(text, refs, "one route, or two", found)
    routes = asked_routes(refs, table.routes, found)
    if not found.diagnostics and len(routes) == 2 and routes[0] is routes[1]:
        found.report(
            "E402", "these are one and the same route", refs[1].span, expected="two routes"
        )
    wrong = found.result()
    if not wrong:
        return routes
    if options.json:
        print_json(AskedWrongly("error", diagnostics_data(wrong), None))
    else:
        print_diagnostics(wrong, {COMMAND_LINE: text})
    return None


# --------------------------------------------------------------- what is told


def status(c: Compilation) -> int:
    """The exit status that says what came of the proof."""
    if c.moving is not None and c.moving.stopped == "by Ctrl-C":
        return STOPPED
    return FAULTY if not c.ok or c.verdict is None else _STATUS[c.outcome]


def status_word(c: Compilation) -> StatusWord:
    """The same in a word, for JSON."""
    return "error" if not c.ok or c.verdict is None else c.outcome


def report(c: Compilation) -> Report:
    """What every command tells as JSON of the layout it read."""
    return Report(
        status=status_word(c),
        diagnostics=diagnostics_data(c.diagnostics),
        verdict=verdict_data(c.verdict) if c.verdict else None,
        moving=moving_data(c.moving) if c.moving else None,
    )


def show_report(options: argparse.Namespace, c: Compilation) -> None:
    """Tell what was found in a layout, and no more, as there is nothing to go on with."""
    if options.json:
        print_json(report(c))
    else:
        print_diagnostics(c.diagnostics, c.program.texts)


def show_status(c: Compilation) -> None:
    """Show whether the layout is proved."""
    word = ("proved", "green") if c.proved else ("UNPROVED", "bold red")
    show(Text.assemble("status: ", word))


def write_all(folder: Path, files: dict[str, bytes]) -> str:
    """Write files into a folder; a sentence if they cannot be written."""
    try:
        write_files(folder, files)
    except (FileExistsError, NotADirectoryError):
        return f"{folder} cannot be written to: it is, or lies in, a file and no folder"
    except OSError as error:
        return f"{error.filename or folder} cannot be written: {error.strerror}"
    return ""


def fail(message: str) -> int:
    """Say why nothing is done; returns the exit status for it."""
    say(message)
    return FAULTY
