"""What the page tells of broken assumptions: the table of what is noticed, and its stories.

The machine in which something is broken is not in the page: each step of a story brings what it
changes, in the machine of controller and railway.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bellcrank.document.noticed_types import NoticedKind, NoticedStory, ValueReached
from bellcrank.document.plain import Data
from bellcrank.machine.machine_model import Machine
from bellcrank.page.packing import Phrases

ALARM = "the alarm is raised"


def broken_data(noticed: Sequence[NoticedKind], together: Machine, phrases: Phrases) -> list[Data]:
    """Of each kind of assumption the sentences of the table, and its stories.

    stories: of each what it comes to, whether that is the alarm, what is the case after it, the
    first state where it is not the usual one, and the steps, as `_steps` has them. Changes are
    pairs of numbers, of a variable and of its value.
    """
    number = {name: k for k, name in enumerate(together.variables)}

    def story(what: str, told: NoticedStory) -> Data:
        lies = {each.drive: each.position for each in told.start}
        return {
            "what": what,
            "alarm": what == ALARM,
            "start": [[each.drive, each.position] for each in told.start],
            "first": [
                [number[v.name], v.values.index(lies[v.of])]
                for v in together.variables.values()
                if v.kind in ("drive", "lying") and lies.get(v.of) in v.initial
            ],
            "steps": [*_steps(told, together, number, phrases)],
            "ending": told.ending,
        }

    return [
        {
            "sentence": kind.sentence,
            "alarm": kind.alarm_sentence,
            "before": kind.before_sentence,
            "stories": [story(what, told) for what, told in _stories(kind)],
        }
        for kind in noticed
    ]


def _stories(kind: NoticedKind) -> Iterator[tuple[str, NoticedStory]]:
    if kind.alarm_story is not None:
        yield ALARM, kind.alarm_story
    for accident in kind.accidents:
        if accident.story is not None:
            yield accident.sentence, accident.story


def _steps(
    story: NoticedStory, together: Machine, number: dict[str, int], phrases: Phrases
) -> Iterator[list[object]]:
    """Of each step its text, who acts, where it stands in the source, whether it is this that
    breaks the assumption, and what it changes; last of one that comes to the alarm what raises
    it."""

    def changed(changes: Sequence[ValueReached]) -> list[list[int]]:
        return [
            [number[each.variable], together.variables[each.variable].values.index(each.value)]
            for each in changes
        ]

    for step in story.steps:
        yield [phrases(step.sentence), step.actor, step.place, step.breaks, changed(step.changes)]
    if story.alarm is not None:
        said, changes = phrases(story.alarm.sentence), changed(story.alarm.changes)
        yield [said, "surroundings", None, False, changes]
