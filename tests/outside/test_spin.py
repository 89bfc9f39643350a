"""The machine, as spin goes through it, against the search of our own.

The target prints the machine in Promela; spin, a model checker of others, makes
a C program of it and visits every state. It must find the same properties
violated and the same number of states as `rehearsal/search.py`, which evaluates
the machine itself. So neither the export nor the search loses or adds anything.
"""

from __future__ import annotations

import dataclasses
import itertools
import random
import subprocess
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import islice
from pathlib import Path

import pytest
import sound_layouts
from by_hand import without_hands
from msgspec.structs import replace
from random_layouts import RandomLayout, random_layout, shown
from sound_layouts import NO_TIME
from spin_runs import SpinError, SpinRun, missing_tools, verify

import bellcrank
from bellcrank import Sound, prove
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED, Document
from bellcrank.document.machine_data import machine_data
from bellcrank.machine.machine_model import (
    Event,
    Invariant,
    Is,
    Machine,
    Variable,
    after,
    holds,
    possible,
)
from bellcrank.running.state_search import Explorer, violated

pytestmark = pytest.mark.skipif(
    bool(missing_tools()), reason=f"not installed: {', '.join(missing_tools())}"
)

MOST = 20_000
"""States that the search of our own looks at before a layout counts as too large."""

LINE = """
layout "*/ #error \\" on two rails
run edge WEST - A - >V - LINE - <X - B - edge EAST
"""

SLIP = """
layout "Slip" on two rails
double slip S with one drive
run edge WEST - >W - S.a1
run edge YARD - >Y - S.b1
run S.a2 - <C1 - C - stop
run S.b2 - D - stop
"""

FORGETFUL = """
locking written {
  every route needs its positions
  every route needs its sections clear
  W to C locks C1 to WEST, C1 to YARD, Y to C
  W to D locks C1 to YARD, C1 to WEST, Y to D
  Y to C locks C1 to WEST, C1 to YARD
  Y to D locks C1 to WEST, C1 to YARD
}
"""
"""Forgets that the straight roads W to C and Y to D cross, and the slip roads too."""


def alone(c: bellcrank.Checked) -> bellcrank.Checked:
    """The same without vehicles that stand, so that it has fewer states."""
    return dataclasses.replace(c, machine=without_hands(c.machine))


def undecided(text: str) -> bellcrank.Checked:
    return alone(sound_layouts.undecided(text))


def machine_of(compilation: bellcrank.Checked) -> Machine:
    return compilation.machine


def document_of(compilation: bellcrank.Checked) -> Document:
    """As much of the document as the target reads."""
    return build_document(compilation, SPARED)


def assert_same(data: Document, machine: Machine, folder: Path) -> SpinRun:
    """That spin and our search find the same of a machine."""
    folder.mkdir(exist_ok=True)
    # With so few states it takes longer to make a fast program than to run a slow one.
    run = verify(data, folder, optimise="-O0")
    assert run.unfinished is None, run
    explorer = Explorer(machine)
    every_state = explorer.search({}, most=10 * MOST)
    assert every_state.complete
    assert run.states == every_state.states
    assert run.verdicts == {
        name: "violated" if any(map(is_violated, every_state.seen)) else "holds"
        for name, is_violated in violated(explorer, machine).items()
    }
    return run


# ------------------------------------------------------------------- layouts


def test_a_single_line_without_points_holds(tmp_path: Path) -> None:
    c = undecided(LINE)
    assert assert_same(document_of(c), machine_of(c), tmp_path).violated == set()


def test_a_single_line_with_vehicles_that_stand_holds(tmp_path: Path) -> None:
    c = sound_layouts.undecided(LINE)
    assert len(machine_of(c).events) > len(machine_of(alone(c)).events)
    assert assert_same(document_of(c), machine_of(c), tmp_path).violated == set()


