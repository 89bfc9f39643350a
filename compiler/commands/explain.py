"""The command `explain`: the page behind an error code."""

from __future__ import annotations

import argparse
from typing import Any

from bellcrank.commands.proving import PROVED, fail
from bellcrank.error_pages import explain, known_codes


def add_explain(commands: Any) -> None:
    """Add the command to those of the command line."""
    parser = commands.add_parser(
        "explain",
        help="explain an error by its code",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        epilog="examples:\n  bellcrank explain E311",
    )
    parser.add_argument("code", nargs="?", metavar="CODE", help="without one, lists them all")
    parser.set_defaults(run=explain_code)


def explain_code(options: argparse.Namespace) -> int:
    """Run the command; returns the exit status."""
    if options.code is None:
        for code, title in known_codes().items():
            print(f"{code}  {title}")
        return PROVED
    code = options.code.upper()
    page = explain(code) or explain(f"E{code}")
    if page is None:
        return fail(f"there is no error {options.code}; `bellcrank explain` lists them")
    print(page)
    return PROVED
