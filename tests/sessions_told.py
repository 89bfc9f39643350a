"""Sessions of a run, told as scripts of rehearsals."""

from __future__ import annotations

from collections.abc import Sequence

from bellcrank import Sound
from bellcrank.live.box import Box
from bellcrank.live.decisions import Decision
from bellcrank.live.inferring import Inferring
from bellcrank.live.journal import Entry
from bellcrank.live.session_script import SessionScript, session_script
from bellcrank.live.sessions import sessions
from bellcrank.rehearsal.acts import run_script
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import read_script


def entries_of(decisions: Sequence[Decision]) -> list[Entry]:
    """As they stand in a journal that was begun at midnight."""
    return [
        Entry(number, f"2026-01-01T{_time(decision.at)}.000+00:00", decision)
        for number, decision in enumerate(decisions, start=1)
    ]


def _time(milliseconds: float) -> str:
    minutes, seconds = divmod(int(milliseconds // 1000), 60)
    return f"{minutes // 60:02}:{minutes % 60:02}:{seconds:02}"


def scripts_of(c: Sound, decisions: Sequence[Decision]) -> list[SessionScript]:
    inferring = Inferring(c.control, c.composed, c.machine)
    railway = Railway(c.machine, c.layout, c.table)
    return [
        session_script(
            c.layout.title,
            session,
            inferring.infer(session, Box(c.layout, c.table, c.control)),
            railway,
        )
        for session in sessions(entries_of(decisions))
    ]


def wrong_in(c: Sound, script: str) -> list[str]:
    """The lines of a script that cannot be read, are refused or are not so."""
    railway = Railway(c.machine, c.layout, c.table)
    lines, found = read_script(script, "session", railway)
    outcomes = run_script(railway, lines)
    wrong = [outcome.line.text for outcome in outcomes if outcome.refused or outcome.met is False]
    return [d.message for d in found] + wrong