def test_a_slip_with_derived_locking_holds(tmp_path: Path) -> None:
    c = undecided(SLIP)
    run = assert_same(document_of(c), machine_of(c), tmp_path)
    assert set(run.verdicts) == {i.of for i in machine_of(c).invariants}
    assert run.violated == set()


def test_a_slip_whose_written_locking_forgets_the_crossing_is_found_out(tmp_path: Path) -> None:
    c = undecided(SLIP + FORGETFUL)
    assert "meetings" in assert_same(document_of(c), machine_of(c), tmp_path).violated


def small_layouts() -> Iterator[tuple[RandomLayout, bellcrank.Checked]]:
    """Random layouts with few states; those with few events are asked first."""
    layouts = [random_layout(seed) for seed in range(80)]
    pairs = [(layout, bellcrank.compile(layout.text)) for layout in layouts]
    valid = [(layout, alone(prove(c, NO_TIME))) for layout, c in pairs if isinstance(c, Sound)]
    for layout, c in sorted(valid, key=lambda pair: len(machine_of(pair[1]).events)):
        if Explorer(machine_of(c)).search({}, most=MOST).complete:
            yield layout, c


@pytest.mark.campaign
def test_random_layouts_are_found_the_same(tmp_path: Path) -> None:
    def one(pair: tuple[RandomLayout, bellcrank.Checked]) -> SpinRun:
        layout, c = pair
        with shown(layout):
            data = document_of(c)
            return assert_same(data, machine_of(c), tmp_path / str(layout.seed))

    # The C compiler takes most of the time, and may as well run twice at once.
    with ThreadPoolExecutor(2) as pool:
        runs = list(pool.map(one, islice(small_layouts(), 21)))
    assert len(runs) == 21
    broken = set().union(*(run.violated for run in runs))
    assert broken >= {"meetings", "derailments", "drives", "signals", "release"}
    assert sum(not run.violated for run in runs) >= 8
    assert sum(run.states > 1_000 for run in runs) >= 8


# ------------------------------------------------- machines that are no railways


def random_machine(rng: random.Random) -> Machine:
    """A machine of nothing in particular, with everything the target may have to print."""
    variables = {}
    for name in ("track A", "track A.b", "track A_b", "held Ä", "drive D", "drive D.to_left"):
        values = tuple(f"{'at ' * (n % 2)}{n}" for n in range(rng.randint(2, 7)))
        some = tuple(rng.sample(values, rng.choice((1, 1, 2))))
        variables[name] = Variable(name, "track", name, values, some)

    def literal() -> Is:
        v = rng.choice(list(variables.values()))
        return Is(v.name, frozenset(rng.sample(v.values, rng.randint(0, len(v.values)))))

    def clause(most: int) -> tuple[Is, ...]:
        return tuple(literal() for _ in range(rng.randint(1, most)))

    def becomes(v: Variable) -> dict[str, str]:
        changed = rng.sample(v.values, rng.randint(1, len(v.values)))
        return {value: rng.choice(v.values) for value in changed}

    events = tuple(
        Event(
            f"event {n}",
            "enters",
            "train",
            "A",
            f'"{n}" happens: 100 % \\ it */ does',
            tuple(clause(3) for _ in range(rng.randint(0, 4))),
            {
                v.name: becomes(v)
                for v in rng.sample(list(variables.values()), rng.randint(1, len(variables)))
            },
        )
        for n in range(12)
    )
    invariants = tuple(
        Invariant(f"expect {rng.randint(1, 4)} to B", clause(4), "this is not so") for _ in range(6)
    )
    return Machine(
        variables=variables,
        events=events,
        invariants=(*invariants, Invariant("never", (), "always so")),
        wishes=(),
        lemmas=(),
        assumptions={},
    )


