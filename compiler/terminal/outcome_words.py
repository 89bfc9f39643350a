"""What became of a proof, in a few words: whether trains may meet, or only a wish is not met."""

from __future__ import annotations

from bellcrank.compilation import Checked


def outcome_words(c: Checked) -> str:
    """The outcome, with what is to be known beside it."""
    unmet = only_unmet(c)
    return f"{c.outcome} ({unmet}, but it is safe)" if unmet else c.outcome


def only_unmet(c: Checked) -> str:
    """How many expectations are not met, as a sentence without its full stop, where all that
    keeps trains safe is proved; empty where something else does not hold, or all holds."""
    if c.outcome != "refuted" or any(p.outcome != "proved" for p in c.standing.properties):
        return ""
    unmet = {e.name for e in c.standing.expectations if e.outcome == "refuted"}
    for verdict in (c.moving, c.controlled):
        if verdict is None:
            continue
        if verdict.stopped or verdict.disagreement:
            return ""
        for result in verdict.results:
            if result.outcome == "refuted" and result.expectation:
                unmet.add(result.name)
            elif result.outcome not in ("proved", "shown") and not result.expectation:
                return ""
    return (
        "an expectation is not met" if len(unmet) == 1 else f"{len(unmet)} expectations are not met"
    )
