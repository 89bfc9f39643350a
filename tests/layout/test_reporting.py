"""Detectors, and which of their inputs reports what."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from laid import laid, laid_with_warnings
from sound_layouts import compiled

import bellcrank
from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.detectors import Contact, DetectorInput, NamedInput
from bellcrank.layout.layout_model import Layout
from bellcrank.layout.reporting import tells
from bellcrank.syntax.load import load_text

JUNCTION = """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - <S1 - B - stop
run P1.diverging - <S2 - C - stop
"""

OCTO = "detector kind octo { inputs 8 }\ndetector B1 octo at 1\n"

STUB = """\
fitting stub with one drive {
  legs toe, left, middle, right
  drive one, two, three
  way toe - left when one
  way toe - middle when two
  way toe - right when three
}
stub P1 with one drive
run edge WEST - A - >H - P1.toe
run P1.left - <DB - B - stop
run P1.middle - <DC - C - stop
run P1.right - <DD - D - stop
"""


def sections(layout: Layout) -> dict[str, str]:
    return {name: str(report.input) for name, report in layout.reports.sections.items()}


def contacts(layout: Layout, drive: str) -> dict[str, str]:
    return {c.position: str(c.input) for c in layout.reports.contacts[drive]}


def test_a_layout_that_says_nothing_of_it_has_no_detectors_and_no_reports():
    reports = laid(JUNCTION).reports
    assert (reports.detectors, reports.sections, reports.contacts) == ({}, {}, {})
    assert not laid(JUNCTION).drives["P1"].detected


# ------------------------------------------------------------------- detectors


def test_a_kind_of_detector_counts_inputs_from_one_if_nothing_is_said():
    kind = laid(JUNCTION + OCTO).reports.detectors["B1"].kind
    assert (kind.inputs, kind.switches, kind.counts, kind.first) == (8, 0, "inputs", 1)
    assert (kind.inverted, kind.low, kind.high) == (False, 1, 9999)


@pytest.mark.parametrize(
    ("settings", "address", "on"),
    [
        # Switch k counts 2^(k-1): number 6 is 2 and 4.
        ("switches 8", 6, {2, 3}),
        # Whole detectors of eight from 0: input 25 is the first of number 3, 1 and 2.
        ("switches 4  counts detectors  from 0", 25, {1, 2}),
        ("switches 4  counts detectors  from 0  inverted", 25, {3, 4}),
        ("switches 4  weights 8, 4, 2, 1  switch 1 on", 6, {1, 2, 3}),
    ],
)
def test_the_switches_of_a_detector_are_set_as_those_of_a_decoder(settings, address, on):
    text = f"detector kind octo {{ inputs 8  {settings} }}\ndetector B1 octo at {address}\n"
    kind = laid(JUNCTION + text).reports.detectors["B1"].kind
    bank = kind.switches_for(address)
    assert {k for k, up in enumerate(bank, start=1) if up} == on


def test_a_detector_without_an_address_gets_the_lowest_that_is_free():
    text = "detector kind octo { inputs 8 }\n"
    text += "detector B1 octo\ndetector B2 octo at 9\ndetector B3 octo\n"
    detectors = laid(JUNCTION + text).reports.detectors.values()
    assert [(d.name, d.address, d.assigned) for d in detectors] == [
        ("B1", 1, True),
        ("B2", 9, False),
        ("B3", 17, True),
    ]


def test_detectors_and_decoders_are_numbered_apart():
    text = "decoder kind quad { outputs 4 }\ndecoder K1 quad at 1\ndecoder K2 quad\n"
    layout = laid(JUNCTION + OCTO + text + "detector B2 octo\n")
    assert [d.address for d in layout.hardware.decoders.values()] == [1, 5]
    assert [d.address for d in layout.reports.detectors.values()] == [1, 9]


def test_the_number_of_an_input_follows_from_the_address():
    text = "detector kind octo { inputs 8 }\ndetector B1 octo at 17\n"
    assert laid(JUNCTION + text).reports.number_of(DetectorInput("B1", 3)) == 19


# --------------------------------------------------------------------- reports


def test_a_section_is_reported_by_an_input_or_by_a_name_of_ones_own():
    text = OCTO + 'report A = B1.1\nreport P1 = B1.2\nreport B = "halt/b"\nreport C = B1.8\n'
    layout = laid(JUNCTION + text)
    assert sections(layout) == {"A": "B1.1", "P1": "B1.2", "B": '"halt/b"', "C": "B1.8"}
    assert layout.reports.sections["B"].input == NamedInput("halt/b")


def test_a_contact_may_open_when_what_it_tells_of_is_so():
    text = OCTO + 'report A = B1.1 opens\nreport B = "halt/b"  opens  # a remark\nreport C = octo\n'
    text += "report P1 = octo\nreport P1 straight = octo opens\nreport P1 diverging = B1.8 opens\n"
    layout, _ = laid_with_warnings(JUNCTION + text)
    reports = layout.reports
    assert [name for name, r in reports.sections.items() if r.opens] == ["A", "B"]
    assert [(c.position, c.opens) for c in reports.contacts["P1"]] == [
        ("straight", True),
        ("diverging", True),
    ]


def test_opens_may_be_a_name():
    text = JUNCTION.replace("- B -", "- opens -") + OCTO + "report opens = B1.1 opens\n"
    assert laid_with_warnings(text)[0].reports.sections["opens"].opens


def test_a_section_is_reported_by_its_own_name_and_not_by_its_pieces():
    text = JUNCTION.replace("P1.straight - <S1", "P1.straight - N - <S1")
    text += "section NECK = P1, N\nsection REST = A without detection\n" + OCTO
    text += "report NECK = B1.1\nreport B = B1.2\nreport C = B1.3\n"
    assert sections(laid(text)) == {"NECK": "B1.1", "B": "B1.2", "C": "B1.3"}


def test_the_name_of_points_is_that_of_their_section_and_with_a_position_that_of_the_drive():
    text = OCTO + "section REST = A, B, C without detection\n"
    layout = laid(JUNCTION + text + "report P1 = B1.1\nreport P1 straight = B1.2\n")
    assert sections(layout) == {"P1": "B1.1"}
    assert contacts(layout, "P1") == {"straight": "B1.2"}


def test_contacts_stand_in_the_order_of_the_positions():
    text = OCTO + "report P1 diverging = B1.1\nreport P1 straight = B1.2\n"
    assert list(contacts(laid(JUNCTION + text), "P1")) == ["straight", "diverging"]


@pytest.mark.parametrize(
    "lines",
    [
        "report P1 straight = B1.1\nreport P1 diverging = B1.2\n",
        "report P1 straight = B1.1\n",
        "report P1 diverging = B1.1\n",
        "drive P1 by hand\nreport P1 straight = B1.1\n",
        "drive P1 by hand detected\nreport P1 straight = B1.1\n",
    ],
)
def test_a_drive_of_which_the_contacts_tell_where_it_lies_is_detected(lines: str):
    assert laid(JUNCTION + OCTO + lines).drives["P1"].detected


def test_of_three_positions_each_needs_a_contact_before_the_drive_is_detected():
    two = "report P1 one = B1.1\nreport P1 two = B1.2\n"
    layout, said = laid_with_warnings(STUB + OCTO + two)
    assert [(d.code, d.hint) for d in said] == [("W842", "add `report P1 three = …`")]
    assert not layout.drives["P1"].detected
    assert laid(STUB + OCTO + two + "report P1 three = B1.3\n").drives["P1"].detected


@given(st.sets(st.sampled_from("abcd")), st.integers(2, 4))
def test_contacts_tell_each_position_if_no_two_positions_look_alike(having: set[str], count: int):
    """Looking alike is having the same contacts on; with more than two positions, none on may
    also mean that the drive is moving, so it tells nothing."""
    positions = "abcd"[:count]
    span = laid(JUNCTION).drives["P1"].span
    own = [Contact("P1", p, NamedInput(p), span) for p in positions if p in having]
    looks = [frozenset(c.position for c in own if c.position == p) for p in positions]
    told = len(set(looks)) == count and (count == 2 or frozenset() not in looks)
    assert tells(positions, own) == told


def test_a_drive_with_a_name_of_its_own_is_reported_by_it():
    text = """
