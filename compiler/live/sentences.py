"""What the signal box says: why something is refused, what was not explained, what is missing.

Sentences without their full stops. No rule is known here: what a guard lacks is looked up, and
told in the words of `running/reasons.py`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from bellcrank.controller.controller_model import Controller, Input, Reaction
from bellcrank.controller.reactions import Control
from bellcrank.live.decisions import Doing, EndPulse, Heard, Light, Missing, Show, Throw
from bellcrank.machine.machine_model import State
from bellcrank.routes.sentences import listed
from bellcrank.running.reasons import unmet, what_is_instead

_MOST = 6
"""Names that are listed before the rest is only counted."""


class Sentences:
    """The words for one controller.

    looked_at: of each route the sections of which no report tells, and that whoever asks for it
        has to look at first.
    """

    def __init__(self, control: Control, controller: Controller) -> None:
        self._controller = controller
        self._layout = control.view.frame.layout
        self.looked_at: Mapping[str, tuple[str, ...]] = {
            pair.input.of: tuple(
                s
                for s in dict.fromkeys(self._sections(control, pair.given))
                if not self._layout.sections[s].detected
            )
            for pair in control.paired
            if pair.input is not None and pair.input.kind == "request"
        }

    def _sections(self, control: Control, given: Iterable[Iterable[object]]) -> Iterable[str]:
        frame = control.view.frame
        for clause in given:
            for literal in clause:
                variable = frame.named.get(getattr(literal, "variable", ""))
                if variable is not None and variable.kind == "track":
                    yield frame.part(variable.of).section

    def why_not(self, given: Input, state: State) -> tuple[str, ...]:
        """Why what a person asks is refused."""
        nearest = self._nearest(given, state)
        if nearest is None:
            return ("that is never possible on this layout",)
        asked = given.of if given.kind == "request" else None
        return what_is_instead(nearest.guard, state, self._controller.variables, asked)

    def unexplained(self, given: Input, state: State) -> str:
        """What was reported, what is the case instead of what would explain it, and what may have
        happened."""
        if given.kind == "time over":
            variable = self._controller.variables[given.of]
            if variable.kind == "lying":
                return (
                    f"{variable.of} has not reported in time that it lies where it was thrown: it "
                    "has not moved, its contact or its wire is faulty, or something lies in the way"
                )
            return f"a time is over for {variable.of}, which nothing explains"
        said = reported(given)
        nearest = self._nearest(given, state)
        instead: tuple[str, ...] = ()
        if nearest is not None:
            instead = what_is_instead(nearest.guard, state, self._controller.variables, None)
        why = f": {'; '.join(instead)}" if instead else ""
        return f"{said}, and nothing explains that{why}. {_PERHAPS[given.kind]}"

    def absent(self, links: Iterable[str]) -> str:
        """That links are not there."""
        names = sorted(links)
        return f"{listed(names)} {'is' if len(names) == 1 else 'are'} not there"

    def not_heard(self, missing: Missing) -> str:
        """That some have not reported yet."""
        names = [*missing.sections, *(f"drive {name}" for name in missing.drives)]
        named = listed(names)
        if len(names) > _MOST:
            named = f"{', '.join(names[:_MOST])} and {len(names) - _MOST} more"
        return f"{named} {'has' if len(names) == 1 else 'have'} not reported yet how things stand"

    def _nearest(self, given: Input, state: State) -> Reaction | None:
        """The reaction to an input that lacks least."""
        reactions = self._controller.inputs[given]
        return min(reactions, key=lambda r: len(unmet(r.guard, state)), default=None)


def in_words(doing: Doing) -> str:
    """What is done, as a sentence without its full stop."""
    match doing:
        case Show():
            return f"{doing.signal} shows {doing.aspect}"
        case Throw():
            return f"{doing.drive} is thrown to {doing.position}"
        case EndPulse():
            return f"the pulse of {doing.drive} ends"
        case Light():
            return f"the lamp of {doing.route} {'is lit' if doing.lit else 'goes out'}"


def reported(given: Input | Heard) -> str:
    """What a report says, as a sentence without its full stop."""
    if given.kind == "lies":
        return f"{given.of} is reported to lie {given.value}"
    return f"{given.of} is reported {given.kind}"


_PERHAPS = {
    "occupied": "A train may have passed a signal at stop, a wagon may have run away, something "
    "may have been put down, or its detector is faulty",
    "clear": "A train may have been taken off or divided, or its detector is faulty",
    "lies": "It may have been moved by hand, or its contact is faulty",
}
"""Which of what is assumed must have been broken."""
