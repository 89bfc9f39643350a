"""How the commands read a layout and prove it, telling meanwhile what is being done."""

from __future__ import annotations

from pathlib import Path

import click

from bellcrank.compilation import Broken, Checked, Sound, compile_file, prove
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.moving.solving import NoSolverError
from bellcrank.terminal.console import progress


def compile_layout(file: Path) -> Broken | Sound:
    """Compile the file of a command."""
    with progress() as tell:
        return compile_file(file, progress=tell)


def check_layout(
    file: Path, *, recheck: bool = False, own_names: bool = False, seconds: float | None = None
) -> Broken | Checked:
    """Compile the file of a command and, if it is free of errors, prove it.

    recheck: have a second solver decide every obligation again. own_names: state every
    obligation by its own names. seconds: a limit on the proof. Raises ClickException if
    there is no second solver.
    """
    with progress() as tell:
        c = compile_file(file, progress=tell)
        if isinstance(c, Broken):
            return c
        try:
            return prove(
                c, Effort(recheck=recheck, own_names=own_names), seconds=seconds, progress=tell
            )
        except NoSolverError as error:
            raise click.ClickException(str(error)) from None
