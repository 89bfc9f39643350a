"""The command `format`: a layout file in the usual form."""

from __future__ import annotations

import sys
from pathlib import Path

from bellcrank.commands.exit_statuses import FAULTY, PROVED, fail
from bellcrank.diagnostics import has_errors
from bellcrank.file_sets.single_files import write_files
from bellcrank.syntax.formatter import format_source
from bellcrank.syntax.load import load_file
from bellcrank.terminal.console import print_diagnostics


def in_usual_form(file: Path, write: bool) -> int:
    """Run the command; returns the exit status."""
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
