"""Test vectors at the level of inputs: what the controller does at each report, request and time.

Runs go from input to input. Which inputs come is told by the railway that is proved together
with the controller (`composition.py`). First each route is run by a train on its own, with
reports that come at once, with reports that come late, and with a person who confirms; then the
walk is towards reactions and steps that have not happened yet. On the way, requests that are
refused are put in where that shows something new. What nothing on the railway can bring about, a
report that is not explained, is named beside the run: it would raise the alarm in that place.

The same vectors are always made for the same layout, bounded by counts and not by time.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from itertools import count
from typing import TypeVar

from bellcrank.controller.controller_model import Controller, Input
from bellcrank.machine.machine_model import EventKind, Machine, changes
from bellcrank.rehearsal.input_walk import InputRun, Walk
from bellcrank.rehearsal.leading import Leading
from bellcrank.running.reacting import BY_PEOPLE

MOST_REACTIONS = 5000
"""With the steps. A controller with more, of some hundreds of routes, would hardly be shown in
part: it gets no runs, and nobody waits for its railway to be made."""

MOST_INPUTS = 2500
"""In all runs; each is some 200 bytes of text."""

LONGEST_RUN = 80
"""A short run is sooner understood when a reader of the document fails in it."""

LONGEST_JOURNEY = 100
"""Of events of the railway and of the controller, for one train over one route."""

MOST_WORK = 2_000_000
"""Of looking ahead, about half a second of it."""

TRIES = 2
"""How often a reaction or step is aimed at in vain before it is given up."""

STANDING = 2
"""So many vehicles stand about at the start of every other run."""

STARTS = 4
"""So many sorts of start there are."""

MOVES: tuple[EventKind, ...] = (
    "drive arrives", "passes signal", "enters", "joins", "tail leaves", "wholly in"
)  # fmt: skip

DRIVES: tuple[EventKind, ...] = ("reported lying", "time runs out")

JOURNEYS: tuple[tuple[EventKind, ...], ...] = (
    ("reported occupied", "reported clear", *DRIVES, *MOVES),
    (*MOVES, *DRIVES, "reported occupied", "reported clear", "confirmed"),
    (*MOVES, *DRIVES, "reported occupied", "confirmed", "reported clear"),
    (*MOVES, *DRIVES, "reported occupied", "uncoupled", "taken off", "confirmed", "reported clear"),
)
"""What happens first of what may happen: reports at once, late, later than a person's eye, and
later than vehicles are left behind and taken off."""


@dataclass(frozen=True, slots=True)
class Shown:
    """How many of one sort of things show in the runs, and how many do not."""

    in_runs: int
    not_shown: int


@dataclass(frozen=True, slots=True)
class InputVectors:
    """reactions, steps: whether each happens. refused: requests, cancels and confirmations,
    whether each is refused. alarms: all other inputs, whether each raises the alarm."""

    runs: tuple[InputRun, ...]
    reactions: Shown
    steps: Shown
    refused: Shown
    alarms: Shown


def make_input_vectors(
    controller: Controller, composed: Callable[[], Machine], most: int = MOST_INPUTS
) -> InputVectors:
    """The vectors of a controller.

    composed: gives controller and railway as one machine. It is not asked if there are no runs.
    """
    reactions = [r.name for found in controller.inputs.values() for r in found]
    steps = [step.name for step in controller.steps]
    runs: tuple[InputRun, ...] = ()
    happened: set[str] = set()
    shown: Container[Input] = ()
    if len(reactions) + len(steps) <= MOST_REACTIONS:
        walk = Walk(controller, composed(), most)
        runs = (*_journeys(walk), *_Wanderings(walk).runs())
        happened = {walk.machine.events[number].name for number in walk.happened}
        shown = walk.shown
    return InputVectors(
        runs,
        _shown(reactions, happened),
        _shown(steps, happened),
        _shown([i for i in controller.inputs if i.kind in BY_PEOPLE], shown),
        _shown([i for i in controller.inputs if i.kind not in BY_PEOPLE], shown),
    )


T = TypeVar("T", str, Input)


def _shown(every: Sequence[T], shown: Container[T]) -> Shown:
    found = sum(each in shown for each in every)
    return Shown(found, len(every) - found)


# ------------------------------------------------------------------- journeys


def _journeys(walk: Walk) -> Iterator[InputRun]:
    """Each route run by a train on its own, as often as that shows something new."""
    events = walk.machine.events
    of_route: dict[str, list[int]] = defaultdict(list)
    every = set(walk.every)
    for number, event in enumerate(events):
        if event.route is not None:
            of_route[event.route].append(number)
    stands = [n for n, event in enumerate(events) if event.kind == "stands"]
    put_down = {event.of: n for n, event in enumerate(events) if event.kind == "put down"}
    for number, order in enumerate(JOURNEYS):
        rank = {kind: place for place, kind in enumerate(order)}
        always = {n for n, event in enumerate(events) if event.route is None and event.kind in rank}
        for place, of_it in enumerate(of_route.values()):
            if walk.left <= 0 or walk.happened.issuperset(every.intersection(of_it)):
                continue
            signals = [events[n].of for n in of_it if events[n].kind == "signal clears"]
            first = [put_down[signal] for signal in signals if signal in put_down]
            first += [n for n in of_it if events[n].kind == "request"]
            # In every other of the first journeys vehicles stand about, perhaps in the way.
            where = stands[place % max(1, len(stands)) :][:1] if number == 0 and place % 2 else ()
            walk.begin(last=(number + place) % 2 == 1, reported=bool(number), standing=where)
            _run_by_a_train(walk, first, always.union(of_it), rank, "taken off" in rank)
            run = walk.finish()
            if run is not None:
                yield run


def _run_by_a_train(
    walk: Walk, first: Iterable[int], meant: Set[int], rank: Mapping[EventKind, int], back: bool
) -> None:
    """A train is put down before the signal, the route is asked for, and all takes its course.

    meant: what may happen then. rank: what happens first of it, by its kind.
    """
    events, possible = walk.machine.events, walk.stepper.possible
    for event in first:
        if event in possible:
            walk.let_happen(event)
    done: Counter[int] = Counter()
    for _ in range(LONGEST_JOURNEY):
        candidates = [
            event
            for event in possible & meant
            if events[event].kind in rank and changes(events[event], walk.stepper.state)
        ]
        if not candidates or walk.left <= 0:
            return
        # What may happen again and again must not keep all else from happening.
        # Sections stand in their order: vehicles that are taken off leave the last one first.
        event = min(candidates, key=lambda e: (done[e], rank[events[e].kind], -e if back else e))
        done[event] += 1
        walk.let_happen(event)


# ----------------------------------------------------------------- wanderings


class _Wanderings:
    """Runs towards what has not happened yet."""

    def __init__(self, walk: Walk) -> None:
        self.walk = walk
        self.leading = Leading(walk.stepper)
        self.vain: Counter[int] = Counter()
        events = enumerate(walk.machine.events)
        self.stands = [number for number, event in events if event.kind == "stands"]

    def runs(self) -> Iterator[InputRun]:
        """Runs until none of the sorts of start brings a reaction or step that is new: with
        drives in their first and last positions, without and with vehicles that stand about."""
        fruitless = 0
        for number in count():
            if fruitless == STARTS or self._spent():
                return
            before = len(self.walk.happened)
            begin = number * STANDING % max(1, len(self.stands))
            turned = [*self.stands[begin:], *self.stands[:begin]]
            self.walk.begin(
                last=number % STARTS >= 2,
                reported=number > 0,
                standing=turned[:STANDING] if number % 2 else (),
            )
            self._go_on()
            run = self.walk.finish()
            if run is not None:
                yield run
            fruitless = 0 if len(self.walk.happened) > before else fruitless + 1

    def _spent(self) -> bool:
        return self.walk.left <= 0 or self.leading.work >= MOST_WORK

    def _go_on(self) -> None:
        """One run, as long as it comes to something new."""
        walk = self.walk
        failed: set[int] = set()
        while len(walk.run.inputs) < LONGEST_RUN and not self._spent():
            wanted = {
                event
                for event in walk.every
                if event not in walk.happened and event not in failed and self.vain[event] < TRIES
            }
            found = self.leading.towards(wanted)
            if found is None:
                return
            target, plan = found
            self._follow(plan)
            if target not in walk.happened:
                failed.add(target)
                self.vain[target] += 1

    def _follow(self, plan: Sequence[int]) -> None:
        """Let the events of a plan happen, each once, as far as they can."""
        left = dict.fromkeys(plan)
        while left and not self._spent():
            event = next((e for e in left if e in self.walk.stepper.possible), None)
            if event is None:
                return
            del left[event]
            for done in self.walk.let_happen(event):
                left.pop(done, None)
