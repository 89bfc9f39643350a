"""The command line: reads arguments and runs the command that they name."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from contextlib import suppress
from typing import Any

from bellcrank.commands.build import add_build
from bellcrank.commands.check import add_check
from bellcrank.commands.commands import add_commands
from bellcrank.commands.commission import add_commission
from bellcrank.commands.explain import add_explain
from bellcrank.commands.format import add_format
from bellcrank.commands.picture import add_picture
from bellcrank.commands.proving import EXIT_CODES, FAULTY, STOPPED, fail
from bellcrank.commands.rehearse import add_rehearse
from bellcrank.commands.send import add_send
from bellcrank.commands.table import add_table
from bellcrank.commands.why import add_why
from bellcrank.diagnostics import printable
from bellcrank.proof.moving.solving import NoSolverError
from bellcrank.terminal.console import drop_output, prepare, say
from bellcrank.version import NOTICE, __version__

UNREAD = 141
"""What a shell reports of a program whose reader went away."""

COMMANDS = (
    add_check,
    add_build,
    add_table,
    add_why,
    add_commands,
    add_rehearse,
    add_send,
    add_commission,
    add_picture,
    add_format,
    add_explain,
)
"""In the order of the help. Each adds a parser that says with `run` what to call."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    prepare()
    options = _parser().parse_args(arguments)
    try:
        status: int = options.run(options)
        if sys.stdout is not None:
            sys.stdout.flush()
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return STOPPED
    except NoSolverError as error:
        return fail(str(error))
    except BrokenPipeError:
        # The reader of our output has gone, so what was found cannot be told.
        drop_output()
        return UNREAD
    except OSError as error:
        drop_output()
        with suppress(OSError):
            say(f"the output cannot be written: {error.strerror}")
        return FAULTY
    return status


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="bellcrank",
        description="Prove that no two routes of a model railway can meet, and write "
        "the tables and command lists that go with the proof.",
        epilog=EXIT_CODES + "\n" + NOTICE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"bellcrank {__version__}")
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    for add in COMMANDS:
        add(commands)
    return parser


class _Parser(argparse.ArgumentParser):
    """Errors on the command line count as errors in the input."""

    def error(self, message: str) -> Any:
        self.print_usage(sys.stderr)
        self.exit(FAULTY, f"{self.prog}: {printable(message)}\n")
