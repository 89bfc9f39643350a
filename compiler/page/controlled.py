"""What the page needs to let a controller run the railway: its inputs, and when each thing that
the two do together happens.

The machine of the two is packed with the other one (`packing.py`); here its events are named by
their numbers.
"""

from __future__ import annotations

from collections.abc import Container
from typing import Literal

from bellcrank.controller.build_controller import build_controller
from bellcrank.controller.controller_model import Input
from bellcrank.controller.reactions import Control
from bellcrank.document.document_types import Document
from bellcrank.document.plain import Data
from bellcrank.machine.machine_model import Machine
from bellcrank.page.packing import Phrases
from bellcrank.rehearsal.acts import Turn, happens
from bellcrank.rehearsal.railway import Railway
from bellcrank.running.reacting import BY_PEOPLE, SAYS

Due = Turn | Literal["report", "drive's time", "confirmation", "step"]
"""When something happens with a controller: also by a report, by a time that takes the place of
a drive's report, by a person who confirms what is so, or as what the controller does of itself
after an input."""

TURNS: tuple[Due | None, ...] = (
    None, "of itself", "in time", "tail", "front", "report", "drive's time", "confirmation", "step"
)  # fmt: skip
"""The page names each by its place."""


def why_uncontrolled(document: Document) -> str | None:
    """Why a page has no controller, as a sentence; None if it has one."""
    if document.status not in ("proved", "unmet"):
        return "There is no controller here: only of a locking that is proved is one made."
    if document.controlled is None:
        return "There is no controller here: this page was made without a proof of it."
    if document.controlled.outcome not in ("proved", "unmet"):
        outcome = document.controlled.outcome
        return f"There is no controller here: its proof came out as {outcome}."
    return None


def controlled_data(
    control: Control, together: Machine, railway: Railway, phrases: Phrases
) -> Data:
    """The controller, over the events of controller and railway together.

    inputs: of each its kind, what it is of, its value or null, and its reactions in their order.
    steps: what the controller does of itself, in its order.
    own: of each event of the controller's how many clauses its guard begins with that the
        controller itself reads; null of all others.
    turns: when each event happens. passes: as in the page's data.
    """
    controller = build_controller(control)
    number = {event.name: k for k, event in enumerate(together.events)}
    own = {pair.reaction.name: len(pair.reaction.guard) for pair in control.paired}
    due: dict[str, Due | None] = {step.name: "step" for step in controller.steps}
    of_drives = {(t.variable, t.value) for t in controller.timers if t.kind == "drive"}
    for given, reactions in controller.inputs.items():
        due |= dict.fromkeys([r.name for r in reactions], _due(given, of_drives))
    turns = [
        due[event.name] if event.name in own else happens(railway, event)
        for event in together.events
    ]
    return {
        "inputs": [
            [
                given.kind,
                phrases(given.of),
                phrases(given.value) if given.value else None,
                [number[reaction.name] for reaction in reactions],
            ]
            for given, reactions in controller.inputs.items()
        ],
        "steps": [number[step.name] for step in controller.steps],
        "own": [own.get(event.name) for event in together.events],
        "turns": [TURNS.index(turn) for turn in turns],
        "by people": sorted(BY_PEOPLE),
        "says": {kind: phrases(value) for kind, value in SAYS.items()},
        "passes": passed(railway, together),
    }


def passed(railway: Railway, machine: Machine) -> Data:
    """For each event of a machine by which a front passes a signal, by its number, the signal's
    variable.

    railway: with the machine of the interlocking alone.
    """
    numbers = {name: k for k, name in enumerate(railway.machine.variables)}
    found: Data = {}
    for k, event in enumerate(machine.events):
        signal = railway.signal_passed(event)
        if signal is not None:
            found[str(k)] = numbers[railway.variable["signal", signal]]
    return found


def _due(given: Input, of_drives: Container[tuple[str, str]]) -> Due | None:
    """When an input comes. of_drives: the variables and values whose times are those of drives."""
    match given.kind:
        case "occupied" | "clear" | "lies":
            return "report"
        case "time over":
            return "drive's time" if (given.of, given.value) in of_drives else "in time"
        case "confirm passed" | "confirm arrived":
            return "confirmation"
        case _:
            return None
