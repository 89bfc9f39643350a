"""One output for several: the motors of coupled points, and signals that repeat another."""

from __future__ import annotations

from typing import Any

import pytest
from sound_layouts import compiled, undecided

from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED, Document
from bellcrank.layout.build_layout import build_layout
from bellcrank.paper.labels import label_words
from bellcrank.paper.trial_checklist import signal_checks
from bellcrank.paper.wiring_list import decoder_outputs, device_wires
from bellcrank.syntax.load import load_text
from bellcrank.timing.lists import to_set, to_start_up
from bellcrank.timing.pace import breaches

CROSSOVER = """\
points PA, PB
coupled PA, PB
run edge A_WEST - A1 - >HA - PA.toe
run PA.straight - A2 - edge A_EAST
run edge B_WEST - B1 - >HB - PB.straight
run PB.toe - B2 - >HC - P3.toe
run P3.straight - C - edge C_EAST
run P3.diverging - D - edge D_EAST
points P3
run PA.diverging - PB.diverging
decoder kind quad { outputs 4 }
decoder K1 quad at 1
drive PA = K1.1  coil 200 ms  one at each
drive P3 = K1.2  coil 200 ms
signal HA = K1.3  repeated by R1, R2
"""

SUPPLY = "supply BENCH {{ feeds K1  {} at a time  rest 100 ms }}\n"


def document(text: str) -> Document:
    return build_document(undecided(text), SPARED)


def found(text: str) -> Any:
    return build_layout(load_text(text, "x")[0])[1]


def test_each_fitting_is_wired_to_the_same_terminals() -> None:
    data = document(CROSSOVER)
    first = decoder_outputs(data)[0].list[0]
    assert [(row.name, row.side) for row in first.rows] == [
        ("PA", "green"),
        ("PA", "red"),
        ("PA", "common"),
        ("PB", "green"),
        ("PB", "red"),
        ("PB", "common"),
    ]
    assert [d.name for d in device_wires(data) if d.device == "drive"] == ["PA", "PB", "P3"]


def test_each_fitting_and_each_repeater_has_a_label_of_its_own() -> None:
    labels = {(words.of, words.name): words.lines for words in label_words(document(CROSSOVER))}
    assert labels["drive", "PA"] == labels["drive", "PB"]
    assert labels["signal", "HA"] == labels["signal", "R1"] == labels["signal", "R2"]


def test_repeaters_are_wired_and_looked_at_and_are_no_places_for_routes() -> None:
    data = document(CROSSOVER)
    assert [d.name for d in device_wires(data) if d.device == "signal"][:3] == ["HA", "R1", "R2"]
    assert signal_checks(data)[0].repeaters == ("R1", "R2")
    assert {s.name for s in data.layout.signals} == {"HA", "HB", "HC"}
    assert data.layout.signals[0].repeaters == ["R1", "R2"]


def test_one_motor_for_all_that_are_coupled_is_wired_once() -> None:
    data = document(CROSSOVER.replace("  one at each", ""))
    assert [d.name for d in device_wires(data) if d.device == "drive"] == ["PA", "P3"]
    assert [w.name for w in label_words(data) if w.of == "drive"] == ["PA", "P3"]


@pytest.mark.parametrize(("at_a_time", "starts"), [("two", [0, 300]), ("three", [0, 0])])
def test_a_supply_counts_each_motor(at_a_time: str, starts: list[int]) -> None:
    c = compiled(CROSSOVER + SUPPLY.format(at_a_time))
    timetable = to_start_up(c.layout, c.table, c.locking)
    thrown = sorted(t.at for t in timetable.commands if t.command.device == "drive")
    assert thrown == starts
    assert breaches(c.layout, [(0, timetable)]) == ()


def test_two_throws_of_one_supply_sent_together_count_each_motor() -> None:
    c = compiled(CROSSOVER + SUPPLY.format("two"))
    first = to_set(c.layout, c.table, c.locking, "HA to A_EAST")
    second = to_set(c.layout, c.table, c.locking, "HC to C_EAST")
    told = breaches(c.layout, [(0, first), (100, second)])
    assert [b.name for b in told] == ["BENCH"]
    assert breaches(c.layout, [(0, first), (300, second)]) == ()


def test_a_supply_that_cannot_throw_them_all_is_told() -> None:
    (told,) = found(CROSSOVER + SUPPLY.format("one"))
    assert (told.code, told.expected) == ("E610", "`2 at a time`, if the supply can do that")


def test_a_drive_of_one_fitting_has_nothing_else_for_one_at_each() -> None:
    line = "drive P3 = K1.2  coil 200 ms"
    (told,) = found(CROSSOVER.replace(line, f"{line}  one at each"))
    assert (told.code, told.span.line) == ("E609", 14)


def test_a_repeater_has_a_name_that_nothing_else_bears() -> None:
    told = found(CROSSOVER.replace("repeated by R1, R2", "repeated by HB, K1"))
    assert [d.code for d in told] == ["E203", "E203"]


# ------------------------------------------------------------------- lamps that blink


def test_a_lamp_that_blinks_is_named_so_where_somebody_looks() -> None:
    shows = "signal HB shows stop at K1.4 red, slow at K1.4 green blinking"
    data = document(CROSSOVER + shows)
    (signal,) = (s for s in data.layout.signals if s.name == "HB")
    assert [(a.name, a.blinking) for a in signal.aspects] == [("stop", False), ("slow", True)]
    (wires,) = (d for d in device_wires(data) if d.name == "HB")
    assert [row.does[0].state for row in wires.rows if row.does] == ["stop", "slow, blinking"]
    (label,) = (words for words in label_words(data) if words.name == "HB")
    assert "green slow blinking" in label.lines


def test_a_lamp_may_blink_by_a_value_and_changes_no_command() -> None:
    heads = "decoder kind heads { outputs 1  packets extended }\ndecoder X heads at 101\n"
    plain = "signal HB shows stop as 0, slow as 4{} = X.1\n"
    said = [
        document(CROSSOVER + heads + plain.format(blinking)).plain for blinking in ("", " blinking")
    ]
    assert said[0]["timetables"] == said[1]["timetables"]
    assert said[1]["layout"]["signals"][1]["aspects"][1]["blinking"]
