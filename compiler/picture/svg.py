"""The plan written as SVG: groups by element, colours and strokes by class alone."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape

from bellcrank.layout.layout_model import Edge, Layout, Leg, Stop
from bellcrank.picture.annotations import Annotations, arrows_one_way, gaps
from bellcrank.picture.cut_names import clear_of_cuts, with_names
from bellcrank.picture.drawn import (
    Bridge,
    DrawnElement,
    DrawnEnd,
    DrawnJoint,
    DrawnSignal,
    DrawnWay,
    Plan,
)
from bellcrank.picture.geometry import Box, Point
from bellcrank.picture.key import key_and_title
from bellcrank.picture.marks import arrows, legend, note, rings
from bellcrank.picture.measures import LINE_HEIGHT, TEXT
from bellcrank.picture.name_places import WRITTEN, Wish
from bellcrank.picture.overlays import NOTE_KINDS, Overlay
from bellcrank.picture.style import PLAIN_STYLE, STYLE
from bellcrank.picture.svg_notation import number, pair, path_data
from bellcrank.picture.symbols import (
    ASIDE,
    DRIVE,
    STOP,
    lamp_places,
    lamp_radius,
    lamps_lit,
    tick,
)
from bellcrank.picture.wrapping import BESIDE, MATCH, Match, Row, rows, track_boxes
from bellcrank.picture.written import platforms, written

MARGIN = 18.0
"""White round everything, in pixels."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture of a layout.

    left, top, width, height: what it shows of the plane, in pixels, to a hundredth.
    title, description: what it says of itself, for whoever cannot see it.
    body: what is drawn, as elements of SVG.
    rows: those in which it is shown one under another; none if it is shown as one.
    track: what the track and its names take up, without the lines below them; white is round it.
    """

    left: float
    top: float
    width: float
    height: float
    title: str
    description: str
    body: str
    rows: tuple[Row, ...]
    track: Box

    @property
    def box(self) -> Box:
        """What it shows of the plane."""
        return Box(self.left, self.top, self.left + self.width, self.top + self.height)

    def svg(self) -> str:
        """The whole picture as text."""
        return self._text(STYLE)

    def plain_svg(self) -> str:
        """The same for readers that lack custom properties."""
        return self._text(PLAIN_STYLE)

    def _text(self, style: str) -> str:
        shown = [self.left, self.top, self.width, self.height]
        body = self.body
        if self.rows:
            body, *size = in_rows(self.body, self.rows, "plan-body")
            shown = [0.0, 0.0, *size]
        view = " ".join(number(v) for v in shown)
        lines = (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="plan" viewBox="{view}" '
            f'width="{number(shown[2])}" height="{number(shown[3])}" role="img" '
            'aria-labelledby="plan-title plan-desc">',
            f'<title id="plan-title">{escape(self.title)}</title>',
            f'<desc id="plan-desc">{escape(self.description)}</desc>',
            f"<style>\n{style}</style>",
            body,
            "</svg>",
        )
        return "\n".join(lines) + "\n"


def in_rows(body: str, rows: Iterable[Row], own: str) -> tuple[str, float, float]:
    """What is drawn, written down once and shown row by row, and how wide and how high that is.

    own: the name by which the rows refer to it.
    """
    # Where styles are said of what stands in a plan, as on sheets, some browsers look for that no
    # farther than the group that is used.
    words = [f'<defs><g id="{own}" class="plan">\n{body}\n</g></defs>']
    top = wide = 0.0
    for row in rows:
        box = row.box
        width, height = box.right - box.left, box.bottom - box.top
        view = " ".join(number(v) for v in (box.left, box.top, width, height))
        words.append(
            f'<svg class="row" x="{number(BESIDE)}" y="{number(top)}" '
            f'width="{number(width)}" height="{number(height)}" viewBox="{view}">'
            f'<use href="#{own}"/></svg>'
        )
        words += [_match(m, BESIDE - MATCH - 2, top - box.top) for m in row.begins]
        words += [_match(m, BESIDE + width + MATCH + 2, top - box.top) for m in row.ends]
        top, wide = top + height, max(wide, width)
    return "\n".join(words), wide + 2 * BESIDE, top


def _match(match: Match, x: float, down: float) -> str:
    y = match.y + down
    return (
        f'<g class="match"><circle cx="{number(x)}" cy="{number(y)}" r="{number(MATCH)}"/>'
        f'<text x="{number(x)}" y="{number(y + TEXT * 0.35)}">{match.letter}</text></g>'
    )


def way_data(way: DrawnWay) -> str:
    if way.curve is None:
        return path_data(way.parts[0])
    one, other = way.parts
    start = other.segments[0].start
    curve = f"Q{pair(way.curve)} {pair(start)}"
    return path_data(one) + curve + path_data(other, begin=False)


def picture_of(
    layout: Layout,
    plan: Plan,
    names: Sequence[tuple[Wish, Point]],
    overlay: Overlay,
    room: Sequence[Box],
    symbols: Sequence[Box],
    width: float | None,
    annotations: Annotations,
) -> Picture:
    """The whole picture.

    room: what symbols and names take up. symbols: what these alone do. width: of a row at most,
    where it is too wide for one. annotations: what is shown besides the track.
    """
    track = extent(plan, room)
    cut = rows(plan, track, MARGIN, room, symbols, width) if width else ()
    names = clear_of_cuts(names, plan, symbols, [row.box.right for row in cut[:-1]])
    cut = with_names(cut, names, MARGIN)
    track = extent(plan, (*room, *(w.box(place) for w, place in names)))
    around = track.grown(MARGIN)
    widest = max((row.box.right - row.box.left for row in cut), default=None)
    below_all = (*layout.shown.remarks, *overlay.text)
    lines_below, box = legend(below_all, track, widest)
    key, box = key_and_title(layout, plan, annotations, overlay, box, widest)
    lines_below += key
    shown = box.grown(MARGIN)
    if cut and lines_below:
        below = Box(shown.left, around.bottom, shown.left + (widest or 0), shown.bottom)
        cut = (*cut, Row(below))
    own = [(w, place) for w, place in names if w.kind not in (*NOTE_KINDS, *WRITTEN)]
    lines = [
        *_group("platforms", list(platforms(plan))),
        *(_element(layout, plan, e, overlay) for e in plan.elements.values()),
        '<g class="joints">',
        *(_joint(j) for j in plan.joints),
        "</g>",
        *(_end(e) for e in plan.ends),
        *_group("at-rest", list(gaps(layout, plan)) if annotations.positions else []),
        *_group("directions", list(arrows_one_way(plan, annotations.one_way))),
        *(_signal(layout, s, overlay) for s in plan.signals.values()),
        *_group("marks", [*arrows(plan, overlay), *rings(plan, overlay)]),
        *_group("names", [_name(w, place) for w, place in own]),
        *_group("written", list(written(names))),
        *_group("notes", [note(w, place) for w, place in names if w.kind in NOTE_KINDS]),
        *_group("text", lines_below),
    ]
    return Picture(
        round(shown.left, 2),
        round(shown.top, 2),
        round(shown.right - shown.left, 2),
        round(shown.bottom - shown.top, 2),
        layout.title,
        overlay.sentence or _description(layout),
        "\n".join(lines),
        cut,
        around,
    )


def _group(name: str, words: list[str]) -> list[str]:
    return [f'<g class="{name}">', *words, "</g>"] if words else []


def _description(layout: Layout) -> str:
    fittings = sum(not e.plain for e in layout.elements.values())
    return (
        f"A track plan, not to scale, with {fittings} fittings, {len(layout.signals)} signals "
        f"and {len(layout.edges)} edges."
    )


def _classes(*words: str) -> str:
    return " ".join(w for w in words if w)


def _bridge(bridge: Bridge, again: bool = False) -> str:
    """The line below is broken off at either side, and the one above has its parapets."""
    d, across = bridge.direction, Point(-bridge.direction.y, bridge.direction.x)
    a, b = bridge.point.moved(d, -9.0), bridge.point.moved(d, 9.0)
    data = ""
    for side in (5.0, -5.0):
        flare = [p.moved(across, side * 1.7).moved(d, s * 3.0) for p, s in ((a, -1), (b, 1))]
        rail = [p.moved(across, side) for p in (a, b)]
        data += f"M{pair(flare[0])}L{pair(rail[0])}L{pair(rail[1])}L{pair(flare[1])}"
    ends = f'x1="{number(a.x)}" y1="{number(a.y)}" x2="{number(b.x)}" y2="{number(b.y)}"'
    line = f'<line class="over" {ends}/>' if again else ""
    return f'<line class="casing" {ends}/>{line}<path class="parapet" d="{data}"/>'


def _element(layout: Layout, plan: Plan, drawn: DrawnElement, overlay: Overlay) -> str:
    element = layout.elements[drawn.name]
    kind = "piece" if element.plain else "fitting"
    marks = " ".join(overlay.elements.get(drawn.name, ()))
    name, section = escape(drawn.name), escape(layout.section_of[drawn.name])
    words = [
        f'<g class="{_classes("element", kind, marks)}" data-element="{name}" '
        f'data-section="{section}"{_middle(drawn)}><title>{name}{_of_kind(element.kind.name)}</title>'
    ]
    words += _frame(drawn)
    own = [b for b in plan.bridges if b.over == drawn.name]
    words += [_bridge(b) for b in own if b.under != b.over]
    for way in sorted(drawn.ways, key=lambda w: _marked(drawn.name, w, overlay)):
        marks = " ".join(overlay.ways.get((drawn.name, frozenset(way.legs)), ()))
        when = ", ".join(f"{drive} {position}" for drive, position in way.when)
        words.append(
            f'<path class="{_classes("way", marks)}" data-from="{escape(way.legs[0])}" '
            f'data-to="{escape(way.legs[1])}" data-when="{escape(when)}" d="{way_data(way)}"/>'
        )
    # Legs of one fitting that cross: the upper is drawn once more over the gap.
    words += [_bridge(b, again=True) for b in own if b.under == b.over]
    for drive, point in drawn.drives:
        words.append(
            f'<rect class="drive" data-drive="{escape(drive)}" x="{number(point.x - DRIVE)}" '
            f'y="{number(point.y - DRIVE)}" width="{number(2 * DRIVE)}" '
            f'height="{number(2 * DRIVE)}"/>'
        )
    return "".join(words) + "</g>"


def _middle(drawn: DrawnElement) -> str:
    """Where lines cross in a fitting with more than three legs: in no line's own middle."""
    if len({leg for way in drawn.ways for leg in way.legs}) <= 3:
        return ""
    return f' data-middle="{pair(drawn.middle)}"'


