"""What the journal of a run holds, as `journal --json` tells it."""

from __future__ import annotations

from typing import Annotated

from bellcrank.document.part import Part, Sentence, about


class SessionTold(Part):
    """What was heard from a start until all was stopped."""

    number: Annotated[int, about("Its number in the journal, from 1.")]
    began: Annotated[str, about("When it was started (ISO 8601, with the zone).")]
    ended: Annotated[str, about("When the last of it was heard (ISO 8601, with the zone).")]
    granted: Annotated[int, about("How many requests for routes were granted.")]
    refused: Annotated[int, about("How many were refused.")]
    entries: Annotated[int, about("How many entries of the journal it has.")]
    because: Annotated[
        Sentence | None, about("Why it was stopped; null if nothing says so, as after a crash.")
    ]
    of_this_text: Annotated[bool, about("Whether it is of the layout file as it is now.")]


class JournalTold(Part):
    """What a journal holds."""

    journal: Annotated[str, about("The file.")]
    sessions: Annotated[list[SessionTold], about("All of it, the oldest first.")]
