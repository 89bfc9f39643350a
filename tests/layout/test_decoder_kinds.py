"""What a layout says of a kind of decoder, of numbering and of packets."""

from __future__ import annotations

from typing import Any

import pytest
from laid import laid
from sound_layouts import undecided

from bellcrank.diagnostics import Collector
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED
from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.declared_names import Names
from bellcrank.layout.kinds import build_kinds
from bellcrank.layout.layout_model import Aspect, DecoderKind, OutputRef
from bellcrank.syntax import tree as t
from bellcrank.syntax.load import load_text

TRACK = "run edge WEST - A - >H - B - >J - C - stop\n"

JUNCTION = """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
"""


def kind(settings: str) -> DecoderKind:
    text = TRACK + f"decoder kind box {{ {settings} }}\ndecoder K box at 8\n"
    return laid(text).hardware.decoders["K"].kind


def kind_of(settings: str) -> DecoderKind:
    """A kind alone, of which no decoder is made."""
    text = f"{TRACK}decoder kind box {{ {settings} }}"
    (line,) = load_text(text, "x")[0].of(t.DecoderKindLine)
    found = Collector()
    made = build_kinds([line], Names(found))["box"]
    assert made is not None, found.result()
    return made


def codes(text: str) -> list[str]:
    return [d.code for d in build_layout(load_text(text, "x")[0])[1]]


def hardware_of(text: str) -> dict[str, Any]:
    data: dict[str, Any] = build_document(undecided(text), SPARED).plain["hardware"]
    return data


# ------------------------------------------------------------------- numbering


@pytest.mark.parametrize(("line", "first"), [("", None), ("0", 0), ("1", 1), ("one", 1)])
def test_the_layout_says_from_which_decoder_packets_count(line: str, first: int | None):
    text = TRACK + (f"numbering from decoder {line}" if line else "")
    assert laid(text).hardware.first_decoder == first
    assert hardware_of(text)["first_decoder"] == first


def test_packets_count_from_nought_or_one_and_the_layout_says_so_once():
    assert codes(TRACK + "numbering from decoder 2") == ["E608"]
    assert codes(TRACK + "numbering from decoder 0\nnumbering from decoder 0") == ["E107"]


# -------------------------------------------------------------------- switches


def test_weights_are_kept_in_the_order_of_the_switches():
    assert kind("outputs 1  switches 4  weights 8, 4, 2, 1").weights == (8, 4, 2, 1)
    assert kind("outputs 1  switches 4").weights == ()


def test_a_switch_that_is_not_for_the_address_counts_nothing_whatever_its_weight():
    for settings in (
        "switches 5  switch 5 off  switch 2 on",
        "switches 5  weights 1, 2, 4, 8, 16  switch 2 on  switch 5 off",
        "switches 5  weights 1, 0, 4, 8, 0  switch 2 on  switch 5 off",
    ):
        box = kind(f"outputs 1  {settings}")
        assert box.weights == (1, 0, 4, 8, 0)
        assert box.fixed == {2: True, 5: False}
        assert box.switches_for(13) == (True, True, True, True, False)
        assert box.switches_for(2) is None


@pytest.mark.parametrize(
    ("settings", "code"),
    [
        ("switches 3  weights 1, 2", "E607"),
        ("switches 3  weights 1, 2, 4, 8", "E607"),
        ("weights 1, 2", "E607"),
        ("switches 2  weights 1, 0", "E608"),
        ("switches 2  weights 1, x", "E608"),
        ("switches 2  weights 1, 70000", "E608"),
        ("switch 1 on", "E607"),
        ("switches 2  switch 3 on", "E608"),
        ("switches 2  switch 0 on", "E608"),
        ("switches 2  switch 2 up", "E607"),
        ("switches 2  switch two on  switch 2 off", "E607"),
        ("counts groups", "E607"),
        ("counts outputs of four", "E607"),
        ("counts groups of none", "E608"),
        ("switches 8  counts groups of four  from 0 at 6", "E607"),
        ("from x", "E608"),
        ("rotary 3 octal", "E607"),
        ("rotary 6 decimal", "E608"),
        ("rotary 2 decimal  switches 4", "E607"),
        ("rotary 2 decimal  inverted", "E607"),
        ("rotary 2 decimal  weights 1", "E607"),
        ("packets long", "E607"),
        ('terminals blue "A%"', "E607"),
        ('terminals green " "', "E607"),
        ('terminals green "A"', "E607"),
    ],
)
def test_a_kind_that_does_not_add_up_is_refused(settings: str, code: str):
    text = TRACK + f"decoder kind box {{ outputs 4  {settings} }}\ndecoder K box at 8\n"
    assert codes(text) == [code]


