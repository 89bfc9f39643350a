"""Which routes there are, and what each of them has."""

from __future__ import annotations

from compiled import table_of, warnings
from sound_layouts import compiled

HALT = """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - T1 - stop
run P1.diverging - <S2 - T2 - stop
"""


def test_routes_lead_to_the_next_signal_to_a_stop_and_to_an_edge():
    routes = table_of(HALT).routes
    assert list(routes) == ["H to T1", "H to T2", "S1 to WEST", "S2 to WEST"]
    assert [r.end_kind for r in routes.values()] == ["stop", "stop", "edge", "edge"]
    assert routes["H to T2"].positions == (("P1", "diverging"),)
    assert routes["H to T2"].sections == ("P1", "T2")
    assert routes["H to T2"].approach == "A"


def test_signals_read_the_other_way_do_not_end_a_route():
    assert "H to E" in table_of("run edge W - A - >H - B - <J - C - edge E\n").routes


def test_a_section_is_named_once_however_many_pieces_it_has():
    text = "run edge W - A - >H - B - C - stop\nsection BC = B, C\n"
    assert table_of(text).routes["H to C"].sections == ("BC",)


def test_a_way_that_comes_back_into_its_own_section_is_left_out_with_a_warning():
    text = """\
points P1
run edge W - A - >H - P1.toe
run P1.straight - B - C - D - stop
run P1.diverging - E - edge S
section BD = B, D
"""
    assert warnings(text) == ["W816"]
    assert list(table_of(text).routes) == ["H to S"]


def test_named_routes_stand_beside_derived_ones_unless_routes_are_written():
    assert list(table_of(HALT + "route IN = H to T1\n").routes) == [
        "IN",
        "H to T2",
        "S1 to WEST",
        "S2 to WEST",
    ]
    assert list(table_of(HALT + "routes written\nroute IN = H to T1\n").routes) == ["IN"]


def test_a_calling_on_route_needs_all_but_its_berth_clear_and_has_no_overlap():
    text = "run edge W - A - >H - B - C - >J - D - stop\noverlap J = D\n"
    text += "signal H shows stop, call, clear\nroute CALL = H to J calling on shows call\n"
    routes = table_of(text).routes
    assert routes["H to J"].sections_clear == ("B", "C", "D")
    assert routes["CALL"].sections_clear == ("B",)
    assert routes["CALL"].overlap is None


def test_a_route_over_the_section_its_own_train_waits_in_is_warned_of():
    assert warnings("run A - >H - B - A\n") == ["W802"]


def test_coupled_drives_bar_the_ways_that_need_them_two_ways():
    text = """\
points P, Q
coupled P, Q
run edge W - A - >H - P.toe
run P.straight - Q.toe
run P.diverging - C - edge X
run Q.straight - D - edge Y
run Q.diverging - E - edge Z
"""
    assert list(table_of(text).routes) == ["H to Y", "H to X"]
    assert warnings(text) == ["W805"]
    found = compiled(text).diagnostics[0]
    assert "from H to Z" in found.message
