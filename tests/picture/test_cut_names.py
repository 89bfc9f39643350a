"""Names of a picture in rows: each is whole, and in a row that shows what it names, though lines
below them leave no place from top to bottom where nothing stands."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest
from picture.read_back import SVG, read_picture
from sound_layouts import compiled

from bellcrank.picture import draw_and_tell
from bellcrank.picture.measures import text_width
from bellcrank.picture.overlays import Named, Overlay

CROWDED = """
layout "Reedham Bottom" on two rails
points P, Q, R
three way points T
single slip S with one drive
run P.straight - LA - >L1 - <L2 - LB - P.diverging
run P.toe - A - >W - T.toe
run T.left - <C1W - C1 - >C1E - S.a1
run T.straight - <C2W - C2 - >C2E - S.b1
run T.right - <C3W - C3 - stop
run S.a2 - <SH - SHED - stop
run S.b2 - <E - M - >HW - Q.toe
run Q.straight - <H1W - H1 - >H1E - R.straight
run Q.diverging - <H2W - H2 - >H2E - R.diverging
run R.toe - <HE - N - stop
reverser LA, LB
"""


@pytest.mark.parametrize("width", [620, 700, 800, 900, 1000, 1100])
def test_each_name_is_whole_in_a_row_with_what_it_names(width: int) -> None:
    layout = compiled(CROWDED).layout
    beneath: dict[Named, tuple[str, ...]] = {
        ("element", name): ("in 16 · B2.8",) for name in layout.elements
    } | {("signal", name): ("33 · K4.1",) for name in layout.signals}
    svg = draw_and_tell(layout, Overlay(beneath=beneath), width=width)[0].svg()
    root, picture = ET.fromstring(svg), read_picture(svg)
    shown = [row for row in root.iter(SVG + "svg") if row.get("class") == "row"]
    boxes = [[float(v) for v in row.get("viewBox", "").split()] for row in shown]
    rows = [(x, x + w, y, y + h) for x, y, w, h in boxes]
    assert len(rows) > 1
    texts = [t for t in root.iter(SVG + "text") if t.get("data-of") is not None]
    assert len(texts) == 2 * len(beneath)
    for text in texts:
        middle, half = float(text.get("x", "")), text_width(text.text or "") / 2
        foot, of = float(text.get("y", "")), text.get("data-of", "")
        whole = [
            (low, high)
            for low, high, top, bottom in rows
            if low <= middle - half <= middle + half <= high and top + 8 < foot < bottom - 2
        ]
        assert whole, (text.text, of)
        ((low, high),) = whole
        if of in picture.signals:
            xs = [x for rect in picture.signals[of][1] for x in (rect[0], rect[2])]
        else:
            xs = [x for *_, line in picture.elements[of] for x, _ in line]
        assert min(xs) < high and max(xs) > low, (text.text, of)
