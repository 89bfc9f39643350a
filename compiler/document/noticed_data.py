"""What a railway notices of broken assumptions, for the document.

The machine in which an assumption is broken is not in the document: so each step of a story says
by itself who acts, and what it changes.
"""

from __future__ import annotations

from bellcrank.compilation import Checked
from bellcrank.controller.breaking import NOT_YET
from bellcrank.controller.broken import break_once
from bellcrank.controller.claims import Unexplained
from bellcrank.controller.view import SAID_CLEAR, SAID_OCCUPIED
from bellcrank.document.noticed_types import (
    AccidentBefore,
    AlarmStep,
    NoticedKind,
    NoticedStep,
    NoticedStory,
    ValueReached,
)
from bellcrank.document.part import DrivePosition
from bellcrank.machine.frame import AT_STOP, PUT_BACK
from bellcrank.machine.machine_model import Event, Machine, State
from bellcrank.proof.moving.story import Story, Telling
from bellcrank.proof.noticed import Noticed, states_of
from bellcrank.proof.noticed_words import (
    ACCIDENT,
    STOPPED,
    alarm_words,
    before_words,
    happens_words,
    raised_words,
)


def noticed_data(c: Checked) -> list[NoticedKind] | None:
    """What comes of each kind of assumption; None if nothing was decided."""
    return None if c.noticed is None else [_kind(c, one) for one in c.noticed]


def _kind(c: Checked, one: Noticed) -> NoticedKind:
    alarms = one.answer("alarms")
    told = [None if alarms is None else alarms.story, *(a.story for _, a in one.accidents)]
    # The machine is made again only for those who read a story in it.
    broken = break_once(c.control, c.composed, one.kind, one.places) if any(told) else None

    def story_of(story: Story | None, by: Unexplained | None = None) -> NoticedStory | None:
        return None if story is None or broken is None else _story(broken.machine, story, by)

    alarm_story = None if alarms is None else story_of(alarms.story, alarms.raised_by)
    stories = [story_of(answer.story) for _, answer in one.accidents]
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


def _story(machine: Machine, story: Story, by: Unexplained | None) -> NoticedStory:
    named = {event.name: event for event in machine.events}
    run = [named[step.event] for step in story.steps]
    states = states_of(machine, story)
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
        alarm=None if by is None else _alarm(machine, by, states[-1]),
        ending=story.ending if by is None else STOPPED,
        shortest=story.shortest,
    )


def _alarm(machine: Machine, by: Unexplained, state: State) -> AlarmStep:
    """With what comes in: the report is taken in, and every lamp goes to stop; a signal that
    drivers have seen off is put back."""
    reported = {"occupied": SAID_OCCUPIED, "clear": SAID_CLEAR}
    becomes = {}
    for name, variable in machine.variables.items():
        if variable.kind == "report" and variable.of == by.of and by.kind in reported:
            becomes[name] = reported[by.kind]
        elif variable.kind == "lamp":
            becomes[name] = AT_STOP
        elif variable.kind == "signal" and state[name] not in (AT_STOP, PUT_BACK):
            becomes[name] = PUT_BACK
    return AlarmStep(
        sentence=raised_words(by),
        changes=[
            ValueReached(variable=name, value=value)
            for name, value in becomes.items()
            if state[name] != value
        ],
    )


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
