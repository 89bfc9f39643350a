"""The command line: finds the command that the words name, runs it, and tells what is wrong
with them."""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Sequence
from contextlib import suppress

import click
from click.shell_completion import CompletionItem, shell_complete

from bellcrank.commands.caller import Caller
from bellcrank.commands.declaring import COMPLETE, HELP, SETTINGS, NotListedError, help_of
from bellcrank.commands.exit_statuses import FAULTY, OF_A_PROOF, STOPPED, UNREAD, fail
from bellcrank.commands.listing import ALSO_CALLED, COMMANDS
from bellcrank.diagnostics import did_you_mean
from bellcrank.terminal.console import drop_output, prepare, say
from bellcrank.version import NOTICE, __version__


class CommandLine(click.Group):
    """Loads a command when it is called; all are listed without that."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        listed = COMMANDS.get(cmd_name)
        return None if listed is None else listed.declared()

    def get_help_option(self, ctx: click.Context) -> click.Option | None:
        return help_of(super().get_help_option(ctx))

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if not args and not ctx.resilient_parsing:
            raise click.UsageError(f"name a command: {', '.join(COMMANDS)}", ctx)
        return super().parse_args(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, listed.purpose) for name, listed in COMMANDS.items()])

    def format_epilog(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        formatter.write(f"\n{OF_A_PROOF}\n\n{NOTICE}\n")

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        return [
            CompletionItem(name, help=listed.purpose)
            for name, listed in COMMANDS.items()
            if name.startswith(incomplete)
        ] + click.Command.shell_complete(self, ctx, incomplete)


COMMAND_LINE = CommandLine(
    "bellcrank",
    help="Prove that no two routes of a model railway can meet, and write the tables and "
    "command lists that go with the proof.",
    no_args_is_help=False,
    subcommand_metavar="COMMAND ...",
    context_settings=SETTINGS,
)
click.version_option(
    __version__, prog_name="bellcrank", message="%(prog)s %(version)s", help="show the version"
)(COMMAND_LINE)


def load(words: Sequence[str]) -> None:
    """Load what the command needs that the words name, if they name one and do not ask for
    its help."""
    name = next((word for word in words if not word.startswith("-")), "")
    if name in COMMANDS and not set(words).intersection(HELP):
        COMMANDS[name].body()
        if any(word.split("=")[0] == "--scheduler" for word in words):
            with suppress(ImportError):  # that it is not installed is told later
                importlib.import_module("distributed")


def main(arguments: Sequence[str] | None = None, *, whole_process: bool = False) -> int:
    """Run one command; returns the exit status. whole_process: the process ends with it."""
    prepare()
    caller = Caller(whole_process)
    try:
        status = _run(sys.argv[1:] if arguments is None else list(arguments), caller)
        if sys.stdout is not None and not sys.stdout.closed:  # the editor's server closes it
            sys.stdout.flush()
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return STOPPED
    except BrokenPipeError:
        # The reader of our output has gone, so what was found cannot be told.
        drop_output()
        return UNREAD
    except OSError as error:
        drop_output()
        with suppress(OSError):
            what = "the output cannot be written" if error.filename is None else error.filename
            say(f"{what}: {error.strerror}")
        return FAULTY
    return status


def _run(words: list[str], caller: Caller) -> int:
    asked = os.environ.get(COMPLETE)
    if asked:
        return shell_complete(COMMAND_LINE, {}, "bellcrank", COMPLETE, asked)
    try:
        with COMMAND_LINE.make_context("bellcrank", words, obj=caller) as context:
            status: int = COMMAND_LINE.invoke(context)
            return status
    except click.exceptions.Exit as ended:  # --help and --version
        return ended.exit_code
    except click.UsageError as error:
        path = "bellcrank"
        if error.ctx is not None:
            print(error.ctx.get_usage(), file=sys.stderr)
            path = error.ctx.command_path
        say(_sentence(error), path)
        if isinstance(error, NotListedError):
            _list(error)
        return FAULTY
    except click.ClickException as error:
        return fail(error.message)


def _sentence(error: click.UsageError) -> str:
    """What is wrong with the words, without a full stop."""
    match error:
        case click.NoSuchOption():
            options = [o for p in _parameters(error) for o in p.opts if o.startswith("--")]
            return _unknown("option", error.option_name, options)
        case click.exceptions.NoSuchCommand():
            meant = ALSO_CALLED.get(error.command_name)
            if meant is not None:
                return f"there is no command `{error.command_name}`; try `bellcrank {meant}`"
            return _unknown("command", error.command_name, list(COMMANDS))
        case click.MissingParameter() if error.param is not None:
            return f"{_word(error.param)} is missing"
        case click.BadParameter() if error.param is not None:
            return f"{_word(error.param)}: {error.message}"
    return error.format_message().rstrip(".")


def _list(error: NotListedError) -> None:
    """Tell what there is in place of a word that is not known, one a line."""
    print(f"{_word(error.param) if error.param else 'there'} takes one of these:", file=sys.stderr)
    width = max(len(word) for word, _ in error.rows)
    for word, meaning in error.rows:
        print(f"  {word:{width}}  {meaning}".rstrip(), file=sys.stderr)


def _word(param: click.Parameter) -> str:
    """What stands in the help for an option or an argument."""
    if isinstance(param, click.Option):
        return param.opts[0]
    return param.human_readable_name.strip("[].")


def _parameters(error: click.UsageError) -> list[click.Parameter]:
    return [] if error.ctx is None else error.ctx.command.get_params(error.ctx)


def _unknown(what: str, word: str, known: Sequence[str]) -> str:
    begun = [name for name in known if name.startswith(word)]
    # A word that is broken off is surer than one that is misspelt: `--out` is `--output`.
    near = None if len(begun) == 1 else did_you_mean(word, known)
    hint = near or next((f"did you mean `{name}`?" for name in begun), None)
    return f"there is no {what} `{word}`" + (f"; {hint}" if hint else "")
