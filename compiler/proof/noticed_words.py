"""What a railway notices, in words: for the terminal, the document and paper."""

from __future__ import annotations

from collections.abc import Mapping

from bellcrank.controller.breakings import AccidentName, AlarmOutcome, Breaking
from bellcrank.controller.claims import Unexplained
from bellcrank.proof.noticed import Noticed

HAPPENS: Mapping[Breaking, str] = {
    "signal passed at stop": "a train passes a signal at stop",
    "came in unasked": "a train comes in from an edge, and nobody has looked whether it may",
    "turned back on the way": "a train turns back on the way of its route",
    "vehicles left behind": "a train loses vehicles on its way",
    "vehicles put down": "vehicles are put on the track, and nobody has looked whether they may be",
    "train taken off": "a train is lifted off the track on its way",
    "points moved by hand": "points are moved by hand",
    "points did not move": "points are thrown and do not move",
    "stuck at occupied": "a detector sticks at occupied",
    "stuck at clear": "a detector sticks at clear",
    "occupied not reported": "a report that a section is occupied is lost",
    "clear not reported": "a report that a section is clear is lost",
    "occupied reported late": "a report that a section is occupied comes too late",
    "occupied reported again": "a report that a section is occupied comes once more",
    "clear reported again": "a report that a section is clear comes once more",
    "asked without looking": "a route is asked for, and nobody has looked at track without a "
    "detector",
    "confirmed wrongly": "somebody confirms what is not so",
    "time too short": "a time is over before what it is for has happened",
}
"""What it is that happens once, as a sentence without its full stop."""

ALARM: Mapping[AlarmOutcome, str] = {
    "first report": "with the first report of it",
    "first report or later": "with the first report of it, if that means nothing else just then",
    "later": "not with a report of it; later reports or times may raise it",
    "none": "none",
    "undecided": "not decided",
}

ACCIDENT: Mapping[AccidentName, str] = {
    "meetings": "trains may meet",
    "derailments": "a train may come off the rails",
    "drives": "points may move under a train",
}


def happens_words(noticed: Noticed) -> str:
    """What it is that happens, as a sentence without its full stop; and where, if that was asked
    of some places alone."""
    said = HAPPENS[noticed.kind]
    return f"{said}, at {' or '.join(noticed.places)}" if noticed.places else said


STOPPED = "the alarm is raised: every signal goes to stop, and nothing is thrown"
"""What has come of it where a story comes to the alarm."""


def raised_words(by: Unexplained) -> str:
    """The last step of a story that comes to the alarm, as a sentence without its full stop."""
    match by.kind:
        case "occupied" | "clear":
            said = f"{by.of} is reported {by.kind}"
        case "elsewhere":
            said = f"{by.of} is reported not to lie {by.value}"
        case "time over":
            return f"the time of {by.of} is over, and it is not reported where it was sent"
    return f"{said}, and nothing explains that"


def alarm_words(noticed: Noticed) -> str:
    """When the alarm is raised."""
    return ALARM[noticed.alarm]


def before_words(noticed: Noticed) -> str:
    """What can happen before that."""
    can = [ACCIDENT[name] for name, answer in noticed.accidents if answer.outcome == "refuted"]
    open_ = [ACCIDENT[name] for name, answer in noticed.accidents if answer.outcome == "undecided"]
    said = "; ".join(can)
    if open_:
        return f"{said}{'; ' if said else ''}not decided whether {' or '.join(open_)}"
    return said or "nothing"
