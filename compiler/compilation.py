"""All stages in their order: from a text to everything that is known about it.

Compiling takes a text as far as the machine, proving takes the machine to its verdicts;
what only asks for routes need not wait for a proof.
"""

from __future__ import annotations

import hashlib
import os
import re
import time
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from bellcrank.controller.made_once import Once
from bellcrank.diagnostics import MOST_MISTAKES, Diagnostic, Span, has_errors
from bellcrank.diagnostics.error_pages import Stage, kind_of
from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.build_machine import build_machine
from bellcrank.machine.collecting import collected_seldom
from bellcrank.machine.locking import Locking
from bellcrank.machine.machine_model import Machine
from bellcrank.machine.railway import Railway, railway_of
from bellcrank.machine.rules import build_locking
from bellcrank.machine.sharing import Shared
from bellcrank.proof.moving.moving_proof import Effort, prove_and_keep
from bellcrank.proof.standing.standing_check import Progress, check_standing
from bellcrank.proof.verdict import Conclusion, MovingVerdict, Verdict, conclusion
from bellcrank.routes.derive import build_routes
from bellcrank.routes.route_model import RouteTable
from bellcrank.syntax.load import Program, load_file, load_text

if TYPE_CHECKING:  # a proof needs none of them, and should not wait for them
    from bellcrank.controller.breakings import Breaking
    from bellcrank.controller.controller_model import Controller
    from bellcrank.controller.reactions import Control
    from bellcrank.machine.commands import Command
    from bellcrank.proof.noticed import Noticed
    from bellcrank.timing.timetable_model import Timetable


Concluded = Conclusion | Literal["no routes"]
"""What came of a proof. `unmet`: it is safe, and no more than an expectation is not met. `no
routes`: nothing could be set, so there was nothing to prove."""

Status = Literal["proved", "unmet", "UNPROVED", "no routes"]
"""What is printed on all that is made from a layout."""


@dataclass(frozen=True, slots=True)
class _Compiled:
    """A source, and all that was said of it."""

    program: Program
    diagnostics: tuple[Diagnostic, ...]

    @property
    def source_hash(self) -> str:
        """SHA-256 over the names and texts of all files, as hexadecimal digits."""
        return hash_of(self.program.texts)


def hash_of(texts: Mapping[str, str]) -> str:
    """SHA-256 over the names and texts of files, as hexadecimal digits."""
    digest = hashlib.sha256()
    for name, text in texts.items():
        for part in (name, text):
            data = part.encode("utf-8", "surrogatepass")
            digest.update(len(data).to_bytes(8, "big") + data)
    return digest.hexdigest()


@dataclass(frozen=True, slots=True)
class Draft(_Compiled):
    """A source, all diagnostics of it, and what could be made of it, be they errors or not.

    table, locking: None if no routes were looked for. Nothing that errors are about may be built
    upon; what there is may be shown to whoever is writing the source.
    """

    layout: Layout
    table: RouteTable | None = None
    locking: Locking | None = None


@dataclass(frozen=True, slots=True)
class Broken(_Compiled):
    """A source with errors: nothing is made of it."""


@dataclass(frozen=True, slots=True)
class Sound(_Compiled):
    """A source without errors, and what the stages made of it. Nothing is proved of it yet.

    once_control, once_composed: where what was made for the proof is kept for what is built.
    """

    layout: Layout
    table: RouteTable
    locking: Locking
    machine: Machine
    once_control: Once[Control] = field(
        default_factory=Once, kw_only=True, repr=False, compare=False
    )
    once_composed: Once[Machine] = field(
        default_factory=Once, kw_only=True, repr=False, compare=False
    )

    def checked(
        self,
        standing: Verdict,
        moving: MovingVerdict,
        controlled: MovingVerdict | None = None,
        noticed: tuple[Noticed, ...] | None = None,
    ) -> Checked:
        """This layout with the verdicts on it."""
        return Checked(
            self.program,
            self.diagnostics,
            self.layout,
            self.table,
            self.locking,
            self.machine,
            standing,
            moving,
            controlled,
            noticed,
            once_control=self.once_control,
            once_composed=self.once_composed,
        )

    @property
    def railway(self) -> Railway:
        """What the machine was built of, and what the proofs are of."""
        return railway_of(self.layout, self.table, self.locking)

    @property
    def control(self) -> Control:
        """All that its controller does, with what each of it stands for in the machine."""
        from bellcrank.controller.reactions import control_of

        return self.once_control.of(control_of, self.layout, self.table, self.locking, self.machine)

    @property
    def composed(self) -> Machine:
        """Controller and railway as one machine."""
        from bellcrank.controller.composition import compose

        return self.once_composed.of(compose, self.control, self.machine)

    @property
    def controller(self) -> Controller:
        """What runs the railway, from reports to signals."""
        from bellcrank.controller.build_controller import build_controller

        return build_controller(self.control)

    @property
    def commands(self) -> tuple[Command, ...]:
        """The command list."""
        from bellcrank.machine.commands import command_list

        return command_list(self.layout, self.table, self.locking)

    @property
    def timetables(self) -> tuple[Timetable, ...]:
        """When commands are to be sent."""
        from bellcrank.timing.lists import timetables

        return timetables(self.layout, self.table, self.locking)


