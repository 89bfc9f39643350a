"""What is to be drawn above what: wishes about the picture that do not contradict each other."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from itertools import pairwise

from bellcrank.diagnostics import Noun
from bellcrank.layout.declared_names import Names
from bellcrank.layout.layout_model import Above
from bellcrank.syntax import tree as t

DRAWN = Noun("a", "piece, fitting or edge")

MOST_TOLD = 6
"""Wishes of a ring that are named in a message."""


def build_above(
    lines: Sequence[t.DrawLine], drawn: Collection[str], names: Names
) -> tuple[Above, ...]:
    """The wishes of all lines, in the order of the text, without those that are faulty.

    drawn: the names of elements and edges. Reports a name that is none of them, and a
    wish that contradicts those before it.
    """
    kept: list[Above] = []
    below: defaultdict[str, dict[str, Above]] = defaultdict(dict)
    for line in lines:
        for word in line.names:
            if word.text not in drawn:
                names.unknown(word, DRAWN, drawn)
        for upper, lower in pairwise(line.names):
            if upper.text not in drawn or lower.text not in drawn:
                continue
            ring = _way(below, lower.text, upper.text)
            if ring is None:
                kept.append(Above(upper.text, lower.text, upper.span.to(lower.span)))
                below[upper.text].setdefault(lower.text, kept[-1])
            elif not ring:
                names.found.report(
                    "E331",
                    f"{lower} cannot be drawn above itself",
                    lower.span,
                    expected="the name of something else",
                )
            else:
                told = ring[:MOST_TOLD]
                said = ", ".join(f"{above.upper} above {above.lower}" for above in told)
                more = f" and {len(ring) - len(told)} more" if len(ring) > len(told) else ""
                names.found.report(
                    "E331",
                    f"{upper} cannot be drawn above {lower} and {said}{more}",
                    lower.span,
                    hint="take one of these wishes out",
                    related=[(above.span, "said here") for above in told],
                )
    return tuple(kept)


def _way(below: Mapping[str, dict[str, Above]], top: str, bottom: str) -> list[Above] | None:
    """The wishes that put one above another, the shortest way; None if none do.

    below: for each name those wished right below it.
    """
    reached: dict[str, Above | None] = {top: None}
    queue = [top]
    for name in queue:
        if name == bottom:
            break
        for lower, above in below.get(name, {}).items():
            if lower not in reached:
                reached[lower] = above
                queue.append(lower)
    if bottom not in reached:
        return None
    way: list[Above] = []
    step = reached[bottom]
    while step is not None:
        way.append(step)
        step = reached[step.upper]
    return way[::-1]
