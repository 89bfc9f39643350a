"""A long picture in rows: cut through level track alone, with letters where lines go on."""

from __future__ import annotations

import itertools
import pickle
import xml.etree.ElementTree as ET
from collections import Counter

import pytest
from picture.kinds_of_layout import KINDS, loops, station
from picture.read_back import SVG, Rect, read_picture
from picture.test_picture import assert_named, assert_whole
from picture.test_shown_lines import CROSSING
from sound_layouts import compiled

from bellcrank.picture import draw_and_tell, drawing
from bellcrank.picture.geometry import Box
from bellcrank.picture.showing import route_overlay
from bellcrank.picture.svg import MARGIN
from bellcrank.picture.wrapping import match_letters, rows

WIDTH = 1200


def in_rows(text: str, width: int) -> ET.Element:
    return ET.fromstring(draw_and_tell(compiled(text).layout, width=width)[0].svg())


def shown(row: ET.Element) -> Rect:
    x, y, w, h = (float(v) for v in row.get("viewBox", "").split())
    return x, y, x + w, y + h


def rows_of(svg: ET.Element) -> list[Rect]:
    return [shown(row) for row in svg.iter(SVG + "svg") if row.get("class") == "row"]


def test_a_picture_that_is_not_too_wide_stays_as_it_is() -> None:
    layout = compiled(loops(1)).layout
    one, other = (draw_and_tell(layout, width=width)[0].svg() for width in (None, WIDTH))
    assert one == other


@pytest.mark.parametrize("text", [loops(6), station(8), KINDS["goods station"]])
@pytest.mark.parametrize("width", [400, 700])
def test_rows_follow_each_other_and_all_is_in_them_once(text: str, width: int) -> None:
    layout = compiled(text).layout
    svg = draw_and_tell(layout, width=width)[0].svg()
    root = ET.fromstring(svg)
    rows = rows_of(root)
    assert len(rows) > 1
    assert all(a[2] == b[0] for a, b in itertools.pairwise(rows))
    assert float(root.get("width", "")) <= width
    picture = read_picture(svg)
    assert_whole(picture, layout)
    assert_named(picture, layout)
    whole = read_picture(draw_and_tell(layout)[0].svg()).whole
    assert rows[0][0] == pytest.approx(whole[0], abs=0.1)
    assert rows[-1][2] == pytest.approx(whole[2], abs=0.1)


@pytest.mark.parametrize(("text", "width"), [(loops(6), 700), (loops(6), 1200), (station(8), 700)])
def test_no_cut_goes_through_a_name_a_signal_or_a_fitting(text: str, width: int) -> None:
    layout = compiled(text).layout
    svg = draw_and_tell(layout, width=width)[0].svg()
    picture = read_picture(svg)
    cuts = [row[0] for row in rows_of(ET.fromstring(svg))[1:]]
    assert cuts
    for cut in cuts:
        assert not any(rect[0] < cut < rect[2] for _, _, rect in picture.names)
        for _, rects in picture.signals.values():
            assert not any(rect[0] < cut < rect[2] for rect in rects)
        for name, ways in picture.elements.items():
            xs = [x for *_, line in ways for x, _ in line]
            if min(xs) < cut < max(xs):
                assert layout.elements[name].plain


def test_where_no_track_is_level_a_slanting_leg_is_cut_and_no_name_or_signal() -> None:
    svg = draw_and_tell(compiled(CROSSING).layout, width=620)[0].svg()
    root = ET.fromstring(svg)
    picture = read_picture(svg)
    first, second = rows_of(root)
    cut = second[0]
    for rect in [r for _, _, r in picture.names] + [
        r for _, rects in picture.signals.values() for r in rects
    ]:
        assert not rect[0] < cut < rect[2]
    heights = {
        round(y0 + (y1 - y0) * (cut - x0) / (x1 - x0), 1)
        for ways in picture.elements.values()
        for *_, line in ways
        for (x0, y0), (x1, y1) in itertools.pairwise(line)
        if min(x0, x1) < cut <= max(x0, x1)
    }
    letters = {
        round(float(circle.get("cy", "")) + first[1], 1)
        for group in root.iter(SVG + "g")
        if group.get("class") == "match"
        for circle in group.iter(SVG + "circle")
        if float(circle.get("cx", "")) > 300
    }
    assert letters == heights
    assert len(heights) > 1