def _frame(drawn: DrawnElement) -> Iterator[str]:
    """What is round a fitting: the pit of a turntable or a traverser, or a plain frame."""
    if drawn.frame is None:
        return
    (left, top), (right, bottom) = drawn.frame
    if drawn.table == "turntable":
        yield (
            f'<circle class="frame pit" cx="{number(drawn.middle.x)}" '
            f'cy="{number(drawn.middle.y)}" r="{number((right - left) / 2)}"/>'
        )
        return
    yield (
        f'<rect class="{_classes("frame", "pit" if drawn.table else "")}" x="{number(left)}" '
        f'y="{number(top)}" width="{number(right - left)}" height="{number(bottom - top)}"/>'
    )


def _marked(name: str, way: DrawnWay, overlay: Overlay) -> int:
    """How much is shown of a way: what is shown most is drawn last, over the others."""
    return len(overlay.ways.get((name, frozenset(way.legs)), ()))


def _of_kind(kind: str) -> str:
    return "" if kind == "plain piece" else f" ({escape(kind)})"


def _end_name(end: Leg | Edge) -> str:
    return end.name if isinstance(end, Edge) else str(end)


def _joint(joint: DrawnJoint) -> str:
    joins = escape(f"{_end_name(joint.one)} {_end_name(joint.other)}")
    if joint.section_end:
        return _stroke("joint section-end", tick(joint), joins)
    return _stroke("joint", tick(joint, 3.0), joins)


