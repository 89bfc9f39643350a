"""What is to be drawn above what: wishes about the picture that do not contradict each other."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from bellcrank.diagnostics import Noun
from bellcrank.layout.declared_names import Names
from bellcrank.layout.layout_model import Above
from bellcrank.syntax import tree as t

if TYPE_CHECKING:  # networkx takes long to load, and few layouts wish for anything
    import networkx as nx

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
    if not lines:
        return ()
    import networkx as nx

    kept: list[Above] = []
    wished: nx.DiGraph = nx.DiGraph()
    for line in lines:
        for word in line.names:
            if word.text not in drawn:
                names.unknown(word, DRAWN, drawn)
        for upper, lower in pairwise(line.names):
            if upper.text not in drawn or lower.text not in drawn:
                continue
            ring = _way(wished, lower.text, upper.text)
            if ring is None:
                kept.append(Above(upper.text, lower.text, upper.span.to(lower.span)))
                if not wished.has_edge(upper.text, lower.text):
                    wished.add_edge(upper.text, lower.text, wish=kept[-1])
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


def _way(wished: nx.DiGraph, top: str, bottom: str) -> list[Above] | None:
    """The wishes that put one above another, the shortest way; None if none do."""
    import networkx as nx

    if top == bottom:
        return []
    if top not in wished or bottom not in wished or not nx.has_path(wished, top, bottom):
        return None
    way = nx.shortest_path(wished, top, bottom)
    return [wished.edges[step]["wish"] for step in pairwise(way)]
