"""Addresses and outputs that the layout leaves to be chosen."""

from __future__ import annotations

import gc
import time
from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from laid import laid, laid_with_warnings

from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.layout_model import Layout, OutputRef
from bellcrank.syntax.load import load_text

TRACK = "run edge WEST - A - >H - B - stop\n"

QUAD = "decoder kind quad { outputs 4 }\n"


def ladder(drives: int) -> str:
    """Points P1, P2 and so on, each on the straight leg of the one before."""
    text = f"points {', '.join(f'P{n}' for n in range(1, drives + 1))}\n"
    text += "run edge WEST - A - >H - P1.toe\n"
    for n in range(1, drives + 1):
        text += f"run P{n}.diverging - <D{n} - T{n} - stop\n"
        text += f"run P{n}.straight - " + (f"P{n + 1}.toe\n" if n < drives else "<E - U - stop\n")
    return text


def addresses(text: str) -> dict[str, int]:
    return {d.name: d.address for d in laid(text).hardware.decoders.values()}


def outputs(layout: Layout) -> dict[str, list[str]]:
    wired = {name: list(map(str, w.outputs)) for name, w in layout.hardware.wirings.items()}
    for signal in layout.signals.values():
        wired[signal.name] = [str(a.output) for a in signal.aspects if a.output]
    return wired


# ------------------------------------------------------------------- addresses


def test_a_decoder_without_an_address_gets_the_lowest_that_is_free():
    text = TRACK + QUAD + "decoder K1 quad\ndecoder K2 quad at 5\ndecoder K3 quad\n"
    assert addresses(text) == {"K1": 1, "K2": 5, "K3": 9}
    decoders = laid(text).hardware.decoders
    assert [d.assigned for d in decoders.values()] == [True, False, True]


def test_an_address_that_is_stated_is_kept_wherever_it_stands():
    text = TRACK + QUAD + "decoder K1 quad\ndecoder K2 quad at 1\n"
    assert addresses(text) == {"K1": 5, "K2": 1}


def test_an_address_is_one_that_range_and_switches_allow():
    text = TRACK + (
        "decoder kind box { outputs 2  switches 4  switch 1 off  range 5 to 99 }\n"
        "decoder K1 box\ndecoder K2 box\ndecoder K3 box\n"
    )
    assert addresses(text) == {"K1": 6, "K2": 8, "K3": 10}


def test_decoders_that_count_whole_ones_begin_where_their_switches_can():
    text = TRACK + (
        "decoder kind pair { outputs 2 }\n"
        "decoder kind quad { outputs 4  switches 4  counts decoders }\n"
        "decoder K1 pair\ndecoder K2 quad\ndecoder K3 pair\n"
    )
    assert addresses(text) == {"K1": 1, "K2": 5, "K3": 3}


def test_no_room_is_told_once_for_a_kind_with_what_is_left():
    text = TRACK + (
        "decoder kind quad { outputs 4  range 1 to 12 }\ndecoder K1 quad at 3\n"
        "decoder K2 quad\ndecoder K3 quad\ndecoder K4 quad\n"
    )
    (found,) = build_layout(load_text(text, "x")[0])[1]
    assert (found.code, found.span.line) == ("E613", 5)
    assert found.message == (
        "there is no room for K3, of the kind quad and for 1 more of its kind: of 9 addresses "
        "that it could have none is left; 4 of the numbers 1 to 12 are free"
    )


# --------------------------------------------------------------------- outputs


def warned(text: str) -> list[tuple[str, int, str | None]]:
    said = build_layout(load_text(text, "x")[0])[1]
    return [(d.code, d.span.line, d.hint) for d in said]


BELOW = ladder(2) + QUAD + "drive P1 = quad\ndrive P2 = quad\nsignal H = K1.2\ndecoder K1 quad\n"


def test_a_decoder_that_is_added_though_one_stands_further_down_is_warned_of_once():
    ((code, line, hint),) = warned(BELOW)
    assert (code, line) == ("W824", BELOW.splitlines().index("drive P1 = quad") + 1)
    assert hint == "move the line of K1 above this one, and it is used"


def test_the_line_moved_as_the_warning_says_is_used_and_nothing_is_warned_of():
    moved = BELOW.replace("decoder K1 quad\n", "").replace(
        "drive P1", "decoder K1 quad\ndrive P1", 1
    )
    assert warned(moved) == []
    assert set(laid(moved).hardware.decoders) == {"K1"}


