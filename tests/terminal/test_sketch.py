"""The sketch of where two routes meet."""

from __future__ import annotations

from random_layouts import shown, valid_layouts

import bellcrank
from bellcrank.terminal.sketch import sketch

QUAY = """\
layout "Quay"
points P1, P3
double slip S1 with one drive
run edge WEST - A - >W1 - P1.toe
run P1.straight - S1.a1
run P1.diverging - <G2 - G - >G1 - P3.straight
run edge YARD - Y - >Y1 - P3.diverging
run P3.toe - S1.b1
run S1.a2 - <D1 - T1 - stop
run S1.b2 - <D2 - T2 - stop
"""


def lines(text: str, one: str, other: str, width: int = 100) -> tuple[str, ...]:
    c = bellcrank.compile(text)
    return sketch(c.layout, c.table.routes[one], c.table.routes[other], width)


def test_routes_that_cross_stand_in_one_column_where_they_do() -> None:
    assert lines(QUAY, "W1 to T1", "G1 to T2") == (
        "W1 to T1  W1> - P1 - S1 - T1",
        "                     X         X crossing",
        "G1 to T2  G1> - P3 - S1 - T2",
    )


def test_a_route_that_runs_leftwards_is_read_from_its_end() -> None:
    upper, signs, lower = lines(QUAY, "G1 to T2", "D2 to YARD")
    assert lower.startswith("D2 to YARD  YARD - Y")
    assert lower.endswith("S1 - <D2")
    assert "><" in signs
    assert upper.index("S1") == lower.index("S1")


def test_routes_without_a_common_element_have_no_sketch() -> None:
    assert lines(QUAY, "W1 to G1", "D1 to YARD") == ()


def test_long_routes_are_shortened_to_the_width() -> None:
    pieces = " - ".join(f"PIECE_{n}" for n in range(40))
    text = (
        f'layout "Long"\npoints P1, P2\nrun edge W - A - >H - P1.toe\n'
        f"run P1.straight - {pieces} - P2.straight\nrun P1.diverging - N - P2.diverging\n"
        "run P2.toe - <K - B - edge E\n"
    )
    c = bellcrank.compile(text)
    one, other = (
        next(r for r in c.table.routes.values() if r.start == start and "PIECE_0" in r.elements)
        for start in ("H", "K")
    )
    for width in (60, 100):
        found = sketch(c.layout, one, other, width)
        assert all(len(line) <= width for line in found)
        assert "..." in found[0]


def test_every_pair_of_random_routes_that_meet_on_the_way_has_a_narrow_sketch() -> None:
    for made, c in valid_layouts(range(20)):
        with shown(made):
            for one, other in c.table.conflicts:
                a, b = c.table.routes[one], c.table.routes[other]
                found = sketch(c.layout, a, b)
                assert all(len(line) <= 100 and line.isascii() for line in found)
                assert bool(found) or not set(a.elements) & set(b.elements)
