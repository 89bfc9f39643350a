"""Faults seeded into the machine, one at a time, to see whether the proof finds them.

The fault is always in what is proved, never in the prover: a clause of a guard is
dropped, a drive is sent the wrong way or left out, a section is forgotten, a route
lets go too early. Each faulty machine is judged twice: by the moving proof, and by
looking at every state it can come to. The two must agree.

Fault seeding as evidence that a checker of interlockings checks: Celebi and
Kaymakci, "Verifying the accuracy of interlocking tables", Journal of Modern
Transportation, 2016.

    python tests/proof/machine_faults.py              # the whole campaign, with its table
    python tests/proof/machine_faults.py --random 0   # without random layouts
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[1]))

from by_hand import without_hands
from cpu_time import limits_count_cpu_time
from fault_layouts import SMALL
from random_layouts import random_layout
from random_runs import Runs, contradicted
from resting import comes_to_rest, never_at_rest

import bellcrank
from bellcrank.machine.machine_model import Clause, Event, Machine, State, after, holds, possible
from bellcrank.proof.moving import solving
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.proof.moving.shapes import Shape
from bellcrank.proof.moving.story import Story
from bellcrank.proof.verdict import MovingResult, MovingVerdict
from bellcrank.running.state_search import Explorer, Found, violated

EXAMPLES = Path(__file__).parents[2] / "examples"

MOST_STATES = 20_000
"""States that are looked at one by one before a machine counts as too big for that."""

SECOND_LOOK = 800_000
"""States in a second look at what stays undecided, in the whole campaign."""

SECONDS_FOR_SECOND_LOOK = 90

MOST_VARIABLES = 42
"""Layouts with more seldom have so few states, and are not tried."""

EVERY = {
    "hand-worked-branch": 4,
    "turning-loop": 4,
    "harbour-terminus": 4,
    "four-track-station": 100,
}
"""The examples, and which of their faults are tried in the campaign: one in so many."""

OURS = ("operator", "interlocking")
"""Whose events the faults are in: trains and drives cannot be built wrongly."""


@dataclass(frozen=True)
class Fault:
    """A machine with one fault. kind: what sort it is; what: the fault in words; changed: the
    names of the events it is in."""

    kind: str
    what: str
    machine: Machine
    changed: tuple[str, ...]


# --------------------------------------------------------------------- seeding


def faults(machine: Machine) -> Iterator[Fault]:
    """Every single fault, each faulty machine once."""
    seen: set[object] = set()
    for kind, what, changed in _all_faults(machine):
        key = tuple(_key(e) for e in changed)
        by_name = {event.name: event for event in changed}
        events = tuple(by_name.get(e.name, e) for e in machine.events)
        if key not in seen and events != machine.events:
            seen.add(key)
            yield Fault(kind, what, replace(machine, events=events), tuple(by_name))


def _key(event: Event) -> object:
    updates = frozenset((v, frozenset(b.items())) for v, b in event.updates.items())
    return event.name, frozenset(event.guard), updates


Seeded = tuple[str, str, tuple[Event, ...]]
"""The kind of a fault, what it is, and the events that it changes."""


def _all_faults(machine: Machine) -> Iterator[Seeded]:
    for event in machine.events:
        if event.actor in OURS:
            yield from _clauses_dropped(event)
        if event.kind == "request":
            yield from _positions(machine, event)
            yield from _sections_forgotten(machine, event)
            yield from _thrown_too_soon(machine, event)
        if event.kind == "signal clears":
            yield from _cleared_too_soon(machine, event)
        if event.kind in ("section released", "route released"):
            yield from _released_too_early(machine, event)
        if event.kind == "cancel":
            yield from _cancelled_too_early(machine, event)


def _clauses_dropped(event: Event) -> Iterator[Seeded]:
    for n, clause in enumerate(event.guard):
        rest = event.guard[:n] + event.guard[n + 1 :]
        told = " or ".join(f"{x.variable} in {sorted(x.values)}" for x in clause)
        yield (
            f"{event.kind}: a clause dropped",
            f"{event.name}: {told}",
            (replace(event, guard=rest),),
        )


def _positions(machine: Machine, event: Event) -> Iterator[Seeded]:
    for name, becomes in event.updates.items():
        drive = machine.variables[name]
        if drive.kind != "drive":
            continue
        rest = {v: b for v, b in event.updates.items() if v != name}
        yield "a drive left out", f"{event.name}: {drive.of}", (replace(event, updates=rest),)
        (sent,) = set(becomes.values())
        for position in drive.initial:
            wrong = f"to {position}"
            if wrong != sent:
                other = {v: wrong for v in drive.values if v not in (position, wrong)}
                yield (
                    "a drive sent the wrong way",
                    f"{event.name}: {drive.of} {wrong}",
                    (replace(event, updates={**rest, name: other}),),
                )


def _sections_forgotten(machine: Machine, event: Event) -> Iterator[Seeded]:
    clears = _named(machine, f"signal clears {event.of}")
    for name in event.updates:
        if machine.variables[name].kind != "held":
            continue
        section = machine.variables[name].of
        rest = {v: b for v, b in event.updates.items() if v != name}
        yield "a section not held", f"{event.name}: {section}", (replace(event, updates=rest),)

        def about(clause: Clause, name: str = name, section: str = section) -> bool:
            return any(
                x.variable == name
                or x.variable == f"track {section}"
                or x.variable.startswith(f"track {section} at ")
                for x in clause
            )

        asked = (_without(event, about), _without(clears, about))
        yield "a section not looked at", f"{event.name}: {section}", asked
        yield (
            "a section forgotten altogether",
            f"{event.name}: {section}",
            (
                replace(asked[0], updates=rest),
                asked[1],
            ),
        )


def _thrown_too_soon(machine: Machine, event: Event) -> Iterator[Seeded]:
    """A drive that is thrown under a train, or while another route needs it."""
    for name in event.updates:
        drive = machine.variables[name]
        if drive.kind != "drive":
            continue

        def among(*kinds: str, name: str = name) -> Callable[[Clause], bool]:
            return lambda clause: (
                any(x.variable == name for x in clause)
                and any(machine.variables[x.variable].kind in kinds for x in clause)
            )

        what = f"{event.name}: {drive.of}"
        yield "a drive thrown without looking", what, (_without(event, among("track")),)
        yield "a drive taken from a route", what, (_without(event, among("route", "held")),)
    without = _without(event, _all_of(machine, "track"))
    yield "a request without looking", event.name, (without,)


def _cleared_too_soon(machine: Machine, event: Event) -> Iterator[Seeded]:
    for kind, waits_for in (("drive", "drive"), ("track", "clear track")):
        kept = _without(event, _all_of(machine, kind))
        yield f"a signal that waits for no {waits_for}", event.name, (kept,)


def _released_too_early(machine: Machine, event: Event) -> Iterator[Seeded]:
    """Whether the train has gone is not asked; or not how far it has come."""
    for kinds in (("track", "edge"), ("held",), ("track", "edge", "held")):
        kept = _without(event, _all_of(machine, *kinds))
        yield f"{event.kind} too early", f"{event.name}: {' '.join(kinds)}", (kept,)
    for name, becomes in event.updates.items():
        variable = machine.variables[name]
        if variable.kind == "route":
            stages = [v for v in variable.values[1:] if v not in becomes]
            wider = {**becomes, **dict.fromkeys(stages, variable.values[0])}
            guard = tuple(
                tuple(
                    x._replace(values=x.values.union(stages)) if x.variable == name else x
                    for x in clause
                )
                for clause in event.guard
            )
            yield (
                f"{event.kind} too early",
                f"{event.name}: at any stage",
                (replace(event, guard=guard, updates={**event.updates, name: wider}),),
            )


def _cancelled_too_early(machine: Machine, event: Event) -> Iterator[Seeded]:
    """Approach locking forgotten: put back to stop and released at the same moment."""
    released = _named(machine, f"released by time {event.of}")
    if event.name != f"put back {event.of}":
        return
    held = {v: b for v, b in released.updates.items() if machine.variables[v].kind == "held"}
    stage = {v: b for v, b in event.updates.items() if machine.variables[v].kind == "route"}
    (name,) = stage
    idle = dict.fromkeys(stage[name], machine.variables[name].values[0])
    at_once = {**event.updates, **held, name: idle}
    yield "a cancel that lets go at once", event.name, (replace(event, updates=at_once),)
    open_still = {v: b for v, b in event.updates.items() if machine.variables[v].kind != "signal"}
    yield "a cancel that leaves the signal off", event.name, (replace(event, updates=open_still),)


def _named(machine: Machine, name: str) -> Event:
    return next(event for event in machine.events if event.name == name)


def _without(event: Event, unwanted: Callable[[Clause], bool]) -> Event:
    return replace(event, guard=tuple(c for c in event.guard if not unwanted(c)))


def _all_of(machine: Machine, *kinds: str) -> Callable[[Clause], bool]:
    """Whether a clause speaks of nothing but variables of these kinds."""
    return lambda clause: all(machine.variables[x.variable].kind in kinds for x in clause)


# --------------------------------------------------------------------- judging

COLUMNS = (
    "seeded",
    "refuted",
    "of which in part",
    "harmless, proved",
    "harmless, undecided",
    "harmless by proof alone",
    "undecided",
    "wrong",
)
"""What comes of a fault. Refuted in part: a story tells of some properties, and others
are undecided. Harmless: no state that can come about is wrong, all having been looked
at; by proof alone: there are too many to look at. Wrong: the proof and the states say
different things, or a story does not replay."""


@dataclass
class Campaign:
    """Faults counted, by kind and by what came of them.

    most: states to look at. seconds: a limit on each proof, None for none.
    second: states to look at where that leaves a fault undecided, if at all.
    runs: random runs that are made where there are too many states; none if not said.
    """

    most: int = MOST_STATES
    seconds: float | None = None
    second: int = 0
    runs: Runs | None = None
    seen: dict[str, Counter[str]] = field(default_factory=dict)
    layouts: int = 0
    states: int = 0
    wrong: list[str] = field(default_factory=list)
    undecided: list[str] = field(default_factory=list)

    @property
    def total(self) -> Counter[str]:
        return sum(self.seen.values(), Counter())

    def try_all(self, machine: Machine, name: str, every: int = 1) -> None:
        """Seed each fault, or every so many, and judge it."""
        self.layouts += 1
        with answers_remembered():
            for n, fault in enumerate(faults(machine)):
                if n % every == 0:
                    counts = self.seen.setdefault(fault.kind, Counter())
                    counts.update(("seeded", *self.judge(fault, name)))

    def judge(self, fault: Fault, name: str) -> tuple[str, ...]:
        """What the proof says of a faulty machine, held against all its states: the
        columns in which it counts."""
        machine = fault.machine
        verdict, found = self.look(machine, self.most, self.seconds)
        if self.second and not found.runs and "undecided" in outcomes_of(verdict, machine).values():
            verdict, found = self.look(machine, self.second, SECONDS_FOR_SECOND_LOOK)
        complete = found.complete or set(found.runs) == {i.of for i in machine.invariants} - {
            "rest"
        }
        outcomes = outcomes_of(verdict, machine)
        words = f"{name}: {fault.kind}: {fault.what}: "
        complaint = disagreement(verdict, machine, found)
        if not complaint and not complete and self.runs is not None:
            proved = {name for name, outcome in outcomes.items() if outcome == "proved"}
            complaint = contradicted(machine, proved, fault.changed, self.runs)
        if complaint:
            self.wrong.append(words + complaint)
            return ("wrong",)
        open_ = [name for name, outcome in outcomes.items() if outcome == "undecided"]
        if "refuted" in outcomes.values():
            return ("refuted", "of which in part") if open_ else ("refuted",)
        if open_:
            self.undecided.append(words + ", ".join(open_))
        if complete:
            return ("harmless, undecided" if open_ else "harmless, proved",)
        return ("undecided" if open_ else "harmless by proof alone",)

    def look(
        self, machine: Machine, most: int, seconds: float | None
    ) -> tuple[MovingVerdict, Found]:
        """The proof, and beside it a search through the states of its own."""
        verdict = prove_moving(machine, Effort(seconds=seconds, search=most))
        found = all_states(machine, most)
        self.states += found.states
        return verdict, found

    def table(self) -> str:
        """The counts as lines of text."""
        width = max(len(kind) for kind in [*self.seen, "all"])
        lines = [" " * width + "".join(f"  {column}" for column in COLUMNS)]
        for kind, counts in [*sorted(self.seen.items()), ("all", self.total)]:
            cells = "".join(f"  {counts[column]:>{len(column)}}" for column in COLUMNS)
            lines.append(f"{kind:<{width}}{cells}")
        return "\n".join(lines)


_answers: dict[Shape, solving.Answer] = {}


@contextmanager
def answers_remembered() -> Iterator[None]:
    """Ask the solver each question once: most faulty machines ask the same ones."""
    decide = solving.decide

    def remembered(
        solver: solving.SolverName, shapes: Sequence[Shape], seconds: float | None
    ) -> list[solving.Answer]:
        new = [shape for shape in dict.fromkeys(shapes) if shape not in _answers]
        answers = dict(zip(new, decide(solver, new, seconds), strict=True))
        _answers.update((s, answer) for s, answer in answers.items() if answer != "unknown")
        return [_answers.get(shape, "unknown") for shape in shapes]

    solving.decide = remembered
    try:
        yield
    finally:
        solving.decide = decide


def outcomes_of(verdict: MovingVerdict, machine: Machine) -> dict[str, str]:
    """The outcome of each property that is a matter of what must always hold."""
    stated = {i.of for i in machine.invariants}
    return {r.name: r.outcome for r in verdict.results if r.name in stated}


def all_states(machine: Machine, most: int) -> Found:
    """A search for what violates each property. Whether the railway comes to rest is told by
    all states together, not by one. A run without vehicles that stand goes before one with
    them."""
    explorer = Explorer(machine)
    tests = {name: test for name, test in violated(explorer, machine).items() if name != "rest"}
    found = explorer.search(tests, most)
    alone = without_hands(machine)
    if len(alone.events) < len(machine.events):
        found.runs |= Explorer(alone).search(tests, most).runs
    return found


def rest_disagreement(result: MovingResult, machine: Machine, found: Found) -> str:
    """The same of coming to rest."""
    if result.outcome == "refuted":
        if result.story is None:
            return "rest is refuted without a story"
        fault = replayed(machine, result.story)
        if fault or not found.complete:
            return fault
        *_, state = states_of(machine, result.story)
        if Explorer(machine).pack(state) not in never_at_rest(machine, found.seen):
            return "rest is refuted by a story after which the railway can come to rest"
        return ""
    decided = result.outcome in ("proved", "shown")
    if decided and found.complete and not comes_to_rest(machine, found.seen):
        return f"rest is {result.outcome}, and from some states there is no way to it"
    return ""


def disagreement(verdict: MovingVerdict, machine: Machine, found: Found) -> str:
    """Where a verdict and the states say different things; empty if nowhere."""
    for result in verdict.results:
        if result.name == "rest":
            if complaint := rest_disagreement(result, machine, found):
                return complaint
            continue
        run = found.runs.get(result.name)
        if result.outcome == "proved" and run is not None:
            return f"{result.name} is proved, and violated by {[e.name for e in run]}"
        if result.outcome != "refuted" or result.name not in outcomes_of(verdict, machine):
            continue
        if result.story is None:
            return f"{result.name} is refuted without a story"
        fault = replayed(machine, result.story)
        if fault:
            return f"{result.name}: {fault}"
        if run is None and found.complete:
            return f"{result.name} is refuted, and never violated"
        # One that ran out of time had none left to look for a shorter one.
        if run is not None and not verdict.stopped and len(result.story.steps) != len(run):
            return f"{result.name}: {len(result.story.steps)} steps, the shortest has {len(run)}"
    return ""


def for_ever(story: Story) -> bool:
    """Whether what is wrong at the end is not a clause, but what never comes after."""
    return story.of == "rest" and story.ending.startswith("from here on")


def replayed(machine: Machine, story: Story) -> str:
    """What is wrong with a story when it is played in the machine; empty if nothing."""
    by_name = {event.name: event for event in machine.events}
    states = list(states_of(machine, story))
    for step, state in zip(story.steps, states, strict=False):
        if not possible(by_name[step.event], state):
            return f"{step.event} is not possible"
    own = [i for i in machine.invariants if i.of == story.of]
    for n, state in enumerate(states):
        broken = [i.sentence for i in own if not holds(i.clause, state)]
        if broken and n < len(story.steps) and story.of != "rest":
            return f"violated already after step {n}"
        if n == len(story.steps) and story.ending not in broken and not for_ever(story):
            return f"at its end it is not true that {story.ending}"
    return ""


def states_of(machine: Machine, story: Story) -> Iterator[State]:
    """The states a story goes through, from its start to its end."""
    lying = dict(story.start)
    state = machine.start()
    for name, variable in machine.variables.items():
        if len(variable.initial) > 1 and variable.of in lying:
            state[name] = lying[variable.of]
    yield state
    by_name = {event.name: event for event in machine.events}
    for step in story.steps:
        state = after(by_name[step.event], state)
        yield state


# ----------------------------------------------------------------- the layouts


def machine_of(compilation: bellcrank.Sound) -> Machine:
    """The machine of a layout, without its wishes: the faults are in what must never be.

    Also without vehicles that stand, so that all states can be looked at.
    """
    return without_hands(with_hands(compilation))


def with_hands(compilation: bellcrank.Sound) -> Machine:
    """The same with vehicles that stand."""
    return replace(compilation.machine, wishes=())


def small_machine(name: str) -> Machine:
    return machine_of(bellcrank.compile(SMALL[name]))


def example_machine(name: str) -> Machine:
    return machine_of(bellcrank.compile_file(EXAMPLES / f"{name}.crank"))


def random_machines(seeds: Iterable[int], most: int = MOST_STATES) -> Iterator[tuple[int, Machine]]:
    """Machines of random layouts with derived locking whose states can all be looked at."""
    for seed in seeds:
        layout = random_layout(seed)
        if layout.written:
            continue
        compilation = bellcrank.compile(layout.text)
        if not isinstance(compilation, bellcrank.Sound):
            continue
        machine = machine_of(compilation)
        if len(machine.variables) > MOST_VARIABLES:
            continue
        explorer = Explorer(machine)
        found = explorer.search(violated(explorer, machine), most)
        # What is expected wrongly is violated without any fault.
        if found.complete and not found.runs:
            yield seed, machine


def main() -> None:
    """The whole campaign."""
    arguments = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    arguments.add_argument("--random", type=int, default=60, help="random layouts to draw")
    random = arguments.parse_args().random
    limits_count_cpu_time()
    campaign = Campaign(seconds=10, second=SECOND_LOOK)
    began = time.perf_counter()

    def done(name: str) -> None:
        seconds = time.perf_counter() - began
        count = campaign.total["seeded"]
        print(f"{seconds:6.0f} s {count:6,} faults, {name} done", file=sys.stderr, flush=True)

    for name in SMALL:
        campaign.try_all(small_machine(name), name)
    done("small layouts")
    for name, every in EVERY.items():
        campaign.try_all(example_machine(name), name, every)
        done(name)
    for seed, machine in random_machines(range(random)):
        campaign.try_all(machine, f"random {seed}")
        done(f"random {seed}")
    print(campaign.table())
    print(
        f"\n{campaign.total['seeded']:,} faults in {campaign.layouts} layouts, "
        f"{campaign.states:,} states looked at, {time.perf_counter() - began:.0f} s"
    )
    for what, listed in (
        ("undecided", campaign.undecided),
        ("proof and states disagree", campaign.wrong),
    ):
        if listed:
            print(f"\n{what}:", *listed, sep="\n  ")
    sys.exit(bool(campaign.wrong))


if __name__ == "__main__":
    main()
