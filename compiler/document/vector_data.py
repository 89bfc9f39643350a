"""Test vectors, for the document."""

from __future__ import annotations

from bellcrank.document import machine_types
from bellcrank.rehearsal.vectors import Covered, Step, Vectors


def vectors_data(vectors: Vectors) -> machine_types.Vectors:
    """What is tried, what must come of it, and how much of the machine that covers."""
    return machine_types.Vectors(
        runs=[
            machine_types.Run(start=dict(run.start), steps=[_tried(step) for step in run.steps])
            for run in vectors.runs
        ],
        cases=[
            machine_types.Case(given=dict(case.given), tries=[_tried(step) for step in case.steps])
            for case in vectors.cases
        ],
        covered=machine_types.Coverage(
            events=_covered(vectors.events),
            conditions=_covered(vectors.conditions),
            changes=_covered(vectors.changes),
        ),
    )


def _tried(step: Step) -> machine_types.TriedEvent:
    return machine_types.TriedEvent(
        event=step.event, possible=step.possible, changes=dict(step.changes)
    )


def _covered(covered: Covered) -> machine_types.Covered:
    return machine_types.Covered(
        in_runs=covered.in_runs,
        in_cases=covered.in_cases,
        left_out=covered.left_out,
        impossible=covered.impossible,
    )
