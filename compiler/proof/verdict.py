"""What was found out, as immutable values that can be printed or written down."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Literal

from bellcrank.diagnostics import Span
from bellcrank.layout.graph import unsignalled_entries
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.locking import Locks, Needs, called
from bellcrank.machine.wording import rule_text
from bellcrank.proof.moving.obligation_words import Stated
from bellcrank.proof.moving.shapes import Shape
from bellcrank.proof.moving.story import Story
from bellcrank.proof.standing.obligations import PropertyName

Outcome = Literal["proved", "refuted", "undecided"]

Conclusion = Literal["proved", "unmet", "refuted", "undecided"]
"""What a whole verdict comes to. `unmet`: all that keeps trains safe is proved, and no more than
an expectation of the layout is refuted."""


_NOTHING_KNOWN = frozenset({"undecided"})


def conclusion(on_safety: Collection[str], on_expectations: Collection[str]) -> Conclusion:
    """What outcomes come to together: first those of properties, then those of expectations."""
    if "refuted" in on_safety:
        return "refuted"
    if "undecided" in on_safety:
        return "undecided"
    if "refuted" in on_expectations:
        return "unmet"
    return "undecided" if "undecided" in on_expectations else "proved"


ASSUMPTIONS: dict[str, str] = {
    "signals obeyed": "drivers obey signals: no train passes one that shows stop",
    "drives hold": "a drive that a set route needs stays where the locking holds it, "
    "and its points lie where the drive says",
    "track as written": "the track, its sections and its signals are as the layout says",
    "standing only": "routes are looked at as they stand; trains that move, drives that are "
    "being thrown and sections that release are not part of this check",
}
"""What every standing check assumes, by name."""


def assumptions(layout: Layout) -> dict[str, str]:
    """What the standing check of a layout assumes, by name."""
    said = dict(ASSUMPTIONS)
    entries = unsignalled_entries(layout)
    if entries:
        said["edges watched"] = (
            f"no train comes in at {', '.join(entries)} of its own accord: "
            "no signal is read there before the first points or stop"
        )
    if layout.reversers:
        said["reversers"] = (
            "a train fits into the stretch between the gaps, and no two trains "
            "pass gaps of one stretch at the same time"
        )
    return said


@dataclass(frozen=True, slots=True)
class PropertyResult:
    """One property that must hold in every state the locking allows.

    obligations: how many single things it asks of this layout; 0 if it has no
    overlaps, say.
    """

    name: PropertyName
    sentence: str
    outcome: Outcome
    obligations: int


@dataclass(frozen=True, slots=True)
class Hazard:
    """A set of routes that the locking lets stand together though it is unsafe.

    concerned: the one or two routes that it is about.
    routes: a smallest set in which it happens: those, and others without which
        they cannot be set.
    sentence: how it is unsafe.
    rule: the one that would prevent it.
    instead_of: the place of a written rule that it would replace.
    """

    violates: PropertyName
    concerned: tuple[str, ...]
    routes: tuple[str, ...]
    sentence: str
    rule: Locks | Needs
    instead_of: Span | None = None

    @property
    def missing(self) -> str:
        """The missing rule as it would be written."""
        return rule_text(self.rule)


@dataclass(frozen=True, slots=True)
class ExpectationResult:
    """Whether an expectation holds; `why` says what stands against it."""

    text: str
    outcome: Outcome
    why: str
    span: Span

    @property
    def name(self) -> str:
        """What the moving proof calls its own result for it."""
        return called(self.text)


@dataclass(frozen=True, slots=True)
class Verdict:
    """The whole outcome of the standing check.

    hazards: the smallest first, as many as were looked for.
    complete: whether there are no more hazards than those listed.
    never_set: routes that the locking never lets be set, as far as was found out.
    never_set_complete: whether that was found out of every route.
    assumptions: what is assumed, by name.
    solver: what decided it, with its version.
    """

    properties: tuple[PropertyResult, ...]
    hazards: tuple[Hazard, ...]
    complete: bool
    expectations: tuple[ExpectationResult, ...]
    never_set: tuple[str, ...]
    never_set_complete: bool
    assumptions: Mapping[str, str]
    solver: str

    @property
    def outcome(self) -> Conclusion:
        """Of properties and expectations together."""
        return conclusion(self.on_safety, self.on_expectations)

    @property
    def on_safety(self) -> frozenset[str]:
        """What became of the properties; undecided if nothing was asked."""
        return frozenset[str](p.outcome for p in self.properties) or _NOTHING_KNOWN

    @property
    def on_expectations(self) -> frozenset[str]:
        """What became of the expectations."""
        return frozenset(e.outcome for e in self.expectations)

    @property
    def unmet(self) -> frozenset[str]:
        """The names of the expectations that are not met."""
        return frozenset(e.name for e in self.expectations if e.outcome == "refuted")


MovingOutcome = Literal["proved", "shown", "refuted", "undecided"]
"""What is known of a property of the moving railway. `proved`: a solver found every
obligation of it unsatisfiable. `shown`: that something can happen, by a run that
replays. `refuted`: by a story, or by a solver where a thing should be possible."""


Stopped = Literal["", "by the time limit", "by Ctrl-C"]
"""What cut a proof short; empty if nothing did."""


@dataclass(frozen=True, slots=True)
class MovingResult:
    """One property of the moving railway.

    obligations: clauses of its own that had to be shown, or things to be reached.
    story: how it is violated, if it is.
    open: if it is undecided, what could not be shown, in sentences.
    never_set: the routes that can never be set, of the property that asks for that.
    expectation: whether it is one of the layout's own expectations.
    no_story_within: events of which no run violates it, of an undecided one that was looked
        for in the states (bounded model checking); 0 if it was not.
    """

    name: str
    sentence: str
    outcome: MovingOutcome
    obligations: int
    story: Story | None = None
    open: tuple[str, ...] = ()
    never_set: tuple[str, ...] = ()
    expectation: bool = False
    no_story_within: int = 0


@dataclass(frozen=True, slots=True)
class Question:
    """An obligation up to renaming, the answer, and the first place where it came up."""

    shape: Shape
    answer: str
    example: Stated


@dataclass(frozen=True, slots=True)
class MovingVerdict:
    """The whole outcome of the moving proof.

    obligations: how many were stated. questions: the different ones that were solved.
    states: states looked at one by one, 0 if that was not needed.
    solvers: what decided the shapes, with versions: one, or with a recheck two.
    disagreement: what the solvers do not agree on; empty as it should be.
    stopped: what cut it short, if anything did.
    kept: of the obligations, those to which an earlier proof had the solver's answer.
    """

    results: tuple[MovingResult, ...]
    obligations: int
    questions: tuple[Question, ...]
    states: int
    solvers: tuple[str, ...]
    disagreement: str
    stopped: Stopped
    assumptions: Mapping[str, str]
    kept: int = 0

    @property
    def unsolvable(self) -> frozenset[Shape]:
        """The shapes that were found to have no solution."""
        return frozenset([q.shape for q in self.questions if q.answer == "unsat"])

    @property
    def interrupted(self) -> bool:
        """Whether the user has had enough."""
        return self.stopped == "by Ctrl-C"

    @property
    def outcome(self) -> Conclusion:
        """Of properties and expectations together."""
        return conclusion(self.on_safety, self.on_expectations)

    @property
    def safe(self) -> bool:
        """Whether all that keeps trains safe is proved, whatever became of expectations."""
        return conclusion(self.on_safety, ()) == "proved"

    @property
    def on_safety(self) -> frozenset[str]:
        """What became of the properties: among it undecided, if the proof was cut short, the
        solvers do not agree or nothing was asked."""
        outcomes = frozenset[str](r.outcome for r in self.results if not r.expectation)
        in_doubt = self.disagreement or self.stopped or not outcomes
        return outcomes | _NOTHING_KNOWN if in_doubt else outcomes

    @property
    def on_expectations(self) -> frozenset[str]:
        """What became of the expectations."""
        return frozenset(r.outcome for r in self.results if r.expectation)

    @property
    def unmet(self) -> frozenset[str]:
        """The names of the expectations that are not met."""
        return frozenset(r.name for r in self.results if r.expectation and r.outcome == "refuted")
