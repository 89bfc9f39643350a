"""Hardware: decoders and their switches, drives, signals and supplies."""

from __future__ import annotations

import pytest
from cpu_time import within
from laid import laid
from sound_layouts import undecided

import bellcrank
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED
from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.layout_model import Aspect, OutputRef
from bellcrank.syntax.load import load_text

TRACK = "run edge WEST - A - >H - B - stop\n"

JUNCTION = """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
"""

QUADS = "decoder kind quad { outputs 4 }\ndecoder K1 quad at 1\ndecoder K2 quad at 5\n"


def test_a_layout_needs_no_hardware():
    hardware = laid(JUNCTION).hardware
    assert (hardware.decoders, hardware.wirings, hardware.supplies) == ({}, {}, {})


# -------------------------------------------------------------------- decoders


def test_a_kind_of_decoder_counts_outputs_from_one_over_the_whole_range_if_nothing_is_said():
    kind = laid(TRACK + QUADS).hardware.decoders["K1"].kind
    assert (kind.outputs, kind.switches, kind.counts, kind.first) == (4, 0, "outputs", 1)
    assert (kind.inverted, kind.low, kind.high) == (False, 1, 2040)


def test_every_setting_of_a_kind_may_be_said_in_figures_or_words_on_one_line_or_many():
    one_line = "{ outputs four  switches 8  counts decoders  from 0  inverted  range 1 to 1020 }"
    many = "{\n  outputs 4\n  switches eight\n  counts decoders  # by their papers\n" \
        "  from zero\n  inverted\n  range one to 1020\n}"  # fmt: skip
    for text in (one_line, many):
        kind = (
            laid(TRACK + f"decoder kind quad {text}\ndecoder K1 quad at 21")
            .hardware.decoders["K1"]
            .kind
        )
        assert (kind.outputs, kind.switches, kind.counts, kind.first) == (4, 8, "decoders", 0)
        assert (kind.inverted, kind.low, kind.high) == (True, 1, 1020)


@pytest.mark.parametrize(
    ("settings", "last"),
    [
        # Nine switches show 0 to 511. Switch k weighs 2^(k-1) (common practice).
        ("outputs 1  switches 9", 511),
        ("outputs 1  switches 9  from 0", 512),
        ("outputs 4  switches 9", 511),
        # Whole decoders: number 1, 5, 9 and so on; decoder 511 begins at 2041,
        # beyond the numbers that there are, so five switches: 31, or 32 from 0.
        ("outputs 4  switches 5  counts decoders", 30 * 4 + 1),
        ("outputs 4  switches 5  counts decoders  from 0", 31 * 4 + 1),
        ("outputs 4  switches 5  counts decoders  from 0  inverted", 31 * 4 + 1),
        # No switches: set otherwise, so only the range counts.
        ("outputs 1", 2040),
        ("outputs 4", 2037),
        ("outputs 4  range 100 to 199", 196),
    ],
)
def test_the_last_address_that_a_kind_can_have_follows_from_its_settings(settings: str, last: int):
    kind = f"decoder kind box {{ {settings} }}\n"
    assert laid(TRACK + kind + f"decoder K1 box at {last}").hardware.decoders["K1"].address == last
    step = 4 if "decoders" in settings else 1
    with pytest.raises(AssertionError, match=r"E60[45]"):
        laid(TRACK + kind + f"decoder K1 box at {last + step}")


def test_decoders_may_stand_close_to_one_another():
    decoders = laid(TRACK + QUADS).hardware.decoders
    assert [(d.name, d.address) for d in decoders.values()] == [("K1", 1), ("K2", 5)]


# ---------------------------------------------------------------------- drives


@pytest.mark.parametrize(
    ("said", "action", "milliseconds"),
    [
        ("", None, None),
        ("coil 200 ms", "coil", 200),
        ("coil 200ms", "coil", 200),
        ("coil 0.2 s", "coil", 200),
        ("motor 3 s", "motor", 3000),
        ("servo 1500 ms", "servo", 1500),
        ("servo 1.5 s", "servo", 1500),
    ],
)
def test_a_drive_is_a_coil_a_motor_or_a_servo_with_its_time(
    said: str, action: str | None, milliseconds: int | None
):
    wiring = laid(JUNCTION + QUADS + f"drive P1 = K1.2  {said}").hardware.wirings["P1"]
    assert wiring.outputs == (OutputRef("K1", 2),)
    assert (wiring.action, wiring.milliseconds) == (action, milliseconds)
    assert not wiring.crossed