@dataclass(frozen=True, slots=True)
class Checked(Sound):
    """A sound layout and the verdicts on it.

    standing: on routes as they stand. moving: on trains and drives as they move.
    controlled: on the controller, and the railway that it sees through reports; None if that
        was not asked for, or the locking is refuted before that.
    noticed: what comes of each assumption if it is broken once; None if that was not asked
        for, or the controller is not proved.
    """

    standing: Verdict
    moving: MovingVerdict
    controlled: MovingVerdict | None = None
    noticed: tuple[Noticed, ...] | None = None

    @property
    def outcome(self) -> Concluded:
        """Of all proofs together."""
        return self._of(*([] if self.controlled is None else [self.controlled]))

    @property
    def outcome_alone(self) -> Concluded:
        """Of the locking, whatever became of the controller."""
        return self._of()

    def _of(self, *more: MovingVerdict) -> Concluded:
        verdicts: tuple[Verdict | MovingVerdict, ...] = (self.standing, self.moving, *more)
        said = conclusion(
            frozenset[str]().union(*(verdict.on_safety for verdict in verdicts)),
            frozenset[str]().union(*(verdict.on_expectations for verdict in verdicts)),
        )
        return "no routes" if said == "proved" and not self.table.routes else said

    @property
    def unmet(self) -> frozenset[str]:
        """The names of all expectations that are not met, such as `expect W1 with W2`."""
        of_controller = frozenset[str]() if self.controlled is None else self.controlled.unmet
        return self.standing.unmet | self.moving.unmet | of_controller

    @property
    def proved(self) -> bool:
        return self.outcome == "proved"

    @property
    def in_doubt(self) -> bool:
        """Whether something is refuted or not decided, so that nobody should work by it unasked."""
        return self.outcome not in ("proved", "no routes")

    @property
    def refuted(self) -> bool:
        """Whether something is known not to hold, be it no more than an expectation."""
        return self.outcome == "refuted" or bool(self.unmet)

    @property
    def status(self) -> Status:
        """What everything says that is made from it: of the locking alone."""
        match self.outcome_alone:
            case "proved" | "unmet" | "no routes" as said:
                return said
            case _:
                return "UNPROVED"


def compile_text(
    text: str, name: str = "layout.crank", *, progress: Progress | None = None
) -> Broken | Sound:
    """Compile a layout given as one text.

    name: what messages call the text. progress: told, in a few words, what is being done.
    Never raises for a faulty text: that is Broken, and its diagnostics say why.
    """
    return _compile(*load_text(text, name), progress)


def compile_file(
    path: str | os.PathLike[str],
    *,
    unsaved: Mapping[Path, str] | None = None,
    progress: Progress | None = None,
    shared: Shared | None = None,
) -> Broken | Sound:
    """Compile a layout from its file and the files it uses. See `compile_text`.

    unsaved: as for `load_file`. shared: as for `build_machine`.
    """
    return _compile(*load_file(Path(path), unsaved=unsaved), progress, shared)


@collected_seldom()
def prove(
    sound: Sound,
    effort: Effort = Effort(),
    *,
    seconds: float | None = None,
    controller: bool = False,
    broken: Collection[Breaking] = (),
    broken_at: Mapping[Breaking, Collection[str]] | None = None,
    progress: Progress | None = None,
) -> Checked:
    """Prove a layout, as routes stand and as trains and drives move.

    effort: how much to do for the moving proof.
    seconds: a limit on all proofs together; what it leaves open is undecided.
    controller: whether to prove its controller too, together with the railway, if its
        locking is not refuted.
    broken: of which assumptions to decide, if the controller is proved, what comes of it if
        they are broken once.
    broken_at: of those that are to be broken at some places alone, their names: sections, drives,
        routes, signals that are passed, edges at which a train comes in.
    Raises NoSuchPlaceError (a ValueError) if nothing of that kind can be broken at one of them,
    NoSolverError if the effort asks for a solver that is not installed.
    """
    begun = time.monotonic()
    controller = controller and bool(sound.table.routes)
    steps = ["standing proof", "moving proof"]
    steps += ["proof of the controller"] if controller else []
    steps += ["what is noticed"] if controller and broken else []
    telling = _by_steps(steps, progress)
    for kind, names in (broken_at or {}).items() if controller else ():
        from bellcrank.controller.broken import look_up

        look_up(sound.control, sound.composed, kind, names)
    of = sound.railway
    kept = None if effort.afresh else effort.kept
    standing = check_standing(of.layout, of.table, of.locking, seconds, next(telling), kept)

    def in_what_is_left() -> Effort:
        if seconds is None:
            return effort
        return replace(effort, seconds=max(0.0, seconds - (time.monotonic() - begun)))

    moving, shown = prove_and_keep(sound.machine, in_what_is_left(), next(telling))
    controlled = None
    noticed = None
    sound_alone = "refuted" not in (standing.outcome, moving.outcome)
    if controller and sound_alone and not moving.interrupted:
        from bellcrank.proof.controlled import prove_controlled

        control, composed = sound.control, sound.composed
        tell = next(telling)
        controlled = prove_controlled(control, composed, in_what_is_left(), tell, shown=shown)
        if broken and controlled.safe:
            from bellcrank.proof.noticed import what_is_noticed

            in_time, tell = in_what_is_left(), next(telling)
            noticed = tuple(
                what_is_noticed(control, composed, broken, in_time, tell, broken_at or {})
            )
    return sound.checked(standing, moving, controlled, noticed)


