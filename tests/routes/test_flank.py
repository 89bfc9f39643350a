"""What `flank derive` asks for, and what it says it cannot give."""

from __future__ import annotations

from compiled import table_of, warnings


def test_a_signal_at_stop_is_protection_enough_and_without_one_the_flank_is_open():
    text = """\
points P1
run edge W - A - >H - P1.straight
run P1.toe - <G - B - edge E
run P1.diverging - SIDING - edge Q
flank derive
"""
    assert warnings(text) == ["W811"]
    text = text.replace("- SIDING", "- <J - SIDING")
    assert warnings(text) == []
    assert table_of(text).routes["H to E"].flank == ()


TRAP = """\
points P1, TP
run edge W - A - >H - P1.straight
run P1.toe - <G - B - edge E
run P1.diverging - TP.diverging
run TP.toe - SIDING - edge Q
run TP.straight - SAND - stop
flank derive
"""


def test_trap_points_are_set_away_from_a_siding_without_a_signal():
    assert table_of(TRAP).routes["H to E"].flank == (("TP", "straight"),)
    assert warnings(TRAP) == []


def test_trap_points_coupled_to_the_route_protect_it_by_themselves():
    assert table_of(TRAP + "coupled P1, TP\n").routes["H to E"].flank == ()
    assert warnings(TRAP + "coupled P1, TP\n") == []


def test_a_coupled_drive_that_lies_towards_the_route_leaves_its_flank_open():
    text = """\
points PA, PB
coupled PA, PB
run edge W - A - >H - PA.straight
run PA.toe - B - edge E
run PB.straight - PA.diverging
run PB.toe - N - edge N0
run PB.diverging - <M - C - stop
flank derive
"""
    assert table_of(text).routes["H to E"].flank == ()
    assert "W811" in warnings(text)


def test_one_drive_cannot_protect_two_flanks_that_want_it_two_ways():
    text = """\
points PX
fixed diamond X1, X2
run edge W - A - >H - X1.a1
run X1.a2 - X2.a1
run X2.a2 - B - edge E
run edge N - N1 - PX.toe
run PX.straight - X1.b1
run PX.diverging - X2.b1
run X1.b2 - <M - C - stop
run X2.b2 - D - stop
flank derive
"""
    assert len(table_of(text).routes["H to E"].flank) == 1
    assert "W811" in warnings(text)
