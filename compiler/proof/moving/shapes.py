"""Obligations up to renaming.

A shape is a set of clauses with its variables numbered as they first appear, and
their values lumped together where the clauses do not tell them apart (the coarsest
partition, by refinement). Two obligations of one shape are the same question, so it is
asked once. `obligation_words.py` prints it for people.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from itertools import accumulate, combinations, pairwise

from bellcrank.running.packed import PackedClause

Shape = tuple[tuple[int, ...], tuple[tuple[tuple[int, int], ...], ...]]
"""For each variable how many kinds of values it has; then the clauses, over the
numbers of variables and sets of kinds, one bit a kind."""

MANY_KINDS = 8
"""Kinds of values from which on it takes fewer words to say that there is one by a count."""


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


def there_are(full: int, one: int, other: int) -> int:
    """Which of these a variable has any of, one bit each: values that are in both of two
    sets, in the first alone, in the second alone, and in neither.

    These are all the kinds of values that two sets tell apart, and `shape_of` numbers those
    that there are in an order that depends on nothing else. So of clauses that name at most
    two sets of each variable, the shape follows from which variables and sets they name in
    which order, and from this of each variable: it can be looked up by that.
    """
    return (
        (one & other != 0)
        | (one & ~other != 0) << 1
        | (other & ~one != 0) << 2
        | (full & ~(one | other) != 0) << 3
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
    bits = {piece: 1 << place for place, piece in enumerate(pieces)}
    renamed = [
        bits.get(mask) or sum([bit for piece, bit in bits.items() if piece & mask]) for mask in sets
    ]
    return len(pieces), tuple(renamed)


def smt_text(shape: Shape) -> str:
    """The question in SMT-LIB 2.6 over core Booleans: `unsat` means that it is shown.

    Each variable has exactly one kind of value; a Boolean stands for each.
    """
    counts, _ = shape
    names = [f"v{variable}_{kind}" for variable, n in enumerate(counts) for kind in range(n)]
    lines = ["(set-info :smt-lib-version 2.6)", "(set-logic QF_UF)"]
    lines += [f"(declare-const {name} Bool)" for name in names]
    for kinds in _kinds_of_each(counts):
        for one, other in combinations(kinds, 2):
            lines.append(f"(assert (not (and {names[one]} {names[other]})))")
    for clause in _positive(shape):
        lines.append(f"(assert {_any([names[kind] for kind in clause])})")
    return "\n".join(lines) + "\n(check-sat)\n"


def dimacs_text(shapes: Sequence[Shape]) -> str:
    """Whether any of some shapes has a solution, in the DIMACS form for satisfiability of Boolean
    clauses, which is read several times as fast: `unsat` means that all are shown.

    One Boolean a shape says that it is asked of, and one of them is true; each shape has Booleans
    of its own beside that. A solution of one shape, asked of alone, is one of all this.
    """
    lines = [_dimacs(range(1, len(shapes) + 1))]
    highest = len(shapes)
    for asked, shape in enumerate(shapes, start=1):
        if_asked = f"-{asked} "
        first = highest + 1
        highest += sum(shape[0])
        for clause in _positive(shape):
            lines.append(if_asked + _dimacs([first + kind for kind in clause]))
        for kinds in _kinds_of_each(shape[0]):
            clauses, highest = _at_most_one([first + kind for kind in kinds], highest)
            lines += [if_asked + _dimacs(clause) for clause in clauses]
    return f"p cnf {highest} {len(lines)}\n" + "\n".join(lines) + "\n"


def _dimacs(clause: Iterable[int]) -> str:
    return f"{' '.join(map(str, clause))} 0"


def _kinds_of_each(counts: Sequence[int]) -> Iterator[range]:
    """The kinds of values of each variable, those of all variables numbered from 0."""
    for first, count in zip(accumulate(counts, initial=0), counts, strict=False):
        yield range(first, first + count)


def _positive(shape: Shape) -> Iterator[Sequence[int]]:
    """That each variable has a kind of value, and the clauses of a shape: of each so many kinds one
    is the case."""
    counts, clauses = shape
    kinds_of = list(_kinds_of_each(counts))
    yield from kinds_of
    for clause in clauses:
        yield [
            kind
            for variable, mask in clause
            for place, kind in enumerate(kinds_of[variable])
            if mask >> place & 1
        ]


def _at_most_one(kinds: Sequence[int], highest: int) -> tuple[list[list[int]], int]:
    """Clauses of which a negative number says that one is false: no two of some Booleans are true;
    and the highest number of a Boolean in use.

    Of few there is a clause for each two. Of many there are three for each, with a further Boolean
    for each but the last, true if it or one before it is: the sequential counter of C. Sinz,
    "Towards an optimal CNF encoding of Boolean cardinality constraints", CP 2005.
    """
    if len(kinds) < MANY_KINDS:
        return [[-one, -other] for one, other in combinations(kinds, 2)], highest
    clauses = []
    counters = range(highest + 1, highest + len(kinds))
    for kind, following, so_far in zip(kinds, kinds[1:], counters, strict=False):
        clauses += [[-kind, so_far], [-so_far, -following]]
    clauses += [[-one, other] for one, other in pairwise(counters)]
    return clauses, counters[-1]


def _any(names: Sequence[str]) -> str:
    if len(names) < 2:
        return "".join(names) or "false"
    return f"(or {' '.join(names)})"
