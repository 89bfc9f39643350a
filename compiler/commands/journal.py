"""The command `journal`: what is in the journal of a run, and a session of it as a script."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from rich.padding import Padding
from rich.text import Text

from bellcrank.commands.exit_statuses import FAULTY, fail
from bellcrank.commands.reading_layout import compile_layout
from bellcrank.compilation import Broken, Sound
from bellcrank.document.journal_data import JournalTold, SessionTold
from bellcrank.file_sets.single_files import write_files
from bellcrank.live.box import Box
from bellcrank.live.inferring import Inferring
from bellcrank.live.journal import JournalError, Run, reading
from bellcrank.live.session_script import session_script
from bellcrank.live.sessions import Session, sessions
from bellcrank.rehearsal.railway import Railway
from bellcrank.terminal.console import print_diagnostics, print_json, say, show

TOLD, CUT_SHORT = 0, 1


def journal(
    file: Path, journal: Path | None, script: Path | None, session: int | None, json: bool
) -> int:
    """Run the command; returns the exit status."""
    path = journal or file.with_suffix(".journal")
    c = compile_layout(file)
    if isinstance(c, Broken):
        print_diagnostics(c.diagnostics, c.program.texts)
        return FAULTY
    try:
        found = _sessions(path)
    except JournalError as error:
        return fail(str(error))
    if script is not None:
        return _write(c, path, found, session, script)
    told = [
        _told(number, run, each, c.source_hash) for number, (run, each) in enumerate(found, start=1)
    ]
    if json:
        print_json(JournalTold(str(path), told))
        return TOLD
    show(Text(f"{c.layout.title}, {path}"))
    for each in told:
        show(Text(_line(each)))
        if each.because:
            show(Padding.indent(Text(f"{each.because}."), 6))
    if not told:
        show("nothing was ever started")
    return TOLD


def _sessions(path: Path) -> list[tuple[Run, Session]]:
    """The sessions of a journal with their runs, in their order. Raises JournalError."""
    journal = reading(path)
    try:
        return [
            (run, session)
            for run in journal.runs()
            for session in sessions(list(journal.entries(run.number)))
        ]
    finally:
        journal.close()


def _told(number: int, run: Run, session: Session, source_hash: str) -> SessionTold:
    counts = Counter(
        (entry.decision.heard.kind, entry.decision.outcome) for entry in session.entries
    )
    return SessionTold(
        number,
        session.began,
        session.ended,
        counts["request", "done"],
        counts["request", "refused"],
        len(session.entries),
        session.because or None,
        run.sha256 == source_hash,
    )


def _line(told: SessionTold) -> str:
    end = told.ended[11:19] if told.ended[:10] == told.began[:10] else told.ended[:19]
    parts = [
        f"{told.number:>4}  {told.began[:10]} {told.began[11:19]} to {end}",
        f"{told.granted} route{'' if told.granted == 1 else 's'} set, {told.refused} refused",
    ]
    if not told.of_this_text:
        parts.append("of another text of this layout")
    return "; ".join(parts)


def _write(
    c: Sound,
    path: Path,
    found: Sequence[tuple[Run, Session]],
    wanted: int | None,
    script: Path,
) -> int:
    """Write a session as a script of rehearsals."""
    if not found:
        return fail(f"nothing was ever started in {path}, so there is no session to write")
    if wanted is not None and not 1 <= wanted <= len(found):
        return fail(f"there is no session {wanted} in {path}: they go from 1 to {len(found)}")
    number = wanted or len(found)
    run, session = found[number - 1]
    if run.sha256 != c.source_hash:
        return fail(
            f"session {number} is of another text of this layout, so it cannot be told of "
            "this one: give the layout file as it was then"
        )
    inferring = Inferring(c.control, c.composed, c.machine)
    inferred = inferring.infer(session, Box(c.layout, c.table, c.control))
    railway = Railway(c.machine, c.layout, c.table)
    text = session_script(c.layout.title, session, inferred, railway)
    if str(script) == "-":
        print(text.text, end="")
    else:
        try:
            write_files(script.parent, {script.name: text.text.encode("utf-8")})
        except OSError as error:
            return fail(f"{script} cannot be written: {error.strerror or error}")
        print(script)
    if text.cut_short:
        say(f"session {number} is told as far as {text.cut_short}")
        return CUT_SHORT
    return TOLD
