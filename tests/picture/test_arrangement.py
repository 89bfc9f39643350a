"""How the plan is arranged: level lines, sides, stability, the look of fittings."""

from __future__ import annotations

import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from itertools import pairwise
from pathlib import Path as FilePath

import pytest
from bench.generate import chain, slips
from picture.counting import crossings
from picture.kinds_of_layout import KINDS
from picture.read_back import SVG, Drawn, follow, read_picture
from picture.test_picture import assert_legible, assert_named, assert_whole, layout_of
from random_layouts import shown, valid_layouts

from bellcrank.picture import draw
from bellcrank.picture.bridging import bridges
from bellcrank.picture.drawn import DrawnElement, DrawnWay, Plan
from bellcrank.picture.geometry import Path, Point

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


def u_turns(svg: str) -> int:
    """Each has two quarters of a circle."""
    arcs = {arc for e in ET.fromstring(svg).iter(SVG + "path")
            for arc in re.findall(r"A[^AL]+", e.get("d", ""))}  # fmt: skip
    return len(arcs) // 2


def test_a_line_that_crosses_itself_is_a_figure_of_eight_with_a_turn_at_either_end() -> None:
    layout = layout_of("""\
layout "Ribbon" on three rails
fixed diamond X
run X.a2 - A - >SA - B - X.b1
run X.b2 - C - >SC - D - X.a1
""")
    svg = draw(layout)
    assert u_turns(svg) == 2
    assert "casing" not in svg.split("</style>")[1]
    a, b = read_picture(svg).elements["X"]
    assert (a[3][0][0] < a[3][-1][0]) != (b[3][0][0] < b[3][-1][0])  # one leads left


def test_a_line_that_is_read_the_wrong_way_is_turned_over_where_that_saves_a_turn() -> None:
    svg = draw(
        layout_of("""\
layout "Cut"
points DJ, UJ, LEAD
fixed diamond DX
run edge DOWN_W - DA - >DH - DJ.toe
run DJ.straight - DB - edge DOWN_E
run DJ.diverging - DX.b1
run edge UP_E - UA - >UH - DX.a1
run DX.a2 - UJ.straight
run UJ.toe - UB - edge UP_W
run DX.b2 - LEAD.straight
run UJ.diverging - LEAD.diverging
run LEAD.toe - <LU - BRANCH - edge AWAY
""")
    )
    assert u_turns(svg) == 0
    assert "casing" not in svg.split("</style>")[1]


def test_of_two_roads_round_an_oval_none_turns_by_itself() -> None:
    svg = draw(
        layout_of("""\
layout "Goods" on three rails
points A1, A2, K
run ROUND - >M1 - A1.toe
run A1.straight - FRONT - >M2 - A2.straight
run A1.diverging - PASS - >M3 - K.straight
run K.toe - A2.diverging
run A2.toe - FAR - >M4 - ROUND
run stop - YARD - >Y - K.diverging
""")
    )
    assert u_turns(svg) == 2


def test_a_road_that_is_read_into_a_turntable_lies_before_it() -> None:
    picture = drawn("""\
layout "Shed" on three rails
fitting turntable with three roads {
  legs in, out, shed
  drive one, two, three
  way in - shed when one
  way shed - out when two
  way in - out when three
}
turntable TT with three roads
run edge WEST - A - >H - TT.in
run edge EAST - B - TT.out
run TT.shed - <S - C - stop
""")
    ends = {
        leg: line[k] for a, b, _, line in picture.elements["TT"] for leg, k in ((a, 0), (b, -1))
    }
    assert ends["in"][0] == ends["out"][0] < ends["shed"][0]


def test_a_line_that_is_crossed_where_it_bends_passes_over_a_bridge() -> None:
    bent = Path.through([Point(0, 0), Point(40, 40), Point(120, 40)])
    straight = Path.through([Point(40, 0), Point(40, 100)])
    made = Plan()
    for name, path in (("ONE", bent), ("OTHER", straight)):
        way = DrawnWay(("left", "right"), (), (path,))
        made.elements[name] = DrawnElement(name, (way,), Point(0, 0), path)
    found, _ = bridges(made, (), {})
    assert [(b.over, b.under) for b in found] == [("OTHER", "ONE")]
    assert found[0].point == pytest.approx((40, 40), abs=0.1)


