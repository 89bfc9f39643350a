"""From a layout to its picture."""

from __future__ import annotations

from bellcrank.layout.model import Hand, Layout
from bellcrank.picture.drawn import Plan
from bellcrank.picture.geometry import Point
from bellcrank.picture.marks import note_wish, ring_sides
from bellcrank.picture.names import Wish, place_names
from bellcrank.picture.naming import ground_of, wishes
from bellcrank.picture.overlays import NOTHING, Overlay
from bellcrank.picture.plan import plan
from bellcrank.picture.svg import extent, write_svg
from bellcrank.picture.symbols import boxes

SCALES = (1.0, 1.25, 1.5, 2.0, 2.5)
"""How much further apart lines are laid, by turns, until every name finds a place."""


def draw(layout: Layout, overlay: Overlay = NOTHING, *, signals: Hand = "left") -> str:
    """The picture of a layout, as SVG.

    signals: the side of the line on which they stand, as their trains go.
    """
    made, names = placed(layout, overlay, signals)
    room = [box for _, box in boxes(made)]
    room += [wish.box(place) for wish, place in names]
    return write_svg(layout, made, names, overlay, extent(made, room))


def placed(
    layout: Layout, overlay: Overlay, signals: Hand
) -> tuple[Plan, list[tuple[Wish, Point]]]:
    """The plan with a place for every name."""
    for scale in SCALES:
        made = plan(layout, signals=signals, scale=scale)
        wanted = wishes(layout, made) + [note_wish(made, note) for note in overlay.notes]
        ground = ground_of(made)
        for name in overlay.rings:
            for a, b in ring_sides(made.elements[name].middle):
                ground.add_segment(a, b)
        found, lost = place_names(wanted, ground)
        if not lost:
            break
    return made, [(wanted[n], found[n]) for n in sorted(found)]