@pytest.mark.parametrize("options", ["crossed detected", "detected crossed"])
def test_a_drive_may_be_crossed_and_detected_in_either_order(options: str):
    layout = laid(JUNCTION + QUADS + f"drive P1 = K1.1 coil 200 ms {options}")
    assert layout.hardware.wirings["P1"].crossed
    assert layout.drives["P1"].detected


def test_a_drive_by_hand_has_no_output():
    assert laid(JUNCTION + "drive P1 by hand").hardware.wirings["P1"].outputs == ()


@pytest.mark.parametrize(
    ("line", "detected"),
    [
        ("", False),
        ("drive P1 = K1.1", False),
        ("drive P1 = K1.1 detected", True),
        ("drive P1 by hand", False),
        ("drive P1 by hand detected", True),
        ("drive P1 detected", True),
    ],
)
def test_a_drive_reports_where_it_lies_if_it_is_said_to_be_detected(line: str, detected: bool):
    assert laid(JUNCTION + QUADS + line).drives["P1"].detected is detected


TWO_JUNCTIONS = """\
points P1, P2
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - P2.toe
run P2.straight - <S2 - C - stop
run P2.diverging - <S3 - D - stop
"""


def test_to_say_that_one_drive_reports_asks_nothing_of_the_others():
    drives = laid(TWO_JUNCTIONS + "drive P2 detected").drives
    assert {name: d.detected for name, d in drives.items()} == {"P1": False, "P2": True}


@pytest.mark.parametrize("other", ["drive P1 = K1.1", "drive P1 by hand"])
def test_once_a_drive_is_wired_or_by_hand_a_drive_that_only_reports_is_asked_for_more(other: str):
    program, _ = load_text(TWO_JUNCTIONS + QUADS + f"{other}\ndrive P2 detected\n", "x")
    _, (found,) = build_layout(program)
    assert (found.code, found.span.line) == ("E601", 11)
    assert found.hint == "write `drive P2 by hand detected` if nothing throws it"


def test_drives_that_are_forgotten_are_each_given_an_output_of_their_own():
    pair = "decoder kind pair { outputs 2 }\ndecoder K1 pair at 5\ndrive P1 = K1.1\n"
    third = "P3.toe\nrun P3.straight - D - stop\nrun P3.diverging - E - stop"
    points = TWO_JUNCTIONS.replace("P1, P2", "P1, P2, P3").replace("D - stop", third)
    program, _ = load_text(points + pair, "x")
    _, found = build_layout(program)
    assert [d.expected for d in found if d.code == "E601"] == [
        "a line such as `drive P2 = K1.2  coil 200 ms`",
        "a line such as `drive P3 = pair  coil 200 ms`",  # on a decoder that is added
    ]


def test_coupled_drives_report_as_one_by_the_first_name():
    crossover = """\
points PA, PB
coupled PA, PB
run edge AW - A1 - >HA - PA.toe
run PA.straight - A2 - edge AE
run edge BW - B1 - >HB - PB.straight
run PB.toe - B2 - edge BE
run PA.diverging - PB.diverging
"""
    assert laid(crossover + "drive PA detected").drives["PA"].detected
    _, (found,) = build_layout(load_text(crossover + "drive PB detected", "x")[0])
    assert (found.code, found.hint) == ("E609", "say it of PA alone")


@pytest.mark.parametrize("line", ["drive P1 by hand", "drive P1 = K1.1", "drive P1 detected"])
def test_a_drive_has_one_line(line: str):
    program, _ = load_text(JUNCTION + QUADS + f"{line}\ndrive P1 detected\n", "x")
    _, (found,) = build_layout(program)
    assert (found.code, found.span.line) == ("E202", 9)
    assert [span.line for span, _ in found.related] == [8]


@pytest.mark.parametrize(
    ("line", "silent"),
    [("", "P1, P2"), ("drive P1 detected", "P2"), ("drive P1 by hand\ndrive P2 by hand", "P1, P2")],
)
def test_of_drives_that_do_not_report_it_is_taken_for_granted_that_they_arrive(
    line: str, silent: str
):
    machine = bellcrank.compile(TWO_JUNCTIONS + line).machine
    assert machine is not None
    assert machine.assumptions["drives arrive in time"].endswith(f"({silent})")


def test_where_all_drives_report_nothing_is_taken_for_granted_of_them():
    machine = bellcrank.compile(JUNCTION + "drive P1 detected").machine
    assert machine is not None
    assert "drives arrive in time" not in machine.assumptions


def test_the_document_says_of_a_drive_without_hardware_that_it_reports():
    (drive,) = build_document(undecided(JUNCTION + "drive P1 detected"), SPARED).layout.drives
    assert (drive.detected, drive.action) == (True, None)


