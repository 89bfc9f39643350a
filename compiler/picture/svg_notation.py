"""Numbers, points and paths in the notation of SVG 1.1."""

from __future__ import annotations

from bellcrank.picture.geometry import Path, Point


def number(value: float) -> str:
    """A length in pixels, to a hundredth."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def pair(p: Point) -> str:
    return f"{number(p.x)} {number(p.y)}"


def path_data(path: Path, begin: bool = True) -> str:
    """A path in the notation of SVG 1.1, section 8.3."""
    words = []
    if begin and path.segments:
        words.append("M" + pair(path.segments[0].start))
    for s in path.segments:
        if s.radius:
            r = number(s.radius)
            words.append(f"A{r} {r} 0 0 {int(s.clockwise)} {pair(s.end)}")
        else:
            words.append("L" + pair(s.end))
    return "".join(words)
