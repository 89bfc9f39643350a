"""How commands are declared: their help, and the options that several of them have.

The words on a command line are read by click. What a command is called with comes to its
function by the names of the function's parameters. Nothing here may load the compiler: help
must come at once.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import click
from click.shell_completion import CompletionItem

from bellcrank.commands import completing
from bellcrank.commands.listing import COMMANDS
from bellcrank.diagnostics import did_you_mean
from bellcrank.version import NOTICE

COMPLETE = "_BELLCRANK_COMPLETE"
"""Set in the environment by a shell that asks how words go on."""

HELP = ["-h", "--help"]
"""What asks for help."""

SETTINGS = {"help_option_names": HELP, "max_content_width": 100}
"""Of the command line and of each command."""


class Command(click.Command):
    """A command whose help ends with examples and exit statuses, printed as they stand.

    exclusive: groups of options of which only one may be given, by their names in Python.
    """

    def __init__(
        self,
        *arguments: Any,
        examples: Sequence[str],
        statuses: str,
        exclusive: Sequence[Sequence[str]] = (),
        **named: Any,
    ) -> None:
        super().__init__(*arguments, **named)
        self.examples = examples
        self.statuses = statuses
        self.exclusive = exclusive

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        rest = super().parse_args(ctx, args)
        if ctx.args and not ctx.resilient_parsing:
            raise click.UsageError(f"`{' '.join(ctx.args)}` is not expected here", ctx)
        for group in self.exclusive:
            given = [
                param.opts[0]
                for name in group
                for param in self.params
                if param.name == name
                and ctx.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE
            ]
            if len(given) > 1 and not ctx.resilient_parsing:
                raise click.UsageError(f"{given[1]} is not allowed with {given[0]}", ctx)
        return rest

    def get_help_option(self, ctx: click.Context) -> click.Option | None:
        return help_of(super().get_help_option(ctx))

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        rows = ["examples:", *(f"  bellcrank {self.name} {row}".rstrip() for row in self.examples)]
        formatter.write("\n" + "\n".join(rows) + "\n")
        if self.statuses:
            formatter.write(f"\n{self.statuses}\n\n{NOTICE}\n")


def help_of(option: click.Option | None) -> click.Option | None:
    """The option `--help`, worded as the others are."""
    if option is not None:
        option.help = "show this"
    return option


def command(
    name: str,
    *,
    params: Sequence[click.Parameter],
    examples: Sequence[str],
    statuses: str = "",
    description: str = "",
    exclusive: Sequence[Sequence[str]] = (),
) -> Command:
    """Declare a command that is listed in COMMANDS.

    params: its arguments and options, in the order of the help.
    examples: what stands after `bellcrank NAME`. description: more than its purpose.
    """
    listed = COMMANDS[name]

    def run(**given: Any) -> int:
        return listed.body()(**given)

    return Command(
        name,
        callback=run,
        params=list(params),
        help=description or f"{listed.purpose[0].upper()}{listed.purpose[1:]}.",
        examples=examples,
        statuses=statuses,
        exclusive=exclusive,
        context_settings=SETTINGS | {"allow_extra_args": True},
    )


# ----------------------------------------------------------------- kinds of words


class PathWord(click.ParamType[Path]):
    """The path of a file or a folder. Nothing is not taken for the current folder."""

    name = "path"

    def __init__(self, what: str) -> None:
        """what: `file` or `dir`, as the completion of a shell has it."""
        self.what = what

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        if isinstance(value, Path):
            return value
        if not value:
            self.fail(f"it is empty: name a {'file' if self.what == 'file' else 'folder'}")
        return Path(value)

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        return [CompletionItem(incomplete, type=self.what)]


FILE, FOLDER = PathWord("file"), PathWord("dir")


_SECONDS: Mapping[str, float] = {"": 1.0, "ms": 0.001, "s": 1.0, "min": 60.0}
"""Of a unit of time; without a unit, seconds are meant."""

_UNIT_MEANT = {
    **dict.fromkeys(("sec", "secs", "second", "seconds"), "s"),
    **dict.fromkeys(("m", "mins", "minute", "minutes"), "min"),
    **dict.fromkeys(("msec", "millis", "milliseconds"), "ms"),
}
"""What people write for one."""

_MOST_SECONDS = 1e9


class Duration(click.ParamType[float]):
    """A length of time, in seconds: in figures, with a unit as layouts have it or without."""

    name = "time"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        said = str(value)
        match = re.fullmatch(r"([0-9]+(?:\.[0-9]+)?)\s*([A-Za-z]*)", said.strip())
        if match is None:
            self.fail(f"`{said}` is not a time: write seconds, such as `90`, or `90s` or `2min`")
        figures, unit = match.groups()
        meant = _UNIT_MEANT.get(unit.casefold(), unit.casefold())
        if unit not in _SECONDS:
            hint = f"did you mean `{figures}{meant}`?" if meant in _SECONDS else ""
            known = "`ms`, `s` and `min` are"
            self.fail(f"`{unit}` is not a unit of time here; {hint or known}")
        seconds = float(figures) * _SECONDS[unit]
        if seconds >= _MOST_SECONDS:
            self.fail(f"`{said}` is too long a time")
        return seconds


class SchedulerAddress(click.ParamType[str]):
    """Where a scheduler listens."""

    name = "address"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        try:
            parts = urlsplit(str(value))
            sound = parts.scheme in ("tcp", "tls") and parts.hostname and parts.port
        except ValueError:  # a port that is not a number, or out of range
            sound = False
        if not sound:
            self.fail(f"`{value}` is not the address of a scheduler, such as tcp://10.0.0.7:8786")
        return str(value)


class OneOf(click.Choice[str]):
    """One of a few words; a misspelt one is told with the nearest."""

    def get_invalid_choice_message(self, value: Any, ctx: click.Context | None) -> str:
        hint = did_you_mean(str(value), self.choices)
        return f"`{value}` is not one of {', '.join(self.choices)}" + (f"; {hint}" if hint else "")


class NotListedError(click.BadParameter):
    """A word that is none of those that there are. rows: each of them with what it means."""

    def __init__(self, message: str, rows: Sequence[tuple[str, str]], **named: Any) -> None:
        super().__init__(message, **named)
        self.rows = rows


class OneOfMany(OneOf):
    """One of so many words that they are listed with what each means.

    meanings: gives them, and is asked only when they are told. also_said: what people say for
    one of them, in small letters.
    """

    def __init__(
        self,
        choices: Sequence[str],
        meanings: Callable[[], Mapping[str, str]],
        also_said: Mapping[str, str],
    ) -> None:
        super().__init__(choices)
        self.meanings = meanings
        self.also_said = also_said

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        if value in self.choices:
            return str(value)
        meant = self.meant(str(value))
        hint = f"did you mean `{meant}`?" if meant else did_you_mean(str(value), self.choices)
        meanings = self.meanings()
        rows = [(each, meanings.get(each, "")) for each in self.choices]
        said = "name one" if value == "list" else f"`{value}` is not known"
        raise NotListedError(said + (f"; {hint}" if hint else ""), rows, ctx=ctx, param=param)

    def meant(self, said: str) -> str | None:
        """The choice that somebody means who said something else, if that is clear."""
        return self.also_said.get(said.casefold()) or self._with_all_words_of(said)

    def _with_all_words_of(self, said: str) -> str | None:
        """The only choice that has all words that were said."""
        words = set(said.casefold().split())
        found = [each for each in self.choices if words and words <= set(each.split())]
        return found[0] if len(found) == 1 else None


# ------------------------------------------------------------- what several have


class AlsoCalled(click.Option):
    """An option that is understood by another name as well, which help does not list: people
    type what a command beside it has."""

    def __init__(self, *arguments: Any, also: str, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self.also = also

    def add_to_parser(self, parser: Any, ctx: click.Context) -> None:
        super().add_to_parser(parser, ctx)
        action = "store_const" if self.is_flag else "store"
        parser.add_option(
            obj=self, opts=[self.also], dest=self.name, action=action, nargs=self.nargs,
            **({"const": True} if self.is_flag else {}),
        )  # fmt: skip


def out_option(type: PathWord, metavar: str, help: str) -> click.Option:
    """The option that says where to write."""
    return AlsoCalled(["--out"], also="--output", type=type, metavar=metavar, help=help)


layout_file = click.Argument(["file"], type=FILE, metavar="FILE", help="a layout (.crank)")
json_option = click.Option(["--json"], is_flag=True, help="print JSON")
time_limit = click.Option(
    ["--time-limit"],
    type=Duration(),
    metavar="TIME",
    help="give up the proof after this long, such as 90 (seconds) or 2min; what is left open is "
    "undecided",
)
recheck = click.Option(
    ["--recheck"],
    is_flag=True,
    help="have a second solver, cvc5, decide every obligation again",
)
watch = click.Option(
    ["--watch"],
    is_flag=True,
    help="do it again whenever a file of the layout is saved, until Ctrl-C; with --json a line "
    "each time",
)
scheduler = click.Option(
    ["--scheduler"],
    type=SchedulerAddress(),
    metavar="ADDRESS",
    help="have the workers of a dask scheduler work at the proof, such as tcp://10.0.0.7:8786; "
    "needs bellcrank[spread] on all machines. Whoever reaches a scheduler or its workers can run "
    "code there, and what they send is trusted here: keep them on a network of your own",
)
cancel = click.Option(["--cancel"], is_flag=True, help="cancel the route")
start_up = click.Option(
    ["--start-up"],
    is_flag=True,
    help="in place of a route: all signals to stop, all drives to their first position",
)
in_place_of_a_route = (
    start_up,
    click.Option(
        ["--all-to-stop"],
        is_flag=True,
        help="in place of a route: all signals to stop; nothing is thrown",
    ),
    click.Option(
        ["--drive"],
        nargs=2,
        metavar="DRIVE POSITION",
        help="in place of a route: throw one drive, such as `--drive P1 straight`",
    ),
    click.Option(
        ["--signal"],
        nargs=2,
        metavar="SIGNAL ASPECT",
        help="in place of a route: have one signal show an aspect, such as `--signal W1 stop`",
    ),
    click.Option(
        ["--output"],
        nargs=2,
        metavar="OUTPUT STATE",
        help="in place of a route: switch one output for something else, such as "
        "`--output GATE open`",
    ),
)


def target_option(help: str, *, multiple: bool) -> click.Option:
    """The option that names targets."""
    return click.Option(
        ["--target"],
        metavar="NAME",
        multiple=multiple,
        help=help,
        shell_complete=completing.targets,
    )


link_options = (
    click.Option(["--to"], metavar="WHERE", help="where to send"),
    target_option(
        "the target whose text is sent: a built-in one or the folder of your own "
        "(default: mqtt to a broker, else csv)",
        multiple=False,
    ),
    click.Option(
        ["--option"],
        multiple=True,
        metavar="NAME=VALUE",
        help="what the target lets you state, such as `prefix=layout`",
    ),
    AlsoCalled(
        ["--although-unproved"],
        also="--allow-unproved",
        is_flag=True,
        help="go on though the layout is not proved: trains may meet",
    ),
    click.Option(["--time-limit"], type=Duration(), hidden=True),
)
"""Of the commands that send: where to, and in which text."""
