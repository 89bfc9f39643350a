"""Feeds and gaps on paper: joints as people find them, and the inputs that feeds go through."""

from __future__ import annotations

from functools import cache

from bench_layouts import told

from bellcrank.document.document_types import Document
from bellcrank.paper.feed_list import feed_rows, gap_rows

TEXT = """\
detector kind octo {
  inputs 8
  switches 8
}
points P1
run edge HILL - A - >H - P1.toe
run P1.straight - <S - T1 - stop
run P1.diverging - <D - T2 - stop
detector B1 octo at 1
report A = B1.2
report P1 = B1.1
"""


@cache
def document() -> Document:
    return told(TEXT)


def test_a_joint_is_named_by_pieces_and_by_legs_of_fittings_with_the_signals_that_stand_there():
    assert [(r.one, r.other, r.gap.signals) for r in gap_rows(document())] == [
        ("A", "P1.toe", ["H"]),
        ("P1.straight", "T1", ["S"]),
        ("P1.diverging", "T2", ["D"]),
    ]


def test_a_feed_names_the_input_that_reports_its_section_and_what_its_rails_lead_to():
    rows = {r.feed.sections[0]: (r.input, r.towards) for r in feed_rows(document())}
    assert rows == {
        "A": ("B1.2", "edge HILL"),
        "P1": ("B1.1", "A"),
        "T1": (None, "P1.straight"),
        "T2": (None, "P1.diverging"),
    }