def test_an_address_that_no_choice_of_weights_adds_up_to_is_refused_with_its_neighbours():
    text = (
        TRACK + "decoder kind box { outputs 1  switches 3  weights 5, 7, 30 }\ndecoder K box at 9"
    )
    (found,) = build_layout(load_text(text, "x")[0])[1]
    assert found.code == "E605"
    assert found.message.endswith("no choice of 5, 7, 30 adds up to 9")
    assert found.expected == "7 or 12"


@pytest.mark.parametrize("outputs", [1, 2, 4, 8, 16])
def test_switches_may_count_groups_of_four_whatever_the_number_of_outputs(outputs: int):
    box = kind_of(f"outputs {outputs}  switches 8  counts groups of four  from 0")
    assert [box.value_for(n) for n in (1, 5, 9, 13, 1017)] == [0, 1, 2, 3, 254]
    assert [n for n in range(1, 40) if n in set(box.addresses())] == list(range(1, 40, 4))


@pytest.mark.parametrize(
    ("settings", "shown"),
    [
        ("from 0 at 9", {9: 0, 10: 1, 72: 63}),
        ("from 40", {1: 40, 24: 63}),
        ("from 5 at 3", {1: 3, 3: 5}),
        ("counts groups of four  from 0 at 41", {41: 0, 45: 1}),
    ],
)
def test_switches_may_begin_anywhere(settings: str, shown: dict[int, int]):
    box = kind_of(f"outputs 1  switches 6  {settings}")
    addresses = box.addresses()
    for address, value in shown.items():
        bank = box.switches_for(address)
        assert bank is not None
        assert sum(2**k for k, on in enumerate(bank) if on) == value
    values = [box.value_for(a) for a in addresses]
    assert all(v is not None and 0 <= v <= 63 for v in values)
    assert min(shown) == addresses[0] or shown[min(shown)] > 0


def test_each_rotary_switch_shows_a_digit():
    text = TRACK + (
        "decoder kind tens { outputs 4  rotary 3 decimal }\n"
        "decoder kind hex { outputs 4  rotary 2 hexadecimal  counts groups of four  from 0 }\n"
        "decoder kind back { outputs 1  rotary 2 decimal  weights 1, 10 }\n"
        "decoder T tens at 407\ndecoder X hex at 241\ndecoder Y back at 38\n"
    )
    banks = [d["rotary_bank"] for d in hardware_of(text)["decoders"]]
    assert [[r["shows"] for r in bank] for bank in banks] == [
        ["4", "0", "7"],
        ["3", "C"],
        ["8", "3"],
    ]
    assert [r["counts"] for r in banks[1]] == [16, 1]
    assert all(not d["switch_bank"] for d in hardware_of(text)["decoders"])


def test_an_address_of_more_digits_than_there_are_is_refused_with_its_neighbours():
    text = TRACK + "decoder kind box { outputs 1  rotary 2 decimal }\ndecoder K box at 100"
    (found,) = build_layout(load_text(text, "x")[0])[1]
    assert (found.code, found.expected) == ("E605", "at most 99")


# ------------------------------------------------------------------- terminals


def test_terminals_are_told_for_every_output_with_its_number():
    text = TRACK + (
        'decoder kind box { outputs 2  terminals common "C", red "B%", green "A%" }\n'
        "decoder kind bare { outputs 1 }\ndecoder K box at 8\ndecoder L bare at 3\n"
    )
    box, bare = hardware_of(text)["decoders"]
    assert box["terminals"] == [
        {"output": 1, "green": "A1", "red": "B1", "common": "C"},
        {"output": 2, "green": "A2", "red": "B2", "common": "C"},
    ]
    assert bare["terminals"] == [{"output": 1, "green": None, "red": None, "common": None}]


def test_one_output_needs_no_number_at_its_terminals():
    box = kind('outputs 1  terminals green "left", red "right"')
    assert box.terminals == {"green": "left", "red": "right"}