def test_a_drive_with_six_positions_has_three_outputs():
    names = ("one", "two", "three", "four", "five", "six")
    text = (
        "fitting turntable {\n  legs lead, " + ", ".join(f"r{n}" for n in names) + "\n"
        "  drive " + ", ".join(names) + "\n"
        + "".join(f"  way lead - r{n} when {n}\n" for n in names)
        + "}\nturntable TT\nrun edge WORKS - A - >H - TT.lead\n"
        + "".join(f"run TT.r{n} - R{n} - stop\n" for n in names)
    )  # fmt: skip
    wiring = laid(text + QUADS + "drive TT = K1.1, K1.2, K2.1").hardware.wirings["TT"]
    assert wiring.outputs == (OutputRef("K1", 1), OutputRef("K1", 2), OutputRef("K2", 1))


def test_a_long_pulse_for_a_coil_is_an_error_and_a_long_travel_of_a_servo_is_none():
    program, _ = load_text(JUNCTION + QUADS + "drive P1 = K1.1  coil 501 ms", "x")
    _, (found,) = build_layout(program)
    assert (found.code, found.severity) == ("E611", "error")
    laid(JUNCTION + QUADS + "drive P1 = K1.1  coil 500 ms")
    laid(JUNCTION + QUADS + "drive P1 = K1.1  servo 5 s")


# --------------------------------------------------------------------- signals


def test_a_signal_has_two_aspects_and_shows_stop_on_the_red_side():
    """Red is stop, green is proceed: common practice."""
    assert laid(TRACK).signals["H"].aspects == (Aspect("stop"), Aspect("proceed"))
    output = OutputRef("K1", 3)
    assert laid(TRACK + QUADS + "signal H = K1.3").signals["H"].aspects == (
        Aspect("stop", output, "red"),
        Aspect("proceed", output, "green"),
    )


def test_a_signal_with_more_aspects_has_a_side_of_an_output_for_each():
    signal = laid(
        TRACK + QUADS + "signal H shows stop at K1.1 red, caution at K1.1 green, clear at K2.4 red"
    ).signals["H"]
    assert signal.aspects == (
        Aspect("stop", OutputRef("K1", 1), "red"),
        Aspect("caution", OutputRef("K1", 1), "green"),
        Aspect("clear", OutputRef("K2", 4), "red"),
    )


def test_an_aspect_may_be_left_unwired():
    signal = laid(TRACK + QUADS + "signal H shows stop, clear at K1.1 green").signals["H"]
    assert signal.aspects == (Aspect("stop"), Aspect("clear", OutputRef("K1", 1), "green"))


def test_two_aspects_by_other_names_may_share_one_output():
    signal = laid(TRACK + QUADS + "signal H shows stop, clear = K1.1").signals["H"]
    assert [(a.name, a.side) for a in signal.aspects] == [("stop", "red"), ("clear", "green")]


def test_the_two_sides_of_one_output_may_serve_two_signals():
    layout = laid(
        JUNCTION + QUADS
        + "signal S1 shows stop, clear at K1.1 green\nsignal S2 shows stop, clear at K1.1 red\n"
    )  # fmt: skip
    assert [layout.signals[s].aspects[1].side for s in ("S1", "S2")] == ["green", "red"]


def test_a_shunt_signal_says_so():
    layout = laid(JUNCTION + QUADS + "signal S1 shunt\nsignal S2 shunt = K1.1")
    assert [s.shunt for s in layout.signals.values()] == [False, True, True]
    assert layout.signals["S2"].aspects[0].output == OutputRef("K1", 1)


# -------------------------------------------------------------------- supplies


def test_a_supply_feeds_decoders_within_its_limits():
    supply = laid(
        TRACK + QUADS + "supply BENCH { feeds K1, K2  two at a time  rest 250 ms }"
    ).hardware.supplies["BENCH"]
    assert (supply.feeds, supply.at_a_time, supply.rest) == (("K1", "K2"), 2, 250)


def test_a_supply_may_say_nothing_of_its_limits_and_its_parts_come_in_any_order():
    layout = laid(
        TRACK + QUADS + "supply ONE { feeds K1 }\nsupply TWO {\n  rest 1 s\n  feeds K2\n}"
    )
    one, two = layout.hardware.supplies.values()
    assert (one.at_a_time, one.rest) == (None, None)
    assert (two.feeds, two.rest) == (("K2",), 1000)


def test_many_clashing_decoders_are_told_in_little_time():
    text = "run edge W - A - >H - B - edge E\ndecoder kind big { outputs 256 }\n"
    text += "".join(f"decoder K{n} big at {n + 1}\n" for n in range(200))
    with within(5):
        _, found = build_layout(load_text(text, "x")[0])
    assert [d.code for d in found] == ["E603"] * 199
