"""Moves that are asked for on the command line: read, looked for, told and written."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from bellcrank.commands.exit_statuses import FAULTY, fail
from bellcrank.commands.finding_moves import (
    as_json,
    as_script,
    find_moves,
    in_words,
    nothing_found,
)
from bellcrank.compilation import Sound
from bellcrank.diagnostics import has_errors
from bellcrank.file_sets.single_files import write_files
from bellcrank.rehearsal.acts import Moment
from bellcrank.rehearsal.goals import read_goal
from bellcrank.rehearsal.railway import Railway
from bellcrank.terminal.console import print_diagnostics, print_json, progress, show

_GOAL = "--find"


class Wished(NamedTuple):
    """What is asked for. seconds: for which it is looked for. out: where it is to be written."""

    goal: str
    by_hand: bool
    seconds: float
    out: Path | None


def find_and_tell(
    c: Sound, railway: Railway, moment: Moment, wished: Wished, beginning: str, *, json: bool
) -> int:
    """Look for moves, tell and write what was found; returns the exit status.

    beginning: the script that has led to this moment.
    """
    texts = {**c.program.texts, _GOAL: wished.goal}
    conditions, found = read_goal(wished.goal, _GOAL, railway)
    diagnostics = (*c.diagnostics, *found)
    if has_errors(found):
        if json:
            print_json(nothing_found(diagnostics, wished.goal))
        else:
            print_diagnostics(diagnostics, texts)
        return FAULTY
    try:
        with progress() as tell:
            moves = find_moves(
                railway,
                moment,
                conditions,
                by_hand=wished.by_hand,
                seconds=wished.seconds,
                tell=tell,
            )
    except ValueError as error:
        return fail(f"{_GOAL}: {error}")
    if json:
        print_json(as_json(moves, diagnostics))
    else:
        print_diagnostics(found, texts)
        for line in in_words(moves):
            show(line)
    if wished.out is not None and moves.lines is not None:
        title = c.layout.title or "layout"
        text = as_script(moves, title, beginning, wished.by_hand)
        try:
            (written,) = write_files(wished.out.parent, {wished.out.name: text.encode("utf-8")})
        except OSError as error:
            return fail(f"{wished.out} cannot be written: {error.strerror}")
        if not json:
            show(f"{written} leads there.")
    return moves.status