# --------------------------------------------------------------------- packets

HEADS = "decoder kind heads { outputs 4  packets extended }\ndecoder K heads at 101\n"
LAMPS = "decoder kind lamps { outputs 4  packets basic }\ndecoder L lamps at 1\n"
NOUGHT = OutputRef("K", 2)


@pytest.mark.parametrize(
    ("line", "values"),
    [
        ("signal H = K.2", {"stop": 0, "proceed": 1}),
        ("signal H shows stop, caution, clear = K.2", {"stop": 0, "caution": 1, "clear": 2}),
        ("signal H shows stop as 0, slow as 255, go as 7 = K.2", {"stop": 0, "slow": 255, "go": 7}),
        (
            "signal H shows stop, slow as 16, clear as two = K.2",
            {"stop": 0, "slow": 16, "clear": 2},
        ),
    ],
)
def test_one_output_for_extended_packets_shows_every_aspect_by_its_value(
    line: str, values: dict[str, int]
):
    """The value is one byte and 0 is stop: NMRA S-9.2.1, extended accessory packet."""
    assert laid(TRACK + HEADS + line).signals["H"].aspects == tuple(
        Aspect(name, NOUGHT, None, value) for name, value in values.items()
    )


def test_commands_carry_the_value_in_place_of_a_side():
    data = build_document(undecided(TRACK + HEADS + "signal H shows stop, go as 9 = K.2"), SPARED)
    told = [(c.state, c.number, c.side, c.value, c.how) for c in data.commands]
    assert ("stop", 102, None, 0, "output") in told
    assert ("go", 102, None, 9, "output") in told
    assert ("proceed", None, None, None, "by hand") in told  # J is not wired


@pytest.mark.parametrize(
    "line",
    [
        "drive P1 = K.1",
        "drive P1 = heads",
        "drive P1 by hand\nsignal H shows stop, caution, clear = L.1",
        "drive P1 by hand\nsignal H shows stop, caution, clear = lamps",
        "drive P1 by hand\nsignal H shows stop, clear as 4 = L.1",
        "drive P1 by hand\nsignal H shows stop, clear as 4",
        "drive P1 by hand\nsignal H shows stop at L.1 red, clear as 4 at L.1 green",
        "drive P1 by hand\nsignal H shows stop at K.1 red, clear",
    ],
)
def test_what_a_decoder_does_not_listen_to_is_refused(line: str):
    assert codes(JUNCTION + HEADS + LAMPS + line) == ["E612"]


def test_every_output_of_a_wrong_kind_is_told():
    text = JUNCTION + HEADS + LAMPS + "drive P1 = K.1, K.2\n"
    assert codes(text) == ["E612", "E612"]


@pytest.mark.parametrize(
    ("aspects", "code"),
    [
        ("stop as 1, clear as 2", "E322"),
        ("stop, slow as 3, clear", "E322"),
        ("stop, slow as 3, clear as 3", "E322"),
        ("stop, slow as 0", "E322"),
        ("stop, slow as 256", "E608"),
        ("stop, slow as x", "E608"),
        (", ".join(["stop", *(f"a{n}" for n in range(256))]), "E322"),
    ],
)
def test_values_that_do_not_fit_are_refused(aspects: str, code: str):
    assert codes(TRACK + HEADS + f"signal H shows {aspects} = K.2") == [code]


def test_as_many_aspects_as_a_byte_has_values_are_shown():
    names = ["stop", *(f"a{n}" for n in range(255))]
    signal = laid(TRACK + HEADS + f"signal H shows {', '.join(names)} = K.2").signals["H"]
    assert [a.value for a in signal.aspects] == list(range(256))


def test_two_signals_cannot_share_an_output_for_extended_packets():
    assert codes(TRACK + HEADS + "signal H = K.2\nsignal J = K.2") == ["E602"]


def test_one_output_for_all_aspects_and_one_of_their_own_do_not_go_together():
    assert codes(TRACK + LAMPS + "signal H shows stop at L.1 red, clear = L.2") == ["E322"]


# ---------------------------------------------------------------------- drives


