"""What is to be drawn above what: wishes about the picture that do not contradict each other."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import pairwise

from bellcrank.layout.model import Above
from bellcrank.layout.names import Names
from bellcrank.syntax import tree as t

DRAWN = "a piece, fitting or edge"


def build_above(
    lines: Sequence[t.DrawLine], drawn: Collection[str], names: Names
) -> tuple[Above, ...]:
    """The wishes of all lines, in the order of the text, without those that are faulty.

    drawn: the names of elements and edges. Reports a name that is none of them, and a
    wish that contradicts those before it.
    """
    kept: list[Above] = []
    for line in lines:
        for word in line.names:
            if word.text not in drawn:
                names.unknown(word, DRAWN, drawn)
        for upper, lower in pairwise(line.names):
            if upper.text not in drawn or lower.text not in drawn:
                continue
            ring = _way(kept, lower.text, upper.text)
            if ring is None:
                kept.append(Above(upper.text, lower.text, upper.span.to(lower.span)))
            elif not ring:
                names.found.report(
                    "E331",
                    f"{lower} cannot be drawn above itself",
                    lower.span,
                    expected="the name of something else",
                )
            else:
                said = ", ".join(f"{above.upper} above {above.lower}" for above in ring)
                names.found.report(
                    "E331",
                    f"{upper} cannot be drawn above {lower} and {said}",
                    lower.span,
                    hint="take one of these wishes out",
                    related=[(above.span, "said here") for above in ring],
                )
    return tuple(kept)


def _way(known: Sequence[Above], top: str, bottom: str) -> list[Above] | None:
    """The wishes that put one above another, the shortest way; None if none do."""
    ways: dict[str, list[Above]] = {top: []}
    queue = [top]
    for name in queue:
        if name == bottom:
            return ways[name]
        for above in known:
            if above.upper == name and above.lower not in ways:
                ways[above.lower] = [*ways[name], above]
                queue.append(above.lower)
    return None