def _stroke(classes: str, ends: tuple[Point, Point], joins: str) -> str:
    a, b = ends
    return (
        f'<line class="{classes}" data-joins="{joins}" x1="{number(a.x)}" y1="{number(a.y)}" '
        f'x2="{number(b.x)}" y2="{number(b.y)}"/>'
    )


def _end(end: DrawnEnd) -> str:
    across = Point(-end.direction.y, end.direction.x)
    if isinstance(end.end, Stop):
        a, b = end.point.moved(across, STOP), end.point.moved(across, -STOP)
        foot = [p.moved(end.direction, -5.0) for p in (a, b)]
        data = f"M{pair(foot[0])}L{pair(a)}L{pair(b)}L{pair(foot[1])}"
        return f'<g class="stop" data-at="{escape(str(end.end.leg))}"><path d="{data}"/></g>'
    tip = end.point.moved(end.direction, 7.0)
    wings = [end.point.moved(across, s * 6.0).moved(end.direction, 1.0) for s in (1, -1)]
    data = f"M{pair(wings[0])}L{pair(tip)}L{pair(wings[1])}"
    lead = f'<path class="lead" d="{path_data(end.lead)}"/>' if end.lead else ""
    return f'<g class="edge" data-edge="{escape(end.end.name)}">{lead}<path d="{data}"/></g>'


