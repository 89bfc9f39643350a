"""What a railway notices of broken assumptions, for the document."""

from __future__ import annotations

from collections.abc import Sequence

from bellcrank.document.noticed_types import AccidentBefore, NoticedKind
from bellcrank.document.verdict_data import story_data
from bellcrank.proof.noticed import Noticed
from bellcrank.proof.noticed_words import ACCIDENT, HAPPENS, alarm_words, before_words


def noticed_data(noticed: Sequence[Noticed] | None) -> list[NoticedKind] | None:
    """What comes of each kind of assumption; None if nothing was decided."""
    return None if noticed is None else [_kind(one) for one in noticed]


def _kind(one: Noticed) -> NoticedKind:
    alarms = one.answer("alarms")
    story = None if alarms is None else alarms.story
    return NoticedKind(
        broken=one.kind,
        sentence=HAPPENS[one.kind],
        alarm=one.alarm,
        alarm_sentence=alarm_words(one),
        alarm_story=None if story is None else story_data(story),
        accidents=[
            AccidentBefore(
                name=name,
                sentence=ACCIDENT[name],
                outcome=answer.outcome,
                story=None if answer.story is None else story_data(answer.story),
            )
            for name, answer in one.accidents
        ],
        before_sentence=before_words(one),
    )
