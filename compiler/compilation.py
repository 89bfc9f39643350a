"""All stages in their order: from a text to everything that is known about it."""

from __future__ import annotations

import hashlib
import os
import time
from dataclasses import dataclass, replace
from pathlib import Path

from bellcrank.diagnostics import MOST_MISTAKES, Diagnostic, has_errors
from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.build_machine import build_machine
from bellcrank.machine.commands import Command, command_list
from bellcrank.machine.locking import Locking
from bellcrank.machine.machine_model import Machine
from bellcrank.machine.rules import build_locking
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.proof.standing.standing_check import Progress, check_standing
from bellcrank.proof.verdict import MovingVerdict, Outcome, Verdict
from bellcrank.routes.derive import build_routes
from bellcrank.routes.route_model import RouteTable
from bellcrank.syntax.load import Program, load_file, load_text
from bellcrank.timing.lists import timetables
from bellcrank.timing.timetable_model import Timetable

_MAY_FOLLOW_FROM_OTHERS = frozenset(
    "E201 E204 E311 E313 E314 E315 E405 E601 W801 W802 W803".split()
)
"""Diagnostics that an unreadable line or file elsewhere can bring about."""


@dataclass(frozen=True, slots=True)
class Compilation:
    """What the stages made of a source; a stage that could not run left None.

    verdict: of the standing check. moving: of the moving proof, None too if it was
        not asked for.
    """

    program: Program
    layout: Layout | None
    table: RouteTable | None
    locking: Locking | None
    machine: Machine | None
    verdict: Verdict | None
    moving: MovingVerdict | None
    diagnostics: tuple[Diagnostic, ...]

    @property
    def ok(self) -> bool:
        """Whether the source is free of errors (not: whether it is proved)."""
        return not has_errors(self.diagnostics)

    @property
    def outcome(self) -> Outcome:
        """Of both proofs together; of a moving proof that was not asked for nothing is
        known."""
        both = [v.outcome if v is not None else "undecided" for v in (self.verdict, self.moving)]
        if "refuted" in both:
            return "refuted"
        return "undecided" if "undecided" in both else "proved"

    @property
    def proved(self) -> bool:
        return self.ok and self.outcome == "proved"

    @property
    def commands(self) -> tuple[Command, ...]:
        """The command list; empty where there are no routes."""
        if self.layout is None or self.table is None or self.locking is None:
            return ()
        return command_list(self.layout, self.table, self.locking)

    @property
    def timetables(self) -> tuple[Timetable, ...]:
        """When commands are to be sent; empty where there are no routes."""
        if self.layout is None or self.table is None or self.locking is None:
            return ()
        return timetables(self.layout, self.table, self.locking)

    @property
    def source_hash(self) -> str:
        """SHA-256 over the names and texts of all files, as hexadecimal digits."""
        digest = hashlib.sha256()
        for name, text in self.program.texts.items():
            for part in (name, text):
                data = part.encode("utf-8", "surrogatepass")
                digest.update(len(data).to_bytes(8, "big") + data)
        return digest.hexdigest()


def compile_text(
    text: str,
    name: str = "layout.crank",
    *,
    seconds: float | None = None,
    effort: Effort | None = Effort(),  # noqa: B008 - a value that cannot change
    progress: Progress | None = None,
) -> Compilation:
    """Compile a layout given as one text.

    name: what messages call the text.
    seconds: a limit on the proofs; what it leaves open is undecided.
    effort: how much to do for the moving proof; None to leave it out.
    progress: told, in a few words, what is being done.
    Never raises for a faulty text: see `diagnostics` of the result. Raises
    NoSolverError if the effort asks for a solver that is not installed.
    """
    program, diagnostics = load_text(text, name)
    return _compile(program, diagnostics, seconds, effort, progress)


def compile_file(
    path: str | os.PathLike[str],
    *,
    seconds: float | None = None,
    effort: Effort | None = Effort(),  # noqa: B008 - a value that cannot change
    progress: Progress | None = None,
) -> Compilation:
    """Compile a layout from its file and the files it uses. See `compile_text`."""
    program, diagnostics = load_file(Path(path))
    return _compile(program, diagnostics, seconds, effort, progress)


def _compile(
    program: Program,
    diagnostics: tuple[Diagnostic, ...],
    seconds: float | None,
    effort: Effort | None,
    progress: Progress | None,
) -> Compilation:
    end = None if seconds is None else time.monotonic() + seconds
    if progress is not None:
        progress("joining up the track")
    layout, of_layout = build_layout(program)
    if has_errors(diagnostics):
        sure = tuple(d for d in of_layout if d.code not in _MAY_FOLLOW_FROM_OTHERS)
        return Compilation(
            program, layout, None, None, None, None, None, _ordered(diagnostics + sure)
        )
    diagnostics += of_layout
    wrong = [d for d in of_layout if d.severity == "error"]
    if len(wrong) >= MOST_MISTAKES or any(not d.code.startswith("E6") for d in wrong):
        return Compilation(program, layout, None, None, None, None, None, _ordered(diagnostics))
    if progress is not None:
        progress("finding the routes")
    table, of_routes = build_routes(program, layout)
    diagnostics += of_routes
    locking, of_locking = build_locking(program, layout, table)
    if has_errors(of_routes):
        # Rules may name routes that could not be made.
        of_locking = tuple(d for d in of_locking if d.code != "E501")
    diagnostics += of_locking
    machine = verdict = moving = None
    if not has_errors(diagnostics):
        verdict = check_standing(layout, table, locking, seconds, progress)
        if progress is not None:
            progress("building the machine")
        machine = build_machine(layout, table, locking)
        if effort is not None:
            if end is not None:
                effort = replace(effort, seconds=max(0.0, end - time.monotonic()))
            moving = prove_moving(machine, effort, progress)
    return Compilation(
        program, layout, table, locking, machine, verdict, moving, _ordered(diagnostics)
    )


def _ordered(diagnostics: tuple[Diagnostic, ...]) -> tuple[Diagnostic, ...]:
    """In the order of the text, each once."""
    return tuple(sorted(dict.fromkeys(diagnostics), key=lambda d: (d.span, d.code)))