def _signal(layout: Layout, drawn: DrawnSignal, overlay: Overlay) -> str:
    signal = layout.signals[drawn.name]
    facing = "right" if drawn.direction.x >= 0 else "left"
    marks = " ".join(overlay.signals.get(drawn.name, ()))
    heads, radius = lamp_places(drawn, signal), lamp_radius(signal)
    shown = overlay.aspects.get(drawn.name)
    back = drawn.place(-29.0, ASIDE)
    foot = [drawn.place(-29.0, ASIDE - 4.5), drawn.place(-29.0, ASIDE + 4.5)]
    behind = heads[-1].moved(drawn.direction, -radius)
    post = f"M{pair(foot[0])}L{pair(foot[1])}M{pair(back)}L{pair(behind)}"
    bar = [drawn.place(-6.0, ASIDE - radius), drawn.place(-6.0, ASIDE + radius)]
    circles = "".join(
        f'<circle class="{_classes("lamp", "lit" if shown in lights else "")}" '
        f'data-lights="{escape(" ".join(lights))}" '
        f'cx="{number(p.x)}" cy="{number(p.y)}" r="{number(radius)}"/>'
        for p, lights in zip(heads, lamps_lit(signal), strict=True)
    )
    name = escape(drawn.name)
    kind = "shunt" if signal.shunt else ""
    return (
        f'<g class="{_classes("signal", kind, marks)}" data-signal="{name}" '
        f'data-facing="{facing}"><title>{name}</title><path class="post" d="{post}"/>'
        f'<g class="aspect">{circles}<line class="bar" x1="{number(bar[0].x)}" '
        f'y1="{number(bar[0].y)}" x2="{number(bar[1].x)}" y2="{number(bar[1].y)}"/></g></g>'
    )


def _name(wish: Wish, place: Point) -> str:
    base = place.y + TEXT * 0.35 - LINE_HEIGHT * len(wish.beneath) / 2
    name = (
        f'<text class="name {wish.kind}" data-of="{escape(wish.of)}" x="{number(place.x)}" '
        f'y="{number(base)}">{escape(wish.text)}</text>'
    )
    beneath = (
        f'<text class="beneath" data-of="{escape(wish.of)}" x="{number(place.x)}" '
        f'y="{number(base + LINE_HEIGHT * n)}">{escape(line)}</text>'
        for n, line in enumerate(wish.beneath, start=1)
    )
    return "".join((name, *beneath))


def extent(plan: Plan, boxes: Iterable[Box]) -> Box:
    """Everything that is drawn."""
    found = list(boxes) + list(track_boxes(plan))
    if not found:
        return Box(0, 0, 1, 1)
    return Box(
        min(b.left for b in found),
        min(b.top for b in found),
        max(b.right for b in found),
        max(b.bottom for b in found),
    )
