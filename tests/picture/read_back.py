"""A picture read back from its SVG, by means of its own: nothing of the drawing is used.

Numbers are taken from the attributes of the SVG alone. Curves are followed in short
steps; the room of a text is reckoned as wide as its type, 0.602 em a sign (the advance
of DejaVu Sans Mono, from its font file), and as high as its capitals and descenders.
"""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from dataclasses import dataclass, field
from math import atan2, cos, hypot, pi, sin, sqrt

SVG = "{http://www.w3.org/2000/svg}"
Dot = tuple[float, float]
Rect = tuple[float, float, float, float]

_TOKEN = re.compile(r"[MLAQ]|-?\d+(?:\.\d+)?")


def follow(data: str) -> list[list[Dot]]:
    """The lines that a path draws, curves in short steps (SVG 1.1, section 8.3)."""
    tokens = _TOKEN.findall(data)
    assert "".join(tokens) == re.sub(r"[\s,]", "", data), data
    lines: list[list[Dot]] = []
    at = 0

    def take(count: int) -> list[float]:
        nonlocal at
        at += count
        return [float(t) for t in tokens[at - count : at]]

    while at < len(tokens):
        letter = tokens[at]
        at += 1
        if letter == "M":
            x, y = take(2)
            lines.append([(x, y)])
        elif letter == "L":
            x, y = take(2)
            lines[-1].append((x, y))
        elif letter == "Q":
            cx, cy, x, y = take(4)
            x0, y0 = lines[-1][-1]
            for k in range(1, 9):
                t = k / 8
                a, b, c = (1 - t) ** 2, 2 * t * (1 - t), t * t
                lines[-1].append((a * x0 + b * cx + c * x, a * y0 + b * cy + c * y))
        else:
            r, r2, _, large, sweep, x, y = take(7)
            assert r == r2 and large == 0
            lines[-1] += _arc(lines[-1][-1], (x, y), r, sweep == 1)
    return lines


def _arc(start: Dot, end: Dot, r: float, sweep: bool) -> list[Dot]:
    (x0, y0), (x1, y1) = start, end
    d = hypot(x1 - x0, y1 - y0)
    h = sqrt(max(0.0, r * r - d * d / 4))
    side = 1 if sweep else -1
    cx = (x0 + x1) / 2 - side * h * (y1 - y0) / d
    cy = (y0 + y1) / 2 + side * h * (x1 - x0) / d
    a0, a1 = atan2(y0 - cy, x0 - cx), atan2(y1 - cy, x1 - cx)
    turn = (a1 - a0) % (2 * pi) if sweep else -((a0 - a1) % (2 * pi))
    return [(cx + r * cos(a0 + turn * k / 8), cy + r * sin(a0 + turn * k / 8)) for k in range(1, 9)]


@dataclass
class Drawn:
    """What a picture holds: ways by element, joints, signals, ends, names."""

    elements: dict[str, list[tuple[str, str, str, list[Dot]]]] = field(default_factory=dict)
    joints: dict[frozenset[str], Dot] = field(default_factory=dict)
    signals: dict[str, tuple[str, list[Rect]]] = field(default_factory=dict)
    edges: dict[str, Rect] = field(default_factory=dict)
    stops: dict[str, Rect] = field(default_factory=dict)
    drives: dict[str, Rect] = field(default_factory=dict)
    names: list[tuple[str, str, Rect]] = field(default_factory=list)
    leads: dict[str, list[Dot]] = field(default_factory=dict)
    platforms: list[Rect] = field(default_factory=list)
    labels: dict[str, Rect] = field(default_factory=dict)
    remarks: dict[str, Rect] = field(default_factory=dict)
    bridges: list[Dot] = field(default_factory=list)
    frames: dict[str, Rect] = field(default_factory=dict)
    whole: Rect = (0, 0, 0, 0)


def _round(dots: list[Dot], by: float = 0.0) -> Rect:
    xs, ys = [d[0] for d in dots], [d[1] for d in dots]
    return min(xs) - by, min(ys) - by, max(xs) + by, max(ys) + by


def _line(e: ET.Element) -> list[Dot]:
    return [(float(e.get("x1", "")), float(e.get("y1", ""))),
            (float(e.get("x2", "")), float(e.get("y2", "")))]  # fmt: skip


def _shapes(group: ET.Element) -> list[Rect]:
    found = []
    for e in group.iter():
        if e.tag == SVG + "path" and e.get("class") != "lead":
            found += [_round(line) for line in follow(e.get("d", ""))]
        elif e.tag == SVG + "line":
            found.append(_round(_line(e)))
        elif e.tag == SVG + "circle":
            x, y, r = (float(e.get(k, "")) for k in ("cx", "cy", "r"))
            found.append((x - r, y - r, x + r, y + r))
    return found


