"""What was proved or refuted, for the document."""

from __future__ import annotations

from collections.abc import Mapping

from bellcrank.document import verdict_types
from bellcrank.document.part import Assumption, DrivePosition
from bellcrank.proof.moving.story import Story
from bellcrank.proof.verdict import MovingVerdict, Verdict


def verdict_data(verdict: Verdict) -> verdict_types.Verdict:
    """What was proved or refuted of the routes as they stand."""
    return verdict_types.Verdict(
        outcome=verdict.outcome,
        solver=verdict.solver,
        properties=[
            verdict_types.PropertyResult(
                name=p.name, sentence=p.sentence, outcome=p.outcome, obligations=p.obligations
            )
            for p in verdict.properties
        ],
        hazards=[
            verdict_types.Hazard(
                violates=h.violates,
                routes=list(h.routes),
                sentence=h.sentence,
                missing_rule=h.missing,
                instead_of=str(h.instead_of) if h.instead_of else None,
            )
            for h in verdict.hazards
        ],
        hazards_complete=verdict.complete,
        expectations=[
            verdict_types.ExpectationResult(
                expectation=e.text, outcome=e.outcome, why=e.why or None
            )
            for e in verdict.expectations
        ],
        never_set=list(verdict.never_set),
        never_set_complete=verdict.never_set_complete,
        assumptions=_assumptions(verdict.assumptions),
    )


def moving_data(moving: MovingVerdict) -> verdict_types.Moving:
    """What was proved or refuted of trains and drives as they move."""
    return verdict_types.Moving(
        outcome=moving.outcome,
        solvers=list(moving.solvers),
        disagreement=moving.disagreement or None,
        stopped=moving.stopped or None,
        obligations=moving.obligations,
        questions=len(moving.questions),
        kept=moving.kept,
        states=moving.states,
        results=[
            verdict_types.MovingResult(
                name=r.name,
                sentence=r.sentence,
                expectation=r.expectation,
                outcome=r.outcome,
                obligations=r.obligations,
                story=story_data(r.story) if r.story is not None else None,
                open=list(r.open),
                no_story_within=r.no_story_within,
            )
            for r in moving.results
        ],
        assumptions=_assumptions(moving.assumptions),
    )


def story_data(story: Story) -> verdict_types.Story:
    """How something unsafe happens, step by step."""
    return verdict_types.Story(
        start=[DrivePosition(drive=drive, position=position) for drive, position in story.start],
        steps=[
            verdict_types.StoryStep(
                sentence=step.sentence,
                event=step.event,
                place=str(step.span) if step.span else None,
            )
            for step in story.steps
        ],
        ending=story.ending,
        shortest=story.shortest,
    )


def _assumptions(assumptions: Mapping[str, str]) -> list[Assumption]:
    return [Assumption(name=name, sentence=sentence) for name, sentence in assumptions.items()]
