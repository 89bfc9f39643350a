"""The controller made to run: an input in, the next state and what is put out.

Looks up what the controller says and knows no rule of its own. Before an input no step is
possible, so only steps whose guards speak of what has changed need be looked at, and those
they touch in turn; the order is as if all were gone through again and again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from heapq import heappop, heappush
from typing import Literal

from bellcrank.controller.controller_model import Controller, Input, InputKind, Reaction
from bellcrank.controller.view import SAID_CLEAR, SAID_OCCUPIED
from bellcrank.machine.machine_model import State, Variable, VariableKind, holds
from bellcrank.running.lookup import ByVariable

BY_PEOPLE: frozenset[InputKind] = frozenset(
    ("request", "cancel", "confirm passed", "confirm arrived")
)
"""Inputs that may be refused. Any other that is not possible raises the alarm."""

SAYS: Mapping[InputKind, str] = {"occupied": SAID_OCCUPIED, "clear": SAID_CLEAR}
"""What a section's variable says once it was reported so."""

Refusal = Literal["refused", "alarm", "nothing new"]
"""Why an input has no effect. `nothing new`: a report that says what was reported last, or the
end of a time that does not run any more."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What an input has led to.

    state: the state after it. changes: what is other there than before it.
    done: the reaction, and the steps after it.
    """

    outcome: Refusal | Literal["done"]
    state: State
    changes: Mapping[str, str] = field(default_factory=dict)
    done: tuple[Reaction, ...] = ()


class Reacting:
    """A controller made ready to run. It holds no state; states are handed in and out."""

    def __init__(self, controller: Controller) -> None:
        self.controller = controller
        self._steps = ByVariable(
            [literal for clause in step.guard for literal in clause] for step in controller.steps
        )
        self._named: Mapping[tuple[VariableKind, str], Variable] = {
            (v.kind, v.of): v for v in controller.variables.values()
        }

    def named(self, kind: VariableKind, of: str) -> Variable:
        """The controller's variable of a kind that tells of something."""
        return self._named[kind, of]

    def start(
        self, occupied: Iterable[str] = (), lies: Mapping[str, str] | None = None
    ) -> dict[str, str]:
        """The state after the start: nothing set, all signals at stop.

        occupied: the sections that are reported occupied.
        lies: the positions that drives are reported in.
        """
        state = {v.name: v.initial[0] for v in self.controller.variables.values()}
        for section in occupied:
            state[self._named["report", section].name] = SAID_OCCUPIED
        for drive, position in (lies or {}).items():
            state[self._named["lying", drive].name] = position
        return state

    def input(self, given: Input, state: State) -> Answer:
        """What an input leads to in a state in which no step is possible."""
        refusal = self.refusal(given, state)
        if refusal is not None:
            return Answer(refusal, state)
        reaction = self.reaction(given, state)
        assert reaction is not None
        following = dict(state)
        done = [reaction]
        # In each round in the order of their numbers; what a step makes possible before its
        # own place waits for the next round.
        now = set(self._do(reaction, following))
        while now:
            rest = sorted(now)
            now.clear()
            while rest:
                place = heappop(rest)
                if rest and rest[0] == place:
                    continue
                step = self.controller.steps[place]
                if all(holds(clause, following) for clause in step.guard):
                    done.append(step)
                    for touched in self._do(step, following):
                        if touched > place:
                            heappush(rest, touched)
                        else:
                            now.add(touched)
        named = {variable for reaction in done for variable in reaction.updates}
        changes = {v: following[v] for v in sorted(named) if following[v] != state[v]}
        return Answer("done", following, changes, tuple(done))

    def refusal(self, given: Input, state: State) -> Refusal | None:
        """Why an input has no effect in a state; None if it has one."""
        if not self.is_new(given, state):
            return "nothing new"
        if self.reaction(given, state) is not None:
            return None
        return "refused" if given.kind in BY_PEOPLE else "alarm"

    def reaction(self, given: Input, state: State) -> Reaction | None:
        """The reaction that takes effect at an input."""
        for reaction in self.controller.inputs[given]:
            if all(holds(clause, state) for clause in reaction.guard):
                return reaction
        return None

    def is_new(self, given: Input, state: State) -> bool:
        """Whether an input tells something that the state does not say already."""
        if given.kind in SAYS:
            return state[self._named["report", given.of].name] != SAYS[given.kind]
        return given.kind != "time over" or state[given.of] == given.value

    def _do(self, reaction: Reaction, state: dict[str, str]) -> Iterable[int]:
        """Change a state; the steps whose guards speak of what has changed."""
        new = {v: becomes.get(state[v], state[v]) for v, becomes in reaction.updates.items()}
        changed = [v for v, value in new.items() if state[v] != value]
        state.update(new)
        return (step for v in changed for step in self._steps.naming(v))
