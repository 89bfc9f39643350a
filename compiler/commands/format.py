"""The command `format`: a layout file in the usual form."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from bellcrank.atomic_files import write_files
from bellcrank.commands.proving import FAULTY, PROVED, fail
from bellcrank.diagnostics import has_errors
from bellcrank.syntax.formatter import format_source
from bellcrank.syntax.load import load_file
from bellcrank.terminal.console import print_diagnostics


def add_format(commands: Any) -> None:
    """Add the command to those of the command line."""
    parser = commands.add_parser(
        "format",
        help="write a layout file in the usual form",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        epilog="examples:\n  bellcrank format terminus.crank\n"
        "  bellcrank format terminus.crank --write",
    )
    parser.add_argument("file", type=Path, metavar="FILE")
    parser.add_argument("--write", action="store_true", help="change the file in its place")
    parser.set_defaults(run=in_usual_form)


def in_usual_form(options: argparse.Namespace) -> int:
    """Run the command; returns the exit status."""
    program, diagnostics = load_file(options.file, follow=False)
    print_diagnostics(diagnostics, program.texts)
    if has_errors(diagnostics):
        return FAULTY
    text = format_source(program.files[-1])
    if not options.write:
        sys.stdout.write(text)
        return PROVED
    if program.texts[program.files[-1].name] != text:
        try:
            own = options.file.resolve()  # a link to a layout stays a link
            write_files(own.parent, {own.name: text.encode("utf-8")})
        except OSError as error:
            return fail(f"{options.file} cannot be written: {error.strerror}")
    return PROVED
