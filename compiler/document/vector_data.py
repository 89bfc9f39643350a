"""Test vectors as plain data, for the document."""

from __future__ import annotations

from bellcrank.document.data import Data
from bellcrank.rehearsal.vectors import Covered, Step, Vectors


def vectors_data(vectors: Vectors) -> Data:
    """What is tried, what must come of it, and how much of the machine that covers."""

    def step_data(step: Step) -> Data:
        return {"event": step.event, "possible": step.possible, "changes": dict(step.changes)}

    def covered_data(covered: Covered) -> Data:
        return {
            "in_runs": covered.in_runs,
            "in_cases": covered.in_cases,
            "left_out": covered.left_out,
            "impossible": covered.impossible,
        }

    return {
        "runs": [
            {"start": dict(run.start), "steps": [step_data(step) for step in run.steps]}
            for run in vectors.runs
        ],
        "cases": [
            {"given": dict(case.given), "tries": [step_data(step) for step in case.steps]}
            for case in vectors.cases
        ],
        "covered": {
            "events": covered_data(vectors.events),
            "conditions": covered_data(vectors.conditions),
            "changes": covered_data(vectors.changes),
        },
    }