def _by_steps(steps: Sequence[str], progress: Progress | None) -> Iterator[Progress | None]:
    """For each step of a proof a way to tell what is being done, which says the step as well."""
    for number, step in enumerate(steps, start=1):
        if progress is None:
            yield None
        else:
            yield partial(_tell, progress, f"{step}, step {number} of {len(steps)}")


def _tell(progress: Progress, step: str, what: str) -> None:
    progress(f"{step}: {what}")


def draft_of(
    program: Program, diagnostics: tuple[Diagnostic, ...], progress: Progress | None = None
) -> Draft:
    """What a source comes to before its machine is built.

    diagnostics: what was said of its text. progress: as for `compile_text`; what it raises
    ends the work between two stages.
    """
    tell = progress or _no_one
    tell("joining up the track")
    layout, of_layout = build_layout(program)
    if has_errors(diagnostics):
        sure = _sure_beside(diagnostics, of_layout, program)
        return Draft(program, _ordered(diagnostics + sure), layout)
    diagnostics += of_layout
    # Routes can be found whatever is wrong with the hardware, and nothing else.
    wrong = [d for d in of_layout if d.severity == "error"]
    if len(wrong) >= MOST_MISTAKES or any(kind_of(d.code).stage != "hardware" for d in wrong):
        return Draft(program, _ordered(diagnostics), layout)
    tell("finding the routes")
    table, of_routes = build_routes(program, layout)
    diagnostics += of_routes
    locking, of_locking = build_locking(program, layout, table)
    if has_errors(of_routes):
        of_locking = _sure(of_locking, after="routes")
    return Draft(program, _ordered(diagnostics + of_locking), layout, table, locking)


@collected_seldom()
def _compile(
    program: Program,
    of_text: tuple[Diagnostic, ...],
    progress: Progress | None,
    shared: Shared | None = None,
) -> Broken | Sound:
    return compiled(draft_of(program, of_text, progress), progress, shared=shared)


def compiled(
    draft: Draft,
    progress: Progress | None = None,
    *,
    machine: Machine | None = None,
    shared: Shared | None = None,
) -> Broken | Sound:
    """What a source comes to, from what it comes to before its machine is built.

    machine: that of a source with the same railway; None to build it. shared: as for
    `build_machine`.
    """
    diagnostics, table, locking = draft.diagnostics, draft.table, draft.locking
    if has_errors(diagnostics) or table is None or locking is None:
        return Broken(draft.program, diagnostics)
    if machine is None:
        if progress is not None:
            progress("building the machine")
        of = railway_of(draft.layout, table, locking)
        machine = build_machine(of.layout, of.table, of.locking, shared)
    return Sound(draft.program, diagnostics, draft.layout, table, locking, machine)


def _no_one(_: str) -> None:
    """What is told if nobody listens."""


def _sure(diagnostics: tuple[Diagnostic, ...], *, after: Stage) -> tuple[Diagnostic, ...]:
    """Those that no error in an earlier stage can have brought about."""
    return tuple(d for d in diagnostics if after not in kind_of(d.code).follows)


_OF_ONE_LINE = frozenset({"E101", "E104", "E109"})
"""Mistakes in a text that concern the words of their own lines and nothing else."""

_OF_ONE_NAME = frozenset({"E201", "E204", "E311", "E601"})
"""Mistakes that something about a name may bring about, and nothing else."""


def _sure_beside(
    of_text: tuple[Diagnostic, ...], of_layout: tuple[Diagnostic, ...], program: Program
) -> tuple[Diagnostic, ...]:
    """Those that no mistake in the text can have brought about: that follow from none, or are
    about names that stand in no line which could not be read."""
    unread = {word for file in program.files for word in file.unread}
    lines_alone = {d.code for d in of_text if d.severity == "error"} <= _OF_ONE_LINE

    def is_sure(d: Diagnostic) -> bool:
        if "text" not in kind_of(d.code).follows:
            return True
        return lines_alone and d.code in _OF_ONE_NAME and not unread & _words_at(d.span, program)

    return tuple(filter(is_sure, of_layout))


def _words_at(span: Span, program: Program) -> set[str]:
    rows = program.texts[span.file].split("\n")[span.line - 1 : span.end_line]
    rows[-1] = rows[-1][: span.end_column - 1]
    rows[0] = rows[0][span.column - 1 :]
    return set(re.findall(r"\w+", "\n".join(rows)))


def _ordered(diagnostics: tuple[Diagnostic, ...]) -> tuple[Diagnostic, ...]:
    """In the order of the text, each once."""
    return tuple(sorted(dict.fromkeys(diagnostics), key=lambda d: (d.span, d.code)))
