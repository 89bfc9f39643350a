"""The machine as constrained Horn clauses, for an engine that finds invariants by itself.

That is Spacer in z3: A. Komuravelli, A. Gurfinkel and S. Chaki, "SMT-based model checking
for recursive programs", 2014.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import z3

from bellcrank.running.packed import Packed, PackedClause


class _State:
    """Booleans for one state: for each variable as many as its values need."""

    def __init__(self, packed: Packed, name: str) -> None:
        self.of = [
            [
                z3.Bool(f"{name}_{v}_{k}")
                for k in range(max(1, (full.bit_length() - 1).bit_length()))
            ]
            for v, full in enumerate(packed.full)
        ]

    def within(self, variable: int, mask: int) -> z3.BoolRef:
        """That a variable has one of the values of a set."""
        bits = self.of[variable]
        choices = []
        for value in range(mask.bit_length()):
            if mask >> value & 1:
                choices.append(
                    z3.And([b if value >> k & 1 else z3.Not(b) for k, b in enumerate(bits)])
                )
        return z3.Or(choices)


def by_horn(
    packed: Packed, clauses: Sequence[PackedClause], seconds: float
) -> Literal["unsat", "sat", "unknown"]:
    """Whether a state is reachable in which one of the clauses is false.

    "unsat" if none can; "unknown" if there is no answer within the time.
    """
    engine = z3.Fixedpoint()
    engine.set("engine", "spacer")
    engine.set("timeout", max(1, int(seconds * 1000)))
    now, then = _State(packed, "now"), _State(packed, "then")
    flat = [bit for bits in now.of for bit in bits]
    reachable = z3.Function("reachable", *[z3.BoolSort()] * len(flat), z3.BoolSort())
    wrong = z3.Function("wrong", z3.BoolSort())
    engine.register_relation(reachable, wrong)
    engine.declare_var(*flat, *(bit for bits in then.of for bit in bits))
    engine.rule(reachable(*flat), [now.within(v, mask) for v, mask in enumerate(packed.start)])
    for event in packed.events:
        body = [reachable(*flat)]
        body += [now.within(v, mask) for v, mask in event.units.items()]
        body += [z3.Or([now.within(v, mask) for v, mask in clause]) for clause in event.guard]
        after = list(now.of)
        for variable, moves in event.updates.items():
            after[variable] = then.of[variable]
            stays = packed.full[variable]
            for old, new in moves:
                stays &= ~old
                body.append(z3.Implies(now.within(variable, old), then.within(variable, new)))
            for value in range(stays.bit_length()):
                one = stays & (1 << value)
                if one:
                    body.append(z3.Implies(now.within(variable, one), then.within(variable, one)))
        engine.rule(reachable(*(bit for bits in after for bit in bits)), body)
    for clause in clauses:
        away = [z3.Not(now.within(v, mask)) for v, mask in clause]
        engine.rule(wrong(), [reachable(*flat), *away])
    try:
        answer = str(engine.query(wrong()))
    except z3.Z3Exception:
        return "unknown"
    return answer if answer in ("unsat", "sat") else "unknown"  # type: ignore[return-value]
