"""Layouts with hardware of every sort, for the tests of what is printed."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

from sound_layouts import checked_file, compiled, compiled_file, undecided

from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED, Document
from bellcrank.paper.plan_outputs import wiring_on_plan
from bellcrank.picture import Drawing, drawing

EXAMPLES = Path(__file__).parents[1] / "examples"

WIRED = """
layout "Kelp & <Brine> \\\\ of the long quay" on two rails
points P1, P2, P3
fitting turning plate { legs a, b, c, d  drive north, east, south
  way a - b when north  way a - c when east  way a - d when south }
turning plate TT
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - T1 - stop
run P1.diverging - P2.toe
run P2.straight - <S2 - T2 - stop
run P2.diverging - <S3 - T3 - P3.toe
run P3.straight - T4 - stop
run P3.diverging - T5 - >K - TT.a
run TT.b - T6 - stop
run TT.c - T7 - stop
run TT.d - T8 - stop
decoder kind ten_switches {
  outputs 4
  switches 10
  switch 9 on
  switch 10 off
  counts decoders
  from 0
  inverted
  terminals green "A%", red "B%", common "C"
}
decoder kind many { outputs 4  switches 16 }
decoder kind heads { outputs 2  packets extended  terminals common "GND" }
decoder K1 ten_switches at 21
decoder K2 many at 1001
decoder K3 heads at 5
drive P1 = K1.1  coil 200 ms  crossed  wires "white", "brown", "black"
drive P2 = K1.2  motor 3 s
drive P3 by hand
drive TT = K2.1, K2.2  servo 4 s
signal H shows stop as 0, caution as 4, clear as 16 = K3.1
signal S1 = K1.4
supply BENCH { feeds K1, K2  one at a time  rest 250 ms }
"""
"""Switches that are not for the address, terminals, wires crossed, a drive of three
positions, one by hand, a signal on extended packets, free outputs."""

UNWIRED = """
layout "Reedham Halt" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
"""

HEARD = """
layout "Sedge Wharf" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
detector kind octo {
  inputs 4
  switches 4
  switch 4 on
  terminals input "I%", common "0 V"
}
detector kind bare { inputs 1 }
decoder kind pair { outputs 2 }
detector N1 octo at 6
detector N2 bare
decoder K1 pair
report A = N1.1
report P = N1.2
report B = "wharf/b"
report C = N2.1
report P straight = N1.4
button W to B = "wharf/in"
button to cancel W to B = "wharf/not in"
button W = "wharf/W"
button C = "wharf/C"
button to cancel W = "wharf/none"
lamp W to B = K1.2 red
"""
"""Detectors with and without switches, inputs of every use, a lamp of the panel."""


@cache
def told(text: str) -> Document:
    """The document of a layout, unproved as its moving proof is given no time."""
    return build_document(undecided(text), SPARED)


@cache
def example(name: str) -> Document:
    """The document of an example."""
    return build_document(checked_file(EXAMPLES / f"{name}.crank"), SPARED)


def plan(text: str) -> dict[str, Callable[[], Drawing]]:
    """The plan of a layout, as a target is given it, without and with outputs."""
    layout = compiled(text).layout
    return {
        "plan": lambda: drawing(layout),
        "bench_plan": lambda: drawing(layout, wiring_on_plan(told(text))),
    }


def example_plan(name: str) -> dict[str, Callable[[], Drawing]]:
    """The plan of an example, as a target is given it, without and with outputs."""
    layout = compiled_file(EXAMPLES / f"{name}.crank").layout
    return {
        "plan": lambda: drawing(layout),
        "bench_plan": lambda: drawing(layout, wiring_on_plan(example(name))),
    }
