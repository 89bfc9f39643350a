"""Where drives lie, as somebody says it on the command line."""

from __future__ import annotations

import pytest
from sound_layouts import compiled

from bellcrank.layout.layout_model import Layout
from bellcrank.timing.drives_now import DrivesNowError, read_drives_now


def station() -> Layout:
    c = compiled(
        """
        points P1, P2
        coupled P1, P2
        three way points W
        run edge WEST - A - >H - P1.toe
        run P1.straight - W.toe
        run P1.diverging - P2.diverging
        run P2.straight - B - stop
        run P2.toe - C - stop
        run W.left - D - stop
        run W.straight - E - stop
        run W.right - F - stop
        """,
    )
    return c.layout


def test_drives_and_positions_are_read() -> None:
    text = "P1 straight,  W.to_left lies diverging,"
    assert read_drives_now(text, station()) == {"P1": "straight", "W.to_left": "diverging"}
    assert read_drives_now("", station()) == {}


def test_what_switches_a_frog_is_called_as_the_frog_is() -> None:
    layout = compiled(
        "points P1\nrun edge W - A - >H - P1.toe\nrun P1.straight - B - stop\n"
        "run P1.diverging - C - stop\ndecoder kind quad { outputs 4 }\nfrog P1 = quad\n"
    ).layout
    for text in ("frog P1 straight, P1 diverging", "frog P1 lies straight, P1 lies diverging"):
        assert read_drives_now(text, layout) == {"frog P1": "straight", "P1": "diverging"}


def test_coupled_drives_are_one() -> None:
    assert read_drives_now("P2 straight", station()) == {"P1": "straight"}
    assert read_drives_now("P2 straight, P1 straight", station()) == {"P1": "straight"}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("W.to_lef straight", "there is no drive `W.to_lef`; did you mean `W.to_left`?"),
        ("T straight", "there is no drive `T`"),
        ("W straight", "W has several drives; say which: W.to_left or W.to_right"),
        ("P1 strait", "P1 has no position `strait`: it lies straight or diverging; did you mean"),
        ("P1 straight, P2 diverging", "P2 cannot lie straight and diverging at once"),
        ("P1", "`P1` does not say where a drive lies: write a drive and a position"),
        ("P1 straight W.to_left straight", "does not say where a drive lies"),
    ],
)
def test_what_cannot_be_is_told(text: str, said: str) -> None:
    with pytest.raises(DrivesNowError) as told:
        read_drives_now(text, station())
    assert said in str(told.value)
