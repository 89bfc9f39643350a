"""How the commands begin that send to a layout: their options, the layout with its proof, and
the head of their records."""

from __future__ import annotations

import argparse
from collections.abc import Iterable

from bellcrank.commands.proving import STOPPED, check_layout, status
from bellcrank.compilation import Broken, Checked
from bellcrank.terminal.console import print_diagnostics, say
from bellcrank.version import NOTICE, __version__


def add_link_options(parser: argparse.ArgumentParser) -> None:
    """The options that say where to send and in which text."""
    parser.add_argument("--to", metavar="WHERE", help="where to send")
    parser.add_argument(
        "--target",
        metavar="NAME",
        help="the target whose text is sent: a built-in one or the folder of your own "
        "(default: mqtt to a broker, else csv)",
    )
    parser.add_argument(
        "--option",
        action="append",
        metavar="NAME=VALUE",
        help="what the target lets you state, such as `prefix=layout`",
    )
    parser.add_argument(
        "--although-unproved",
        action="store_true",
        help="go on though the layout is not proved: trains may meet",
    )
    parser.add_argument("--time-limit", type=float, metavar="SECONDS", help=argparse.SUPPRESS)


def checked(options: argparse.Namespace) -> Broken | Checked:
    """The layout with its proof; what is wrong with it is told."""
    c = check_layout(options.file, seconds=options.time_limit)
    print_diagnostics(c.diagnostics, c.program.texts)
    return c


def refused(options: argparse.Namespace, c: Checked) -> int | None:
    """The exit status, with the reason told, if nothing may be sent to a layout."""
    if status(c) == STOPPED:
        return STOPPED
    if not c.proved and not options.although_unproved:
        say(
            f"the layout is {c.outcome}, so nothing is sent: `bellcrank check` tells more "
            "(--although-unproved goes on all the same)"
        )
        return status(c)
    return None


def heading(c: Checked, what: str) -> Iterable[str]:
    """What stands at the head of each record."""
    return (
        f"bellcrank {__version__}: {what}",
        f"status: {'proved' if c.proved else 'UNPROVED'}",
        f"source: {', '.join(c.program.texts)}, sha256 {c.source_hash}",
        NOTICE,
    )
