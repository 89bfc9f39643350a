"""The machine as a circuit, as abc goes through it, against the machine and its proof.

The circuit is read back here from the bytes of the file, by code that shares nothing with what
wrote them, and stepped beside the machine. Abc, a model checker for hardware by others, must
find the same of it as the moving proof.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from pathlib import Path
from typing import get_args

import pytest
from aiger import Circuit, EncodingName, circuit
from pdr_runs import ABC, pdr, shortest
from sound_layouts import checked, machine_of

from bellcrank.machine.machine_model import Machine, after, holds, possible

ENCODINGS: tuple[EncodingName, ...] = get_args(EncodingName)

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

TURNTABLE = """
layout "Turntable" on two rails
fitting turntable with three positions {
  legs lead, north, south, east
  drive one, two, three
  way lead - north when one
  way lead - south when two
  way lead - east when three
}
turntable TT with three positions
run edge W - A - >H - TT.lead
run TT.north - <N - R1 - stop
run TT.south - R2 - stop
run TT.east - R3 - stop
"""
"""A drive of three positions: a choice of three at the start, which has no number of bits."""

LAYOUTS = {"slip": SLIP, "forgetful": SLIP + FORGETFUL, "turntable": TURNTABLE}

DOUBLED: tuple[tuple[str, EncodingName], ...] = (("slip", "binary"), ("turntable", "one-hot"))
"""What takes long, and is found of the other layout in the same encoding."""


# ------------------------------------------------------- the circuit read and stepped


@dataclass
class Read:
    """A circuit as it stands in a file."""

    inputs: int
    following: list[int]
    output: int
    gates: list[tuple[int, int]]

    def step(self, inputs: Sequence[bool], latches: Sequence[bool]) -> tuple[bool, list[bool]]:
        """The output, and the latches after it."""
        value = [False, *inputs, *latches]
        for one, other in self.gates:
            value.append((value[one // 2] ^ one % 2 == 1) and (value[other // 2] ^ other % 2 == 1))
        told = value[self.output // 2] ^ (self.output % 2 == 1)
        return told, [value[s // 2] ^ (s % 2 == 1) for s in self.following]


def read(file: bytes) -> Read:
    """A file of AIGER in its binary form, as its paper describes it (section 3)."""
    header, _, rest = file.partition(b"\n")
    kind, *numbers = header.split()
    last, inputs, latches, outputs, gates = map(int, numbers)
    assert kind == b"aig" and outputs == 1 and last == inputs + latches + gates
    *lines, body = rest.split(b"\n", latches + 1)
    found = []
    bytes_left = iter(body)

    def number() -> int:
        total = shift = 0
        while (byte := next(bytes_left)) & 128:
            total |= (byte & 127) << shift
            shift += 7
        return total | byte << shift

    for gate in range(inputs + latches + 1, last + 1):
        one = 2 * gate - number()
        other = one - number()
        assert 2 * gate > one >= other >= 0
        found.append((one, other))
    assert next(bytes_left, None) is None
    return Read(inputs, [int(line) for line in lines[:-1]], int(lines[-1]), found)


def word(number: int, written: Circuit) -> list[bool]:
    """The inputs that choose an event."""
    bits = [bool(number >> bit & 1) for bit in range(written.word)]
    return bits + [False] * (written.inputs - written.word)


def possible_events(machine: Machine, state: dict[str, str]) -> list[int]:
    return [n for n, event in enumerate(machine.events) if possible(event, state)]


def a_number(
    machine: Machine, state: dict[str, str], written: Circuit, chance: random.Random
) -> int:
    """Mostly of an event that is possible; the others must change nothing."""
    able = possible_events(machine, state)
    if able and chance.random() < 0.7:
        return chance.choice(able)
    return chance.randrange(2**written.word)


def wrong(machine: Machine, state: dict[str, str]) -> bool:
    return not all(holds(i.clause, state) for i in machine.invariants if i.of != "rest")


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("name", LAYOUTS)
def test_the_circuit_takes_the_steps_that_the_machine_takes(
    name: str, encoding: EncodingName
) -> None:
    machine = machine_of(LAYOUTS[name])
    written = circuit(machine, encoding)
    through = read(written.binary())
    chance = random.Random(f"{name} {encoding}")
    starts = set()
    for _ in range(12):
        inputs = [chance.random() < 0.5 for _ in range(through.inputs)]
        told, latches = through.step(inputs, [False] * len(through.following))
        assert not told and latches[0]
        state = written.encoding.state(latches)
        assert all(state[n] in v.initial for n, v in machine.variables.items())
        starts.add(tuple(state.items()))
        for _ in range(25):
            number = a_number(machine, state, written, chance)
            told, latches = through.step(word(number, written), latches)
            assert told == wrong(machine, state)
            if number in possible_events(machine, state):
                state = after(machine.events[number], state)
            assert written.encoding.state(latches) == state
    assert len(starts) >= 2


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("name", LAYOUTS)
def test_in_any_state_at_all_the_output_and_the_next_state_are_those_of_the_machine(
    name: str, encoding: EncodingName
) -> None:
    # Reachable states are few, and in most of them nothing is wrong.
    machine = machine_of(LAYOUTS[name])
    written = circuit(machine, encoding)
    through = read(written.binary())
    chance = random.Random(f"{name} {encoding}")
    seen = set()
    start = machine.start()
    for _ in range(150):
        few = chance.sample(sorted(machine.variables), chance.randrange(5))
        others = {n: chance.choice(machine.variables[n].values) for n in few}
        state = {**start, **others}
        number = a_number(machine, state, written, chance)
        told, latches = through.step(word(number, written), written.encoding.bits(state))
        able = number in possible_events(machine, state)
        assert told == wrong(machine, state)
        expected = after(machine.events[number], state) if able else state
        assert written.encoding.state(latches) == expected
        seen.add((told, able))
    assert seen == {(a, b) for a in (False, True) for b in (False, True)}


def test_every_value_at_the_start_can_be_chosen() -> None:
    machine = machine_of(TURNTABLE)
    written = circuit(machine, "binary")
    through = read(written.binary())
    (drive,) = (v for v in machine.variables.values() if len(v.initial) > 1)
    found = set()
    for number in range(4):
        inputs = [bool(number >> bit & 1) for bit in range(through.inputs)]
        _, latches = through.step(inputs, [False] * len(through.following))
        found.add(written.encoding.state(latches)[drive.name])
    assert found == set(drive.initial) and len(found) == 3


# ------------------------------------------------------------------------------ abc

installed = pytest.mark.skipif(ABC is None, reason="not installed: berkeley-abc")


@installed
@pytest.mark.parametrize(
    ("name", "encoding"),
    [
        pytest.param(*case, marks=[pytest.mark.campaign] * (case in DOUBLED))
        for case in product(LAYOUTS, ENCODINGS)
    ],
)
def test_abc_finds_the_same_as_the_moving_proof(
    name: str, encoding: EncodingName, tmp_path: Path
) -> None:
    found = checked(LAYOUTS[name])
    safety = {i.of for i in found.machine.invariants} - {"rest"}
    results = [r for r in found.moving.results if r.name in safety]
    refuted = [r.story for r in results if r.outcome == "refuted"]
    run = pdr(circuit(found.machine, encoding), tmp_path)
    assert run.verdict == ("violated" if refuted else "holds")
    assert bool(refuted) == (name == "forgetful")
    if refuted:
        nearest = shortest(circuit(found.machine, encoding), tmp_path)
        assert nearest.events == min(len(story.steps) for story in refuted if story is not None)
