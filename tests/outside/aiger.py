"""The machine as a circuit in AIGER, the format in which hardware model checkers read theirs.

AIGER (Biere, "The AIGER And-Inverter Graph (AIG) Format", 2007; the binary form) knows inputs,
latches that are 0 at the start, and gates of two inputs with inverters. So each variable
becomes latches, in one of two encodings: one for each of its values ("one-hot"), or a binary
number of the value; 0 everywhere means the first value that it may have at the start. An
input word, a binary number, chooses the event of a step. One that is not possible, or a
number beyond the last, changes nothing. The first step only chooses the values at the start,
where there is a choice. The one output is 1 where anything that must always hold does not.

Whether the railway can always come to rest is no question of that form, and is left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from bellcrank.machine.machine_model import Clause, Machine, Variable

EncodingName = Literal["one-hot", "binary"]

Signal = int
"""Twice the number of an input, a latch or a gate; odd if it is inverted. 0 is false."""

FALSE, TRUE = 0, 1


@dataclass(frozen=True, slots=True)
class Circuit:
    """An and-inverter graph with latches.

    inputs: how many; their numbers begin at 1, those of the latches follow, then the gates.
    following: what each latch is after a step. gates: their two inputs.
    word: how many of the inputs, the first ones, choose the event.
    """

    inputs: int
    following: tuple[Signal, ...]
    output: Signal
    gates: tuple[tuple[Signal, Signal], ...]
    word: int
    encoding: Encoded

    def binary(self) -> bytes:
        """The file."""
        latches, gates = len(self.following), len(self.gates)
        last = self.inputs + latches + gates
        lines = [f"aig {last} {self.inputs} {latches} 1 {gates}", *map(str, self.following)]
        written = bytearray("\n".join([*lines, str(self.output), ""]).encode("ascii"))
        for number, (high, low) in enumerate(self.gates, self.inputs + latches + 1):
            _number(2 * number - high, written)
            _number(high - low, written)
        return bytes(written)


def _number(number: int, into: bytearray) -> None:
    """Seven bits a byte, the lowest first; the eighth bit says that more follow."""
    while number > 127:
        into.append(number & 127 | 128)
        number >>= 7
    into.append(number)


@dataclass(frozen=True, slots=True)
class Encoded:
    """Where the variables are among the latches.

    latches: of each variable, by their place; the first of all says that the values at the
        start have been chosen. codes: for each value of a variable what its latches hold.
    """

    latches: Mapping[str, range]
    codes: Mapping[str, Mapping[str, tuple[bool, ...]]]

    def bits(self, state: Mapping[str, str]) -> list[bool]:
        """All latches, in a state of the machine."""
        found = [True]
        for variable, value in state.items():
            found += self.codes[variable][value]
        return found

    def state(self, bits: Sequence[bool]) -> dict[str, str]:
        """The state that the latches hold."""
        found = {}
        for variable, places in self.latches.items():
            held = tuple(bits[place] for place in places)
            (found[variable],) = (v for v, code in self.codes[variable].items() if code == held)
        return found


def encoded(machine: Machine, encoding: EncodingName) -> Encoded:
    """The latches of a machine."""
    latches: dict[str, range] = {}
    codes: dict[str, dict[str, tuple[bool, ...]]] = {}
    so_far = 1
    for name, variable in machine.variables.items():
        first = variable.initial[0]
        values = [first, *(v for v in variable.values if v != first)]
        width = len(values) if encoding == "one-hot" else (len(values) - 1).bit_length()
        latches[name] = range(so_far, so_far + width)
        so_far += width
        if encoding == "one-hot":
            # The latch of the first value is inverted, for all are 0 at the start.
            codes[name] = {
                v: tuple((v == x) != (x == first) for x in values) for v in values
            }  # fmt: skip
        else:
            codes[name] = {
                v: tuple(bool(n >> bit & 1) for bit in range(width)) for n, v in enumerate(values)
            }
    return Encoded(latches, codes)


@dataclass(slots=True)
class _Gates:
    """Gates as they are made, none twice (structural hashing)."""

    first: int
    made: dict[tuple[Signal, Signal], Signal] = field(default_factory=dict)

    def both(self, one: Signal, other: Signal) -> Signal:
        high, low = max(one, other), min(one, other)
        if low == FALSE or high == low ^ 1:
            return FALSE
        if low == TRUE or high == low:
            return high
        return self.made.setdefault((high, low), 2 * (self.first + len(self.made)))

    def all(self, signals: Iterable[Signal]) -> Signal:
        """A tree of gates, so that none is deep."""
        level = sorted(set(signals))
        while len(level) > 1:
            pairs = zip(level[::2], level[1::2], strict=False)
            level = [self.both(a, b) for a, b in pairs] + (level[-1:] if len(level) % 2 else [])
        return level[0] if level else TRUE

    def any(self, signals: Iterable[Signal]) -> Signal:
        return self.all(s ^ 1 for s in signals) ^ 1

    def matches(self, signals: Sequence[Signal], code: Sequence[bool]) -> Signal:
        """Whether signals have just these values."""
        return self.all(s ^ (not bit) for s, bit in zip(signals, code, strict=True))


def circuit(machine: Machine, encoding: EncodingName) -> Circuit:
    """The machine with everything that must always hold, except coming to rest."""
    return _Builder(machine, encoding).circuit()


class _Builder:
    def __init__(self, machine: Machine, encoding: EncodingName) -> None:
        self.machine = machine
        self.one_hot = encoding == "one-hot"
        self.encoding = encoded(machine, encoding)
        self.word = (len(machine.events) - 1).bit_length()
        # The values at the start are chosen by numbers that use the same inputs.
        self.choice = {
            v.name: (len(v.initial) - 1).bit_length()
            for v in machine.variables.values()
            if len(v.initial) > 1
        }
        self.inputs = max(self.word, sum(self.choice.values()))
        latches = 1 + sum(len(places) for places in self.encoding.latches.values())
        self.gates = _Gates(self.inputs + latches + 1)
        self.chosen = self._latch(0)
        self.has = {name: self._values(v) for name, v in machine.variables.items()}

    def _input(self, place: int) -> Signal:
        return 2 * (1 + place)

    def _latch(self, place: int) -> Signal:
        return 2 * (1 + self.inputs + place)

    def _values(self, variable: Variable) -> dict[str, Signal]:
        """For each value whether the variable has it."""
        own = [self._latch(place) for place in self.encoding.latches[variable.name]]
        codes = self.encoding.codes[variable.name]
        if self.one_hot:
            first = variable.initial[0]
            places = {v: n for n, v in enumerate(codes)}
            return {v: own[places[v]] ^ (v == first) for v in codes}
        return {v: self.gates.matches(own, code) for v, code in codes.items()}

    def _clause(self, clause: Clause) -> Signal:
        return self.gates.any(self.has[x.variable][v] for x in clause for v in x.values)

    def circuit(self) -> Circuit:
        following: list[Signal] = [TRUE]
        happens = self._happens()
        at_start = self._at_start()
        for name, variable in self.machine.variables.items():
            become = self._become(variable, happens)
            if name in at_start:
                become = {
                    v: self.gates.any((
                        self.gates.both(self.chosen, becomes),
                        self.gates.both(self.chosen ^ 1, at_start[name].get(v, FALSE)),
                    ))
                    for v, becomes in become.items()
                }  # fmt: skip
            for place in range(len(self.encoding.latches[name])):
                codes = self.encoding.codes[name]
                following.append(self.gates.any(become[v] for v in codes if codes[v][place]))
        wanted = [i.clause for i in self.machine.invariants if i.of != "rest"]
        wrong = self.gates.all(map(self._clause, wanted)) ^ 1
        output = self.gates.both(self.chosen, wrong)
        return Circuit(
            self.inputs, tuple(following), output, tuple(self.gates.made), self.word, self.encoding
        )

    def _happens(self) -> list[Signal]:
        """For each event whether it is chosen and possible."""
        word = [self._input(place) for place in range(self.word)]
        found = []
        for number, event in enumerate(self.machine.events):
            code = [bool(number >> bit & 1) for bit in range(self.word)]
            guard = [self._clause(clause) for clause in event.guard]
            found.append(self.gates.all((self.gates.matches(word, code), self.chosen, *guard)))
        return found

    def _at_start(self) -> dict[str, dict[str, Signal]]:
        """For variables with a choice at the start, whether the inputs choose a value; a
        number beyond the last chooses the first."""
        place = 0
        found: dict[str, dict[str, Signal]] = {}
        for name, width in self.choice.items():
            own = [self._input(place + bit) for bit in range(width)]
            place += width
            first, *others = self.machine.variables[name].initial
            chosen = {
                v: self.gates.matches(own, [bool(n >> bit & 1) for bit in range(width)])
                for n, v in enumerate(others, 1)
            }
            found[name] = {first: self.gates.any(chosen.values()) ^ 1, **chosen}
        return found

    def _become(self, variable: Variable, happens: Sequence[Signal]) -> dict[str, Signal]:
        """For each value whether the variable has it after the step."""
        # Events that do the same with it count as one.
        doing: dict[tuple[tuple[str, str], ...], list[Signal]] = {}
        for event, happening in zip(self.machine.events, happens, strict=True):
            becomes = event.updates.get(variable.name, {})
            changes = tuple((old, new) for old, new in becomes.items() if old != new)
            if changes:
                doing.setdefault(changes, []).append(happening)
        has = self.has[variable.name]
        into: dict[str, list[Signal]] = {v: [] for v in variable.values}
        away: dict[str, list[Signal]] = {v: [] for v in variable.values}
        for changes, signals in doing.items():
            does = self.gates.any(signals)
            for old, new in changes:
                into[new].append(self.gates.both(does, has[old]))
                away[old].append(does)
        return {
            v: self.gates.any((
                *into[v], self.gates.both(has[v], self.gates.any(away[v]) ^ 1)
            ))
            for v in variable.values
        }  # fmt: skip
