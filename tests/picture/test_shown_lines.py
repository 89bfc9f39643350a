"""Bridges, platforms and notes in the picture, read back from its SVG."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest
from picture.read_back import Drawn, read_picture
from picture.test_picture import assert_legible, assert_whole
from sound_layouts import checked, compiled

from bellcrank.document.build_document import build_document
from bellcrank.picture import draw, draw_and_tell

SVG = "{http://www.w3.org/2000/svg}"

LOOP = """\
points P1, P2
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - T1 - >E1 - P2.straight
run P1.diverging - <S2 - T2 - >E2 - P2.diverging
run P2.toe - <J - B - edge EAST
"""

CROSSING = """\
points A, B, PD, PU, X, Y
run edge WEST - W - >H - A.toe
run A.straight - D1 - >K - PD.toe
run A.diverging - U1 - >L - PU.toe
run PD.straight - D2 - >M - X.straight
run PD.diverging - BD - >N - Y.diverging
run PU.straight - U2 - >O - Y.straight
run PU.diverging - BU - >Q - X.diverging
run X.toe - E1 - >R - B.straight
run Y.toe - E2 - >S - B.diverging
run B.toe - E - edge EAST
"""
"""E2 and the line of BU cross, which no order of the lines can help."""


def picture_of(text: str) -> Drawn:
    """The picture of a layout, read back; nothing in it touches anything else."""
    layout = compiled(text).layout
    picture = read_picture(draw(layout))
    assert_whole(picture, layout)
    assert_legible(picture)
    return picture


def height(picture: Drawn, piece: str) -> float:
    """How far down a piece of track lies in the middle."""
    ((_, _, _, line),) = picture.elements[piece]
    return line[len(line) // 2][1]


def upper_of_bridge(svg: str) -> list[str | None]:
    return [
        group.get("data-element")
        for group in ET.fromstring(svg).iter(SVG + "g")
        if any(child.get("class") == "parapet" for child in group)
    ]


def test_a_platform_lies_above_or_below_its_track_as_it_is_said_to() -> None:
    picture = picture_of(LOOP + 'platform "1" above T1\nplatform "2" below T1\n')
    (_, _, _, above), (_, below, _, _) = picture.platforms
    assert above < height(picture, "T1") < below


def test_a_platform_beside_two_roads_lies_between_them() -> None:
    picture = picture_of(LOOP + 'platform "Island" beside T1, T2\n')
    ((_, top, _, bottom),) = picture.platforms
    assert height(picture, "T1") < top < bottom < height(picture, "T2")


def test_a_platform_beside_one_road_lies_on_the_outer_side() -> None:
    picture = picture_of(LOOP + 'platform "1" beside T1\nplatform "2" beside T2\n')
    (_, _, _, above), (_, below, _, _) = picture.platforms
    assert above < height(picture, "T1") < height(picture, "T2") < below


def test_a_platform_along_two_pieces_of_one_line_is_one_platform() -> None:
    text = LOOP.replace("- T1 -", "- T1 - T3 -")
    alone = picture_of(text + 'platform "1" above T1\n').platforms[0]
    both = picture_of(text + 'platform "1" above T1, T3\n').platforms[0]
    assert both[2] - both[0] > alone[2] - alone[0] + 30


def test_a_label_stands_on_its_platform_and_the_track_is_as_long_as_it_needs() -> None:
    label = "The platform for the afternoon train to the harbour"
    picture = picture_of(LOOP + f'platform "{label}" above T1\n')
    (left, top, right, bottom), room = picture.platforms[0], picture.labels[label]
    assert left < room[0] and top < room[1] and room[2] < right and room[3] < bottom


def test_a_platform_that_has_no_room_where_it_is_said_to_be_is_told_of() -> None:
    drawn, (warning,) = draw_and_tell(
        compiled(LOOP + 'platform "1" beside T1, T2\nplatform "2" beside T1, T2\n').layout
    )
    assert (warning.code, warning.severity) == ("W823", "warning")
    assert warning.message.startswith("the platform is not drawn beside T1, T2")
    picture = read_picture(drawn.svg())
    assert_legible(picture)
    assert len(picture.platforms) == 2  # drawn where there is room, beside T1 alone


def test_a_note_stands_near_what_it_is_about_on_the_side_that_is_said() -> None:
    picture = picture_of(LOOP + 'note "Coal" below T2\nnote "Shops" above EAST\n')
    assert height(picture, "T2") < picture.remarks["Coal"][1] < height(picture, "T2") + 40
    assert height(picture, "B") - 40 < picture.remarks["Shops"][1] < height(picture, "B")


def test_a_note_of_the_whole_stands_below_the_picture() -> None:
    svg = draw(compiled(LOOP + 'note "Closed in winter."\n').layout)
    (y,) = (
        float(text.get("y", ""))
        for text in ET.fromstring(svg).iter(SVG + "text")
        if text.text == "Closed in winter."
    )
    assert y > height(read_picture(svg), "T2") + 20


@pytest.mark.parametrize(
    ("line", "over", "under"),
    [
        ("bridge BU over E2", "X", "E2"),  # the line of BU crosses with its leg of X
        ("bridge X over E2", "X", "E2"),
        ("bridge E2 over BU", "E2", "X"),
    ],
)
def test_the_line_that_is_said_to_passes_over_the_other(line: str, over: str, under: str) -> None:
    drawn, said = draw_and_tell(compiled(CROSSING + line + "\n").layout)
    assert said == ()
    svg = drawn.svg()
    assert upper_of_bridge(svg) == [over]
    order = list(read_picture(svg).elements)
    assert order.index(under) < order.index(over)


def test_a_bridge_where_no_lines_cross_is_told_of() -> None:
    drawn, (warning,) = draw_and_tell(compiled(CROSSING + "bridge Y over D2\n").layout)
    assert warning.code == "W822"
    assert warning.message == "Y is not drawn over D2: their lines cross nowhere"
    assert upper_of_bridge(drawn.svg()) == ["E2"]


def test_without_such_a_line_elements_are_drawn_in_the_order_of_the_text() -> None:
    layout = compiled(CROSSING).layout
    assert list(read_picture(draw(layout)).elements) == list(layout.elements)


def test_nothing_but_the_picture_depends_on_it() -> None:
    lines = 'bridge T1 over A\nplatform "1" above T1\nnote "Coal" beside T2\nnote "In winter"\n'
    plain, told = (build_document(checked(LOOP + more)).plain for more in ("", lines))
    assert plain.pop("source") != told.pop("source")
    assert plain == told
