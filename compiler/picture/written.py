"""What the layout has written into its picture: labels of platforms, and notes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from html import escape

from bellcrank.layout.layout_model import Layout
from bellcrank.layout.shown_model import PlacedNote
from bellcrank.picture.drawn import DrawnPlatform, Plan
from bellcrank.picture.geometry import Point
from bellcrank.picture.measures import LINE_HEIGHT, TEXT, text_width
from bellcrank.picture.name_places import Wish
from bellcrank.picture.svg_notation import number

FAR = (17.0, 22.0, 28.0, 35.0, 43.0, 52.0, 65.0, 80.0, 100.0, 130.0, 170.0, 220.0, 300.0)
"""How far a note may stand from what it is about, the nearest first."""


def written_wishes(layout: Layout, plan: Plan) -> Iterator[Wish]:
    """Where notes may stand, and labels that have no room on their platforms."""
    for platform in plan.platforms:
        if platform.label and not platform.inside:
            places = tuple(_round_platform(platform))
            yield Wish(platform.label, platform.label, "platform", places)
    for note in layout.shown.notes:
        yield Wish(note.of[0], note.text, "remark", tuple(_places(plan, note)))


def _round_platform(platform: DrawnPlatform) -> Iterator[Point]:
    box = platform.box
    middle = (box.left + box.right) / 2
    for far in (0.0, 6.0, 14.0, 24.0, 36.0, 60.0, 90.0):
        for aside in (0.0, -30.0, 30.0, -70.0, 70.0):
            yield Point(middle + aside, box.top - LINE_HEIGHT / 2 - 3.0 - far)
            yield Point(middle + aside, box.bottom + LINE_HEIGHT / 2 + 3.0 + far)


def _places(plan: Plan, note: PlacedNote) -> Iterator[Point]:
    half = text_width(note.text) / 2
    sides = {"above": (-1.0,), "below": (1.0,), "beside": (-1.0, 1.0)}[note.where]
    middles = [_middle(plan, name) for name in note.of]
    for far in FAR:
        for middle in middles:
            for share in (0.0, 0.3, -0.3, 0.6, -0.6, 1.0, -1.0):
                for side in sides:
                    yield Point(middle.x + share * (half + far / 2), middle.y + side * far)
            if note.where == "beside":
                for side in (1.0, -1.0):
                    yield Point(middle.x + side * (half + far), middle.y)


def _middle(plan: Plan, name: str) -> Point:
    if name in plan.elements:
        return plan.elements[name].middle
    if name in plan.signals:
        return plan.signals[name].place(-15.0, 10.0)
    return next(end.point for end in plan.ends if getattr(end.end, "name", "") == name)


def platforms(plan: Plan) -> Iterator[str]:
    """The platforms as SVG, with the labels that stand on them."""
    for platform in plan.platforms:
        box = platform.box
        yield (
            f'<rect class="platform" x="{number(box.left)}" y="{number(box.top)}" rx="2" '
            f'width="{number(box.right - box.left)}" height="{number(box.bottom - box.top)}">'
            f"<title>{escape(platform.label)}</title></rect>"
        )
        if platform.label and platform.inside:
            middle = Point((box.left + box.right) / 2, (box.top + box.bottom) / 2)
            yield _text("platform-name", platform.label, middle)


def written(placed: Iterable[tuple[Wish, Point]]) -> Iterator[str]:
    """The notes as SVG, and the labels that stand beside platforms."""
    for wish, place in placed:
        if wish.kind in ("platform", "remark"):
            kind = "platform-name" if wish.kind == "platform" else "remark"
            yield _text(kind, wish.text, place)


def _text(kind: str, text: str, middle: Point) -> str:
    return (
        f'<text class="{kind}" x="{number(middle.x)}" y="{number(middle.y + TEXT * 0.35)}">'
        f"{escape(text)}</text>"
    )