double slip S with two drives
run edge WEST - A - >H - S.a1
run edge YARD - Y - >J - S.b1
run S.a2 - <D1 - B - stop
run S.b2 - <D2 - C - stop
report S.end1 a2 = "s/end1"
report S.end2 a1 = "s/end2"
"""
    layout = laid(text)
    assert contacts(layout, "S.end1") == {"a2": '"s/end1"'}
    assert {d.name for d in layout.drives.values() if d.detected} == {"S.end1", "S.end2"}


def test_contacts_make_the_machine_wait_for_the_report_as_the_word_detected_does():
    told = compiled(JUNCTION + OCTO + "report P1 straight = B1.1\n")
    said = compiled(JUNCTION + "drive P1 detected\n")
    assert told.machine == said.machine
    assert told.machine != compiled(JUNCTION).machine


# --------------------------------------------------------- inputs that are chosen


def test_a_kind_in_place_of_an_input_takes_the_next_that_is_free():
    text = OCTO + "report A = octo\nreport P1 = B1.1\nreport B = octo\nreport C = B1.3\n"
    text += "report P1 straight = octo\n"
    layout = laid(JUNCTION + text)
    assert sections(layout) == {"A": "B1.2", "P1": "B1.1", "B": "B1.4", "C": "B1.3"}
    assert contacts(layout, "P1") == {"straight": "B1.5"}


def test_inputs_are_given_out_in_the_order_of_the_text_to_reports_and_buttons_alike():
    blind = "".join(f"section {n}_BLIND = {n} without detection\n" for n in ("P1", "B", "C"))
    text = JUNCTION + OCTO + blind + "button H to B = octo\nreport A = octo\n"
    assert sections(laid(text)) == {"A": "B1.2"}
    more = laid(text + "button H to C = octo\n")
    assert sections(more) == {"A": "B1.2"}
    assert [str(i) for i in more.panel_wires.buttons.values()] == ["B1.1", "B1.3"]


def test_a_detector_is_added_when_those_above_are_used_up():
    text = "detector kind pair { inputs 2 }\n"
    text += "report A = pair\nreport P1 = pair\nreport B = pair\ndetector B1 pair\n"
    layout, said = laid_with_warnings(JUNCTION + text + "report C = pair\n")
    assert [d.code for d in said] == ["W824"]
    assert sections(layout) == {"A": "pair_1.1", "P1": "pair_1.2", "B": "pair_2.1", "C": "pair_2.2"}
    detectors = layout.reports.detectors.values()
    assert [(d.name, d.address) for d in detectors] == [("pair_1", 1), ("pair_2", 3), ("B1", 5)]


def test_a_detector_or_decoder_that_is_added_takes_no_name_that_something_bears():
    text = """\
