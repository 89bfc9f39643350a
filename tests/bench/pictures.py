"""How long the picture of a large layout takes: `python tests/bench/pictures.py`."""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from bench.generate import chain, slips

import bellcrank
from bellcrank.picture import draw

LAYOUTS = {
    "a station of 100": lambda: chain(6, 6),
    "slips, 100": lambda: slips(15),
    "passing loops, 1,000": lambda: chain(200, 2),
    "ladders of six, 1,000": lambda: chain(59, 6),
    "slips, 1,000": lambda: slips(145),
}


def measure(name: str) -> tuple[int, float, int]:
    """Elements, seconds of the processor to draw them, and the size of the SVG in bytes."""
    c = bellcrank.compile(LAYOUTS[name]())
    start = time.process_time()
    svg = draw(c.layout)
    return len(c.layout.elements), time.process_time() - start, len(svg.encode())


if __name__ == "__main__":
    print(f"{'':24}elements   draw s    kB")
    for name in LAYOUTS:
        elements, seconds, size = measure(name)
        print(f"{name:24}{elements:8}{seconds:9.2f}{size // 1000:6}")
