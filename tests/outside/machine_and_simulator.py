"""What is proved of the machine held against the simulated railway, and its stories retold.

The two know nothing of each other: the machine is made by the compiler, the railway is read
from the same text by `plain_railway`. Here routes of one are matched with routes of the
other by the way they take, and an event of the machine is put in terms of elements.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from by_hand import without_hands
from element_properties import astray, wrong
from element_simulator import Simulator
from element_state import CLOSING, Act, PutBack, State
from plain_railway import EDGE, End, Railway, Way, railway
from railway_play import Played, play, search

import bellcrank
from bellcrank import Sound
from bellcrank.machine.machine_model import BY_HAND, Event, Machine
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.proof.moving.story import Story
from bellcrank.proof.verdict import MovingVerdict
from bellcrank.routes.route_model import Route

SAFETY = ("meetings", "derailments", "drives", "signals", "overlaps", "release")

MOST_MOVES = 5
"""Of trains, from the end of a story to what it tells of."""

Key = tuple[str, tuple[tuple[str, str, str], ...], bool]
"""A route by where it goes."""


@dataclass
class Twice:
    """One layout twice: compiled, and as a plain railway.

    name_of: the compiler's name of each plain route.
    """

    text: str
    machine: Machine
    railway: Railway
    name_of: dict[int, str]

    @property
    def by_hand(self) -> bool:
        """Whether vehicles are put down and uncoupled."""
        return any(event.kind in BY_HAND for event in self.machine.events)

    @property
    def number_of(self) -> dict[str, int]:
        return {name: number for number, name in self.name_of.items()}


def twice(source: str | Path) -> Twice | None:
    """A layout, or a file with one, compiled and read; None if it has errors."""
    compiled = (
        bellcrank.compile_file(source) if isinstance(source, Path) else bellcrank.compile(source)
    )
    if not isinstance(compiled, Sound):
        return None
    plain = railway(source)
    text = "\n".join(compiled.program.texts.values())
    theirs = {_key(route): route for route in compiled.table.routes.values()}
    mine: dict[Key, int] = {(r.start, r.ways, r.calling_on): r.number for r in plain.routes}
    assert set(theirs) == set(mine)
    for key, number in mine.items():
        _with_flank(plain, number, theirs[key], "every route needs its positions" in text)
    machine = compiled.machine
    if not _elements_alone(plain):
        machine = without_hands(machine)
    return Twice(text, machine, plain, {n: theirs[k].name for k, n in mine.items()})


def _elements_alone(plain: Railway) -> bool:
    """Whether each section is one element. The machine has vehicles stand on whole stretches;
    only then are these what the simulator knows of."""
    return len(set(plain.section_of.values())) == len(plain.section_of)


def _key(route: Route) -> Key:
    ways = tuple((way.element, way.entry, way.exit) for way in route.ways)
    return route.start, ways, route.calling_on


def _with_flank(plain: Railway, number: int, route: Route, every_position: bool) -> None:
    """Take over the positions that `flank derive` asks for: where they come from is not
    laid down so closely that it could be found a second time."""
    mine = plain.routes[number]
    more = {drive: p for drive, p in route.flank if drive not in mine.flank}
    mine.flank |= more
    if plain.derived or every_position:
        mine.needs |= more


# ------------------------------------------------------------------- comparing


@dataclass
class Comparison:
    """What came of one layout.

    verdict: of the moving proof. false_proofs: properties that are proved and yet violated,
        with the run. not_retold: properties whose story the railway does not bear out.
    """

    both: Twice
    verdict: MovingVerdict
    played: Played
    false_proofs: dict[str, str] = field(default_factory=dict)
    not_retold: dict[str, str] = field(default_factory=dict)

    @property
    def outcomes(self) -> dict[str, str]:
        return {result.name: result.outcome for result in self.verdict.results}


def compare(
    both: Twice, seed: int, effort: Effort, *, steps: int, runs: int, states: int = 0
) -> Comparison:
    """Prove a layout, play it, and hold what is proved against what is seen.

    steps, runs: how long random runs are, and how many. states: that are looked at
        breadth first besides.
    """
    verdict = prove_moving(both.machine, effort)
    simulator = Simulator(both.railway, by_hand=both.by_hand)
    played = play(simulator, random.Random(seed), steps, runs)
    if states:
        more, _ = search(simulator, states)
        played.steps += more.steps
        played.wrong |= more.wrong
    found = Comparison(both, verdict, played)
    proved = {result.name for result in verdict.results if result.outcome == "proved"}
    for of, (start, acts, what) in played.wrong.items():
        name = _result_name(of, both, verdict)
        if name in proved:
            lines = [f"{of}: {what}", f"at first {dict(start)}", *told(acts, both)]
            found.false_proofs[name] = "\n".join(lines)
    for result in verdict.results:
        if result.story is not None and result.name in SAFETY:
            reason = not_borne_out(result.story, both)
            if reason:
                found.not_retold[result.name] = reason
    return found


def _result_name(of: str, both: Twice, verdict: MovingVerdict) -> str:
    """What a verdict calls a property; of an expectation, one about the same two routes."""
    if not of.startswith("never "):
        return of
    one, other = (both.name_of[int(number)] for number in of.split()[1:])
    wanted = {f"expect {one} never with {other}", f"expect {other} never with {one}"}
    return next(r.name for r in verdict.results if r.name in wanted)


def told(acts: list[Act], both: Twice) -> Iterator[str]:
    """Acts, with routes by their names."""
    for act in acts:
        of_train = act.kind in ("moves", "tail leaves", "turns back")
        who = f"train {act.number}" if of_train else both.name_of.get(act.number, "")
        yield " ".join(filter(None, (act.kind, who, act.name)))


# ------------------------------------------------------------ retelling a story


class NotRetoldError(Exception):
    """An event of a story cannot happen on the simulated railway."""


def not_borne_out(story: Story, both: Twice) -> str:
    """Why a story does not happen on the railway, or does no harm there; empty if it does."""
    simulator = Simulator(both.railway, most_trains=99, by_hand=both.by_hand)
    drives = {drive: positions[0] for drive, positions in both.railway.drives.items()}
    state = simulator.start({**drives, **dict(story.start)})
    events = {event.name: event for event in both.machine.events}
    retelling = Retelling(both, simulator)
    seen: set[str] = set()
    try:
        for step in story.steps:
            for then in retelling.step(state, events[step.event]):
                state = then
                seen.update(of for of, _ in wrong(simulator, state))
                if state.accident is not None:
                    return ""  # what happens after an accident is not laid down
    except NotRetoldError as error:
        return str(error)
    if story.of in seen or _soon(simulator, state, story.of):
        return ""
    if story.of == "release" and astray(simulator, state):
        return ""  # to the machine, what it is on is held for no route that leads there
    return f"nothing is wrong with {story.of} at its end"


def _soon(simulator: Simulator, state: State, of: str) -> bool:
    """Whether a property is violated once trains have gone on a little: the machine sees a
    whole section at once, where on the railway one train has yet to come up to the other."""
    level = [state]
    for _ in range(MOST_MOVES):
        level = [
            simulator.after(here, act)
            for here in level
            for act in simulator.candidates(here, "moves")
            if here.accident is None and simulator.possible(here, act)
        ]
        if any(name == of for here in level for name, _ in wrong(simulator, here)):
            return True
    return False


@dataclass
class Retelling:
    """Events of the machine as acts of the simulated railway."""

    both: Twice
    simulator: Simulator
    elements: Mapping[str, frozenset[str]] = field(init=False)
    part_of: Mapping[str, str] = field(init=False)

    def __post_init__(self) -> None:
        self.elements = {
            variable.of: frozenset(
                way.element for on in variable.trains.values() for way in on.passage.ways
            )
            for variable in self.both.machine.variables.values()
            if variable.kind == "track"
        }
        self.part_of = {e: part for part, elements in self.elements.items() for e in elements}

    def step(self, state: State, event: Event) -> Iterator[State]:
        """The states that an event leads through."""
        number = self.both.number_of.get(event.route or "", -1)
        match event.kind:
            case (
                "request"
                | "cancel"
                | "signal clears"
                | "released by time"
                | "route released" as kind
            ):
                yield self.do(state, Act(kind, number), event)
            case "section released" as kind:
                yield self.do(state, Act(kind, number, event.of), event)
            case "drive arrives" | "time runs out" | "put down" as kind:
                yield self.do(state, Act(kind, name=event.of), event)
            case "comes in":
                known = set(state.trains)
                state = self.do(state, Act("comes in", name=event.of), event)
                yield state
                yield from self.on(state, next(n for n in state.trains if n not in known))
            case "wholly in":
                train = next((n for n, t in state.trains.items() if t.coming_from == event.of), -1)
                yield self.do(state, Act("tail leaves", train), event)
            case "tail leaves":
                yield from self.tail(state, event)
            case "turns back":
                yield self.do(state, Act("turns back", self.front_in(state, event)), event)
            case "stands" | "taken off" | "uncoupled" | "ready to leave":
                yield from self.by_hand(state, event)
            case _:
                yield from self.front(state, event)

    def by_hand(self, state: State, event: Event) -> Iterator[State]:
        """Vehicles come to stand on all elements of a part, or leave it."""
        match event.kind:
            case "stands":
                for element in sorted(self.elements[event.of]):
                    if element not in state.standing:
                        state = self.do(state, Act("stands", name=element), event)
                        yield state
            case "taken off":
                for element in sorted(self.elements[event.of] & state.standing):
                    state = self.do(state, Act("taken off", name=element), event)
                    yield state
            case "uncoupled":
                part = self.elements[event.of]
                number = next((n for n, t in state.trains.items() if t.body[0].element in part), -1)
                while number in state.trains and state.trains[number].body[0].element in part:
                    state = self.do(state, Act("uncoupled", number), event)
                    yield state
            case _:
                ((track, becomes),) = event.updates.items()
                ((_, train),) = becomes.items()
                ways = self.both.machine.variables[track].trains[train].passage.ways
                state = self.do(state, Act("ready to leave", len(ways), event.of), event)
                yield state
                part = self.both.machine.variables[track].of
                for element in sorted(self.elements[part] & state.standing):
                    # Beside its way, or beyond drives that lie otherwise: drawn away.
                    state = self.do(state, Act("taken off", name=element), event)
                    yield state

    def do(self, state: State, act: Act, event: Event) -> State:
        known = act.number in state.trains
        if act.kind in ("moves", "tail leaves", "turns back", "uncoupled") and not known:
            raise NotRetoldError(f"no train does so: {event.name}")
        if not self.simulator.possible(state, act):
            raise NotRetoldError(f"not possible: {event.name} ({act})")
        return self.simulator.after(state, act)

    def front_in(self, state: State, event: Event) -> int:
        """The train whose front is in the part that an event is about."""
        part = self.elements[event.of]
        return next((n for n, t in state.trains.items() if t.body[-1].element in part), -1)

    def tail(self, state: State, event: Event) -> Iterator[State]:
        part = self.elements[event.of]
        number = next(
            (
                n
                for n, t in state.trains.items()
                if t.body[0].element in part
                and not t.coming_from
                and (t.leaving or t.body[-1].element not in part or _returns(t.body, part))
            ),
            -1,
        )
        while True:
            state = self.do(state, Act("tail leaves", number), event)
            yield state
            train = state.trains.get(number)
            if train is None or train.body[0].element not in part:
                return

    def front(self, state: State, event: Event) -> Iterator[State]:
        """A front crosses a joint: the train that stands before it, or outside an edge."""
        rail = self.both.railway
        entry: End = (EDGE, event.of)
        if event.entry is not None:
            entry = (event.entry.element, event.entry.leg)
        outside = rail.beyond[entry] if entry[0] != EDGE else ("", "")
        number = self.both.number_of.get(event.route or "", -1)
        if number >= 0 and state.stages[number] == CLOSING:
            # Two routes of one signal may have been cancelled. By which of them a train goes
            # that could not stop, nobody can tell.
            start = rail.routes[number].start
            if isinstance(state.signals[start], PutBack):
                state = state.copy()
                state.signals[start] = PutBack(number)
        if outside[0] == EDGE:
            known = set(state.trains)
            state = self.do(state, Act("passes at the edge", name=outside[1]), event)
            number = next((n for n in state.trains if n not in known), -1)
        else:
            number = next(
                (
                    n
                    for n, t in state.trains.items()
                    if not t.leaving and rail.beyond[t.body[-1].element, t.body[-1].exit] == entry
                ),
                -1,
            )
            state = self.do(state, Act("moves", number), event)
        yield state
        yield from self.on(state, number)

    def on(self, state: State, number: int) -> Iterator[State]:
        """The front goes on as far as its stretch of track reaches."""
        rail = self.both.railway
        while state.accident is None and number in state.trains:
            train = state.trains[number]
            front = train.body[-1]
            end = (front.element, front.exit)
            beyond = rail.beyond[end]
            if train.leaving or beyond not in rail.ways:
                return
            if self.part_of[beyond[0]] != self.part_of[front.element]:
                return
            if end in rail.read_at or beyond in rail.read_at:
                return
            if not self.simulator.possible(state, Act("moves", number)):
                return
            then = self.simulator.after(state, Act("moves", number))
            if then == state:
                return  # it has come round to its own tail
            state = then
            yield state


def _returns(body: tuple[Way, ...], part: frozenset[str]) -> bool:
    """Whether a train has left a part and come back to it."""
    return any(way.element not in part for way in body)
