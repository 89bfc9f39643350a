"""The process that proves: `python -m bellcrank.editing.proof_worker`, started by the server.

It takes one layout a line from its standard input and answers on its standard output. Whoever
wants no answer any more says so, and the proof is given up where it next tells how far it is; what
was shown by then is lost, and what was shown before stays known here and on the disk. It ends when
its input does.

A layout that was proved and is the same railway now is proved: remarks, wiring and the like have
changed. Its verdict is told anew, for the places in the text have changed as well.
"""

from __future__ import annotations

import gc
import os
import sys
import threading
from bisect import bisect
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import accumulate
from pathlib import Path
from queue import SimpleQueue
from typing import BinaryIO

import msgspec

from bellcrank.compilation import Broken, Checked, Draft, compiled, draft_of, prove
from bellcrank.diagnostics import Diagnostic
from bellcrank.editing.analysis import SupersededError, Superseding
from bellcrank.editing.findings import findings
from bellcrank.editing.proof_messages import (
    Answer,
    Asked,
    GivenUp,
    GiveUp,
    Mending,
    NotProved,
    Verdict,
    Wanted,
)
from bellcrank.machine.railway import railway_of
from bellcrank.proof.kept.kept_model import InMemory
from bellcrank.proof.kept.on_disk import kept_on_this_machine
from bellcrank.proof.memory import Memory
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.repair.repair_model import MOST_ROUTES_UNASKED, SECONDS_UNASKED
from bellcrank.syntax.load import Program, load_file, load_text
from bellcrank.syntax.reading import as_read


def main() -> None:
    """Prove what is asked for, until the input ends."""
    work = Work(Memory(kept_on_this_machine() or InMemory()))
    wanted: SimpleQueue[Wanted] = SimpleQueue()
    hearing = (sys.stdin.buffer, wanted, work)
    threading.Thread(target=_hear, args=hearing, daemon=True).start()
    out = sys.stdout.buffer
    gc.disable()  # it would look through all that is known, in the midst of a proof
    while True:
        for answer in work.answers(wanted.get()):
            out.write(msgspec.json.encode(answer) + b"\n")
            out.flush()
        work.memory.settle()
        if wanted.empty():  # else somebody waits
            gc.collect()


def _hear(lines: BinaryIO, wanted: SimpleQueue[Wanted], work: Work) -> None:
    """Pass on what is wanted; end the process, in the midst of a proof too, when the server has
    gone."""
    for line in lines:
        said: Wanted = msgspec.json.decode(line, type=Wanted)
        if isinstance(said, GiveUp):
            work.superseding.give_up()
        wanted.put(said)
    os._exit(0)


MOST_KNOWN = 8
"""Layouts that were proved and are known yet when another is: what is changed is often changed
back."""

MOST_ROUTES_KNOWN = 400
"""The routes of all of those together; of a larger layout only the last is known."""


@dataclass(slots=True)
class Work:
    """memory: of all that was proved. proved: what was proved last, the latest first."""

    memory: Memory
    superseding: Superseding = field(default_factory=Superseding)
    proved: list[Checked] = field(default_factory=list)

    def answers(self, wanted: Wanted) -> Iterator[Answer]:
        """What is to be said of what is wanted. Of a layout the last is the one of which no more
        follow; nothing if it is given up."""
        if isinstance(wanted, GiveUp):
            self.superseding = Superseding()
            yield GivenUp()
            return
        try:
            yield from self._of_layout(wanted)
        except SupersededError:
            return
        except Exception as error:  # the server tells of it
            yield NotProved(f"{type(error).__name__}: {error}")

    def _of_layout(self, asked: Asked) -> Iterator[Answer]:
        tell = self.superseding
        checked = self._checked(*_read(asked), tell)
        if isinstance(checked, Broken):
            yield NotProved()
            return
        self._remember(checked)
        block = checked.refuted and len(checked.table.routes) <= MOST_ROUTES_UNASKED
        yield Verdict(checked.source_hash, findings(checked), more=block)
        if block:
            yield _mending(checked, tell)

    def _checked(
        self, program: Program, of_text: tuple[Diagnostic, ...], tell: Callable[[str], None]
    ) -> Broken | Checked:
        draft = draft_of(program, of_text, tell)
        known = self._known(draft)
        machine = known.machine if known else None
        sound = compiled(draft, tell, machine=machine, shared=self.memory.shared)
        if isinstance(sound, Broken):
            return sound
        self.memory.built(sound.machine)
        if known is not None:
            return sound.checked(known.standing, known.moving)
        return prove(sound, self.memory.used_by(Effort()), progress=tell)

    def _known(self, draft: Draft) -> Checked | None:
        """What was proved of the same railway: machine and verdicts are functions of that. In
        them only the places in the text are of the older one, and of what is proved none of them
        is told."""
        table, locking = draft.table, draft.locking
        if table is None or locking is None:
            return None
        railway = railway_of(draft.layout, table, locking)
        return next((known for known in self.proved if known.railway == railway), None)

    def _remember(self, checked: Checked) -> None:
        """Know a layout that is proved, and of those before it the latest that are not large."""
        if checked.outcome != "proved":
            return
        before = [known for known in self.proved if known.machine is not checked.machine]
        routes = list(accumulate(len(known.table.routes) for known in before))
        few = bisect(routes, MOST_ROUTES_KNOWN)
        self.proved = [checked, *before[: min(few, MOST_KNOWN)]]


def _read(asked: Asked) -> tuple[Program, tuple[Diagnostic, ...]]:
    if not asked.in_file:
        return load_text(as_read(asked.texts[asked.root]), "layout.crank")
    unsaved = {Path(path): text for path, text in asked.texts.items()}
    return load_file(Path(asked.root), unsaved=unsaved)


def _mending(c: Checked, tell: Callable[[str], None]) -> Mending:
    """The texts with the rules that written locking lacks, if they are soon found."""
    from bellcrank.proof.repair.missing_rules import missing_rules
    from bellcrank.proof.repair.rule_edits import rule_edits, written_block

    block = written_block(c.program)
    nothing = Mending(c.source_hash, (), {})
    if block is None:
        return nothing
    effort = Effort(seconds=SECONDS_UNASKED)
    repair = missing_rules(c.layout, c.table, c.locking, c.moving, effort, tell)
    if not repair.mends:
        return nothing
    written = rule_edits(block, repair.rules)
    texts = {name: written.edit(name, c.program.texts[name]) for name in written.files}
    return Mending(c.source_hash, (*written.lines, *written.replaced), texts)


if __name__ == "__main__":
    main()
