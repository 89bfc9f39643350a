"""What a new run tells of the one before: whether it ended on purpose, and what people must look
at.

It is found by hearing again, in a box of its own, what the journal says was heard.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from bellcrank.live.box import Box
from bellcrank.live.decisions import Decision
from bellcrank.live.journal import Entry, Journal, Run
from bellcrank.machine.frame import IDLE
from bellcrank.routes.sentences import listed


def recalled(journal: Journal, box: Box, sha256: str) -> Iterator[str]:
    """Sentences about the run before the one that begins.

    box: new, of the layout with this hash of its source; it hears again what was heard then.
    """
    last = _unended(journal)
    if last is None:
        return
    began = f"{last.began[:10]} {last.began[11:19]}"
    yield f"The run that began at {began} ended without stopping: all signals are at stop now."
    if last.sha256 != sha256:
        yield "It was of another text of this layout, so what was set then is not told."
        return
    play_again(box, journal.entries(last.number))
    layout, table = box.layout, box.table
    set_then = [name for name in table.routes if box.stage(name) != IDLE]
    if set_then:
        yield f"Set then: {listed(set_then)}. Look whether their trains have stopped, and where."
    occupied = [s for s in layout.sections if box.occupied(s)]
    if occupied:
        yield f"Reported occupied then: {listed(occupied)}."
    moving = [d for d in layout.drives if box.goes_to(d) is not None]
    if moving:
        yield f"On their way then, and not thrown again: {listed(moving)}. Look how they lie."


def _unended(journal: Journal) -> Run | None:
    """The run whose trains stand where it left them: the last that did not end on purpose. One
    that was never started left everything as it found it, so the run before that counts."""
    found = None
    for run in reversed(journal.runs()):
        if run.ended is not None:
            break
        found = run
        if any(entry.decision.outcome == "started" for entry in journal.entries(run.number)):
            break
    return found


def play_again(box: Box, entries: Iterable[Entry]) -> None:
    """Have a box hear what a journal says was heard."""
    for entry in entries:
        again(box, entry.decision)


def again(box: Box, decision: Decision) -> Decision:
    """What a box decides about something that was decided about before."""
    if decision.known is not None:
        box.absent.clear()
        box.sections = dict.fromkeys(
            (s.name for s in box.layout.sections.values() if s.detected), "clear"
        ) | dict.fromkeys(decision.known.occupied, "occupied")
        box.drives = dict.fromkeys(
            (d.name for d in box.layout.drives.values() if d.detected), ""
        ) | dict(decision.known.lies)
    return box.decide(decision.heard, decision.at)
