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
    file: Path, *, recheck: bool = False, seconds: float | None = None
) -> Broken | Checked:
    """Compile the file of a command and, if it is free of errors, prove it.

    recheck: have a second solver decide every obligation again. seconds: a limit on the
    proof. Raises ClickException if there is no second solver.
    """
    c = compile_layout(file)
    return c if isinstance(c, Broken) else prove_layout(c, recheck=recheck, seconds=seconds)


def prove_layout(c: Sound, *, recheck: bool = False, seconds: float | None = None) -> Checked:
    """Prove what a command has compiled. See `check_layout`."""
    with progress() as tell:
        try:
            return prove(c, Effort(recheck=recheck), seconds=seconds, progress=tell)
        except NoSolverError as error:
            raise click.ClickException(str(error)) from None
