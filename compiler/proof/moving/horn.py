"""The machine as constrained Horn clauses, for an engine that finds invariants by itself.

That is Spacer in z3: A. Komuravelli, A. Gurfinkel and S. Chaki, "SMT-based model checking
for recursive programs", 2014. It reads them as text, in z3's notation of rules: built term by
term from here, those of a machine of 80 variables took longer than the answer.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from typing import Literal

import z3

from bellcrank.running.packed import Packed, PackedClause, PackedEvent

HornAnswer = Literal["unsat", "sat", "unknown"]


class Horn:
    """A machine, of which an engine is asked what can be reached.

    Each variable is as many Booleans as its values need, `n` now and `t` then.
    """

    def __init__(self, packed: Packed) -> None:
        self.packed = packed
        self.width = [max(1, (full.bit_length() - 1).bit_length()) for full in packed.full]
        bits = [f"{v}_{k}" for v, width in enumerate(self.width) for k in range(width)]
        self.reachable = f"(reachable {' '.join(f'n{bit}' for bit in bits)})"
        self.text = "\n".join(
            [
                f"(declare-rel reachable ({' '.join('Bool' for _ in bits)}))",
                "(declare-rel wrong ())",
                *(f"(declare-var {when}{bit} Bool)" for bit in bits for when in "nt"),
                _rule([self._within("n", v, m) for v, m in enumerate(packed.start)],
                      self.reachable),
                *map(self._event, packed.events),
            ]
        )  # fmt: skip

    def ask(self, clauses: Sequence[PackedClause], deadline: float) -> HornAnswer:
        """Whether a state is reachable in which one of the clauses is false.

        deadline: by the monotonic clock. "unsat" if no such state is reachable; "unknown" if
        there is no answer by then.
        """
        rules = [_rule([self.reachable, _not(self._any_of(clause))], "wrong") for clause in clauses]
        engine = z3.Fixedpoint(ctx=z3.Context())
        engine.set("engine", "spacer")
        try:
            (query,) = engine.parse_string("\n".join([self.text, *rules, "(query wrong)"]))
            left = deadline - time.monotonic()
            if left <= 0:
                return "unknown"
            engine.set("timeout", max(1, int(left * 1000)))
            answer = str(engine.query(query))
        except z3.Z3Exception:
            return "unknown"
        return answer if answer in ("unsat", "sat") else "unknown"  # type: ignore[return-value]

    def _event(self, event: PackedEvent) -> str:
        body = [self.reachable]
        body += [self._within("n", v, mask) for v, mask in event.conditions]
        body += [self._any_of(clause) for clause in event.guard]
        for variable, moves in event.changes:
            body += self._moved(variable, moves)
        updates = event.updates
        after = [
            f"{'t' if v in updates else 'n'}{v}_{k}"
            for v, width in enumerate(self.width)
            for k in range(width)
        ]
        return _rule(body, f"(reachable {' '.join(after)})")

    def _moved(self, variable: int, moves: Sequence[tuple[int, int]]) -> Iterator[str]:
        """How what a variable is then follows from what it is now."""
        left = 0
        for old, new in moves:
            left |= old
            old_now, new_then = (
                self._within("n", variable, old), self._within("t", variable, new)
            )  # fmt: skip
            yield f"(=> {old_now} {new_then})"
        bits = range(self.width[variable])
        same = " ".join(f"(= n{variable}_{k} t{variable}_{k})" for k in bits)
        yield f"(or {self._within('n', variable, left)} (and {same}))"

    def _any_of(self, clause: PackedClause) -> str:
        return f"(or false {' '.join(self._within('n', v, mask) for v, mask in clause)})"

    def _within(self, when: str, variable: int, mask: int) -> str:
        """That a variable has one of the values of a set."""
        values = [value for value in range(mask.bit_length()) if mask >> value & 1]
        return f"(or false {' '.join(self._is(when, variable, value) for value in values)})"

    def _is(self, when: str, variable: int, value: int) -> str:
        bits = [f"{when}{variable}_{k}" for k in range(self.width[variable])]
        told = [bit if value >> k & 1 else _not(bit) for k, bit in enumerate(bits)]
        return f"(and {' '.join(told)})"


def _not(formula: str) -> str:
    return f"(not {formula})"


def _rule(body: Sequence[str], head: str) -> str:
    return f"(rule (=> (and {' '.join(body)}) {head}))"
