"""Columns and order together: what lies within what.

A line that ends, or turns, between two lines that come together must do so before they
meet. What is wished to be drawn above what is kept if no line has to cross another for
it. Where lines cross, columns are laid again with the end left of where the other
line leads (or right of where it comes from), and what crosses least is kept.
"""

from __future__ import annotations

from dataclasses import replace

from bellcrank.layout.layout_model import Above
from bellcrank.picture.columns import Before, columns
from bellcrank.picture.network import Network
from bellcrank.picture.order import Grid, crossing_lines, grid
from bellcrank.picture.wished import Unkept

MOST_TRIED = 24
"""Arrangements that are tried beyond the first; a quarter of them for large layouts."""

LARGE = 200


def affordable(net: Network) -> tuple[tuple[Above, ...], list[Unkept]]:
    """The wishes for which no more lines must cross than without any, and the others.

    Earlier ones come first.
    """
    if not net.above:
        return (), []

    def crossed(above: tuple[Above, ...]) -> int:
        tried = replace(net, above=above)
        return len(_crossings(tried, nesting(tried, [])))

    fewest = crossed(())
    if crossed(net.above) <= fewest:
        return net.above, []
    kept: tuple[Above, ...] = ()
    costly = []
    for above in net.above:
        if crossed((*kept, above)) <= fewest:
            kept = (*kept, above)
        else:
            costly.append(Unkept(above, "crossing"))
    return kept, costly


def nesting(net: Network, known: list[Before]) -> list[Before]:
    """What must lie left of what for few lines to cross, beside what is known of it."""
    kept = list(known)
    most = MOST_TRIED if len(net.lines) < LARGE else MOST_TRIED // 4
    crossed = _crossings(net, kept)
    tried: set[Before] = set()
    tries = 0
    while crossed and tries < most:
        ends = _wishes(net, crossed, ("end",))
        together = [pair for pair in ends if pair not in tried]
        choices = [together] if len(together) > 1 else []
        choices += [[pair] for pair in _wishes(net, crossed, ("end", "turn")) if pair not in tried]
        for choice in choices:
            tries += 1
            if len(choice) == 1:
                tried.add(choice[0])
            found = _crossings(net, kept + choice)
            if len(found) < len(crossed):
                kept, crossed = kept + choice, found
                break
            if tries >= most:
                break
        else:
            break
    return kept


def arrange(net: Network, also: list[Before]) -> tuple[list[int], Grid]:
    """The columns of the nodes, and everything in order in them."""
    try:
        places = columns(net, also)
    except ArithmeticError:
        places = columns(net)
    return places, grid(net, places)


def _crossings(net: Network, also: list[Before]) -> set[tuple[int, int]]:
    return crossing_lines(net, arrange(net, also)[1])


def _wishes(net: Network, crossed: set[tuple[int, int]], shapes: tuple[str, ...]) -> list[Before]:
    """For each crossing of a line that ends: that it ends before the other leads on."""
    found: list[Before] = []
    for pair in sorted(crossed):
        for one, other in (pair, pair[::-1]):
            line, across = net.lines[one], net.lines[other]
            if net.nodes[line.end.node].shape in shapes:
                found.append((line.end.node, across.end.node))
            if net.nodes[line.start.node].shape in shapes:
                found.append((across.start.node, line.start.node))
    return [pair for pair in dict.fromkeys(found) if pair[0] != pair[1]]
