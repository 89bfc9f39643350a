"""In which order lamps of a signal are switched off and on, so that what shows between two of
them is no aspect, or none more permissive than the old and the new one.

First those are switched off that the new aspect does not light, then its own are switched on. Each
order is a way through the sets of lamps that are done; the best one has the least worst set on it:
a bottleneck path in the lattice of subsets, found by dynamic programming over subsets (as Held and
Karp, 1962, do for tours). Nothing here knows of layouts: a lamp is a side of an output.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache

from bellcrank.layout.layout_model import Lamps, OutputRef, Side

Wire = tuple[OutputRef, Side]
"""A lamp, by the side of the output that it is wired to."""

Lit = tuple[tuple[Wire, ...], ...]
"""The lamps of each aspect of a signal, the least permissive first; empty for one that is shown
otherwise."""

Rules = frozenset[tuple[str, Lamps]]
"""What goes out by itself on each decoder, by its name."""

MOST_ORDERED = 10
"""Lamps of which the best order is looked for. More are taken in the order of the text: a signal
with so many on one aspect shows figures, not colours."""


def goes_out(rule: Lamps, lit: OutputRef, other: OutputRef) -> bool:
    """Whether a lamp of the same signal, or a side of the same drive, goes out by itself when
    another is switched on.

    rule: of the decoder of the one that is switched on.
    """
    match rule:
        case "alone":
            return False
        case "paired":
            return other == lit
        case "grouped":
            return other.decoder == lit.decoder


@lru_cache(maxsize=1 << 12)
def put_out(aspects: Lit, shown: int, rules: Rules) -> tuple[Wire, ...]:
    """The lamps that must be switched off where an aspect is to be shown, in order.

    shown: its place among the aspects.
    """
    own = set(aspects[shown])
    others = [w for w in dict.fromkeys(w for lit in aspects for w in lit) if own and w not in own]
    needed = {w for w in others if not _put_out_by(own, w, rules)}
    # What is lit together with a lamp that must be switched off goes with it, although its
    # decoder would put it out: it would be alone for a moment, which may be an aspect.
    with_those = {w for lit in aspects if needed & set(lit) for w in lit}
    return _best_order(
        [w for w in others if w in with_those],
        lambda gone: _most_permissive(aspects, shown, lambda before: before - gone),
    )


@lru_cache(maxsize=1 << 12)
def lit_in_order(aspects: Lit, shown: int, rules: Rules) -> tuple[Wire, ...]:
    """The lamps of an aspect in the order in which they are switched on."""
    off = frozenset(put_out(aspects, shown, rules))

    def with_some(before: frozenset[Wire], on: frozenset[Wire]) -> frozenset[Wire]:
        return on | {w for w in before - off if not _put_out_by(on, w, rules)}

    return _best_order(
        aspects[shown],
        lambda on: _most_permissive(aspects, shown, lambda before: with_some(before, on)),
    )


def _put_out_by(lit: set[Wire] | frozenset[Wire], other: Wire, rules: Rules) -> bool:
    by_name = dict(rules)
    return any(goes_out(by_name[ref.decoder], ref, other[0]) for ref, _ in lit)


def _most_permissive(
    aspects: Lit, shown: int, then: Callable[[frozenset[Wire]], frozenset[Wire]]
) -> int:
    """The place of the most permissive aspect that shows between an old aspect, whichever that
    is, and the new one, and is more permissive than both; 0 if none does.

    then: what is lit then, by the lamps of the old aspect.
    """
    rank = {frozenset(lit): place for place, lit in enumerate(aspects) if lit}
    return max(_between(rank, shown, then), default=0)


def _between(
    rank: dict[frozenset[Wire], int],
    shown: int,
    then: Callable[[frozenset[Wire]], frozenset[Wire]],
) -> Iterator[int]:
    for before, old in rank.items():
        seen = rank.get(then(before), 0)
        if seen > max(old, shown):
            yield seen


def _best_order(
    lamps: Sequence[Wire], worst_of: Callable[[frozenset[Wire]], int]
) -> tuple[Wire, ...]:
    """The order in which the worst of all sets of lamps on the way is least bad; of several the
    one that is nearest to the order that is given."""
    if not 1 < len(lamps) <= MOST_ORDERED:
        return tuple(lamps)
    ways: dict[frozenset[Wire], tuple[int, tuple[int, ...]]] = {frozenset(): (0, ())}
    for _ in lamps:
        longer: dict[frozenset[Wire], tuple[int, tuple[int, ...]]] = {}
        for done, (worst, order) in ways.items():
            for place, lamp in enumerate(lamps):
                if lamp in done:
                    continue
                more = done | {lamp}
                way = max(worst, worst_of(more)), (*order, place)
                longer[more] = min(way, longer.get(more, way))
        ways = longer
    ((_, best),) = ways.values()
    return tuple(lamps[place] for place in best)
