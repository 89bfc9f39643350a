"""Sections: which track is held and cleared as one, and what is detected."""

from __future__ import annotations

import pytest
from laid import laid, laid_with_warnings

JUNCTION = """\
points P1
run edge WEST - A - >H - P1.toe
run P1.straight - N - <S1 - B - stop
run P1.diverging - <S2 - C - stop
"""


def test_each_piece_and_fitting_is_a_section_of_its_own_unless_a_line_groups_it():
    layout = laid(JUNCTION + "section THROAT = P1, N")
    assert layout.section_of == {
        "P1": "THROAT",
        "N": "THROAT",
        "A": "A",
        "B": "B",
        "C": "C",
    }
    assert set(layout.sections) == {"THROAT", "A", "B", "C"}
    assert layout.sections["THROAT"].elements == ("P1", "N")
    assert layout.sections["A"].elements == ("A",)


def test_every_element_lies_in_just_one_section():
    layout = laid(JUNCTION + "section THROAT = P1, N")
    members = [e for section in layout.sections.values() for e in section.elements]
    assert sorted(members) == sorted(layout.elements)


@pytest.mark.parametrize(
    ("whole", "one", "detected"),
    [
        ("", "", {"THROAT": True, "A": True}),
        ("", " without detection", {"THROAT": False, "A": True}),
        (" without detection", "", {"THROAT": False, "A": False}),
        (" without detection", " without detection", {"THROAT": False, "A": False}),
    ],
)
def test_detection_may_be_absent_from_a_section_or_from_the_whole_layout(
    whole: str, one: str, detected: dict[str, bool]
):
    layout = laid(f'layout "Halt"{whole}\n' + JUNCTION + f"section THROAT = P1, N{one}")
    assert {name: layout.sections[name].detected for name in detected} == detected


def test_a_signal_inside_a_section_is_warned_of_and_one_at_its_end_is_not():
    layout, said = laid_with_warnings(JUNCTION + "section ALL = A, P1, N")
    assert [(d.code, d.message.split(" ")[0]) for d in said] == [("W802", "H")]
    assert layout.section_of["A"] == "ALL"
    laid(JUNCTION + "section ALL = P1, N")
