"""Machine and proofs are of the railway alone, wherever and however it stands in the text."""

from __future__ import annotations

from pathlib import Path

import pytest

from bellcrank.compilation import Sound, compile_file, compile_text
from bellcrank.machine.build_machine import build_machine
from bellcrank.proof.standing.standing_check import check_standing

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

LAYOUT = """layout "Eel Fen" on two rails
points P1
run edge WEST - A - >W1 - P1.toe
run P1.straight - <D1 - T1 - stop
run P1.diverging - <D2 - T2 - stop
section NECK = P1
signal W1 = K1.1
locking derive
expect W1 to T1 never with D2 to WEST
decoder kind quad { outputs 4  switches 9 }
decoder K1 quad at 21
drive P1 = K1.2  coil 200 ms
"""


def sound(text: str) -> Sound:
    compiled = compile_text(text)
    assert isinstance(compiled, Sound), compiled.diagnostics
    return compiled


@pytest.mark.parametrize(
    "old, new",
    [
        ("points P1\n", "# remark\n\npoints P1\n"),
        ("Eel Fen", "Eel Marsh"),
        ("locking derive", 'platform "1" beside T1\nlocking derive'),
        ("signal W1 = K1.1", "signal W1 = K1.4"),
        ("quad at 21", "quad at 41"),
        ("coil 200 ms", "coil 250 ms  crossed"),
    ],
)
def test_a_line_about_wires_or_words_leaves_the_railway_as_it_is(old: str, new: str) -> None:
    assert old in LAYOUT
    assert sound(LAYOUT.replace(old, new)).railway == sound(LAYOUT).railway


def test_how_a_fitting_looks_leaves_the_railway_as_it_is() -> None:
    text = LAYOUT.replace(
        "points P1",
        """\
fitting table {
  legs toe, straight, diverging
  drive straight, diverging
  way toe - straight when straight
  way toe - diverging when diverging
}
table P1""",
    )
    drawn = text.replace("}\ntable", "  drawn as traverser\n}\ntable")
    assert drawn != text
    assert sound(drawn).railway == sound(text).railway


@pytest.mark.parametrize(
    "old, new",
    [
        (" - T1", " - X - T1"),
        ("section NECK = P1", "section NECK = P1, A"),
        ("section NECK = P1", "section NECK = P1 without detection"),
        ("signal W1 = K1.1", "signal W1 shunt"),
        ("coil 200 ms", "coil 200 ms  detected"),
        ("locking derive", "locking derive\nroute AGAIN = W1 to T2"),
        ("T1 never with", "T2 never with"),
    ],
)
def test_a_line_about_track_signals_or_rules_makes_another_railway(old: str, new: str) -> None:
    assert old in LAYOUT
    assert sound(LAYOUT.replace(old, new)).railway != sound(LAYOUT).railway


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_railway_alone_gives_the_machine_and_the_verdict_of_the_layout(path: Path) -> None:
    compiled = compile_file(path)
    if not isinstance(compiled, Sound):
        return
    whole = (compiled.layout, compiled.table, compiled.locking)
    alone = (compiled.railway.layout, compiled.railway.table, compiled.railway.locking)
    assert build_machine(*whole) == compiled.machine
    if len(compiled.table.routes) < 20:
        assert check_standing(*whole) == check_standing(*alone)