def _all(rects: list[Rect]) -> Rect:
    return (
        min(r[0] for r in rects), min(r[1] for r in rects),
        max(r[2] for r in rects), max(r[3] for r in rects),
    )  # fmt: skip


def read_picture(svg: str) -> Drawn:
    """Everything in a picture; fails if an element, joint or signal is there twice."""
    drawn = Drawn()
    root = ET.fromstring(svg)
    for parent in list(root.iter()):  # the key shows symbols that stand for nothing
        for sample in [e for e in parent if e.get("class") == "sample"]:
            parent.remove(sample)
    x, y, w, h = (float(v) for v in root.get("viewBox", "").split())
    drawn.whole = (x, y, x + w, y + h)
    for group in root.iter(SVG + "g"):
        classes = (group.get("class") or "").split()
        if "element" in classes:
            name = group.get("data-element", "")
            assert name not in drawn.elements, name
            ways = drawn.elements[name] = []
            for path in group.iter(SVG + "path"):
                if "way" in (path.get("class") or "").split():
                    lines = follow(path.get("d", ""))
                    assert len(lines) == 1
                    ways.append(
                        (path.get("data-from", ""), path.get("data-to", ""),
                         path.get("data-when", ""), lines[0])
                    )  # fmt: skip
            for e in group.iter(SVG + "rect"):
                a, b, c, d = (float(e.get(k, "")) for k in ("x", "y", "width", "height"))
                if e.get("class") == "drive":
                    drawn.drives[e.get("data-drive", "")] = (a, b, a + c, b + d)
                elif "frame" in (e.get("class") or "").split():
                    drawn.frames[name] = (a, b, a + c, b + d)
            for e in group.iter(SVG + "circle"):
                if "frame" in (e.get("class") or "").split():
                    a, b, r = (float(e.get(k, "")) for k in ("cx", "cy", "r"))
                    drawn.frames[name] = (a - r, b - r, a + r, b + r)
        elif "signal" in classes:
            name = group.get("data-signal", "")
            assert name not in drawn.signals, name
            drawn.signals[name] = (group.get("data-facing", ""), _shapes(group))
        elif "edge" in classes:
            name = group.get("data-edge", "")
            assert name not in drawn.edges
            drawn.edges[name] = _all(_shapes(group))
            for path in group.iter(SVG + "path"):
                if path.get("class") == "lead":
                    drawn.leads[name] = follow(path.get("d", ""))[0]
        elif "stop" in classes:
            name = group.get("data-at", "")
            assert name not in drawn.stops
            drawn.stops[name] = _all(_shapes(group))
    for line in root.iter(SVG + "line"):
        if "joint" in (line.get("class") or "").split():
            key = frozenset(line.get("data-joins", "").split())
            assert key not in drawn.joints, key
            (x0, y0), (x1, y1) = _line(line)
            drawn.joints[key] = ((x0 + x1) / 2, (y0 + y1) / 2)
        elif line.get("class") == "casing":  # what breaks off the line below, at its middle
            (x0, y0), (x1, y1) = _line(line)
            drawn.bridges.append(((x0 + x1) / 2, (y0 + y1) / 2))
    for e in root.iter(SVG + "rect"):
        if e.get("class") == "platform":
            a, b, c, d = (float(e.get(k, "")) for k in ("x", "y", "width", "height"))
            drawn.platforms.append((a, b, a + c, b + d))
    for text in root.iter(SVG + "text"):
        classes = (text.get("class") or "").split()
        words = text.text or ""
        x0, base = float(text.get("x", "")), float(text.get("y", ""))
        half = len(words) * 0.602 * 11 / 2
        room = (x0 - half, base - 8.3, x0 + half, base + 2.4)
        if "name" in classes:
            drawn.names.append((text.get("data-of", ""), words, room))
        elif "platform-name" in classes:
            drawn.labels[words] = room
        elif "remark" in classes:
            drawn.remarks[words] = room
    return drawn


def meet(a: Rect, b: Rect) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def line_meets(rect: Rect, line: list[Dot], half: float) -> bool:
    """Whether a stroke comes into a rectangle: tried at steps of half a pixel."""
    left, top, right, bottom = rect
    for (x0, y0), (x1, y1) in itertools.pairwise(line):
        if max(x0, x1) + half < left or min(x0, x1) - half > right:
            continue
        if max(y0, y1) + half < top or min(y0, y1) - half > bottom:
            continue
        steps = max(1, int(hypot(x1 - x0, y1 - y0) * 2))
        for k in range(steps + 1):
            x, y = x0 + (x1 - x0) * k / steps, y0 + (y1 - y0) * k / steps
            if left - half < x < right + half and top - half < y < bottom + half:
                return True
    return False
