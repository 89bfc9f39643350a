"""The words of the command `run`."""

from __future__ import annotations

import click

from bellcrank.commands.declaring import FILE, AlsoCalled, command, layout_file, time_limit

_EXIT_CODES = """\
exit status:
  0  stopped on purpose, all signals at stop; or the script has passed
  1  the layout or its controller is refuted; or the script has failed
  2  an error in the input, on the command line or of the journal
  3  the proof is undecided
130  stopped by Ctrl-C, all signals at stop"""

_DESCRIPTION = """\
Run the railway: reports come in, routes are asked for on a page, signals and points are worked
as was proved.

With --simulated the railway is a simulated one and no hardware is needed. Otherwise say with --link
where reports come from and commands go; it may be given again.

\b
WHERE is one of
  mqtt://HOST[:PORT], mqtts://HOST[:PORT][?ca=FILE]
        a broker, and boards that speak to it as targets/README.md says under "Messages"
  tcp://HOST:PORT, serial:/dev/ttyX[?baud=9600]
        a line: commands go out as lines of --target, reports come as lines such as `T1 occupied`,
        `P1 lies straight`, `12 on`, or as --reports-as says"""

DECLARED = command(
    "run",
    description=_DESCRIPTION,
    examples=[
        "harbour-terminus.crank --simulated",
        "harbour-terminus.crank --simulated --by-itself --speed 5",
        "harbour-terminus.crank --link mqtt://localhost --journal harbour.journal",
        "harbour-terminus.crank --link serial:/dev/ttyUSB0 --reports-as 'S {input} {state}'",
        "harbour-terminus.crank --simulated --speed 10 --script moves.rehearsal",
        "harbour-terminus.crank --links club.toml --people members.toml --serve 0.0.0.0:8150",
        "harbour-terminus.crank --link tcp://192.168.1.20:5550 --watch-only",
    ],
    statuses=_EXIT_CODES,
    exclusive=[["simulated", "link", "links"]],
    params=[
        layout_file,
        click.Option(["--simulated"], is_flag=True, help="run a simulated railway"),
        click.Option(
            ["--watch-only"],
            is_flag=True,
            help="command nothing: tell when what is reported beside another controller could not "
            "happen under the proved locking",
        ),
        click.Option(
            ["--by-itself"],
            is_flag=True,
            help="people at the simulated railway handle trains and ask for routes by themselves",
        ),
        click.Option(
            ["--speed"],
            type=click.FloatRange(0.1, 100),
            default=1.0,
            metavar="N",
            help="how many times faster than real time the simulated railway runs (default 1)",
        ),
        click.Option(
            ["--seed"],
            type=int,
            default=0,
            metavar="N",
            help="lengths and chance there (default 0)",
        ),
        click.Option(
            ["--link"],
            multiple=True,
            metavar="WHERE",
            help="where reports come from and commands go",
        ),
        click.Option(
            ["--links"],
            type=FILE,
            metavar="FILE",
            help="the same in a file, each with what it serves and how it speaks (TOML)",
        ),
        click.Option(
            ["--target"],
            metavar="TARGET",
            help="whose text commands have on a line (default: csv)",
        ),
        click.Option(
            ["--option"], multiple=True, metavar="NAME=VALUE", help="an option of the target"
        ),
        click.Option(
            ["--reports-as"],
            metavar="PATTERN",
            help="how a line reports, with {section}, {drive} or {input} and {state}",
        ),
        click.Option(["--on"], metavar="WORD", help="what {state} is for occupied or on"),
        click.Option(["--off"], metavar="WORD", help="what {state} is for clear or off"),
        click.Option(
            ["--ask-with"],
            metavar="LINE",
            help="the line that asks the other side how everything stands",
        ),
        click.Option(
            ["--journal"],
            type=FILE,
            metavar="FILE",
            help="keep what was heard and decided (default: beside the layout, FILE.journal; "
            "none for a simulated railway)",
        ),
        click.Option(
            ["--journal-size"],
            type=click.IntRange(1, 100_000),
            default=64,
            metavar="MB",
            help="beyond this the oldest entries go (default 64)",
        ),
        click.Option(
            ["--script"],
            type=FILE,
            metavar="SCRIPT",
            help="play a script of rehearsals on the simulated railway, in real time, and end",
        ),
        click.Option(
            ["--serve"],
            default="127.0.0.1:8150",
            metavar="HOST:PORT",
            help="where the page is served (default 127.0.0.1:8150, for this machine alone; "
            "0.0.0.0:8150 for the local network)",
        ),
        click.Option(
            ["--people"],
            type=FILE,
            metavar="FILE",
            help="who may work what (TOML: a [[person]] each with name, key, works)",
        ),
        click.Option(["--open"], is_flag=True, help="open the page in a browser"),
        AlsoCalled(
            ["--although-unproved"],
            also="--allow-unproved",
            is_flag=True,
            help="run it though the proof is undecided; never one that is refuted",
        ),
        time_limit,
    ],
)
