"""What was proved or refuted as plain data, for the document."""

from __future__ import annotations

from bellcrank.document.data import Data
from bellcrank.proof.moving.story import Story
from bellcrank.proof.verdict import MovingVerdict, Verdict


def verdict_data(verdict: Verdict) -> Data:
    """What was proved or refuted of the routes as they stand."""
    return {
        "outcome": verdict.outcome,
        "solver": verdict.solver,
        "properties": [
            {
                "name": p.name,
                "sentence": p.sentence,
                "outcome": p.outcome,
                "obligations": p.obligations,
            }
            for p in verdict.properties
        ],
        "hazards": [
            {
                "violates": h.violates,
                "routes": list(h.routes),
                "sentence": h.sentence,
                "missing_rule": h.missing,
                "instead_of": str(h.instead_of) if h.instead_of else None,
            }
            for h in verdict.hazards
        ],
        "hazards_complete": verdict.complete,
        "expectations": [
            {"expectation": e.text, "outcome": e.outcome, "why": e.why or None}
            for e in verdict.expectations
        ],
        "never_set": list(verdict.never_set),
        "never_set_complete": verdict.never_set_complete,
        "assumptions": [{"name": n, "sentence": s} for n, s in verdict.assumptions.items()],
    }


def moving_data(moving: MovingVerdict) -> Data:
    """What was proved or refuted of trains and drives as they move."""
    return {
        "outcome": moving.outcome,
        "solvers": list(moving.solvers),
        "disagreement": moving.disagreement or None,
        "stopped": moving.stopped or None,
        "obligations": moving.obligations,
        "questions": len(moving.questions),
        "states": moving.states,
        "results": [
            {
                "name": r.name,
                "sentence": r.sentence,
                "outcome": r.outcome,
                "obligations": r.obligations,
                "story": story_data(r.story) if r.story is not None else None,
                "open": list(r.open),
            }
            for r in moving.results
        ],
        "assumptions": [{"name": n, "sentence": s} for n, s in moving.assumptions.items()],
    }


def story_data(story: Story) -> Data:
    """How something unsafe comes about, step by step."""
    return {
        "start": [{"drive": drive, "position": position} for drive, position in story.start],
        "steps": [
            {
                "sentence": step.sentence,
                "event": step.event,
                "place": str(step.span) if step.span else None,
            }
            for step in story.steps
        ],
        "ending": story.ending,
        "shortest": story.shortest,
    }
