"""The buttons and lamps of the panel, and the routes that they are for."""

from __future__ import annotations

import pytest
from sound_layouts import compiled

from bellcrank import Sound
from bellcrank.layout.detectors import DetectorInput, NamedInput
from bellcrank.layout.layout_model import OutputRef
from bellcrank.routes.panel_model import CancelButton, PlaceButton, RouteButton

TWO_WAYS = """\
points P1, P2
run edge WEST - A - >H - P1.toe
run P1.straight - M - P2.straight
run P1.diverging - N - P2.diverging
run P2.toe - B - >J - <K - C - stop
signal H shows stop, call, clear
detector kind octo { inputs 8 }
detector B1 octo
decoder kind quad { outputs 4 }
"""


def panel(lines: str) -> Sound:
    """What is compiled without anything being said."""
    c = compiled(TWO_WAYS + lines)
    assert c.diagnostics == ()
    return c


def test_a_layout_that_says_nothing_of_it_has_no_panel():
    made = panel("").table.panel
    assert (made.buttons, made.lamps, made.asked) == ((), (), {})


def test_a_button_for_a_route_asks_for_it_and_another_cancels_it():
    asks, cancels = panel(
        'button H to J via M = B1.1\nbutton to cancel H to J via M = "panel/no"\n'
    ).table.panel.buttons
    assert isinstance(asks, RouteButton) and isinstance(cancels, RouteButton)
    assert (asks.route, asks.cancels, asks.input) == (
        "H to J via M", False, DetectorInput("B1", 1),
    )  # fmt: skip
    assert (cancels.route, cancels.cancels) == ("H to J via M", True)
    assert cancels.input == NamedInput("panel/no")


def test_a_route_may_be_called_by_its_name_and_may_call_on():
    lines = "route IN = H to J via M\nroute JOIN = H to J via M calling on shows call\n"
    made = panel(lines + "button IN = B1.1\nbutton H to J via M calling on = B1.2\n")
    assert [b.route for b in made.table.panel.buttons] == ["IN", "JOIN"]


def test_a_button_may_stand_at_a_signal_an_edge_or_a_stop():
    buttons = panel(
        "button J = B1.1\nbutton C = B1.2\nbutton K = B1.3\nbutton K to WEST via M = B1.6\n"
        "button K to WEST via N = B1.7\nbutton WEST = B1.4\n"
    ).table.panel.buttons
    places = [b for b in buttons if isinstance(b, PlaceButton)]
    assert [(b.place, b.kind) for b in places] == [
        ("J", "signal"), ("C", "stop"), ("K", "signal"), ("WEST", "edge"),
    ]  # fmt: skip


def test_two_buttons_ask_for_the_first_route_between_their_places_that_does_not_call_on():
    lines = "route JOIN = H to J via M calling on shows call\n"
    lines += "button H = B1.1\nbutton J = B1.2\nbutton H to J via N = B1.3\n"
    c = panel(lines + "button C = B1.4\n")
    assert c.table.panel.asked == {("H", "J"): "H to J via M", ("J", "C"): "J to C"}


def test_a_route_that_two_buttons_cannot_ask_for_is_warned_of():
    c = compiled(TWO_WAYS + "button H = B1.1\nbutton J = B1.2\n")
    assert [(d.code, d.hint) for d in c.diagnostics] == [
        ("W849", "add `button H to J via N = …`")
    ]  # fmt: skip


def test_a_button_cancels_whatever_is_set_from_a_signal():
    (button,) = panel("button to cancel H = B1.1\n").table.panel.buttons
    assert isinstance(button, CancelButton)
    assert button.signal == "H"


def test_a_lamp_is_on_one_side_of_an_output_that_is_named_or_chosen():
    lines = "decoder K1 quad at 9\nlamp H to J via M = K1.2 red\nlamp H to J via N = quad green\n"
    lamps = panel(lines + "lamp J to C = K1.2 green\n").table.panel.lamps
    assert [(lamp.route, lamp.output, lamp.side) for lamp in lamps] == [
        ("H to J via M", OutputRef("K1", 2), "red"),
        ("H to J via N", OutputRef("K1", 1), "green"),
        ("J to C", OutputRef("K1", 2), "green"),
    ]


def test_a_decoder_is_added_for_a_lamp_as_for_a_signal():
    c = panel("lamp H to J via M = quad green\n")
    assert list(c.layout.hardware.decoders) == ["quad_1"]


def test_there_may_be_several_buttons_and_lamps_for_one_route():
    lines = "decoder K1 quad\nbutton J to C = B1.1\nbutton J to C = B1.2\n"
    made = panel(lines + "lamp J to C = K1.1 red\nlamp J to C = K1.1 green\n").table.panel
    assert (len(made.buttons), len(made.lamps)) == (2, 2)


def test_a_button_at_a_place_that_no_other_button_goes_with_is_warned_of():
    c = compiled(TWO_WAYS + "button J = B1.1\n")
    assert [(d.code, d.hint) for d in c.diagnostics] == [("W848", "add `button C = …`")]


def test_a_button_that_cancels_from_a_signal_where_no_route_begins_is_warned_of():
    c = compiled("""
run edge WEST - A - >H - <D - B - >J - C - stop
routes written
route H to J
route D to WEST
button to cancel J = "panel/J"
""")
    assert [d.code for d in c.diagnostics] == ["W847"]


@pytest.mark.parametrize("kind", ["alone", "grouped"])
def test_two_lamps_on_one_output_are_only_warned_of_where_one_puts_the_other_out(kind: str):
    lines = f"decoder kind pair {{ outputs 1  lamps {kind} }}\ndecoder K2 pair at 30\n"
    both = "lamp H to J via M = K2.1 red\nlamp H to J via N = K2.1 green\n"
    assert compiled(TWO_WAYS + lines + both).diagnostics == ()
    paired = compiled(TWO_WAYS + lines.replace(kind, "paired") + both)
    assert [d.code for d in paired.diagnostics] == ["W845", "W845"]


def test_nothing_of_the_panel_changes_what_is_proved():
    lines = "button H to J via M = B1.1\nlamp J to C = quad green\ntime of report 100 ms\n"
    told, plain = panel(lines), panel("")
    assert told.machine == plain.machine
    assert told.locking == plain.locking
