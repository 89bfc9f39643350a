"""What supplies give, what is taken from them, and how long they take to recover."""

from __future__ import annotations

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from laid import laid, laid_with_warnings
from sound_layouts import compiled

from bellcrank.diagnostics import Collector, Span
from bellcrank.layout.amounts import (
    CAPACITANCE,
    CURRENT,
    LENGTH,
    RESISTANCE,
    VOLTAGE,
    Quantity,
    amount,
)
from bellcrank.layout.wire_sizes import SIZES, smallest_size, voltage_lost
from bellcrank.syntax.tree import Word
from bellcrank.timing.lists import to_set
from bellcrank.timing.pace import breaches

TRACK = """\
points P1, P2, P3
run edge WEST - A - >H - P1.toe
run P1.straight - P2.toe
run P1.diverging - <D1 - B - stop
run P2.straight - P3.toe
run P2.diverging - <D2 - C - stop
run P3.straight - <D3 - D - stop
run P3.diverging - <D4 - E - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
drive P1 = K1.1  coil 200 ms  takes 1.5 A
drive P2 = K1.2  coil 200 ms  takes 800 mA
drive P3 = K1.3  coil 200 ms  takes 1 A
"""


def supply(settings: str, track: str = TRACK):
    layout, warnings = laid_with_warnings(f"{track}supply BENCH {{ feeds K1  {settings} }}\n")
    return layout.hardware.supplies["BENCH"], [(w.code, w.message, w.hint) for w in warnings]


def test_what_a_supply_gives_is_kept_in_small_units():
    found, warnings = supply("gives 16 V, 3.5 A  fuse 3.15 A  wires 6 m")
    assert (found.millivolts, found.milliamperes, found.fuse, found.wires) == (
        16000,
        3500,
        3150,
        6000,
    )
    assert warnings == []
    assert laid(TRACK).hardware.wirings["P2"].takes == 800


@pytest.mark.parametrize(("amperes", "at_a_time"), [("1.5", 1), ("2.4", 1), ("2.5", 2), ("3.3", 3)])
def test_as_many_may_be_thrown_as_the_current_allows_whichever_they_are(amperes, at_a_time):
    found, warnings = supply(f"gives {amperes} A")
    assert (found.at_a_time, warnings) == (at_a_time, [])


def test_how_many_is_left_open_where_a_drive_does_not_say_what_it_takes():
    found, _ = supply("gives 3 A", TRACK.replace("  takes 1 A", ""))
    assert found.at_a_time is None
    assert supply("gives 16 V")[0].at_a_time is None


def test_commands_keep_to_what_the_current_allows():
    text = f"{TRACK}supply BENCH {{ feeds K1  gives AMPERES }}\n"
    total = {}
    for amperes in ("1.5 A", "4 A"):
        c = compiled(text.replace("AMPERES", amperes))
        timetable = to_set(c.layout, c.table, c.locking, "H to D")
        assert not breaches(c.layout, [(0, timetable)])
        total[amperes] = timetable.total
    assert total == {"1.5 A": 600, "4 A": 200}


@pytest.mark.parametrize(
    ("settings", "message", "hint"),
    [
        (
            "gives 2 A  two at a time",
            "BENCH gives 2 A; P1, P3 at once take 2.5 A",
            "write `1 at a time`",
        ),
        (
            "gives 1 A",
            "BENCH gives 1 A; P1 alone takes 1.5 A",
            "find a supply that gives more, or say what the drive really takes",
        ),
    ],
)
def test_more_taken_at_once_than_there_is_is_warned_of(settings, message, hint):
    assert supply(settings)[1] == [("W870", message, hint)]


def test_the_motors_of_coupled_drives_count_each():
    track = TRACK.replace("coil 200 ms  takes 1 A", "motor 2 s  takes 1 A  one at each")
    track = track.replace("drive P2 = K1.2  coil 200 ms  takes 800 mA\n", "coupled P3, P2\n")
    assert supply("gives 3.5 A", track)[0].at_a_time == 3
    found, warnings = supply("gives 1.6 A", track)
    assert found.at_a_time == 2
    assert [code for code, *_ in warnings] == ["W870"]


