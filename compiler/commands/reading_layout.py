"""How the commands read a layout and prove it, telling meanwhile what is being done."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import click

from bellcrank.commands.watching_files import Watched
from bellcrank.compilation import Broken, Checked, Sound, compile_file, prove
from bellcrank.controller.breakings import NOWHERE, Breaking, NoSuchPlaceError
from bellcrank.diagnostics import did_you_mean
from bellcrank.proof.memory import Memory
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.moving.solving import NoSolverError
from bellcrank.routes.sentences import listed
from bellcrank.terminal.console import progress


def compile_layout(
    file: Path, watched: Watched | None = None, memory: Memory | None = None
) -> Broken | Sound:
    """Compile the file of a command. watched: whoever has an eye on its files. memory: what is
    remembered of the times before, if it is compiled again and again."""
    with progress() as tell:
        if watched is None:
            return compile_file(file, progress=tell)
        shared = None if memory is None else memory.shared
        return watched.compiled(lambda: compile_file(file, progress=tell, shared=shared))


def check_layout(
    file: Path,
    *,
    own_names: bool = False,
    seconds: float | None = None,
    scheduler: str | None = None,
) -> Broken | Checked:
    """Compile the file of a command and, if it is free of errors, prove it. See `prove_layout`."""
    c = compile_layout(file)
    if isinstance(c, Broken):
        return c
    return prove_layout(c, own_names=own_names, seconds=seconds, scheduler=scheduler)


def prove_layout(
    c: Sound,
    *,
    recheck: bool = False,
    own_names: bool = False,
    seconds: float | None = None,
    scheduler: str | None = None,
    controller: bool = False,
    broken: Collection[Breaking] = (),
    broken_at: Mapping[Breaking, Collection[str]] = NOWHERE,
    memory: Memory | None = None,
    watched: Watched | None = None,
) -> Checked:
    """Prove what a command has compiled.

    recheck: have a second solver decide every obligation again. own_names: state every
    obligation by its own names. seconds: a limit on the proof. scheduler: the address of a
    cluster that works at it; None for this machine. controller: whether to prove its controller
    too. broken: of which assumptions to decide what comes of it if they are broken. broken_at: as
    for `prove`. memory: of what earlier proofs have shown; None to prove everything now. watched:
    whoever has an eye on its files; then it is given up when one of them has changed, with
    ChangedError.
    Raises ClickException if there is no second solver, no cluster or no such place.
    """
    with progress() as tell:
        try:
            with _effort(scheduler, tell) as effort:
                effort = replace(effort, recheck=recheck, own_names=own_names)
                if memory is not None and watched is not None:
                    effort = memory.used_by(effort)
                elif memory is not None:  # the rest would be of this process, which ends
                    effort = replace(effort, kept=memory.kept)
                return prove(
                    c,
                    effort,
                    seconds=seconds,
                    controller=controller,
                    broken=broken,
                    broken_at=broken_at,
                    progress=tell if watched is None else watched.telling(tell),
                )
        except NoSolverError as error:
            raise click.ClickException(str(error)) from None
        except NoSuchPlaceError as error:
            raise click.ClickException(_not_a_place(error)) from None


MOST_PLACES = 12
"""Of which it is told that something may be broken there."""


def _not_a_place(error: NoSuchPlaceError) -> str:
    hint = did_you_mean(error.name, error.places)
    if not error.places:
        return f"--broken: `{error.kind}` cannot happen on this layout"
    few = listed(error.places[:MOST_PLACES])
    more = f" and {len(error.places) - MOST_PLACES} more" if len(error.places) > MOST_PLACES else ""
    said = f"--broken: `{error.kind}` cannot happen at {error.name}"
    return f"{said}; {hint}" if hint else f"{said}: it can at {few}{more}"


@contextmanager
def _effort(scheduler: str | None, tell: Callable[[str], None] | None) -> Iterator[Effort]:
    """Who works at a proof: the workers of a cluster, or this machine.

    Raises ClickException if there is no cluster.
    """
    if scheduler is None:
        yield Effort()
        return
    # Few have a cluster, and none should wait for what takes one to load.
    from bellcrank.proof.moving.cluster import ClusterError, workers_at

    if tell is not None:
        tell(f"joining the cluster at {scheduler}")
    try:
        with workers_at(scheduler) as workers:
            yield Effort(executor=workers, workers=workers.count)
    except ClusterError as error:
        raise click.ClickException(str(error)) from None
