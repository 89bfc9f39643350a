"""What a railway notices: what comes of each assumption if it is broken once.

Of every kind is decided, for the layout at hand, whether trains can meet, come off the rails or
have points moved under them before the controller raises the alarm, and whether it raises one.
First stories are looked for with a few routes near where something is broken, which are most
often found at once; what has none is to be shown by induction; what is open then is looked for
once more, among all states that there is room for.
"""

from __future__ import annotations

import time
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, islice, product, zip_longest

from bellcrank.controller.breakings import (
    ACCIDENTS,
    NOWHERE,
    AccidentName,
    AlarmOutcome,
    Breaking,
)
from bellcrank.controller.broken import OneBroken, Spot, break_once
from bellcrank.controller.claims import Unexplained
from bellcrank.controller.reactions import Control
from bellcrank.machine.frame import Frame
from bellcrank.machine.machine_model import Event, EventKind, Machine, State, is_not
from bellcrank.proof.moving.moving_proof import Effort, Moving, Progress
from bellcrank.proof.moving.story import (
    Choice,
    Story,
    look_with,
    stories_of,
    track_near,
    whole_search,
)
from bellcrank.proof.verdict import MovingOutcome
from bellcrank.running.simulator import replay

MOST_CHOICES = 30
"""Sets of routes with which stories are looked for."""

FEW = 8
"""With so many of them again, with vehicles that people put down and take off."""

STATES_WITH_EACH = 4_000

MOST_STATES = 4_000
"""Of the whole machine, once nothing else has decided."""

SECONDS_EACH = 60.0
"""For each kind of assumption."""


@dataclass(frozen=True, slots=True)
class Answer:
    """One thing that is asked of a kind. name: as in `broken.ASKED`.

    story: how it happens, if it is refuted.
    raised_by: of the alarm, what comes in after the last step of the story and raises it.
    """

    name: str
    outcome: MovingOutcome
    story: Story | None
    raised_by: Unexplained | None = None


@dataclass(frozen=True, slots=True)
class Noticed:
    """What comes of one kind of assumption if it is broken once.

    answers: to what is asked; at least to the three kinds of accidents.
    places: those of which it was asked; empty for anywhere.
    """

    kind: Breaking
    answers: tuple[Answer, ...]
    places: tuple[str, ...] = ()

    def answer(self, name: str) -> Answer | None:
        return next((a for a in self.answers if a.name == name), None)

    @property
    def alarm(self) -> AlarmOutcome:
        """Whether the controller raises the alarm."""
        alarms, taken = self.answer("alarms"), self.answer("taken")
        if alarms is None or alarms.outcome == "proved":
            return "none"
        if alarms.outcome != "refuted" or (taken is not None and taken.outcome == "undecided"):
            return "undecided"
        if taken is None:
            return "later"
        return "first report" if taken.outcome == "proved" else "first report or later"

    @property
    def accidents(self) -> tuple[tuple[AccidentName, Answer], ...]:
        """Whether accidents can happen before the alarm."""
        found = ((name, self.answer(name)) for name in ACCIDENTS)
        return tuple((name, answer) for name, answer in found if answer is not None)


def what_is_noticed(
    control: Control,
    composed: Machine,
    kinds: Collection[Breaking],
    effort: Effort,
    progress: Progress | None = None,
    at: Mapping[Breaking, Collection[str]] = NOWHERE,
) -> Iterator[Noticed]:
    """Decide it for some kinds, in their order; what cannot be broken on this layout is left out.

    composed: controller and railway as one machine, as `compose` makes it. effort: its
    `seconds` are for all together; each kind gets no more than SECONDS_EACH. at: of kinds that
    are asked of some places alone, their names.
    Raises NoSuchPlaceError if something cannot be broken at one of them.
    """
    begun = time.monotonic()
    for number, kind in enumerate(kinds, start=1):
        only = tuple(at.get(kind, ()))
        one = break_once(control, composed, kind, only)
        if one is None:
            continue
        which = f"{kind}, {number} of {len(kinds)}" if len(kinds) > 1 else kind

        def tell(done: str, which: str = which) -> None:
            if progress is not None:
                progress(f"{which}: {done}")

        deadline = time.monotonic() + SECONDS_EACH
        if effort.seconds is not None:
            deadline = min(deadline, begun + effort.seconds)
        answers = tuple(_answers(control.view.frame, one, effort, deadline, tell))
        yield Noticed(kind, answers, only)


def _answers(
    frame: Frame, one: OneBroken, effort: Effort, deadline: float, progress: Progress
) -> Iterator[Answer]:
    machine = one.machine
    asked = list(machine.properties)
    found = _look_near(frame, one, deadline, progress)
    # What happens after an accident is not asked.
    before = without_accidents(frame, machine, found)
    proved = _proved(before, [n for n in asked if n not in found], effort, deadline, progress)
    open_ = [name for name in asked if name not in found and name not in proved]
    found |= _look_everywhere(before, open_, deadline, progress)
    for name in asked:
        outcome: MovingOutcome = "undecided"
        if name in found:
            outcome = "refuted"
        elif name in proved:
            outcome = "proved"
        story = found.get(name)
        raised_by = None if story is None or name != "alarms" else _raised_by(one, story)
        yield Answer(name, outcome, story, raised_by)


