"""Pages of the manual on each command, from what is declared of it: for `man`, and as Markdown.

`python -m bellcrank.commands.manual FOLDER` writes bellcrank.1, bellcrank-check.1 and so on there,
where `man bellcrank-check` finds them: in `~/.local/share/man/man1`, say. What the requests of such
a page mean is in man(7) of groff, and of mandoc.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import click

from bellcrank.commands.cli import COMMAND_LINE
from bellcrank.commands.declaring import Command
from bellcrank.commands.exit_statuses import OF_A_PROOF
from bellcrank.commands.listing import COMMANDS
from bellcrank.version import NOTICE, __version__


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph of a description. as_it_stands: its lines are kept as they are."""

    text: str
    as_it_stands: bool = False


@dataclass(frozen=True, slots=True)
class ManualPage:
    """What a page tells. name: of the command, as it is typed. terms: what stands in the help of
    arguments, of options and of commands, each with what it means."""

    name: str
    purpose: str
    usage: str
    description: tuple[Paragraph, ...]
    arguments: tuple[tuple[str, str], ...]
    options: tuple[tuple[str, str], ...]
    commands: tuple[tuple[str, str], ...]
    examples: tuple[str, ...]
    statuses: tuple[str, ...]

    @property
    def file(self) -> str:
        """What its file is called, without what stands for the section."""
        return self.name.replace(" ", "-")


def manual_pages() -> tuple[ManualPage, ...]:
    """The page on the command line as a whole, and one for each command."""
    return (_of_all(), *(_of_command(name) for name in COMMANDS))


def _of_all() -> ManualPage:
    context = click.Context(COMMAND_LINE, info_name="bellcrank")
    purpose = "route-setting and interlocking for model railways"
    commands = tuple((f"bellcrank {name}", each.purpose) for name, each in COMMANDS.items())
    return ManualPage(
        "bellcrank", purpose, " ".join(COMMAND_LINE.collect_usage_pieces(context)),
        _paragraphs(COMMAND_LINE.help or ""), (), _terms(COMMAND_LINE, context, "option"), commands,
        (), _lines_of(OF_A_PROOF),
    )  # fmt: skip


def _of_command(name: str) -> ManualPage:
    declared: Command = COMMANDS[name].declared()
    context = click.Context(declared, info_name=f"bellcrank {name}")
    return ManualPage(
        f"bellcrank {name}",
        COMMANDS[name].purpose,
        " ".join(declared.collect_usage_pieces(context)),
        _paragraphs(declared.help or ""),
        _terms(declared, context, "argument"),
        _terms(declared, context, "option"),
        (),
        tuple(f"bellcrank {name} {words}".rstrip() for words in declared.examples),
        _lines_of(declared.statuses),
    )


def _terms(
    command: click.Command, context: click.Context, sort: str
) -> tuple[tuple[str, str], ...]:
    records = (
        param.get_help_record(context)
        for param in command.get_params(context)
        if param.param_type_name == sort
    )
    return tuple((record[0], record[1]) for record in records if record is not None)


def _lines_of(statuses: str) -> tuple[str, ...]:
    """The exit statuses without the heading that the help gives them."""
    return tuple(line.strip() for line in statuses.splitlines()[1:])


def _paragraphs(text: str) -> tuple[Paragraph, ...]:
    """Of a help text as click has it, in which a line with a backspace keeps what follows."""
    found = []
    for part in text.split("\n\n"):
        kept = part.startswith("\b\n")
        said = part.removeprefix("\b\n") if kept else " ".join(part.split())
        found.append(Paragraph(said, kept))
    return tuple(found)


# -------------------------------------------------------------------------- for man


def as_roff(page: ManualPage) -> str:
    """A page for `man`."""
    rows = [
        f'.TH {_escaped(page.file.upper())} 1 "" "Bellcrank {__version__}" "Bellcrank manual"',
        ".SH NAME",
        f"{_escaped(page.file)} \\- {_escaped(page.purpose)}",
        ".SH SYNOPSIS",
        f"\\fB{_escaped(page.name)}\\fP {_escaped(page.usage)}",
        ".SH DESCRIPTION",
        *_described(page.description),
        *_listed("ARGUMENTS", page.arguments),
        *_listed("OPTIONS", page.options),
        *_listed("COMMANDS", page.commands),
        *_kept("EXAMPLES", page.examples),
        *_kept("EXIT STATUS", page.statuses),
    ]
    if page.name != "bellcrank":
        rows += [".SH SEE ALSO", "\\fBbellcrank\\fP(1)"]
    rows += [".SH CAUTION", _marked(NOTICE)]
    return "\n".join(rows) + "\n"


def _described(paragraphs: Sequence[Paragraph]) -> Iterator[str]:
    for number, paragraph in enumerate(paragraphs):
        if paragraph.as_it_stands:
            yield from (".PP", ".nf") if number else (".nf",)
            yield from map(_marked, paragraph.text.splitlines())
            yield ".fi"
        else:
            if number:
                yield ".PP"
            yield _marked(paragraph.text)


def _listed(title: str, terms: Sequence[tuple[str, str]]) -> Iterator[str]:
    if terms:
        yield f".SH {title}"
    for term, said in terms:
        yield from (".TP", f"\\fB{_escaped(term)}\\fP", _marked(said))


def _kept(title: str, lines: Sequence[str]) -> Iterator[str]:
    """Lines that are printed as they stand."""
    if lines:
        yield from (f".SH {title}", ".nf", *map(_marked, lines), ".fi")


def _marked(text: str) -> str:
    """Text with what stands in backticks in bold."""
    parts = re.split(r"`([^`]*)`", text)
    said = "".join(
        f"\\fB{_escaped(part)}\\fP" if number % 2 else _escaped(part)
        for number, part in enumerate(parts)
    )
    return f"\\&{said}" if said.startswith((".", "'")) else said


def _escaped(text: str) -> str:
    text = text.replace("\\", "\\e").replace("-", "\\-")
    return "".join(c if c.isascii() else f"\\[u{ord(c):04X}]" for c in text)


# --------------------------------------------------------------------- as Markdown


def as_markdown(page: ManualPage) -> str:
    """A page among others."""
    rows = [f"# {page.name}", "", "```text", f"{page.name} {page.usage}", "```", ""]
    for paragraph in page.description:
        kept = paragraph.as_it_stands
        rows += ["```text", paragraph.text, "```", ""] if kept else [paragraph.text, ""]
    for title, terms in (
        ("Arguments", page.arguments), ("Options", page.options), ("Commands", page.commands),
    ):  # fmt: skip
        if terms:
            rows += [f"## {title}", ""]
        for term, said in terms:
            rows += [f"`{term}`", f": {said}", ""]
    for title, lines in (("Examples", page.examples), ("Exit status", page.statuses)):
        if lines:
            rows += [f"## {title}", "", "```text", *lines, "```", ""]
    return "\n".join(rows)


def write(folder: Path) -> None:
    """Write all pages for `man` into a folder, which is made if it is not there."""
    folder.mkdir(parents=True, exist_ok=True)
    for page in manual_pages():
        (folder / f"{page.file}.1").write_text(as_roff(page), "utf-8")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit("name the folder to write to, such as ~/.local/share/man/man1")
    write(Path(sys.argv[1]))