def test_a_fuse_that_never_blows_is_warned_of():
    assert supply("gives 2 A  fuse 2 A  one at a time")[1] == []
    ((code, _, hint),) = supply("gives 2 A  fuse 5 A  one at a time")[1]
    assert (code, hint) == ("W871", "write `fuse 2 A`, and fit one of no more than that")


def test_a_capacitor_is_charged_after_five_time_constants():
    found, warnings = supply("capacitor 4700 uF through 100 ohm  rest 2.35 s")
    assert (found.charging, warnings) == (2350, [])
    # By the law of charging: the part of the voltage that is still missing then.
    assert math.exp(-found.charging / 1000 / (4700e-6 * 100)) < 0.01
    for rest in ("", "  rest 2 s"):
        ((code, _, hint),) = supply(f"capacitor 4700 \u00b5F through 0.1 kohm{rest}")[1]
        assert (code, hint) == ("W872", "write `rest 2.35 s`")


# --------------------------------------------------------------------- amounts

QUANTITIES = (VOLTAGE, CURRENT, CAPACITANCE, RESISTANCE, LENGTH)


def read(text: str, quantity: Quantity) -> tuple[int | None, list[str | None]]:
    found = Collector()
    value = amount(Word(Span("x", 1, 1, 1, len(text) + 1), text), quantity, found)
    return value, [d.hint for d in found.diagnostics]


@given(st.sampled_from(QUANTITIES), st.data())
def test_an_amount_is_what_its_figures_and_unit_say(quantity: Quantity, data: st.DataObject):
    unit = data.draw(st.sampled_from(list(quantity.units)))
    figures = data.draw(st.decimals(min_value="0.1", max_value="9999", places=1))
    value, hints = read(f"{figures} {unit}", quantity)
    size = Decimal(quantity.units[unit]) * figures
    if quantity.low <= int(size.to_integral_value()) <= quantity.high:
        assert value is not None and abs(value - size) <= Decimal("0.5")
        assert hints == []
    else:
        assert value is None and len(hints) == 1


@pytest.mark.parametrize(
    ("text", "quantity", "hint"),
    [
        ("16 volts", VOLTAGE, "write `16 V`"),
        ("16 v", VOLTAGE, "write `16 V`"),
        ("3 amps", CURRENT, "write `3 A`"),
        ("4700 \u00b5f", CAPACITANCE, "write `4700 uF`"),
        ("6 metres", LENGTH, "write `6 m`"),
    ],
)
def test_a_unit_spelt_another_way_is_put_right(text: str, quantity: Quantity, hint: str):
    assert read(text, quantity) == (None, [hint])


def test_mains_is_not_taken():
    assert read("230 V", VOLTAGE)[0] is None


# ------------------------------------------------------------------- wire sizes


def test_a_wire_by_hand():
    # 6 m there and back, 2 A, 0.75 mm²: 12 m / (58 * 0.75) = 0.2759 ohm, 0.5517 V.
    assert float(voltage_lost(6000, 2000, 75)) == pytest.approx(551.7, abs=0.1)
    assert smallest_size(6000, 2000, 16000) == 50
    assert smallest_size(6000, 2000, 5000) == 100
    assert smallest_size(100_000, 10_000, 5000) is None


@given(st.integers(10, 100_000), st.integers(1, 10_000), st.integers(1000, 50_000))
def test_the_size_is_the_smallest_that_does(length: int, current: int, voltage: int):
    found = smallest_size(length, current, voltage)
    for size in SIZES:
        lost = current * 2 * length / 1000 / 58 / (size / 100)  # by Ohm's law, in millivolts
        if lost < voltage * 0.0999:
            assert found is not None and found <= size
        elif lost > voltage * 0.1001:
            assert found is None or found > size
