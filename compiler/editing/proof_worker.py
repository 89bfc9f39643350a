"""The process that proves: `python -m bellcrank.editing.proof_worker`, started by the server.

It takes one layout a line from its standard input and answers on its standard output. Whoever
wants no answer any more kills it: nothing that it does is kept. It ends when its input does.
"""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Iterator
from pathlib import Path
from queue import SimpleQueue
from typing import BinaryIO

import msgspec

from bellcrank.compilation import Broken, Checked, Sound, compile_file, compile_text, prove
from bellcrank.editing.findings import findings
from bellcrank.editing.proof_messages import Answer, Asked, Mending, NotProved, Verdict
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.repair.repair_model import MOST_ROUTES_UNASKED, SECONDS_UNASKED
from bellcrank.syntax.reading import as_read


def main() -> None:
    """Prove what is asked for, until the input ends."""
    asked: SimpleQueue[bytes] = SimpleQueue()
    threading.Thread(target=_hear, args=(sys.stdin.buffer, asked), daemon=True).start()
    out = sys.stdout.buffer
    while True:
        for answer in answers(msgspec.json.decode(asked.get(), type=Asked)):
            out.write(msgspec.json.encode(answer) + b"\n")
            out.flush()


def _hear(lines: BinaryIO, asked: SimpleQueue[bytes]) -> None:
    """Pass on what is asked; end the process, in the midst of a proof too, when the server has
    gone."""
    for line in lines:
        asked.put(line)
    os._exit(0)


def answers(asked: Asked) -> Iterator[Answer]:
    """What is to be said of a layout. The last is the one of which no more follow."""
    try:
        c = _compiled(asked)
        if isinstance(c, Broken):
            yield NotProved()
            return
        checked = prove(c)
        block = checked.outcome == "refuted" and len(checked.table.routes) <= MOST_ROUTES_UNASKED
        yield Verdict(c.source_hash, findings(checked), more=block)
        if block:
            yield _mending(checked)
    except Exception as error:  # the server tells of it
        yield NotProved(f"{type(error).__name__}: {error}")


def _compiled(asked: Asked) -> Broken | Sound:
    if not asked.in_file:
        return compile_text(as_read(asked.texts[asked.root]))
    unsaved = {Path(path): text for path, text in asked.texts.items()}
    return compile_file(asked.root, unsaved=unsaved)


def _mending(c: Checked) -> Mending:
    """The texts with the rules that written locking lacks, if they are soon found."""
    from bellcrank.proof.repair.missing_rules import missing_rules
    from bellcrank.proof.repair.rule_edits import rule_edits, written_block

    block = written_block(c.program)
    nothing = Mending(c.source_hash, (), {})
    if block is None:
        return nothing
    effort = Effort(seconds=SECONDS_UNASKED)
    repair = missing_rules(c.layout, c.table, c.locking, c.moving, effort)
    if not repair.mends:
        return nothing
    written = rule_edits(block, repair.rules)
    texts = {name: written.edit(name, c.program.texts[name]) for name in written.files}
    return Mending(c.source_hash, (*written.lines, *written.replaced), texts)


if __name__ == "__main__":
    main()
