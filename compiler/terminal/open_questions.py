"""What a verdict leaves undecided: why, and what helps, in a few sentences for the terminal."""

from __future__ import annotations

from collections.abc import Iterator

from bellcrank.compilation import Checked
from bellcrank.terminal.sheet import count

MORE = "`bellcrank explain undecided` tells more"


def why_undecided(c: Checked) -> Iterator[str]:
    """Sentences on what is undecided of a layout; none if nothing is."""
    open_ = _how_many(c)
    if not open_ and c.outcome != "undecided":
        return
    moving = c.moving
    stopped = moving.stopped or (c.controlled.stopped if c.controlled is not None else "")
    are = f"{count(open_, 'line')} above {'is' if open_ == 1 else 'are'} undecided"
    if stopped:
        yield f"{are}: the proof was stopped {stopped} before it came to an end."
        again = "Check again with a longer --time-limit, or without"
        if stopped == "by Ctrl-C":
            again = "Check again"
        yield f"{again}; {MORE}."
        return
    if open_:
        yield f"{are}: neither a proof nor a run of events that leads there was found."
    if moving.states:
        yield f"{moving.states:,} states of trains, drives and routes were looked at one by one."
    if moving.disagreement:
        yield f"The second solver does not agree: {moving.disagreement}."
    if c.refuted:
        yield f"Mend what is refuted first, and check again: most often it is decided then; {MORE}."
    elif not c.locking.derived:
        yield (
            "What helps most often: rules for every route (`every route needs its positions`, "
            "`every route needs its sections clear`, `only one route over …`) in place of single "
            f"pairs, or no `locking written` at all; {MORE}."
        )
    else:
        yield (
            "What helps most often: to divide the railway where a single line leaves a station, "
            f"with an `edge` there, and to check each part by itself; {MORE}."
        )


def _how_many(c: Checked) -> int:
    """The lines of the verdict that say so."""
    standing, moving = c.standing, c.moving
    expected = {e.name for e in standing.expectations if e.outcome == "undecided"}
    lines: list[str] = [p.name for p in standing.properties if p.outcome == "undecided"]
    for verdict in (moving, c.controlled):
        for result in verdict.results if verdict is not None else ():
            if result.outcome == "undecided" and result.obligations:
                (expected.add if result.expectation else lines.append)(result.name)
    return len(lines) + len(expected)
