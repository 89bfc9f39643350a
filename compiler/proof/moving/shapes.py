"""Obligations up to renaming.

A shape is a set of clauses with its variables numbered as they first appear, and
their values lumped together where the clauses do not tell them apart (the coarsest
partition, by refinement). Two obligations of one shape are the same question, so it is
asked once. `obligation_words.py` prints it for people.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from itertools import accumulate, combinations

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
    bits = [(1 << place, piece) for place, piece in enumerate(pieces)]
    renamed = [sum([bit for bit, piece in bits if piece & mask]) for mask in sets]
    return len(pieces), tuple(renamed)


def smt_text(shape: Shape) -> str:
    """The question in SMT-LIB 2.6 over core Booleans: `unsat` means that it is shown.

    Each variable has exactly one kind of value; a Boolean stands for each.
    """
    counts, _ = shape
    names = [f"v{variable}_{kind}" for variable, n in enumerate(counts) for kind in range(n)]
    lines = ["(set-info :smt-lib-version 2.6)", "(set-logic QF_UF)"]
    lines += [f"(declare-const {name} Bool)" for name in names]
    for clause in _boolean(shape):
        if clause and clause[0] < 0:
            one, other = (names[-literal - 1] for literal in clause)
            lines.append(f"(assert (not (and {one} {other})))")
        else:
            lines.append(f"(assert {_any([names[literal - 1] for literal in clause])})")
    return "\n".join(lines) + "\n(check-sat)\n"


def dimacs_text(shapes: Sequence[Shape]) -> str:
    """Whether any of some shapes has a solution, in the DIMACS form for satisfiability of Boolean
    clauses, which is read several times as fast: `unsat` means that all are shown.

    One Boolean a shape says that it is asked of, and one of them is true; each shape has Booleans
    of its own beside that. A solution of one shape, asked of alone, is one of all this.
    """
    lines = [_dimacs(range(1, len(shapes) + 1))]
    before = len(shapes)
    for asked, shape in enumerate(shapes, start=1):
        for clause in _boolean(shape):
            its = [literal + before if literal > 0 else literal - before for literal in clause]
            lines.append(_dimacs([-asked, *its]))
        before += sum(shape[0])
    return f"p cnf {before} {len(lines)}\n" + "\n".join(lines) + "\n"


def _dimacs(clause: Iterable[int]) -> str:
    return f"{' '.join(map(str, clause))} 0"


def _boolean(shape: Shape) -> Iterator[list[int]]:
    """The clauses of a shape over Booleans, numbered from 1; a negative number says that
    one is false. Those that say so have two literals: no variable has two kinds of value."""
    counts, clauses = shape
    first = list(accumulate(counts, initial=1))
    for start, count in zip(first, counts, strict=False):
        kinds = range(start, start + count)
        yield list(kinds)
        yield from ([-one, -other] for one, other in combinations(kinds, 2))
    for clause in clauses:
        yield [
            first[variable] + kind
            for variable, mask in clause
            for kind in range(counts[variable])
            if mask >> kind & 1
        ]


def _any(names: Sequence[str]) -> str:
    if len(names) < 2:
        return "".join(names) or "false"
    return f"(or {' '.join(names)})"
