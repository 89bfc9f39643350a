"""Clauses read off a small machine whose every state has been looked at.

Where the clauses that come with the machine do not carry an induction, these may:
which values of two or three variables never come together. Such invariants, true of what
was observed, are only likely in general (M. D. Ernst et al., "Dynamically discovering
likely program invariants to support program evolution", 2001); they are candidates like
the others, and the prover must show each of them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations

from bellcrank.running.packed import PackedClause
from bellcrank.running.state_search import PackedState


def pairs_never_together(states: Iterable[PackedState], sizes: list[int]) -> Iterator[PackedClause]:
    """For each value of a variable, the values that another then has.

    sizes: how many values each variable has.
    """
    columns = _columns(states, sizes)
    for v, own in enumerate(columns):
        taken = sum(1 << a for a, column in enumerate(own) if column)
        if taken != (1 << sizes[v]) - 1:
            yield ((v, taken),)
    for (v, one), (w, other) in combinations(enumerate(columns), 2):
        used = sum(1 << b for b, column in enumerate(other) if column)
        for a, column in enumerate(one):
            if not column:
                continue
            together = sum(1 << b for b, theirs in enumerate(other) if column & theirs)
            if together != used:
                yield ((v, ((1 << sizes[v]) - 1) & ~(1 << a)), (w, together))


def triples_never_together(
    states: Iterable[PackedState], sizes: list[int], among: Iterable[int], most: int
) -> Iterator[PackedClause]:
    """For values of two variables that do come together, what a third then has, where
    the two tell more than either alone. At most so many clauses."""
    columns = _columns(states, sizes)
    full = [(1 << size) - 1 for size in sizes]
    count = 0
    together: dict[tuple[int, int, int], int] = {}

    def seen(v: int, a: int, w: int) -> int:
        key = (v, a, w)
        if key not in together:
            column = columns[v][a]
            together[key] = sum(1 << b for b, theirs in enumerate(columns[w]) if column & theirs)
        return together[key]

    for v, w in combinations(sorted(among), 2):
        for a, one in enumerate(columns[v]):
            for b, other in enumerate(columns[w]):
                both = one & other
                if not both:
                    continue
                for x in range(len(columns)):
                    if x in (v, w):
                        continue
                    expected = seen(v, a, x) & seen(w, b, x)
                    found = sum(1 << c for c, theirs in enumerate(columns[x]) if both & theirs)
                    if found != expected:
                        count += 1
                        if count > most:
                            return
                        yield (
                            (v, full[v] & ~(1 << a)),
                            (w, full[w] & ~(1 << b)),
                            (x, found),
                        )


def _columns(states: Iterable[PackedState], sizes: list[int]) -> list[list[int]]:
    """For each variable and value a number with a bit for each state that has it."""
    states = list(states)
    length = (len(states) + 7) // 8
    bits = [[bytearray(length) for _ in range(size)] for size in sizes]
    for i, state in enumerate(states):
        byte, bit = i >> 3, 1 << (i & 7)
        for own, value in zip(bits, state, strict=True):
            own[value][byte] |= bit
    return [[int.from_bytes(column, "little") for column in own] for own in bits]
