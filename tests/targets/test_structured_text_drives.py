"""How the function block throws drives of several motors, and motors that are held on."""

from __future__ import annotations

import re
from functools import cache

from sound_layouts import undecided

from bellcrank.document.build_document import build_document
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target

CROSSOVER = """\
points PA, PB, Q
coupled PA, PB
run edge A_WEST - A1 - >HA - PA.toe
run PA.straight - A2 - edge A_EAST
run edge B_WEST - B1 - >HB - PB.straight
run PB.toe - B2 - Q.toe
run Q.straight - C - edge C_EAST
run Q.diverging - D - edge D_EAST
run PA.diverging - PB.diverging
decoder kind quad { outputs 4 }
decoder K1 quad at 1
drive PA = K1.1  coil 200 ms{}
drive Q = K1.2  motor 2 s{}
supply BENCH { feeds K1  three at a time }
"""


BOTH = ("  one at each", "  held on")


@cache
def block(each: str = "", held: str = "") -> str:
    text = CROSSOVER.replace("200 ms{}", f"200 ms{each}").replace("2 s{}", f"2 s{held}")
    document = build_document(undecided(text))
    return render_target(load_target("st"), document)["interlocking.st"].decode("utf-8")


def test_a_drive_of_two_motors_takes_two_of_what_its_supply_throws_at_a_time() -> None:
    counted = re.findall(r"USED_1 := USED_1 \+ (\d)", block(*BOTH))
    assert sorted(counted) == ["1", "1", "2", "2"]  # being thrown, and about to be
    assert sorted(re.findall(r"USED_1 < (\d)", block(*BOTH))) == ["2", "3"]
    assert set(re.findall(r"USED_1 < (\d)", block())) == {"3"}


def test_a_motor_that_is_held_on_keeps_its_output_until_it_is_thrown_the_other_way() -> None:
    assert "LEFT_" not in block()
    held = block(*BOTH)
    (number,) = set(re.findall(r"LEFT_(\d+)", held))
    outputs = re.findall(rf"(\w+) := LEFT_{number} = (\d);", held)
    assert [which for _, which in outputs] == ["1", "2"]
