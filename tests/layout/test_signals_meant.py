"""Pieces of track that were most likely meant as signals."""

from __future__ import annotations

import pytest
from layout.laid import laid

from bellcrank.layout.signals_meant import arrow_meant, named_like_signals

STATION = """\
points P1, P2
run edge WEST - A - >W - P1.toe
run P1.straight - <W1 - R1 - >E1 - P2.straight
run P1.diverging - <W2 - R2 - >E2 - P2.diverging
run P2.toe - <E - B - edge EAST
"""


@pytest.mark.parametrize(
    ("run", "without", "name", "arrow"),
    [
        (">W - P1.toe", "W - P1.toe", "W", ">"),
        ("- >E1 -", "- E1 -", "E1", ">"),
        ("- <W1 -", "- W1 -", "W1", "<"),
        ("- <E -", "- E -", "E", "<"),
    ],
)
def test_an_arrow_that_is_missing_is_the_one_towards_the_fitting(
    run: str, without: str, name: str, arrow: str
) -> None:
    layout = laid(STATION.replace(run, without))
    assert {n: a for n, (a, _) in named_like_signals(layout).items()} == {name: arrow}


def test_between_plain_pieces_the_others_of_its_name_say_how_a_signal_is_read() -> None:
    line = "run edge W - A - >H1 - B - H2 - C - >H3 - D - edge E\n"
    layout = laid(line)
    assert arrow_meant("H2", layout.elements, layout.joined) is None
    ((name, (arrow, alike)),) = named_like_signals(layout).items()
    assert (name, arrow, [s.name for s in alike]) == ("H2", ">", ["H1", "H3"])


BETWEEN_FITTINGS = """\
points P1, P2
run edge WEST - A - >E1 - P1.toe
run P1.straight - E2 - P2.straight
run P1.diverging - <D - B - stop
run P2.diverging - <F - C - stop
run P2.toe - <G - N - edge EAST
"""


@pytest.mark.parametrize(
    ("why", "text"),
    [
        ("other pieces are named so too", STATION.replace("R1", "W3").replace("R2", "W4")),
        ("a signal stands beside it", "run edge IN - H - >H1 - B - >H2 - C - edge OUT\n"),
        ("no signal is named like it", STATION.replace("- A -", "- A - N -")),
        ("fittings lie on both sides", BETWEEN_FITTINGS),
    ],
)
def test_a_piece_that_may_well_be_one_is_left_alone(why: str, text: str) -> None:
    assert named_like_signals(laid(text)) == {}, why
