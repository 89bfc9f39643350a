"""Decoders that are set by configuration variables, or that learn their numbers."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sound_layouts import undecided

from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED
from bellcrank.hardware.packet_bytes import variable_write
from bellcrank.layout.build_layout import build_layout
from bellcrank.syntax.load import load_text

JUNCTION = """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
"""


TIMED = "outputs 4  set by variables  on times from variable 3 in steps of 10 ms"


def decoder(settings: str, address: int, more: str = "numbering from decoder 1\n") -> Any:
    text = f"{JUNCTION}{more}decoder kind box {{ {settings} }}\ndecoder K box at {address}\n"
    return build_document(undecided(text), SPARED).plain["hardware"]["decoders"][0]


def holds(settings: str, address: int, more: str = "numbering from decoder 1\n") -> dict[int, int]:
    return {v["number"]: v["value"] for v in decoder(settings, address, more)["variables"]}


def found(settings: str, address: int = 1, more: str = "numbering from decoder 1\n") -> Any:
    text = f"{JUNCTION}{more}decoder kind box {{ {settings} }}\ndecoder K box at {address}\n"
    return build_layout(load_text(text, "x")[0])[1]


# ------------------------------------------------------------------- addresses


@pytest.mark.parametrize("first", [0, 1])
@pytest.mark.parametrize("address", [1, 5, 253, 257, 1021, 2033])
def test_the_address_is_that_of_the_packets_to_its_outputs(address: int, first: int) -> None:
    """Six low bits in variable 1, three high ones in 9: read again as a decoder would."""
    said = holds("outputs 4  set by variables", address, f"numbering from decoder {first}\n")
    assert said[1] < 64
    assert said[9] < 8
    assert said[29] == 0b1000_0000
    # The decoder with outputs 1 to 4 bears the number that the layout states.
    assert ((said[9] << 6 | said[1]) - first) * 4 + 1 == address


@pytest.mark.parametrize("address", [1, 6, 255, 256, 257, 2040])
def test_an_output_has_eight_low_bits_and_three_high_ones(address: int) -> None:
    said = holds("outputs 1  set by variables  counts outputs", address)
    assert said[9] * 256 + said[1] == address
    assert said[29] == 0b1100_0000


def test_a_decoder_for_extended_packets_says_so_in_variable_29() -> None:
    assert holds("outputs 4  set by variables  packets extended", 5)[29] == 0b1010_0000


def test_variables_of_an_address_that_are_stated_are_no_standard_ones() -> None:
    said = holds("outputs 4  set by variables  address variables 120, 121  variable 33 = 2", 261)
    assert said == {33: 2, 120: 2, 121: 1}


def test_what_else_stands_in_variable_29_may_be_stated_and_has_no_packet() -> None:
    settings = "outputs 4  set by variables  variable 29 = 136"
    assert holds(settings, 5)[29] == 136
    (own,) = (v for v in decoder(settings, 5)["variables"] if v["number"] == 29)
    assert (own["what"], own["packet"]) == ("configuration", None)


@pytest.mark.parametrize(
    ("settings", "value", "right"),
    [
        ("outputs 4  set by variables", 8, 136),
        ("outputs 1  set by variables  counts outputs", 136, 200),
        ("outputs 4  set by variables  packets extended", 128, 160),
    ],
)
def test_another_way_of_addressing_than_the_layout_says_is_refused(
    settings: str, value: int, right: int
) -> None:
    (said,) = found(f"{settings}  variable 29 = {value}")
    assert said.code == "E607"
    assert said.expected == f"such as {right}, or no line for this variable"
    assert found(f"{settings}  variable 29 = {right}") == ()


def test_one_variable_said_twice_is_one_mistake() -> None:
    twice = "outputs 4  set by variables  variable 33 = 2  variable 33 = 3"
    text = f"{JUNCTION}numbering from decoder 1\ndecoder kind box {{ {twice} }}\n"
    program, unread = load_text(text, "x")
    assert [d.code for d in (*unread, *build_layout(program)[1])] == ["E107"]


BENCH = (
    JUNCTION
    + """\