def test_machines_of_nothing_in_particular_are_found_the_same(tmp_path: Path) -> None:
    data = document_of(undecided(LINE))
    runs = []
    for seed in range(3):
        machine = random_machine(random.Random(seed))
        given = replace(data, machine=machine_data(machine))
        runs.append(assert_same(given, machine, tmp_path / str(seed)))
    assert all("never" in run.violated for run in runs)
    verdicts = [verdict for run in runs for verdict in run.verdicts.values()]
    assert verdicts.count("holds") >= 2
    assert max(run.states for run in runs) > 300


# ------------------------------------------------------------- what it tells


def test_the_story_that_spin_tells_of_a_fault_can_happen(tmp_path: Path) -> None:
    c = undecided(SLIP + FORGETFUL)
    machine = machine_of(c)
    verify(document_of(c), tmp_path, optimise="-O0")
    # Without -c0 it stops at the first fault and writes down how it came there.
    subprocess.run(["./pan", "-b", "-m100000"], cwd=tmp_path, check=True, capture_output=True)
    told = subprocess.run(
        ["spin", "-t", "machine.pml"], cwd=tmp_path, check=True, capture_output=True, text=True
    ).stdout
    # Its own remarks stand before and after, such as that two files are of one moment.
    lines = [line.strip() for line in told.splitlines()]
    *happened, fault = itertools.takewhile(
        lambda line: not line.startswith("spin:"),
        itertools.dropwhile(lambda line: not line or line.startswith("spin: warning"), lines),
    )
    assert len(happened) >= 5
    explorer = Explorer(machine)
    states = [explorer.unpack(state) for state in explorer.initial()]
    for sentence in happened:
        states = [
            after(event, state)
            for state in states
            for event in machine.events
            if event.text == sentence and possible(event, state)
        ]
        assert states, sentence
    broken = [i for i in machine.invariants if i.sentence == fault]
    assert any(not holds(i.clause, state) for i in broken for state in states)


# ------------------------------------------------------ when there is no answer


@pytest.mark.campaign
def test_one_property_alone_is_checked_alone(tmp_path: Path) -> None:
    verify(document_of(undecided(SLIP + FORGETFUL)), tmp_path, optimise="-O0")
    for number, name in ((1, "meetings"), (2, "derailments")):
        subprocess.run(["spin", "-a", f"-DPROPERTY={number}", "machine.pml"], cwd=tmp_path,
                       check=True, capture_output=True)  # fmt: skip
        subprocess.run(["gcc", "-w", "-DSAFETY", "-o", "pan", "pan.c"], cwd=tmp_path, check=True)
        said = subprocess.run(["./pan", "-c0", "-m100000"], cwd=tmp_path, capture_output=True,
                              text=True).stdout  # fmt: skip
        named = {line.split()[3] for line in said.splitlines() if "assertion violated" in line}
        assert named == ({"property_1_meetings"} if name == "meetings" else set())


def test_a_search_that_was_cut_short_says_that_nothing_holds(tmp_path: Path) -> None:
    run = verify(document_of(undecided(SLIP)), tmp_path, depth=20, optimise="-O0")
    assert run.unfinished is not None
    assert set(run.verdicts.values()) == {"no answer"}


def test_a_search_that_has_no_memory_left_says_that_nothing_holds(tmp_path: Path) -> None:
    run = verify(document_of(undecided(SLIP)), tmp_path, megabytes=1, optimise="-O0")
    assert run.unfinished is not None
    assert set(run.verdicts.values()) == {"no answer"}


def test_what_a_search_found_before_it_was_cut_short_stays_found(tmp_path: Path) -> None:
    run = verify(document_of(undecided(SLIP + FORGETFUL)), tmp_path, depth=60, optimise="-O0")
    assert run.unfinished is not None
    assert set(run.verdicts.values()) == {"violated", "no answer"}


def test_a_text_that_spin_cannot_read_is_no_run(tmp_path: Path) -> None:
    data = document_of(undecided(LINE))
    nothing = replace(data.machine, events=[], invariants=[])
    with pytest.raises(SpinError, match="syntax error"):
        verify(replace(data, machine=nothing), tmp_path)
