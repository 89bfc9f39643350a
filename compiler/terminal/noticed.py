"""What a railway notices, as a table for a terminal, and as stories."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rich.text import Text

from bellcrank.proof.moving.story import Story
from bellcrank.proof.noticed import Answer, Noticed
from bellcrank.proof.noticed_words import (
    ACCIDENT,
    STOPPED,
    alarm_words,
    before_words,
    happens_words,
    raised_words,
)
from bellcrank.terminal.sheet import WIDTH, Sheet
from bellcrank.terminal.verdicts import tell_steps, tell_story

_WHAT: Mapping[str, str] = {
    **{str(name): said for name, said in ACCIDENT.items()},
    "alarms": "an alarm is raised",
    "taken": "it can be taken for something else",
}


def _tell(sheet: Sheet, answer: Answer, story: Story) -> None:
    """A story to its end: one that comes to an alarm with what raises it."""
    if answer.raised_by is None:
        tell_story(sheet, story)
        return
    tell_steps(sheet, story)
    sheet.row(f"{len(story.steps) + 1:>4}  ", raised_words(answer.raised_by), head_width=6)
    sheet.row("", f"So {STOPPED}.", head_width=2)


def noticed_text(noticed: Sequence[Noticed], width: int = WIDTH, *, stories: bool = False) -> Text:
    """What comes of each kind of assumption if it is broken once.

    stories: with how each thing happens that can.
    """
    sheet = Sheet(width)
    sheet.line("")
    sheet.line("what the railway notices if, once,", "bold")
    for one in noticed:
        sheet.line(f"{happens_words(one)}:")
        sheet.row("", f"alarm: {alarm_words(one)}", head_width=2)
        sheet.row("", f"until then: {before_words(one)}", head_width=2)
        for answer in one.answers if stories else ():
            if answer.story is not None:
                sheet.line("")
                sheet.line(f"How {_WHAT[answer.name]}:", "bold")
                _tell(sheet, answer, answer.story)
    return sheet.text
