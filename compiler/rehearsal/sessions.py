"""A session: what was done one line after another, taken back and begun again, and the script that
leads to where it is.

The script holds the events that happened, each by a line that does that one event and no other, so
that it leads through the same states whatever was typed; what was typed stands before them as a
comment, and a line is free between acts, so that a reader can tell them apart. What only says how
the rehearsal goes on (`at first`, `trains are long`) and expectations that were met stand there as
they were typed. What was refused changed nothing, and is left out.

A session never changes: each act gives another one, which knows the one before it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bellcrank.rehearsal.acts import Moment, Outcome
from bellcrank.rehearsal.retelling import line_for
from bellcrank.running.simulator import Simulator

SUFFIX = ".rehearsal"
"""How the name of a script's file ends."""


@dataclass(frozen=True, slots=True)
class Session:
    """Where a session has come to.

    before: the session that led here, or that was left to begin again; None at the start.
    outcome: of the line that led here; None where it begins. said: what was done last, in the
    words that did it.
    """

    moment: Moment
    before: Session | None = None
    outcome: Outcome | None = None
    said: str = ""

    def after(self, outcome: Outcome) -> Session:
        """The session with a line more; the same one if the line left nothing behind."""
        if outcome.moment == self.moment and not outcome.met:
            return self
        return Session(outcome.moment, self, outcome, outcome.line.text)

    def afresh(self, moment: Moment, said: str) -> Session:
        """Another one from the start, which can be taken back like an act."""
        return Session(moment, self, None, said)

    def taken_back(self) -> tuple[Session, str] | None:
        """The session without its last act, and what that was; None if there is none.

        Expectations change nothing, and go with the act before them.
        """
        session = self
        while session.before is not None:
            was, session = session, session.before
            if was.moment != session.moment or was.outcome is None:
                return session, was.said
        return None

    def lines(self) -> Iterator[Outcome]:
        """What came of each line that led here, from where it last began."""
        led: list[Outcome] = []
        session: Session | None = self
        while session is not None and session.outcome is not None:
            led.append(session.outcome)
            session = session.before
        return reversed(led)


def saved(session: Session, simulator: Simulator, start: Moment, title: str) -> str:
    """The script that leads from the start to where a session is.

    start: the moment at which scripts begin. title: of the layout.
    """
    written = [f"# {title}: a session", ""]
    state = start.state
    for outcome in session.lines():
        text = outcome.line.text
        if not outcome.steps:
            written.append(text)
        else:
            lines = []
            for step in outcome.steps:
                lines.append(line_for(simulator, step.event, state))
                state = step.state
            # A line that does just this one event needs no comment.
            written += [*lines, ""] if lines == [text] else [f"# {text}", *lines, ""]
        state = outcome.moment.state
    return "\n".join(written).rstrip("\n") + "\n"
