"""The words of the command `send`."""

from __future__ import annotations

import click

from bellcrank.commands.completing import routes
from bellcrank.commands.declaring import (
    FILE,
    cancel,
    command,
    in_place_of_a_route,
    layout_file,
    link_options,
)

_EXIT_CODES = """\
exit status:
  0  all was sent; or it was a dry run
  1  nothing was sent: the layout is refuted, or nobody confirmed
  2  nothing was sent: an error in the input, on the command line or of the connection
  3  nothing was sent: the proof is undecided
  4  broken off; what was sent and what was not is said, and the signals of the list were
     put to stop first, if that could be done
130  stopped by Ctrl-C, with the same done and said; a second Ctrl-C ends that too, and names
     the signals that are left"""

_DESCRIPTION = """\
Play the commands that set a route, cancel it or start the layout up, put all signals to stop,
or throw one drive or set one signal alone, each in its time.
Nothing is sent unless --live or --yes is given: without them it is a dry run.

\b
WHERE is one of
  mqtt://HOST[:PORT]              a broker (MQTT 3.1.1); NAME@HOST for one that asks who
                                  it is, with the password in BELLCRANK_PASSWORD
  mqtts://HOST[:PORT][?ca=FILE]   the same over TLS; FILE holds the certificates that vouch
                                  for the broker (default: those that the system trusts)
  tcp://HOST:PORT                 a network line; each command is a line of text
  serial:/dev/ttyX[?baud=9600]    a serial line, likewise; &wait=2000 waits so many
                                  milliseconds after it was opened"""

DECLARED = command(
    "send",
    description=_DESCRIPTION,
    examples=[
        "harbour-terminus.crank W1 to T1 --to mqtt://localhost",
        "harbour-terminus.crank W1 to T1 --to mqtt://localhost --live",
        "harbour-terminus.crank W1 to T1 --cancel --to tcp://10.0.0.7:4000 --yes",
        "harbour-terminus.crank --all-to-stop --to mqtt://localhost --yes",
        "harbour-terminus.crank --start-up --to serial:/dev/ttyUSB0?baud=115200 --live "
        "--log day.txt",
    ],
    statuses=_EXIT_CODES,
    params=[
        layout_file,
        click.Argument(
            ["route"],
            nargs=-1,
            metavar="[ROUTE...]",
            help="the route, such as W1 to T1",
            shell_complete=routes,
        ),
        cancel,
        *in_place_of_a_route,
        click.Option(
            ["--drives-now"],
            multiple=True,
            metavar="DRIVES",
            help="where drives lie now, such as `P1 straight, S1 diverging`: those that lie right "
            "are left alone (default: not known, so all are thrown)",
        ),
        *link_options,
        click.Option(
            ["--live"], is_flag=True, help="send it, after you have typed the route's name"
        ),
        click.Option(
            ["--yes"],
            is_flag=True,
            help="send it without asking for its name first; what must be known is asked all "
            "the same",
        ),
        click.Option(
            ["--log"],
            type=FILE,
            metavar="LOG",
            help="add every line sent to this file, with its time; what was thrown by it shortly "
            "before gets the rest that it still needs, and before a route you are asked about "
            "those in conflict with it that were set and not cancelled. Without it, nobody "
            "remembers what was sent before: leave drives and supplies their rest between two runs",
        ),
        click.Option(
            ["--json"],
            is_flag=True,
            help="print the plan, and what became of it, as JSON; all that is told or asked on the "
            "way goes to standard error",
        ),
    ],
)
