"""From a layout to its picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bellcrank.diagnostics import Collector, Diagnostic
from bellcrank.layout.layout_model import Hand, Layout
from bellcrank.picture.annotations import BARE, Annotations
from bellcrank.picture.drawn import Plan
from bellcrank.picture.geometry import Box, Point
from bellcrank.picture.marks import note_wish, ring_sides
from bellcrank.picture.name_candidates import ground_of, wishes
from bellcrank.picture.name_places import Wish, place_names
from bellcrank.picture.overlays import NOTHING, Overlay
from bellcrank.picture.plan import plan
from bellcrank.picture.svg import Picture, picture_of
from bellcrank.picture.symbols import boxes, signal_box
from bellcrank.picture.written import written_wishes

WHY = {
    "one line": "they lie on one line",
    "apart": "nowhere in the picture do they lie one above the other",
    "contrary": "other `draw` lines want track of the same two lines the other way round",
    "crossing": "more lines would have to cross for it",
}
"""Why a wish is not kept."""

SCALES = (1.0, 1.25, 1.5, 2.0, 2.5)
"""How much further apart lines are laid, by turns, until every name finds a place."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """A plan with its names in their places, of which pictures are made at any width.

    names: each with its place. room: what symbols and names take up. symbols: what symbols do.
    """

    layout: Layout
    plan: Plan
    names: tuple[tuple[Wish, Point], ...]
    room: tuple[Box, ...]
    symbols: tuple[Box, ...]
    overlay: Overlay
    annotations: Annotations

    def picture(self, width: float | None = None) -> Picture:
        """The picture. width: how wide it may be, in pixels; what is wider is shown in rows."""
        return picture_of(
            self.layout,
            self.plan,
            self.names,
            self.overlay,
            self.room,
            self.symbols,
            width,
            self.annotations,
        )


def draw(layout: Layout, overlay: Overlay = NOTHING, *, signals: Hand = "left") -> str:
    """The picture of a layout, as SVG.

    signals: the side of the line on which they stand, as their trains go.
    """
    return draw_and_tell(layout, overlay, signals=signals)[0].svg()


def draw_and_tell(
    layout: Layout,
    overlay: Overlay = NOTHING,
    *,
    signals: Hand = "left",
    width: float | None = None,
    annotations: Annotations = BARE,
) -> tuple[Picture, tuple[Diagnostic, ...]]:
    """The picture of a layout, and a warning for each wish that it does not keep.

    width: how wide it may be, in pixels; what is wider is shown in rows. annotations: what
    is shown besides the track.
    """
    made = drawing(layout, overlay, signals=signals, annotations=annotations)
    return made.picture(width), _warnings(made.plan)


def drawing(
    layout: Layout,
    overlay: Overlay = NOTHING,
    *,
    signals: Hand = "left",
    annotations: Annotations = BARE,
) -> Drawing:
    """The same before it is written down."""
    made, names = placed(layout, overlay, signals)
    symbols = tuple(boxes(made))
    room = (*symbols, *(_room_of(made, wish, place) for wish, place in names))
    return Drawing(layout, made, tuple(names), room, symbols, overlay, annotations)


def _room_of(made: Plan, wish: Wish, place: Point) -> Box:
    """What a name takes up, that of a signal with the signal: rows are not cut between the two."""
    box = wish.box(place)
    if wish.kind != "signal":
        return box
    beside = signal_box(made.signals[wish.of])
    return Box(
        min(box.left, beside.left), min(box.top, beside.top),
        max(box.right, beside.right), max(box.bottom, beside.bottom),
    )  # fmt: skip


def _warnings(made: Plan) -> tuple[Diagnostic, ...]:
    found = Collector()
    for one in made.unkept:
        upper, lower = one.above.upper, one.above.lower
        found.report(
            "W813",
            f"{upper} is not drawn above {lower}: {WHY[one.why]}",
            one.above.span,
            hint="take this wish out, or name other track",
        )
    for bridge in made.no_bridges:
        found.report(
            "W822",
            f"{bridge.upper} is not drawn over {bridge.lower}: their lines cross nowhere",
            bridge.span,
            hint="take this bridge out, or name the track that crosses there",
        )
    for platform in made.no_platforms:
        found.report(
            "W823",
            f"the platform is not drawn {platform.where} {', '.join(platform.pieces)}: there is "
            "no room for it",
            platform.span,
            hint="name the track that it is beside, or the other side of it",
        )
    return found.result()


def placed(
    layout: Layout, overlay: Overlay, signals: Hand
) -> tuple[Plan, Sequence[tuple[Wish, Point]]]:
    """The plan with a place for every name."""
    for scale in SCALES:
        made = plan(layout, signals=signals, scale=scale)
        wanted = wishes(layout, made, overlay.beneath) + [
            note_wish(made, note) for note in overlay.notes
        ]
        wanted += written_wishes(layout, made)
        ground = ground_of(made)
        for name in overlay.rings:
            for a, b in ring_sides(made.elements[name].middle):
                ground.add_segment(a, b)
        found, lost = place_names(wanted, ground)
        if not lost:
            break
    return made, [(wanted[n], found[n]) for n in sorted(found)]
