"""Obligations up to renaming.

A shape is a set of clauses with its variables numbered as they first appear, and
their values lumped together where the clauses do not tell them apart (the coarsest
partition, by refinement). Two obligations of one shape are the same question, so it is
asked once. `obligation_words.py` prints it for people.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from bellcrank.running.packed import PackedClause

Shape = tuple[tuple[int, ...], tuple[tuple[tuple[int, int], ...], ...]]
"""For each variable how many kinds of values it has; then the clauses, over the
numbers of variables and sets of kinds, one bit a kind."""


def shape_of(clauses: Sequence[PackedClause], full: Sequence[int]) -> Shape:
    """The shape of clauses that are to be true together."""
    number: dict[int, int] = {}
    masks: dict[int, list[int]] = {}
    for clause in clauses:
        for variable, mask in clause:
            known = masks.get(variable)
            if known is None:
                number[variable] = len(number)
                masks[variable] = [mask]
            elif mask not in known:
                known.append(mask)
    kinds: dict[tuple[int, int], int] = {}
    counts = []
    for variable, sets in masks.items():
        count, renamed = _kinds(full[variable], tuple(sets))
        counts.append(count)
        for mask, kind in zip(sets, renamed, strict=True):
            kinds[variable, mask] = kind
    return (
        tuple(counts),
        tuple([tuple([(number[v], kinds[v, mask]) for v, mask in clause]) for clause in clauses]),
    )


@lru_cache(maxsize=100_000)
def _kinds(full: int, sets: tuple[int, ...]) -> tuple[int, tuple[int, ...]]:
    """All values lumped together where some sets of them do not tell them apart: how
    many kinds there are, and each set as a set of kinds."""
    # Cut all values by each set in turn; the pieces are numbered as they come.
    pieces = [full]
    for mask in sets:
        cut = []
        for piece in pieces:
            inside, outside = piece & mask, piece & ~mask
            if inside:
                cut.append(inside)
            if outside:
                cut.append(outside)
        pieces = cut
    renamed = []
    for mask in sets:
        renamed.append(sum(1 << place for place, piece in enumerate(pieces) if piece & mask))
    return len(pieces), tuple(renamed)


def smt_text(shape: Shape) -> str:
    """The question in SMT-LIB 2.6 over core Booleans: `unsat` means that it is shown.

    Each variable has exactly one kind of value; a Boolean stands for each.
    """
    counts, clauses = shape
    lines = ["(set-info :smt-lib-version 2.6)", "(set-logic QF_UF)"]
    for variable, count in enumerate(counts):
        names = [f"v{variable}_{kind}" for kind in range(count)]
        lines += [f"(declare-const {name} Bool)" for name in names]
        lines.append(f"(assert {_any(names)})")
        lines += [
            f"(assert (not (and {one} {other})))"
            for i, one in enumerate(names)
            for other in names[i + 1 :]
        ]
    for clause in clauses:
        names = [
            f"v{variable}_{kind}"
            for variable, mask in clause
            for kind in range(counts[variable])
            if mask >> kind & 1
        ]
        lines.append(f"(assert {_any(names)})")
    return "\n".join(lines) + "\n(check-sat)\n"


def _any(names: Sequence[str]) -> str:
    if len(names) < 2:
        return "".join(names) or "false"
    return f"(or {' '.join(names)})"
