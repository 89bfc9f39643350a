"""The command `format`: a layout file in the usual form, with its numbers stated if asked."""

from __future__ import annotations

import sys
from pathlib import Path

from bellcrank.commands.exit_statuses import FAULTY, PROVED, fail
from bellcrank.diagnostics import has_errors
from bellcrank.file_sets.single_files import write_files
from bellcrank.syntax.formatter import format_source
from bellcrank.syntax.load import load_file
from bellcrank.syntax.parse import parse
from bellcrank.terminal.console import print_diagnostics, say


def in_usual_form(file: Path, write: bool, with_numbers: bool) -> int:
    """Run the command; returns the exit status."""
    if with_numbers:
        return _with_numbers(file, write)
    program, diagnostics = load_file(file, follow=False)
    print_diagnostics(diagnostics, program.texts)
    if has_errors(diagnostics):
        return FAULTY
    text = format_source(program.files[-1])
    if not write:
        sys.stdout.write(text)
        return PROVED
    if program.texts[program.files[-1].name] != text:
        try:
            own = file.resolve()  # a link to a layout stays a link
            write_files(own.parent, {own.name: text.encode("utf-8")})
        except OSError as error:
            return fail(f"{file} cannot be written: {error.strerror}")
    return PROVED


def _with_numbers(file: Path, write: bool) -> int:
    """A layout whose numbers depend on all of its files, so that all of them are read."""
    from bellcrank.layout.build_layout import build_layout
    from bellcrank.layout.numbers_kept import NotKeptError, files_left_open, numbered
    from bellcrank.syntax.rewrite import NotAsReadError, rewrite

    program, diagnostics = load_file(file)
    if not has_errors(diagnostics):
        layout, found = build_layout(program)
        diagnostics = (*diagnostics, *found)
    print_diagnostics(diagnostics, program.texts)
    if has_errors(diagnostics):
        return FAULTY
    own = program.files[-1].name
    try:
        names = files_left_open(program, layout)
    except NotKeptError as error:
        return fail(str(error))
    text = format_source(parse(numbered(program, layout, own, program.texts[own]), own)[0])
    others = [name for name in names if name != own]
    if not write:
        sys.stdout.write(text)
        if others:
            say(f"numbers are left open in {', '.join(others)} too: --write states those as well")
        return PROVED
    changing = [*others, own] if text != program.texts[own] else others

    def edit(name: str, as_on_disk: str) -> str:
        return text if name == own else numbered(program, layout, name, as_on_disk)

    try:
        rewrite(program, file, changing, edit)
    except NotAsReadError as error:
        return fail(str(error))
    except OSError as error:
        return fail(f"{error.filename or file} cannot be written: {error.strerror}")
    return PROVED