def test_a_decoder_further_down_of_which_all_is_named_is_not_warned_of():
    named = "".join(f"output O{n} = K1.{n}\n" for n in (1, 3, 4))
    assert "W824" not in [code for code, _, _ in warned(BELOW + named)]


def test_a_detector_that_is_added_though_one_stands_further_down_is_warned_of():
    text = TRACK + "detector kind octo { inputs 8 }\nreport A = octo\nreport B = octo\n"
    assert [code for code, _, _ in warned(text)] == []
    ((code, line, hint),) = warned(text + "detector E1 octo at 1\n")
    assert (code, line) == ("W824", 3)
    assert hint == "move the line of E1 above this one, and it is used"


def test_a_kind_in_place_of_an_output_takes_the_next_free_one_above():
    text = ladder(3) + QUAD + "decoder K1 quad at 9\n"
    text += "drive P1 = quad\ndrive P2 = K1.2\ndrive P3 = quad\nsignal H = quad\n"
    wired = outputs(laid(text))
    assert [wired[name] for name in ("P1", "P2", "P3")] == [["K1.1"], ["K1.2"], ["K1.3"]]
    assert wired["H"] == ["K1.4", "K1.4"]


def test_a_decoder_is_added_when_those_above_are_used_up():
    text = ladder(3) + "decoder kind pair { outputs 2 }\ndecoder K1 pair at 1\n"
    text += "drive P1 = pair\ndrive P2 = pair\ndrive P3 = pair\n"
    layout = laid(text)
    assert outputs(layout)["P3"] == ["pair_1.1"]
    added = layout.hardware.decoders["pair_1"]
    assert (added.address, added.assigned, added.kind.name) == (3, True, "pair")


def test_the_name_of_an_added_decoder_is_one_that_nothing_bears():
    text = ladder(1) + QUAD + "route quad_1 = H to T1\nsection quad_2 = A\n" + "drive P1 = quad\n"
    assert list(laid(text).hardware.decoders) == ["quad_3"]


SIX = ("one", "two", "three", "four", "five", "six")

TURNTABLE = (
    "fitting turntable {\n  legs lead, " + ", ".join(f"r{n}" for n in SIX) + "\n"
    "  drive " + ", ".join(SIX) + "\n"
    + "".join(f"  way lead - r{n} when {n}\n" for n in SIX)
    + "}\nturntable TT\nrun edge WORKS - A - >H - TT.lead\n"
    + "".join(f"run TT.r{n} - R{n} - stop\n" for n in SIX)
)  # fmt: skip


@pytest.mark.parametrize("said", ["pair", "pair, pair, pair", "K1.1, pair, pair"])
def test_a_drive_of_several_outputs_gets_them_all(said: str):
    text = TURNTABLE + "decoder kind pair { outputs 2 }\ndecoder K1 pair\n"
    layout = laid(text + f"drive TT = {said}  motor 3 s")
    assert outputs(layout)["TT"] == ["K1.1", "K1.2", "pair_1.1"]


def test_more_kinds_than_outputs_are_needed_are_found():
    text = ladder(1) + QUAD + "drive P1 = quad, quad\n"
    (found,) = build_layout(load_text(text, "x")[0])[1]
    assert found.code == "E609"


@pytest.mark.parametrize(
    ("said", "code", "hint"),
    [
        ("K1", "E601", "`quad` would take the next free output of that kind"),
        ("qaud", "E201", "did you mean `quad`?"),
        ("A", "E201", None),
    ],
)
def test_what_is_no_kind_of_decoder_is_found(said: str, code: str, hint: str | None):
    text = ladder(1) + QUAD + f"decoder K1 quad at 1\ndrive P1 = {said}\n"
    (found,) = build_layout(load_text(text, "x")[0])[1]
    assert (found.code, found.hint) == (code, hint)


def test_a_kind_that_is_not_sound_is_told_of_once():
    text = ladder(1) + "decoder kind quad { switches 9 }\ndrive P1 = quad\nsignal H = quad\n"
    assert [d.code for d in build_layout(load_text(text, "x")[0])[1]] == ["E607"]