def test_a_siding_beyond_points_on_a_slant_is_level_with_the_line_before_them() -> None:
    picture = drawn("""\
layout "Shed"
points A, B, G
run edge WEST - L - >H - A.toe
run A.straight - M - B.straight
run A.diverging - N - >X - G.toe
run G.straight - B.diverging
run G.diverging - <S - SHED - stop
run B.toe - R - edge EAST
""")
    assert row(picture, "SHED") == row(picture, "N")


def test_two_slants_come_together_without_a_corner() -> None:
    """Points joined directly to a diamond by their straight leg and to points by the other."""
    picture = drawn("""\
layout "Lead"
points DJ, UJ, LEAD
fixed diamond DX
run edge DN_W - DA - >DH - DJ.toe
run DJ.straight - DB - edge DN_E
run DJ.diverging - DX.b1
run edge UP_E - UA - >UH - DX.a1
run DX.a2 - UJ.straight
run UJ.toe - UB - edge UP_W
run DX.b2 - LEAD.straight
run UJ.diverging - LEAD.diverging
run LEAD.toe - <LU - L - edge BRANCH
""")
    rows = [y for *_, line in picture.elements["LEAD"] for _, y in line]
    assert max(rows) == row(picture, "L")


def test_slips_in_series_lie_on_one_slant() -> None:
    picture = drawn(KINDS["slips in series"])
    roads = [next(line for a, b, _, line in picture.elements[s] if (a, b) == ("a1", "a2"))
             for s in ("S1", "S2", "S3")]  # fmt: skip
    assert all(b[1] - a[1] == b[0] - a[0] for road in roads for a, b in pairwise(road[:3]))


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
    tests = FilePath(__file__).parent.parent
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


@pytest.mark.parametrize(
    "place", ["run S2.a2 - B - {} - <K - C - edge EAST", "run edge UP - D - {} - >HU - P.toe"]
)
def test_a_siding_more_does_not_turn_over_two_main_lines(place: str) -> None:
    text = KINDS["slips in a main"]
    line = place.replace("{} - ", "")
    assert line in text
    first, last = place.split(" - {} - ")
    more = text.replace(
        line,
        f"points NEW\n{first} - NEW.toe\nrun NEW.straight - X - {last}\n"
        "run NEW.diverging - <Z - Y - stop",
    )
    for picture in (drawn(text), drawn(more)):
        assert row(picture, "A") < row(picture, "D")


def test_edges_near_the_margin_end_in_one_column_whatever_they_are_called() -> None:
    picture = drawn(KINDS["flyover"])
    left = {picture.elements[name][0][3][0][0] for name in ("DA", "UC")}
    right = {picture.elements[name][0][3][-1][0] for name in ("DC", "BE", "UA", "BA")}
    assert len(left) == len(right) == 1


def test_stops_that_end_before_a_turntable_stand_in_a_column() -> None:
    picture = drawn(KINDS["engine shed"])
    assert picture.elements["COAL"][0][3][-1][0] == picture.elements["ASH"][0][3][-1][0]


def test_fittings_that_touch_are_not_kept_apart_by_a_line_that_could_end_elsewhere() -> None:
    """A branch that climbs over the other main ended left of its points for a crossing that there
    was not in the end, and pulled the two mains two rows apart."""
    picture = drawn("""\
layout "Junction"
points DJ, UJ
fixed diamond DX
run edge DN_FAR - D1 - >DO - D2 - >DH - DJ.toe
run DJ.straight - DX.b1
run DX.b2 - D3 - >DS - D4 - edge DN_NEAR
run DJ.diverging - BD1 - >BS - BD2 - edge BR_DOWN
run edge UP_NEAR - U1 - >UO - U2 - >UH - UJ.straight
run UJ.toe - U3 - >US - U4 - edge UP_FAR
run edge BR_UP - B1 - >BO - B2 - >BH - DX.a1
run DX.a2 - UJ.diverging
""")
    assert abs(row(picture, "U1") - row(picture, "D1")) == 44
