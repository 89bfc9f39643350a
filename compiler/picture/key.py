"""Below a track plan: a key to the symbols that it has, its title, and what it is drawn from."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from html import escape

from bellcrank.layout.layout_model import Edge, Layout, Stop
from bellcrank.picture.annotations import GAP, Annotations, arrow_head, arrows_one_way, gaps
from bellcrank.picture.drawn import Plan
from bellcrank.picture.geometry import Box, Point
from bellcrank.picture.marked import Mark, used
from bellcrank.picture.measures import CHARACTER, LINE_HEIGHT, TEXT, text_width
from bellcrank.picture.overlays import Overlay
from bellcrank.picture.svg_notation import number, pair
from bellcrank.picture.symbols import DRIVE, LAMPS, STOP

SAMPLE = 38.0
"""Room for a symbol in the key."""

TITLE_SIZE = 16.0
"""Height of the letters of the title."""


@dataclass(frozen=True, slots=True)
class _Symbol:
    """A symbol of the key: what it is, and what draws it from a place rightwards."""

    words: str
    shapes: Callable[[Point], str]


def key_and_title(
    layout: Layout,
    plan: Plan,
    shown: Annotations,
    overlay: Overlay,
    box: Box,
    most: float | None,
) -> tuple[list[str], Box]:
    """The key and the title, below all that is in a box, and the box with them.

    most: how wide they may be, if the picture is shown in rows.
    """
    width = max(box.right - box.left, 420.0) if most is None else most - 2 * CHARACTER
    words: list[str] = []
    y = box.bottom
    if shown.key:
        y += 30.0
        symbols = [*_laid_over(plan, overlay), *_used(layout, plan, shown)]
        if most is not None:
            symbols.append(_Symbol("goes on at the same letter", _match))
        columns = _columns(symbols, width)
        for place, symbol in enumerate(symbols):
            if place and place % len(columns) == 0:
                y += LINE_HEIGHT + 9.0
            x = box.left + columns[place % len(columns)]
            words.append(
                f'<g class="sample">{symbol.shapes(Point(x, y))}'
                f'<text class="key-word" x="{number(x + SAMPLE)}" '
                f'y="{number(y + TEXT * 0.35)}">{escape(symbol.words)}</text></g>'
            )
        y += 10.0
    if shown.title:
        y += 18.0
        words.append(
            f'<path class="plan-rule" d="M{number(box.left)} {number(y)}h{number(width)}"/>'
        )
        y += 4.0
        for kind, text, size, step in (
            ("plan-heading", shown.title, TITLE_SIZE, TITLE_SIZE + 6.0),
            ("plan-origin", shown.origin, TEXT, LINE_HEIGHT + 2.0),
        ):
            for line in textwrap.wrap(text, int(width / text_width("n", size))):
                words.append(
                    f'<text class="{kind}" x="{number(box.left)}" '
                    f'y="{number(y + step - 3.0)}">{escape(line)}</text>'
                )
                y += step
    right = box.left + (width if words else 0.0)
    return words, Box(box.left, box.top, max(box.right, right), y)


def _columns(symbols: Sequence[_Symbol], width: float) -> list[float]:
    """Where the columns of a key begin: as many as fit, each as wide as it must be."""
    takes = [SAMPLE + text_width(one.words) + 2 * CHARACTER for one in symbols]
    for count in range(len(takes), 0, -1):
        # What stands last has nothing beside it to the right.
        wide = [max(takes[k:-1:count] or takes[k:]) for k in range(count)]
        begins = [sum(wide[:k]) for k in range(count)]
        ends = max(sum(wide), begins[(len(takes) - 1) % count] + takes[-1])
        if ends <= width + 2 * CHARACTER or count == 1:
            return begins
    return []


def _laid_over(plan: Plan, overlay: Overlay) -> list[_Symbol]:
    """What is laid over the track."""
    drawn = (
        (
            (*overlay.elements.get(name, ()), *(["piece"] if element.along else [])),
            [overlay.ways.get((name, frozenset(way.legs)), ()) for way in element.ways],
        )
        for name, element in plan.elements.items()
    )
    found = [_Symbol(mark.said, _sample(mark)) for mark in used(drawn)]
    if any(note.kind == "step" for note in overlay.notes):
        found.append(_Symbol("where each step happens", _step))
    return found


def _sample(mark: Mark) -> Callable[[Point], str]:
    return lambda at: mark.sample(at.x, at.y)


def _step(at: Point) -> str:
    x, y = at.x + 8.0, at.y
    return (
        f'<rect class="pill" x="{number(x)}" y="{number(y - LINE_HEIGHT / 2)}" rx="6" width="16" '
        f'height="{number(LINE_HEIGHT)}"/><text class="note step" x="{number(x + 8)}" '
        f'y="{number(y + TEXT * 0.35)}">1</text>'
    )


def _used(layout: Layout, plan: Plan, shown: Annotations) -> Iterator[_Symbol]:
    """The symbols that a plan has."""
    signals = layout.signals.values()
    if any(not s.shunt for s in signals):
        yield _Symbol("signal", _signal)
    if any(s.shunt for s in signals):
        yield _Symbol("shunt signal", lambda p: f'<g class="shunt">{_signal(p)}</g>')
    if any(joint.section_end for joint in plan.joints):
        yield _Symbol("end of a section", lambda p: _joint(p, "joint section-end", 6.0))
    if any(not joint.section_end for joint in plan.joints):
        yield _Symbol("joint within a section", lambda p: _joint(p, "joint", 3.0))
    if any(isinstance(end.end, Stop) for end in plan.ends):
        yield _Symbol("buffer stop", _stop)
    if any(isinstance(end.end, Edge) for end in plan.ends):
        yield _Symbol("track goes on", _edge)
    if any(element.drives for element in plan.elements.values()):
        yield _Symbol("drive of a slip", _drive)
    tables = {element.table for element in plan.elements.values()}
    if "turntable" in tables:
        yield _Symbol("turntable", _turntable)
    if "traverser" in tables:
        yield _Symbol("traverser", _traverser)
    if shown.positions and any(True for _ in gaps(layout, plan)):
        yield _Symbol("points lie the other way at rest", _against)
    if any(True for _ in arrows_one_way(plan, shown.one_way)):
        yield _Symbol("one way only", _one_way)
    if plan.bridges:
        yield _Symbol("bridge", _bridge)
    if plan.platforms:
        yield _Symbol("platform", _platform)


def symbols_used(layout: Layout, plan: Plan, shown: Annotations) -> list[tuple[str, str]]:
    """The symbols that a plan has, for a key beside it: the words of each, and what draws it from
    the origin rightwards, as SVG."""
    return [(one.words, one.shapes(Point(0.0, 0.0))) for one in _used(layout, plan, shown)]


def _track(start: Point, length: float) -> str:
    return f'<path class="way" d="M{pair(start)}h{number(length)}"/>'


def _turntable(at: Point) -> str:
    return (
        f'<circle class="frame pit" cx="{number(at.x + 15)}" cy="{number(at.y)}" r="9"/>'
        f"{_track(at, 30.0)}"
    )


def _traverser(at: Point) -> str:
    return (
        f'<rect class="frame pit" x="{number(at.x + 9)}" y="{number(at.y - 9)}" width="12" '
        f'height="18"/>{_track(at, 30.0)}'
    )


def _signal(at: Point) -> str:
    radius = LAMPS[0]
    lamp = Point(at.x + 26.0, at.y)
    bar = f'<line class="bar" x1="{number(lamp.x)}" y1="{number(lamp.y - radius)}" '
    return (
        f'<path class="post" d="M{number(at.x + 3)} {number(at.y - 4.5)}v9M{number(at.x + 3)} '
        f'{number(at.y)}H{number(lamp.x - radius)}"/>'
        f'<circle class="lamp" cx="{number(lamp.x)}" cy="{number(lamp.y)}" r="{number(radius)}"/>'
        f'{bar}x2="{number(lamp.x)}" y2="{number(lamp.y + radius)}"/>'
    )


def _joint(at: Point, kind: str, half: float) -> str:
    x = number(at.x + 16.0)
    return (
        f'{_track(at, 32.0)}<line class="{kind}" x1="{x}" y1="{number(at.y - half)}" x2="{x}" '
        f'y2="{number(at.y + half)}"/>'
    )


def _stop(at: Point) -> str:
    end = Point(at.x + 30.0, at.y)
    foot = end.x - 5.0
    data = (
        f"M{number(foot)} {number(at.y - STOP)}H{number(end.x)}V{number(at.y + STOP)}"
        f"H{number(foot)}"
    )
    return f'{_track(at, 30.0)}<path class="stop" d="{data}"/>'


def _edge(at: Point) -> str:
    x, y = at.x + 24.0, at.y
    tip = f"M{number(x + 1)} {number(y - 6)}L{number(x + 7)} {number(y)}L{number(x + 1)} "
    return f'{_track(at, 22.0)}<path class="stop" d="{tip}{number(y + 6)}"/>'


def _drive(at: Point) -> str:
    side = number(2 * DRIVE)
    return (
        f'<rect class="drive" x="{number(at.x + 16 - DRIVE)}" y="{number(at.y - DRIVE)}" '
        f'width="{side}" height="{side}"/>'
    )


def _match(at: Point) -> str:
    x, y = number(at.x + 24.0), at.y
    return (
        f'{_track(at, 15.0)}<g class="match"><circle cx="{x}" cy="{number(y)}" r="8"/>'
        f'<text x="{x}" y="{number(y + TEXT * 0.35)}">A</text></g>'
    )


def _against(at: Point) -> str:
    """Points of which the leg that climbs has the gap."""
    foot = Point(at.x + 6.0, at.y + 6.0)
    slanting = Point(1.0, -1.0)
    a, b = foot.moved(slanting, 8.0), foot.moved(slanting, 8.0 + GAP * 0.7)
    return (
        f'<path class="way" d="M{pair(Point(at.x, foot.y))}H{number(at.x + 32)}"/>'
        f'<path class="way" d="M{pair(foot)}l16 -16"/>'
        f'<line class="against" x1="{number(a.x)}" y1="{number(a.y)}" x2="{number(b.x)}" '
        f'y2="{number(b.y)}"/>'
    )


def _one_way(at: Point) -> str:
    head = arrow_head(Point(at.x + 16.0, at.y), Point(1.0, 0.0))
    return f'{_track(at, 32.0)}<path class="one-way" d="{head}"/>'


def _bridge(at: Point) -> str:
    x, y = at.x + 16.0, at.y
    rails = "".join(
        f"M{number(x - 11)} {number(y + s * 8)}L{number(x - 8)} {number(y + s * 5)}"
        f"H{number(x + 8)}L{number(x + 11)} {number(y + s * 8)}"
        for s in (-1, 1)
    )
    return (
        f'<path class="way" d="M{number(x)} {number(y - 10)}v20"/>'
        f'<line class="casing" x1="{number(x - 8)}" y1="{number(y)}" x2="{number(x + 8)}" '
        f'y2="{number(y)}"/>{_track(at, 32.0)}<path class="parapet" d="{rails}"/>'
    )


def _platform(at: Point) -> str:
    return (
        f'<rect class="platform" x="{number(at.x)}" y="{number(at.y - 6)}" rx="2" width="32" '
        'height="12"/>'
    )