def test_a_supply_may_feed_all_decoders_of_a_kind_those_added_among_them():
    text = ladder(2) + "decoder kind one { outputs 1 }\ndecoder K1 one at 7\n"
    text += "drive P1 = one\ndrive P2 = one\n"
    supply = laid(text + "supply S { feeds one }").hardware.supplies["S"]
    assert supply.feeds == ("K1", "one_1")
    twice = build_layout(load_text(text + "supply S { feeds one, K1 }", "x")[0])[1]
    assert [d.code for d in twice] == ["E610"]


# ------------------------------------------------------------ whatever is pinned

KINDS = {"one": 1, "pair": 2, "quad": 4, "octo": 8}


@st.composite
def hardware(draw: st.DrawFn) -> tuple[list[str], list[str], int]:
    """Decoder lines, drive lines that wire all of some points, and how many points."""
    count = draw(st.integers(1, 12))
    pinned: dict[int, str] = {}
    lines = []
    names = []
    for n in range(draw(st.integers(0, 6))):
        kind = draw(st.sampled_from(sorted(KINDS)))
        at = draw(st.none() | st.integers(1, 60))
        numbers = range(at, at + KINDS[kind]) if at else ()
        if any(number in pinned for number in numbers):
            at, numbers = None, ()
        pinned.update(dict.fromkeys(numbers, kind))
        names += [(f"K{n}", i) for i in range(1, KINDS[kind] + 1)]
        lines.append(f"decoder K{n} {kind}" + (f" at {at}" if at else ""))
    drives = []
    for n in range(1, count + 1):
        if names and draw(st.integers(0, 2)) == 0:
            decoder, output = names.pop(draw(st.integers(0, len(names) - 1)))
            drives.append(f"drive P{n} = {decoder}.{output}")
        else:
            drives.append(f"drive P{n} = {draw(st.sampled_from(sorted(KINDS)))}")
    return lines, draw(st.permutations(drives)), count


def laid_hardware(lines: list[str], drives: list[str], count: int) -> Layout:
    kinds = "".join(f"decoder kind {k} {{ outputs {n} }}\n" for k, n in KINDS.items())
    layout, said = laid_with_warnings(ladder(count) + kinds + "\n".join([*lines, *drives]))
    assert {d.code for d in said} <= {"W824"}
    return layout


@given(hardware())
@settings(max_examples=40, deadline=None)
def test_nothing_clashes_and_what_is_stated_is_kept(wanted: tuple[list[str], list[str], int]):
    lines, drives, count = wanted
    layout = laid_hardware(lines, drives, count)
    decoders = layout.hardware.decoders
    numbers = Counter(n for d in decoders.values() for n in d.numbers)
    assert set(numbers.values()) <= {1}
    used = Counter(o for w in layout.hardware.wirings.values() for o in w.outputs)
    assert set(used.values()) == {1}
    for line in lines:
        _, name, kind, *at = line.split()
        assert decoders[name].kind.name == kind
        assert not at or decoders[name].address == int(at[1])
    for line in drives:
        _, drive, _, said = line.split()
        (output,) = layout.hardware.wirings[drive].outputs
        assert said in (str(output), decoders[output.decoder].kind.name)


