"""A page that tells what comes of a broken assumption."""

from __future__ import annotations

from functools import cache

from opened import page_of
from sound_layouts import compiled

from bellcrank import Checked, prove

TWO_ROADS = """
layout "Two roads" on two rails
points P
run edge W - A - >H - P.toe
run P.straight - <S1 - T1 - stop
run P.diverging - <S2 - T2 - stop
drive P detected
"""


@cache
def with_a_signal_passed() -> Checked:
    return prove(compiled(TWO_ROADS), controller=True, broken=("signal passed at stop",))


def page_with_a_signal_passed() -> bytes:
    return page_of(with_a_signal_passed())
