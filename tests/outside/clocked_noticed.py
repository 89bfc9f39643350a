"""Whether what comes of a broken assumption in continuous time is what the compiler has decided.

The railway in continuous time knows nothing of the machine in which it is decided: whatever it
shows to be possible must not have been ruled out.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from clocked_faults import FaultKind, Outcome

from bellcrank.controller.breakings import AccidentName, Breaking
from bellcrank.proof.noticed import Noticed

DECIDED: Mapping[FaultKind, Collection[Breaking]] = {
    "signal passed at stop": ["signal passed at stop"],
    "turned back on the way": ["turned back on the way"],
    "came in without asking": ["came in unasked"],
    "vehicles left behind": ["vehicles left behind"],
    "vehicles put down": ["vehicles put down"],
    "train taken off": ["train taken off"],
    "points moved by hand": ["points moved by hand"],
    "points do not move": ["points did not move"],
    "detector stuck occupied": ["stuck at occupied"],
    "detector stuck clear": ["stuck at clear"],
    "report lost": ["occupied not reported", "clear not reported"],
    "report doubled": ["occupied reported again", "clear reported again"],
    "report late": ["occupied reported late"],
}
"""The kinds that the compiler decides for each that the railway brings about."""

_ACCIDENTS: Mapping[str, AccidentName] = {
    "runs into": "meetings",
    "comes off the rails": "derailments",
    "moves under a train": "drives",
}
"""The accidents of the railway by words of its own."""


def disagreements(
    kind: FaultKind, outcome: Outcome, noticed: Mapping[Breaking, Noticed]
) -> Iterator[str]:
    """What was seen though it was ruled out."""
    decided = [noticed[k] for k in DECIDED[kind] if k in noticed]
    if not decided:
        yield f"{kind} was not decided, and came about"
    name: AccidentName | None = None
    if outcome.kind == "two in a section":
        name = "meetings"
    elif outcome.kind == "accident":
        name = next((n for words, n in _ACCIDENTS.items() if words in outcome.what), None)
        if name is None:
            yield f"{kind}: nothing is known of {outcome.what}"
    if name is not None:
        outcomes = {dict(one.accidents)[name].outcome for one in decided}
        if outcomes == {"proved"}:
            yield f"{kind}: {outcome.what or outcome.kind}, though {name} were ruled out"
    if outcome.kind == "alarm" and all(one.alarm == "none" for one in decided):
        yield f"{kind}: an alarm, though none was to be raised: {outcome.what}"
    certain = all(one.alarm == "first report" for one in decided)
    if certain and outcome.kind not in ("alarm", "accident", "two in a section"):
        yield f"{kind}: {outcome.kind}, though an alarm was to be raised at once"
