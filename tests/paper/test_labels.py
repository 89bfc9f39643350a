"""Labels: all there is to label, once each, on the sheet, and the letters inside."""

from __future__ import annotations

import itertools

import pytest
from bench_layouts import HEARD, UNWIRED, WIRED, told
from hypothesis import given
from hypothesis import strategies as st

from bellcrank.paper.labels import SHEETS, Words, label_sheets, label_size, label_words, set_out


def by_name(text: str) -> dict[str, list[str]]:
    return {w.name: list(w.lines) for w in label_words(told(text))}


def test_a_drive_a_signal_and_a_decoder_have_a_label_each() -> None:
    found = [(w.of, w.name) for w in label_words(told(WIRED))]
    assert sorted(found) == sorted(
        [
            *(("drive", n) for n in ("P1", "P2", "P3", "TT")),
            *(("signal", n) for n in ("H", "S1", "S2", "S3", "K")),
            *(("decoder", n) for n in ("K1", "K2", "K3")),
        ]
    )


def test_a_label_tells_the_number_the_output_and_what_each_side_does() -> None:
    labels = by_name(WIRED)
    assert labels["P2"] == ["22 · K1.2", "green straight", "red diverging"]
    assert labels["P1"] == ["21 · K1.1", "red straight", "green diverging"]  # crossed
    assert labels["TT"] == ["1001 · K2.1", "green north, red east", "1002 · K2.2", "green south"]
    assert labels["H"] == ["5 · K3.1", "value 0 stop", "value 4 caution", "value 16 clear"]
    assert labels["P3"] == ["by hand"]
    assert labels["S2"] == ["not wired"]
    assert labels["K3"] == ["5–6", "heads"]


def test_the_label_of_a_decoder_tells_which_switches_are_on() -> None:
    # (21 - 1) / 4 decoders before it is 5 = 1 + 4, counted by what is off; 9 on, 10 off.
    assert by_name(WIRED)["K1"] == ["21–24", "ten_switches", "on: 2, 4, 5, 6, 7, 8, 9"]


def test_the_label_of_a_detector_tells_its_inputs_and_which_switches_are_on() -> None:
    # Number 6 is shown by 4 and 2; switch 4 is not for the address and stands on.
    assert by_name(HEARD)["N1"] == ["6–9", "octo", "on: 2, 3, 4"]
    assert by_name(HEARD)["N2"] == ["1", "bare"]


def test_a_layout_without_hardware_has_labels_too() -> None:
    assert by_name(UNWIRED)["P"] == ["by hand"]


@pytest.mark.parametrize("sheet", SHEETS)
@given(
    width=st.floats(12, 90),
    height=st.floats(6, 60),
    margin=st.floats(8, 30),
    gap=st.floats(0, 12),
)
def test_labels_lie_on_the_sheet_within_its_margin_and_apart(
    sheet: str, width: float, height: float, margin: float, gap: float
) -> None:
    width, height = round(width, 1), round(height, 1)
    made = label_sheets(told(WIRED), f"{width}x{height} mm", sheet, margin, gap)
    assert (made.width, made.height) == (width, height)
    assert sum(map(len, made.sheets)) == made.count == 12
    wide, high = SHEETS[sheet]
    hair = 0.002  # places are rounded to thousandths of a millimetre
    for labels in made.sheets:
        for label in labels:
            assert margin - hair <= label.x <= wide - margin - width + hair
            assert margin - hair <= label.y <= high - margin - height + hair
        for one, other in itertools.combinations(labels, 2):
            beside = abs(one.x - other.x) >= width + gap - hair
            below = abs(one.y - other.y) >= height + gap - hair
            assert beside or below
    # No more would have gone on: the next column or row would not fit.
    assert margin * 2 + made.columns * (width + gap) + width > wide - hair
    assert margin * 2 + made.rows * (height + gap) + height > high - hair


def test_twelve_labels_on_sheets_with_room_for_five_take_three() -> None:
    made = label_sheets(told(WIRED), "180 x 50 mm", "A4", 10, 3)
    assert [len(sheet) for sheet in made.sheets] == [5, 5, 2]


@pytest.mark.parametrize(
    ("said", "size"),
    [("38x12 mm", (38, 12)), ("38 × 12", (38, 12)), (" 25.4x8.5mm ", (25.4, 8.5))],
)
def test_a_size_is_read(said: str, size: tuple[float, float]) -> None:
    assert label_size(said) == size


@pytest.mark.parametrize(
    ("label", "margin", "gap", "why"),
    [
        ("38", 10, 2, "is not the size of a label"),
        ("38x12 in", 10, 2, "is not the size of a label"),
        ("10x12 mm", 10, 2, "too small to read"),
        ("200x12 mm", 10, 2, "does not fit on a sheet A4 with a margin of 10 mm"),
        ("38x12 mm", 5, 2, "a margin of 5 mm is too small"),
        ("38x12 mm", 10, -1, "a gap of -1 mm is none"),
    ],
)
def test_sizes_that_cannot_be_are_refused_with_a_reason(
    label: str, margin: float, gap: float, why: str
) -> None:
    with pytest.raises(ValueError, match=why):
        label_sheets(told(WIRED), label, "A4", margin, gap)


def test_a_longer_name_gets_smaller_letters_and_loses_no_line() -> None:
    lines = ("21 · K1.1", "green straight", "red diverging")
    short = set_out(Words("drive", "P1", lines), 38, 12)
    long = set_out(Words("drive", "POINTS_AT_THE_QUAY.end1", lines), 38, 12)
    assert short.name_size > 2 * long.name_size
    for label in (short, long):
        assert tuple(line.text for line in label.lines) == lines


def test_a_long_name_is_broken_between_its_words_where_that_makes_it_larger() -> None:
    words = Words("drive", "POINTS_AT_THE_QUAY.end1", ("by hand",))
    label = set_out(words, 30, 20)
    assert [line.text for line in label.name_lines] == ["POINTS_AT_", "THE_QUAY.end1"]


def test_what_could_not_be_read_on_a_small_label_is_left_out_and_counted() -> None:
    words = Words("signal", "H", tuple(f"value {n} aspect" for n in range(9)))
    small = set_out(words, 20, 8)
    assert small.left_out > 0
    assert len(small.lines) + small.left_out == 9
    assert small.line_size >= 1.55