@given(hardware())
@settings(max_examples=40, deadline=None)
def test_there_are_as_few_decoders_as_can_be_and_none_could_stand_lower(
    wanted: tuple[list[str], list[str], int],
):
    lines, drives, count = wanted
    decoders = laid_hardware(lines, drives, count).hardware.decoders
    for kind, outputs_each in KINDS.items():
        declared = [line.split()[1] for line in lines if line.split()[2] == kind]
        stated = [d.split()[3] for d in drives if d.split()[3].split(".")[0] in declared]
        open_ones = len(declared) * outputs_each - len(stated)
        wanting = sum(d.split()[3] == kind for d in drives)
        needed = -(-max(0, wanting - open_ones) // outputs_each)
        here = [d for d in decoders.values() if d.kind.name == kind]
        assert len(here) == len(declared) + needed
    taken = {n for d in decoders.values() for n in d.numbers}
    for decoder in decoders.values():
        if decoder.assigned:
            others = taken - set(decoder.numbers)
            assert all(
                set(range(lower, lower + decoder.kind.outputs)) & others
                for lower in range(1, decoder.address)
            )


@given(hardware(), st.sampled_from(sorted(KINDS)), st.booleans())
@settings(max_examples=40, deadline=None)
def test_a_line_at_the_end_moves_nothing_before_it(
    wanted: tuple[list[str], list[str], int], kind: str, is_decoder: bool
):
    lines, drives, count = wanted
    before = laid_hardware(lines, drives, count)
    more = f"decoder KX {kind}" if is_decoder else f"signal H = {kind}"
    after = laid_hardware(lines, [*drives, more], count)
    assert dict(after.hardware.wirings) == dict(before.hardware.wirings)
    for name, decoder in before.hardware.decoders.items():
        assert after.hardware.decoders[name] == decoder


@given(hardware(), st.sampled_from(sorted(KINDS)))
@settings(max_examples=25, deadline=None)
def test_an_address_stated_at_the_end_moves_nothing_if_it_was_free(
    wanted: tuple[list[str], list[str], int], kind: str
):
    lines, drives, count = wanted
    before = laid_hardware(lines, drives, count).hardware.decoders
    free = max((d.numbers[-1] for d in before.values()), default=0) + 1
    after = laid_hardware(lines, [*drives, f"decoder KX {kind} at {free}"], count)
    assert {n: d.address for n, d in before.items()} == {
        n: d.address for n, d in after.hardware.decoders.items() if n != "KX"
    }


def test_five_hundred_drives_are_given_their_outputs_and_addresses_in_under_a_second():
    text = ladder(500) + QUAD + "decoder K1 quad at 41\n"
    text += "".join(f"drive P{n} = quad  coil 200 ms\n" for n in range(1, 501))
    program, _ = load_text(text, "x")
    gc.freeze()  # what other tests have left is not looked through meanwhile
    try:
        start = time.process_time()
        layout, said = build_layout(program)  # with all of the layout stage, not the choice alone
        assert time.process_time() - start < 1
    finally:
        gc.unfreeze()
    assert said == ()
    assert len(layout.hardware.decoders) == 125
    numbers = {n for d in layout.hardware.decoders.values() for n in d.numbers}
    assert numbers == set(range(1, 501))
    assert layout.hardware.wirings["P500"].outputs == (OutputRef("quad_124", 4),)


# --------------------------------------------------------------- sides for aspects


def sides(layout: Layout, signal: str) -> list[str]:
    return [f"{a.name} {a.output} {a.side}" for a in layout.signals[signal].aspects if a.output]


def test_a_kind_after_at_gives_each_aspect_a_side_of_as_few_outputs_as_can_be():
    text = (
        "run edge WEST - A - >H - B - >J - C - stop\n" + QUAD + "decoder K quad at 5\n"
        "signal H shows stop at quad red, caution at quad green, clear at quad green\n"
        "signal J = quad\n"
    )
    layout = laid(text)
    assert sides(layout, "H") == ["stop K.1 red", "caution K.1 green", "clear K.2 green"]
    # The red side of K.2 is left alone: another signal's lamps do not hang on it.
    assert sides(layout, "J") == ["stop K.3 red", "proceed K.3 green"]


def test_after_at_a_stated_output_is_kept_and_a_decoder_is_added_where_none_has_room():
    text = (
        TRACK + "decoder kind pair { outputs 2 }\ndecoder K pair at 1\n"
        "signal H shows stop at pair red, slow at K.1 red, caution at pair red, clear at pair red\n"
    )
    assert sides(laid(text), "H") == [
        "stop K.2 red",
        "slow K.1 red",
        "caution pair_1.1 red",
        "clear pair_1.2 red",
    ]


@pytest.mark.parametrize(
    ("where", "code", "place", "said"),
    [
        ("quat red", "E201", (4, 24), "there is no kind of decoder `quat`"),
        ("K red", "E601", (4, 24), "K is a decoder; which of its outputs is meant is not said"),
        ("quad blue", "E322", (4, 29), "an output has no side `blue`"),
        ("heads red", "E612", (4, 30), "its outputs have no sides"),
    ],
)
def test_after_at_what_is_no_kind_or_has_no_sides_is_told(
    where: str, code: str, place: tuple[int, int], said: str
):
    text = (
        f"{TRACK}{QUAD}decoder K quad at 1\nsignal H shows stop at {where}, proceed at quad green\n"
        "decoder kind heads { outputs 2  packets extended }\n"
    )
    (found,) = build_layout(load_text(text, "x")[0])[1]
    assert (found.code, (found.span.line, found.span.column)) == (code, place)
    assert said in found.message