def test_what_is_handed_to_another_process_is_drawn_alike_there() -> None:
    drawn = drawing(compiled(loops(1)).layout)
    there = pickle.loads(pickle.dumps(drawn))
    assert there.picture(500) == drawn.picture(500)


def test_where_names_stand_close_a_row_still_ends_between_them() -> None:
    pieces = " - ".join(f"PIECE_{n}" for n in range(1, 41))
    text = f"run edge WEST - A - >H - {pieces} - edge EAST\n"
    svg = draw_and_tell(compiled(text).layout, width=850)[0].svg()
    cuts = [row[0] for row in rows_of(ET.fromstring(svg))[1:]]
    assert len(cuts) > 2
    names = [rect for _, _, rect in read_picture(svg).names]
    assert not [cut for cut in cuts for rect in names if rect[0] < cut < rect[2]]


def test_a_row_is_no_higher_than_what_stands_in_it() -> None:
    open_line = station(8).replace(
        " - edge EAST", "".join(f" - O{n}" for n in range(8)) + " - edge EAST"
    )
    first, *_, last = rows_of(in_rows(open_line, 1000))
    assert last[3] - last[1] < (first[3] - first[1]) / 3


def test_no_row_is_left_with_the_name_of_an_edge_alone() -> None:
    """A picture a little wider than a row is cut through a slant rather than just before its end,
    where level track alone would be."""
    rows = rows_of(in_rows(station(4), 700))
    assert len(rows) == 2
    assert all(right - left > 640 / 3 for left, _, right, _ in rows)


def test_each_line_that_is_cut_has_a_letter_at_both_ends() -> None:
    svg = in_rows(loops(6), 700)
    letters = Counter(
        "".join(group.itertext()).strip()
        for group in svg.iter(SVG + "g")
        if group.get("class") == "match"
    )
    rows = rows_of(svg)
    assert set(letters.values()) == {2}
    assert len(letters) >= len(rows) - 1


def test_what_is_said_of_a_route_stands_below_all_rows_and_no_wider() -> None:
    c = compiled(loops(6))
    overlay = route_overlay(c.layout, c.table.routes["H1 to R1"])
    svg = ET.fromstring(draw_and_tell(c.layout, overlay, width=700)[0].svg())
    *track, below = rows_of(svg)
    assert below[1] >= max(row[3] for row in track) - 0.1
    said = [e for e in svg.iter(SVG + "text") if e.get("class") == "legend"]
    assert said
    for line in said:
        x, y = float(line.get("x", "")), float(line.get("y", ""))
        assert below[0] <= x and x + len(line.text or "") * 0.602 * 11 <= below[2]
        assert below[1] <= y <= below[3]


def test_no_cut_parts_a_signal_from_its_name() -> None:
    drawn = drawing(compiled(loops(6)).layout)
    cuts = {row.box.right for width in range(420, 1300, 40) for row in drawn.picture(width).rows}
    for wish, place in drawn.names:
        if wish.kind == "signal":
            low, high = sorted((place.x, drawn.plan.signals[wish.of].place(-15.0, 10.0).x))
            assert not [cut for cut in cuts if low < cut < high], wish.text


def test_there_is_a_letter_for_every_line_however_many_are_cut() -> None:
    first = list(itertools.islice(match_letters(), 26 + 26**2 + 1))
    assert first[:2] + first[25:28] + first[-2:] == ["A", "B", "Z", "AA", "AB", "ZZ", "AAA"]
    assert len(set(first)) == len(first)


def test_a_row_that_would_have_nothing_but_white_is_left_out() -> None:
    made = drawing(compiled("run edge WEST - A - >H - B - edge EAST").layout)
    track = made.picture().track.grown(-MARGIN)
    # So wide that the last cut falls into the white beyond all track.
    far = Box(track.left, track.top, track.left + 339.0, track.bottom)
    assert len(rows(made.plan, far, MARGIN, made.room, made.symbols, 400.0)) == 1
