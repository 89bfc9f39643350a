"""How the commands begin that send to a layout: their options, the layout with its proof, and
the head of their logs and records."""

from __future__ import annotations

import argparse
from collections.abc import Iterable

from bellcrank.commands.proving import FAULTY, STOPPED, compile_layout, status
from bellcrank.compilation import Compilation
from bellcrank.proof.moving.moving_proof import Effort
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


def compiled(options: argparse.Namespace) -> tuple[Compilation, int | None]:
    """The layout with its proof; and the exit status, with the reason told, if nothing may
    be sent for it."""
    c = compile_layout(options, Effort())
    print_diagnostics(c.diagnostics, c.program.texts)
    ended = status(c)
    if ended in (FAULTY, STOPPED):
        return c, ended
    if not c.proved and not options.although_unproved:
        say(
            f"the layout is {c.outcome}, so nothing is sent: `bellcrank check` tells more "
            "(--although-unproved goes on all the same)"
        )
        return c, ended
    return c, None


def heading(c: Compilation, what: str) -> Iterable[str]:
    """What stands at the head of each log and record."""
    return (
        f"bellcrank {__version__}: {what}",
        f"status: {'proved' if c.proved else 'UNPROVED'}",
        f"source: {', '.join(c.program.texts)}, sha256 {c.source_hash}",
        NOTICE,
    )