decoder kind pair { outputs 2 }
detector kind twin { inputs 2 }
signal H = pair
detector pair_1 twin
report A = twin
report P1 = twin
report B = twin
report C = "c"
route twin_1 = H to B
"""
    c = compiled(JUNCTION + text)
    assert list(c.layout.hardware.decoders) == ["pair_2"]
    assert list(c.layout.reports.detectors) == ["pair_1", "twin_2"]


# -------------------------------------------------------------------- warnings


def test_detected_sections_that_nobody_reports_are_warned_of_once_others_are():
    _, said = laid_with_warnings(JUNCTION + OCTO + "report A = B1.1\n")
    assert [d.code for d in said] == ["W840"]
    assert "P1, B, C" in said[0].message
    blind = "".join(f"section {n}_BLIND = {n} without detection\n" for n in ("P1", "B", "C"))
    assert laid(JUNCTION + OCTO + blind + "report A = B1.1\n")


def test_a_detected_drive_that_nobody_reports_is_warned_of_once_another_is():
    two = JUNCTION.replace("<S2 - C - stop", "P2.toe") + "points P2\n"
    two += "run P2.straight - <S2 - C - stop\nrun P2.diverging - <S3 - D - stop\n"
    text = two + OCTO + "drive P1 detected\nreport P2 straight = B1.1\n"
    _, said = laid_with_warnings(text)
    assert [(d.code, d.hint) for d in said] == [("W841", "add `report P1 straight = …`")]
    assert laid(text + "report P1 straight = B1.2\n")


def test_a_contact_at_an_input_that_is_faulty_itself_is_no_mistake_more():
    text = f'layout "Two roads" on two rails\n{JUNCTION}'
    text += "detector kind octo { inputs x }\ndetector B1 octo at 1\nreport P1 straight = B1.1\n"
    c = bellcrank.compile(text)
    assert [d.code for d in c.diagnostics] == ["E608"]


@pytest.mark.parametrize(
    ("opening", "hint"),
    [
        ("C", "write `report C = B1.3`, or say `opens` of all"),
        ("B, C, P1", "write `report A = B1.1 opens`, or take `opens` out of all"),
        ("B, C", None),
        ("", None),
        ("A, B, C, P1", None),
    ],
)
def test_the_one_section_at_a_detector_that_opens_or_does_not_is_warned_of(
    opening: str, hint: str | None
):
    lines = [
        f"report {name} = B1.{number}{' opens' if name in opening.split(', ') else ''}\n"
        for number, name in enumerate(("A", "B", "C", "P1"), start=1)
    ]
    _, said = laid_with_warnings(JUNCTION + OCTO + "".join(lines))
    assert [(d.code, d.hint) for d in said] == ([] if hint is None else [("W850", hint)])


def test_inputs_of_two_detectors_and_those_with_names_may_open_as_they_like():
    lines = 'report A = B1.1 opens\nreport B = "halt/b"\nreport C = B2.1\nreport P1 = B2.2\n'
    _, said = laid_with_warnings(JUNCTION + OCTO + "detector B2 octo at 9\n" + lines)
    assert not said


@pytest.mark.parametrize("opens", [("", ""), (" opens", " opens"), ("", " opens")])
def test_contacts_of_one_drive_that_do_not_open_alike_are_warned_of(opens: tuple[str, str]):
    lines = "report P1 straight = B1.1{}\nreport P1 diverging = B1.2{}\n".format(*opens)
    layout, said = laid_with_warnings(JUNCTION + OCTO + lines)
    assert layout.drives["P1"].detected
    hints = [(d.code, d.hint) for d in said]
    alike = len(set(opens)) == 1
    assert hints == (
        [] if alike else [("W850", "write `opens` for each of its contacts, or for none")]
    )


def test_in_place_of_an_input_that_there_is_not_one_is_told_that_is_free():
    program, _ = load_text(JUNCTION + OCTO + "report B = B1.9\nreport A = B1.1\n", "x")
    (said,) = build_layout(program)[1]
    assert (said.code, said.message) == ("E460", "B1 has no input 9")
    assert str(said.hint) == "B1.2 is free"
