"""What a railway notices of broken assumptions, for the document.

The machine in which an assumption is broken is not in the document: so each step of a story says
by itself who acts, and what it changes.
"""

from __future__ import annotations

from bellcrank.compilation import Checked
from bellcrank.controller.breaking import NOT_YET
from bellcrank.controller.broken import break_once
from bellcrank.document.noticed_types import (
    AccidentBefore,
    NoticedKind,
    NoticedStep,
    NoticedStory,
    ValueReached,
)
from bellcrank.document.part import DrivePosition
from bellcrank.machine.machine_model import Event, Machine, State
from bellcrank.proof.moving.story import Story, Telling
from bellcrank.proof.noticed import Noticed
from bellcrank.proof.noticed_words import ACCIDENT, alarm_words, before_words, happens_words
from bellcrank.running.simulator import replay


def noticed_data(c: Checked) -> list[NoticedKind] | None:
    """What comes of each kind of assumption; None if nothing was decided."""
    return None if c.noticed is None else [_kind(c, one) for one in c.noticed]


def _kind(c: Checked, one: Noticed) -> NoticedKind:
    alarms = one.answer("alarms")
    told = [None if alarms is None else alarms.story, *(a.story for _, a in one.accidents)]
    # The machine is made again only for those who read a story in it.
    broken = break_once(c.control, c.composed, one.kind, one.places) if any(told) else None

    def story_of(story: Story | None) -> NoticedStory | None:
        return None if story is None or broken is None else _story(broken.machine, story)

    alarm_story, *stories = map(story_of, told)
    return NoticedKind(
        broken=one.kind,
        places=list(one.places),
        sentence=happens_words(one),
        alarm=one.alarm,
        alarm_sentence=alarm_words(one),
        alarm_story=alarm_story,
        accidents=[
            AccidentBefore(name=name, sentence=ACCIDENT[name], outcome=answer.outcome, story=story)
            for (name, answer), story in zip(one.accidents, stories, strict=True)
        ],
        before_sentence=before_words(one),
    )


def _story(machine: Machine, story: Story) -> NoticedStory:
    named = {event.name: event for event in machine.events}
    run = [named[step.event] for step in story.steps]
    states = replay(machine, run, _start(machine, story))
    return NoticedStory(
        start=[
            DrivePosition(drive=drive, position=position)
            for drive, position in dict(story.start).items()
        ],
        steps=[
            _step(machine, step, event, before, after)
            for step, event, before, after in zip(
                story.steps, run, states, states[1:], strict=False
            )
        ],
        ending=story.ending,
        shortest=story.shortest,
    )


def _start(machine: Machine, story: Story) -> State:
    """The state at rest from which a story goes: where drives lie, and where they are known to."""
    lies = dict(story.start)
    start = dict(machine.start())
    for name, variable in machine.variables.items():
        if variable.kind in ("drive", "lying") and lies.get(variable.of) in variable.initial:
            start[name] = lies[variable.of]
    return start


def _step(
    machine: Machine, step: Telling, event: Event, before: State, after: State
) -> NoticedStep:
    changed = {name: value for name, value in after.items() if value != before[name]}
    broken = {name for name in changed if machine.variables[name].kind == "broken"}
    return NoticedStep(
        sentence=step.sentence,
        event=step.event,
        actor=event.actor,
        place=str(step.span) if step.span else None,
        breaks=any(before[name] == NOT_YET for name in broken),
        changes=[
            ValueReached(variable=name, value=value)
            for name, value in changed.items()
            if name not in broken
        ],
    )
