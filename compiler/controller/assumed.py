"""What is assumed of reports and people beside what the machine assumes. The reference explains
each."""

from __future__ import annotations

from collections.abc import Mapping

from bellcrank.controller.view import View

OF_REPORTS: Mapping[str, str] = {
    "reports in time": "a section is reported occupied before the front of the train leaves it and "
    "before its tail comes into it, and at once when a train comes in at an edge or vehicles are "
    "put down; it may be reported clear at any time after it is; nobody divides a train, lifts it "
    "off or confirms that it has arrived before what it did is reported",
    "next train waits": "a signal that a train has passed is at stop before the next train comes "
    "to it",
    "confirmations are true": "what a person confirms is so: that a train has arrived whole, or "
    "passed a signal, where no report tells; if the signal was put back meanwhile, before the time "
    "of approach locking is over",
}
"""Every assumption by name."""

IN_THE_TIME = (
    "the time of approach locking is longer than a train needs to stop, or to pass and be "
    "reported, and a train stands before its overlap times out"
)
"""What the machine's `in the time allowed` comes to where passing is reported."""


def assumptions_of(view: View) -> Mapping[str, str]:
    """Those that apply to a controller, by name, in sentences."""
    found = dict(OF_REPORTS)
    if not view.said:
        del found["reports in time"]
        return found
    return {**found, "in the time allowed": IN_THE_TIME}
