"""How the plan is arranged: level lines, sides, stability, the look of fittings."""

from __future__ import annotations

import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from bench.generate import chain, slips
from picture.counting import crossings
from picture.read_back import SVG, Drawn, follow, read_picture
from picture.test_picture import assert_legible, assert_named, assert_whole, layout_of
from random_layouts import shown, valid_layouts

from bellcrank.picture import draw

HALT = """\
layout "Marsh Halt"
points P1, P2
run edge WEST - A - >H - P1.toe
run P1.straight - M - P2.straight
run P1.diverging - N - P2.diverging
run P2.toe - B - <K - C - edge EAST
"""


def drawn(text: str) -> Drawn:
    return read_picture(draw(layout_of(text)))


def row(picture: Drawn, element: str) -> float:
    return picture.elements[element][0][3][0][1]


def spine(text: str) -> dict[str, float]:
    """The rows of the middles of all elements, from that of the first."""
    picture = drawn(text)
    ys = {}
    for name, ways in picture.elements.items():
        line = ways[0][3]
        ys[name] = round(line[len(line) // 2][1], 1)
    base = next(iter(ys.values()))
    return {name: y - base for name, y in ys.items()}


def test_a_running_line_is_level_and_a_loop_lies_beside_it() -> None:
    picture = drawn(HALT)
    rows = {name: {y for _, y in picture.elements[name][0][3]} for name in ("A", "M", "B", "C")}
    assert len(set.union(*rows.values())) == 1
    assert abs(row(picture, "N") - row(picture, "M")) == 44


def test_a_signal_stands_left_of_the_line_and_faces_its_trains() -> None:
    layout = layout_of(HALT)
    for hand, sign in (("left", 1), ("right", -1)):
        picture = read_picture(draw(layout, signals=hand))  # type: ignore[arg-type]
        line = row(picture, "A")
        facing, rects = picture.signals["H"]
        assert facing == "right"
        # Trains that run rightwards have their left above; y grows downwards.
        assert all((line - (r[1] + r[3]) / 2) * sign > 0 for r in rects)
        facing, rects = picture.signals["K"]
        assert facing == "left"
        assert all((line - (r[1] + r[3]) / 2) * sign < 0 for r in rects)


def test_slips_with_one_and_two_drives_are_told_apart_by_their_drives() -> None:
    text = """\
layout "Quay"
double slip S with {drives}
run edge W1 - A - >HA - S.a1
run edge W2 - B - >HB - S.b1
run S.a2 - C - edge E1
run S.b2 - D - edge E2
"""
    one = drawn(text.format(drives="one drive"))
    two = drawn(text.format(drives="two drives"))
    assert list(one.drives) == ["S"]
    assert list(two.drives) == ["S.end1", "S.end2"]
    # End 1 has the legs a1 and b1, on the left here.
    middle = two.elements["S"][0][3][1][0]
    assert two.drives["S.end1"][0] < two.drives["S.end2"][0]
    assert middle > 0


def test_the_roads_of_a_slip_cross_and_its_slip_roads_do_not() -> None:
    picture = drawn(
        'layout "Quay"\ndouble slip S with one drive\n'
        "run edge W1 - A - >HA - S.a1\nrun edge W2 - B - >HB - S.b1\n"
        "run S.a2 - C - edge E1\nrun S.b2 - D - edge E2\n"
    )
    lines = {(one, other): line for one, other, _, line in picture.elements["S"]}
    for a, b, crosses in (("a1 a2", "b1 b2", True), ("a1 b2", "b1 a2", False)):
        one, other = (lines[tuple(road.split())] for road in (a, b))  # type: ignore[index]
        assert ((one[0][1] < other[0][1]) != (one[-1][1] < other[-1][1])) == crosses


def test_lines_cross_without_a_fitting_on_a_bridge_and_nowhere_else() -> None:
    bridges = 0
    for made, compilation in valid_layouts(range(20, 36)):
        with shown(made):
            svg = draw(compilation.layout)
            casings = [
                tuple(float(line.get(k, "")) for k in ("x1", "y1", "x2", "y2"))
                for line in ET.fromstring(svg).iter(SVG + "line")
                if line.get("class") == "casing"
            ]
            middles = sorted(((c[0] + c[2]) / 2, (c[1] + c[3]) / 2) for c in casings)
            found = sorted(crossings(read_picture(svg)))
            assert len(middles) == len(found)
            for one, other in zip(middles, found, strict=True):
                assert one == pytest.approx(other, abs=0.1)
            bridges += len(middles)
    assert bridges > 3


def test_a_turning_loop_goes_round() -> None:
    layout = layout_of("""\
layout "Loop" on three rails
points P1
run edge HILL - A - >H - P1.toe
run P1.straight - LA - >L1 - <L2 - LB - P1.diverging
""")
    svg = draw(layout)
    assert " 0 0 1 " in svg  # an arc
    picture = read_picture(svg)
    assert_whole(picture, layout)
    assert_legible(picture)


def test_a_ring_of_plain_track_is_drawn_as_one() -> None:
    layout = layout_of("""\
layout "Ring"
run A - >S - B - C
run C - A
""")
    picture = read_picture(draw(layout))
    assert_whole(picture, layout)
    assert_named(picture, layout)


def test_fittings_of_ones_own_are_drawn() -> None:
    layout = layout_of("""\
layout "Engine Works"
fitting turntable with four positions {
  legs lead, north, east, south, west
  drive one, two, three, four
  way lead - north when one
  way lead - east when two
  way lead - south when three
  way lead - west when four
}
fitting scissors crossover with one drive {
  legs a1, a2, b2, b1
  drive straight, across
  way a1 - a2 when straight
  way b1 - b2 when straight
  way a1 - b2 when across
  way b1 - a2 when across
}
turntable TT with four positions
scissors crossover SX with one drive
run edge DOWN - A - >HA - SX.a1
run edge UP - B - >HB - SX.b1
run SX.a2 - <N - T1 - stop
run SX.b2 - C - >H - TT.lead
run TT.north - <N1 - R1 - stop
run TT.east - <N2 - R2 - stop
run TT.south - <N3 - R3 - stop
run TT.west - <N4 - R4 - stop
""")
    svg = draw(layout)
    picture = read_picture(svg)
    assert_whole(picture, layout)
    assert_legible(picture)
    assert 'class="frame"' in svg


def test_long_names_find_room() -> None:
    text = HALT
    for name in ("P1", "P2", "A", "M", "N", "H", "WEST"):
        text = text.replace(f" {name}", f" {name}_of_the_old_harbour_line").replace(
            f">{name} ", f">{name}_of_the_old_harbour_line "
        )
    layout = layout_of(text)
    picture = read_picture(draw(layout))
    assert_named(picture, layout)
    assert_legible(picture)


def test_a_siding_added_at_the_end_moves_no_other_row() -> None:
    before = spine(chain(3, 3))
    text = chain(3, 3).replace("LINE3 - edge EAST", "LINE3 - >X - PX.toe")
    text += "points PX\nrun PX.straight - Z - edge EAST\nrun PX.diverging - <Y - SIDING - stop\n"
    after = spine(text)
    assert {name: after[name] for name in before} == before


def test_a_picture_is_the_same_in_every_run() -> None:
    program = (
        "import bellcrank, bench.generate as g, bellcrank.picture as p, hashlib;"
        "c = bellcrank.compile(g.slips(3));"
        "print(hashlib.sha256(p.draw(c.layout).encode()).hexdigest())"
    )
    tests = Path(__file__).parent.parent
    found = {
        subprocess.run(
            [sys.executable, "-c", program], capture_output=True, text=True, check=True,
            cwd=tests, env={"PYTHONHASHSEED": seed, "PYTHONPATH": str(tests)},
        ).stdout
        for seed in ("1", "2")
    }  # fmt: skip
    assert len(found) == 1


@pytest.mark.parametrize("text", [chain(3, 5), slips(4)], ids=["ladders", "slips"])
def test_a_line_of_stations_is_drawn_whole_and_legibly(text: str) -> None:
    layout = layout_of(text)
    svg = draw(layout)
    picture = read_picture(svg)
    assert_whole(picture, layout)
    assert_named(picture, layout)
    assert_legible(picture)
    assert "parapet" not in svg.split("</style>")[1]  # no line crosses another


def test_the_reader_of_pictures_follows_curves() -> None:
    ((start, *_, end),) = follow("M0 0A10 10 0 0 1 10 10")
    assert start == (0, 0)
    assert end == pytest.approx((10, 10))
    line = follow("M0 0Q5 5 10 0")[0]
    assert line[4] == pytest.approx((5, 2.5))