numbering from decoder 1
decoder kind box { outputs 8  set by variables  on times from variable 33 in steps of 150 ms }
decoder K box at 1
drive P1 = K.1  coil 300 ms
frog P1 = K.3
signal H = K.4
output GONG = K.5 green  coil 450 ms
output LIGHT = K.6
"""
)


def test_every_coil_has_its_time_and_what_stays_on_is_not_switched_off() -> None:
    hardware = build_document(undecided(BENCH), SPARED).plain["hardware"]
    times = {
        v["output"]: v["value"]
        for v in hardware["decoders"][0]["variables"]
        if v["what"] == "on time"
    }
    assert times == {1: 2, 3: 0, 4: 0, 5: 3, 6: 0}


def test_the_pulse_that_the_steps_make_is_the_one_that_counts() -> None:
    text = BENCH.replace("coil 300 ms", "coil 200 ms").replace("coil 450 ms", "coil 310 ms")
    layout, said = build_layout(load_text(text, "x")[0])
    assert [(d.code, d.hint) for d in said] == [
        ("W882", "write `coil 300 ms`, or give the decoder shorter steps if it has them"),
        ("W882", "write `coil 450 ms`, or give the decoder shorter steps if it has them"),
    ]
    assert layout.hardware.wirings["P1"].milliseconds == 300
    assert layout.hardware.outputs["GONG"].milliseconds == 450
    assert build_layout(load_text(BENCH, "x")[0])[1] == ()


def test_a_pulse_of_an_output_that_no_step_makes_is_refused() -> None:
    (said,) = build_layout(load_text(BENCH.replace("450 ms", "460 ms"), "x")[0])[1]
    assert (said.code, said.expected) == ("E611", "at most 450 ms")


@pytest.mark.parametrize("step", ["1.5 ms", "0.0015 s"])
def test_a_step_that_is_no_whole_number_of_milliseconds_is_refused(step: str) -> None:
    (said,) = found(f"outputs 4  set by variables  on times from variable 3 in steps of {step}")
    assert said.code == "E606" and "whole number of milliseconds" in said.message


@pytest.mark.parametrize(
    ("settings", "code"),
    [
        ("outputs 4  set by variables  switches 4", "E607"),
        ("outputs 4  set by variables  rotary 3 decimal", "E607"),
        ("outputs 4  set by variables  learns decoder", "E607"),
        ("outputs 4  learns outputs  switches 4", "E607"),
        ("outputs 4  learns everything", "E607"),
        ("outputs 4  variable 3 = 4", "E607"),
        ("outputs 4  address variables 1, 9", "E607"),
        ("outputs 4  set by variables  address variables 1, 1", "E607"),
        ("outputs 4  set by variables  address variables 0, 1", "E608"),
        ("outputs 4  set by variables  variable 1 = 4", "E607"),
        ("outputs 4  set by variables  variable 33 = 256", "E608"),
        ("outputs 4  set by variables  variable 33 = 1  variable 33 = 2", "E107"),
        ("outputs 8  set by variables  on times from variable 3 in steps of 10 ms", "E607"),
        ("outputs 4  set by variables  on times from variable 3 in steps of 2 s", "E606"),
        (f"{TIMED}  pulses held", "E607"),
        ("outputs 8  set by variables  counts decoders", "E607"),
    ],
)  # fmt: skip
def test_a_kind_that_does_not_add_up_is_refused_once(settings: str, code: str) -> None:
    text = f"{JUNCTION}numbering from decoder 1\ndecoder kind box {{ {settings} }}\n"
    program, unread = load_text(text, "x")
    told = [d.code for d in unread or build_layout(program)[1]]
    assert told == [code]


def test_without_numbering_nobody_knows_what_variables_must_hold() -> None:
    (told,) = found("outputs 4  set by variables", more="")
    assert (told.code, told.span.column) == ("E607", 31)
    assert "numbering from decoder" in told.expected
    assert holds("outputs 4  set by variables  from 7", 9, more="")[1] == 9


def test_an_address_that_variables_cannot_hold_is_refused_with_its_neighbours() -> None:
    (told,) = found("outputs 4  set by variables", 6)
    assert (told.code, told.expected) == ("E605", "5 or 9")
    (told,) = found("outputs 1  set by variables  counts outputs", 2, "numbering from decoder 0\n")
    assert (told.code, told.expected) == ("E605", "at least 4")


# ----------------------------------------------------------------------- times


@pytest.mark.parametrize(("pulse", "step", "steps"), [(200, 10, 20), (201, 10, 21), (255, 1, 255)])
def test_a_pulse_lasts_as_many_steps_as_it_needs(pulse: int, step: int, steps: int) -> None:
    more = f"numbering from decoder 1\ndrive P1 = K.2  coil {pulse} ms\n"
    box = f"outputs 4  set by variables  on times from variable 3 in steps of {step} ms"
    assert holds(box, 5, more) == {1: 2, 4: steps, 9: 0, 29: 128}
    assert decoder(box, 5, more)["pulses"] == "timed"


def test_a_pulse_that_no_variable_holds_is_refused() -> None:
    box = "outputs 4  set by variables  on times from variable 3 in steps of 1 ms"
    (told,) = found(box, 5, "numbering from decoder 1\ndrive P1 = K.2  coil 256 ms\n")
    assert (told.code, told.expected) == ("E611", "at most 255 ms")
    box = "outputs 4  set by variables  on times from variable 3 in steps of 600 ms"
    (told,) = found(box, 5, "numbering from decoder 1\ndrive P1 = K.2  coil 200 ms\n")
    assert (told.code, told.expected) == ("E611", "a kind of decoder with shorter steps")


# --------------------------------------------------------------------- packets


@given(
    st.integers(1, 2040),
    st.integers(1, 1024),
    st.integers(0, 255),
    st.sampled_from(["decoder", "output", "extended"]),
    st.integers(0, 1),
)
def test_a_packet_that_writes_a_variable_has_the_form_of_the_standard(
    number: int, variable: int, value: int, way: str, first: int
) -> None:
    """10AAAAAA 1AAACDDD 1110CCVV VVVVVVVV DDDDDDDD EEEEEEEE of NMRA S-9.2.1, and 0AAA0AA1 in
    place of the second byte on extended decoders (from memory), put together as text."""
    said = variable_write(
        number,
        variable,
        value,
        of_output=way == "output",
        extended=way == "extended",
        first_decoder=first,
    )
    nine = f"{(number - 1) // 4 + first:09b}"
    two = f"{(number - 1) % 4:02b}"
    high = "".join("10"[int(bit)] for bit in nine[:3])
    second = {
        "decoder": f"1{high}0000",  # CDDD is nought: the whole decoder
        "output": f"1{high}1{two}0",
        "extended": f"0{high}0{two}1",
    }[way]
    ten = f"{variable - 1:010b}"
    rows = [f"10{nine[3:]}", second, f"111011{ten[:2]}", ten[2:], f"{value:08b}"]
    rows.append("".join("01"[sum(row[k] == "1" for row in rows) % 2] for k in range(8)))
    assert " ".join(f"{byte:08b}" for byte in said) == " ".join(rows)


def test_only_what_leaves_the_address_alone_has_a_packet() -> None:
    more = "numbering from decoder 1\ndrive P1 = K.2  coil 200 ms\n"
    box = decoder(f"{TIMED}  variable 33 = 2", 5, more)
    packets = {v["number"]: v["packet"] for v in box["variables"]}
    assert packets == {
        1: None,
        4: "82 F0 EC 03 14 89",
        9: None,
        29: None,
        33: "82 F0 EC 20 02 BC",
    }
    assert [v["output"] for v in box["variables"]] == [None, 2, None, None, None]


def test_without_numbering_there_are_no_packets() -> None:
    box = decoder("outputs 4  set by variables  from 1  variable 33 = 2", 5, "")
    assert [v["packet"] for v in box["variables"]] == [None] * 4


# -------------------------------------------------------------------- learning


def test_a_decoder_learns_its_first_number_or_each() -> None:
    assert decoder("outputs 4  learns decoder", 21)["learning"] == [{"output": 1, "number": 21}]
    assert decoder("outputs 2  learns outputs", 21)["learning"] == [
        {"output": 1, "number": 21},
        {"output": 2, "number": 22},
    ]
    assert decoder("outputs 2", 21)["learning"] == []


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (
            "output BELL = K.5 red  coil 150 ms\n",
            "GONG is to be on for 450 ms, and BELL is to be on for 150 ms",
        ),
        (
            "output GLOW = K.5 red\n",
            "GONG is to be on for 450 ms, and GLOW is to stay on",
        ),
    ],
)
def test_two_times_for_one_output_are_refused(lines: str, message: str) -> None:
    (said,) = build_layout(load_text(BENCH + lines, "x")[0])[1]
    told = f"K.5 has one time for both its sides: {message}"
    assert (said.code, said.message) == ("E615", told)
    assert build_layout(load_text(BENCH + "output BELL = K.5 red  coil 450 ms\n", "x")[0])[1] == ()