def states_of(machine: Machine, story: Story) -> tuple[State, ...]:
    """The states that a story leads through, the one at rest included."""
    named = {event.name: event for event in machine.events}
    return replay(machine, [named[step.event] for step in story.steps], _start(machine, story))


def _start(machine: Machine, story: Story) -> State:
    """The state at rest from which a story goes: where drives lie, and where they are known to."""
    lies = dict(story.start)
    start = dict(machine.start())
    for name, variable in machine.variables.items():
        if variable.kind in ("drive", "lying") and lies.get(variable.of) in variable.initial:
            start[name] = lies[variable.of]
    return start


def _raised_by(one: OneBroken, story: Story) -> Unexplained:
    """What comes in at the end of a story that comes to an alarm: that of which it is not so
    there that it does not come unexplained."""
    end = states_of(one.machine, story)[-1]
    return next(
        of
        for of, claim in one.alarms
        if not any(end[literal.variable] in literal.values for literal in claim.clause)
    )


def without_accidents(frame: Frame, machine: Machine, names: Collection[str]) -> Machine:
    """A machine in which accidents of some properties do not happen: what is shown of it holds of
    all runs up to such an accident."""
    kinds: set[EventKind] = set()
    if "meetings" in names:
        kinds.add("meets")
    if "derailments" in names:
        kinds.add("derails")
    events = tuple(e for e in machine.events if e.kind not in kinds)
    if "drives" in names:
        events = tuple(_under_no_train(frame, machine, event) for event in events)
    return replace(machine, events=events)


def _under_no_train(frame: Frame, machine: Machine, event: Event) -> Event:
    """An event that throws no drive under a train."""
    guard = event.guard
    for name, becomes in event.updates.items():
        variable = machine.variables[name]
        if variable.kind == "drive" and not set(becomes.values()).issubset(variable.initial):
            over = frame.over(frame.layout.drives[variable.of])
            guard += tuple((is_not(frame.track[part], *v),) for part, v in over.items())
    return event if guard is event.guard else replace(event, guard=guard)


def _never(_: tuple[int, ...]) -> bool:
    return False


def _look_near(
    frame: Frame, one: OneBroken, deadline: float, progress: Progress
) -> dict[str, Story]:
    """Stories with a few routes near where something is broken."""
    found: dict[str, Story] = {}
    near = track_near(one.machine)
    choices = list(_choices(frame, one.spots))
    for by_hand, choice in chain(product((False,), choices), product((True,), choices[:FEW])):
        wanted = [name for name in one.machine.properties if name not in found]
        if not wanted or time.monotonic() > deadline:
            break
        found |= look_with(
            one.machine,
            wanted,
            _never,
            [choice],
            near,
            deadline,
            progress,
            STATES_WITH_EACH,
            by_hand=by_hand,
        )
    return found


def _choices(frame: Frame, spots: Sequence[Spot]) -> Iterator[Choice]:
    """A route that leads where something may be broken, alone and with one that has a section in
    common with it; of each place in turn."""
    of_each = [_at(frame, spot) for spot in spots]
    in_turn = (choice for round_ in zip_longest(*of_each) for choice in round_ if choice)
    yield from islice(dict.fromkeys(islice(in_turn, 10 * MOST_CHOICES)), MOST_CHOICES)


def _at(frame: Frame, spot: Spot) -> Iterator[Choice]:
    for name in spot.routes:
        others = dict.fromkeys(
            other.name
            for section in frame.table.routes[name].sections
            for other in frame.by_section[section]
        )
        for other in others:
            yield Choice(frozenset((name, other)), spot.parts)


def _proved(
    machine: Machine, names: Sequence[str], effort: Effort, deadline: float, progress: Progress
) -> set[str]:
    """Which of some properties are shown by induction."""
    if not names or time.monotonic() > deadline:
        return set()
    moving = Moving(
        machine, replace(effort, seconds=max(0.0, deadline - time.monotonic())), progress
    )
    goals = [k for k, i in enumerate(machine.invariants) if i.of in names]
    prover = moving.prover(moving.examiner(thorough=False))
    prover.first_loss = lambda _: None
    held = prover.run(goals).held
    return {
        name for name in names if all(held[k] for k in goals if machine.invariants[k].of == name)
    }


def _look_everywhere(
    machine: Machine, names: Sequence[str], deadline: float, progress: Progress
) -> dict[str, Story]:
    """Stories among all states there is room for."""
    if not names or time.monotonic() > deadline:
        return {}
    explorer, found = whole_search(
        machine, names, _never, MOST_STATES, deadline, progress, by_hand=True
    )
    return {s.of: s for s in stories_of(machine, explorer, found, shortest=True)}