def test_a_drive_says_when_it_lies_when_it_is_cool_and_what_its_wires_are_called():
    text = JUNCTION + LAMPS
    text += (
        'drive P1 = L.1  coil 200 ms  wires "white", "brown", "black"  rests 2 s  settles 300 ms'
    )
    wiring = laid(text).hardware.wirings["P1"]
    assert (wiring.settles, wiring.rests) == (300, 2000)
    assert wiring.wires == ("white", "brown", "black")
    (drive,) = build_document(undecided(text), SPARED).plain["layout"]["drives"]
    assert (drive["settles_milliseconds"], drive["rests_milliseconds"]) == (300, 2000)
    assert drive["wires"] == ["white", "brown", "black"]


@pytest.mark.parametrize("wires", ['"a"', '"a", "b"', '"a", "b", "c", "d"', '"a", " ", "c"'])
def test_there_is_a_wire_for_each_position_and_a_common_one(wires: str):
    assert codes(JUNCTION + LAMPS + f"drive P1 = L.1  wires {wires}") == ["E609"]


@pytest.mark.parametrize(
    ("options", "code"),
    [
        ("coil 500 ms", []),
        ("coil 501 ms", ["E611"]),
        ("coil 300 ms  rests 300 ms", []),
        ("coil 300 ms  rests 299 ms", ["E611"]),
        ("coil 600 ms  rests 599 ms", ["E611", "E611"]),
        ("motor 3 s  rests 1 s", []),
        ("coil 200 ms  rests 20", ["E606"]),
        ("coil 200 ms  settles 20", ["E606"]),
    ],
)
def test_a_coil_that_would_overheat_is_an_error(options: str, code: list[str]):
    """Pulses of 100 to 500 ms: common practice."""
    assert codes(JUNCTION + LAMPS + f"drive P1 = L.1  {options}") == code


EXTENDED = TRACK + "decoder kind panel { outputs 4  packets extended }\ndecoder K panel at 8\n"


@pytest.mark.parametrize("value", ["256", "sixteen", "4x", "0x10", "9" * 5_000, "²"])
@pytest.mark.parametrize("output", ["K.1", "panel"])
def test_a_value_that_no_packet_carries_is_refused_in_words(value: str, output: str):
    text = EXTENDED + f"signal H shows stop as 0, clear as {value} = {output}\n"
    (found,) = build_layout(load_text(text, "x")[0])[1]
    assert found.code == "E608"
    assert found.expected == "a whole number from 0 to 255"


@pytest.mark.parametrize(
    "aspects", ["stop as 1, clear as 2", "stop, clear as 0", "stop, caution, clear as 2"]
)
def test_values_that_do_not_fit_are_refused_in_words(aspects: str):
    assert codes(EXTENDED + f"signal H shows {aspects} = K.1\n") == ["E322"]


# -------------------------------------------------------------- pulses and lamps


def test_unless_it_is_said_coils_and_lamps_are_switched_off_by_commands():
    assert (kind("outputs 4").pulses, kind("outputs 4").lamps) == ("held", "alone")


@pytest.mark.parametrize("pulses", ["held", "timed"])
@pytest.mark.parametrize("lamps", ["alone", "paired", "grouped"])
def test_a_kind_says_what_its_decoders_switch_off_by_themselves(pulses: str, lamps: str):
    box = kind(f"outputs 4  lamps {lamps}  pulses {pulses}")
    assert (box.pulses, box.lamps) == (pulses, lamps)


@pytest.mark.parametrize(
    ("setting", "hint"), [("pulses timd", "timed"), ("lamps groupd", "grouped")]
)
def test_what_a_decoder_cannot_do_by_itself_is_refused_with_the_word_that_is_meant(
    setting: str, hint: str
):
    layout = TRACK + f"decoder kind odd {{ outputs 4  {setting} }}\n"
    (found,) = build_layout(load_text(layout, "x")[0])[1]
    assert found.code == "E607"
    assert found.hint is not None and hint in found.hint


def test_a_coil_is_held_unless_the_decoder_ends_its_pulse():
    for setting, held in (("held", True), ("timed", False)):
        text = JUNCTION + f"decoder kind box {{ outputs 4  pulses {setting} }}\n"
        text += "decoder K box at 1\ndrive P1 = K.1  coil 200 ms\nsignal H = K.2\n"
        commands = build_document(undecided(text), SPARED).commands
        assert {c.held for c in commands if c.device == "drive"} == {held}
        assert {c.held for c in commands if c.device == "signal"} == {False}
