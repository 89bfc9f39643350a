"""That controller and railway together do nothing that the machine alone may not do.

Of the machine alone a set of clauses I was shown inductive: true at the start, and no event makes
one false while all are true. Of controller and railway nothing of that need be shown again where
every event of theirs follows the machine: it changes the machine's variables just as one event of
the machine does, and is possible only where that one is; or it changes none of them (a forward
simulation with stuttering: N. Lynch and F. Vaandrager, "Forward and backward simulations",
Information and Computation 121, 1995, section 3).

The argument is one induction over the runs of controller and railway. Let J be the further clauses
that are shown of them. In a state in which all of I and J are true, an event e of theirs that
stands for an event a of the machine

- leaves I true: that a is possible follows from the guard of e, I and J, and a changes what I
  speaks of just as e does, so that it is as after a, of which it was shown;
- leaves J true: that is shown of each clause and event as ever, from the guard of e, I and J.

Both begin in the same states. So neither is shown from itself, and each may be used wherever
something is shown of what comes next; whether e follows a, too.

What is changed is compared as it stands. So are the guards of trains and drives, which are those of
the machine and more. A reaction of the controller has a guard of its own, over what it knows:
that the guard of a follows is an obligation for each clause of it that does not stand in the guard
of e. They are put as events that change nothing, at which that clause has to be true.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from bellcrank.controller.reactions import Control
from bellcrank.machine.collecting import collected_seldom
from bellcrank.machine.machine_model import Clause, Event, Is, Machine

FEW = 2
"""Variables that an event changes, up to which it is asked only where it changes something."""


@dataclass(frozen=True, slots=True)
class Following:
    """Controller and railway, with events that ask whether they follow the machine alone.

    machine: the composed one, with those events at the end.
    asked: by the number of each of them, the clauses that have to be true when it is possible.
    """

    machine: Machine
    asked: Mapping[int, tuple[Clause, ...]]


@collected_seldom()
def following(control: Control, composed: Machine, alone: Machine) -> Following | None:
    """What has to be shown so that controller and railway follow the machine alone.

    None if they do not as it stands: they begin otherwise, or change something else.
    """
    variables = alone.variables
    if any(composed.variables.get(name) != of for name, of in variables.items()):
        return None
    of_alone = {event.name: event for event in alone.events}
    stands_for = [None if pair.event is None else pair.event.name for pair in control.paired]
    asking: list[Event] = []
    asked: dict[int, tuple[Clause, ...]] = {}
    for number, event in enumerate(composed.events):
        reacts = number < len(stands_for)
        name = stands_for[number] if reacts else event.name
        if name is None:
            if any(changed in variables for changed in event.updates):
                return None
            continue
        its = of_alone.get(name)
        if its is None or not _changes_alike(event, its, alone):
            return None
        if event.guard[: len(its.guard)] == its.guard:
            continue  # its guard and more, as trains and drives have it
        guard = frozenset(event.guard)
        open_ = tuple(clause for clause in its.guard if clause not in guard)
        if open_ and not reacts:
            return None
        if open_:
            asked[len(composed.events) + len(asking)] = open_
            asking.append(_asking(event, alone))
    return Following(replace(composed, events=(*composed.events, *asking)), asked)


def _changes_alike(event: Event, its: Event, alone: Machine) -> bool:
    """Whether an event changes the variables of the machine alone as another does."""
    changed = {name: to for name, to in event.updates.items() if name in alone.variables}
    return changed == dict(its.updates)


def _asking(event: Event, alone: Machine) -> Event:
    """Whether an event may happen as the machine alone asks for it.

    Where it changes few variables of that one, it is asked only of the states in which it does
    change something: it may come when a train has just passed, and then it leaves them as they are.
    """
    changing = tuple(
        Is(name, frozenset(old for old, new in becomes.items() if new != old))
        for name, becomes in event.updates.items()
        if name in alone.variables
    )
    nothing_else = (changing,) if len(changing) <= FEW else ()
    return replace(
        event,
        name=f"may {event.name}",
        kind="follows",
        text=f"{event.text}; before that, as the machine alone asks for it",
        guard=(*event.guard, *nothing_else),
        updates={},
        entry=None,
    )
