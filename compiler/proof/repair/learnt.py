"""What the rounds of a repair have learnt, and the smallest set of rules that meets it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from bellcrank.proof.repair.candidates import Candidate
from bellcrank.proof.repair.hitting_set import Lesson, minimum_hitting_set
from bellcrank.proof.repair.standing_lessons import Standing


@dataclass(slots=True)
class Learnt:
    """order: the candidates, each with its place among them.
    beyond: properties and expectations that no further rule can mend."""

    order: Mapping[Candidate, int]
    lessons: dict[Lesson, None] = field(default_factory=dict)
    beyond: dict[str, None] = field(default_factory=dict)

    def learn(self, lessons: Iterable[Lesson]) -> bool:
        """Keep lessons; whether any of them is new."""
        before = len(self.lessons)
        self.lessons |= dict.fromkeys(lessons)
        return len(self.lessons) > before

    def choose(self, standing: Standing) -> tuple[Candidate, ...]:
        """A smallest set of rules that meets all lessons."""
        chosen = minimum_hitting_set(self.lessons, self.order)
        if chosen is None:
            # Not all that is expected to be possible is so when all is safe.
            self.lessons = {lesson: None for lesson in self.lessons if lesson.add}
            standing.wishes = []
            chosen = minimum_hitting_set(self.lessons, self.order)
        assert chosen is not None
        return tuple(sorted(chosen, key=self.order.__getitem__))
