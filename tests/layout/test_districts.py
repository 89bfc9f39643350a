"""Track that boosters of its own feed: what belongs to each, and what cannot be parted."""

from __future__ import annotations

import pytest
from laid import laid

from bellcrank.layout.build_layout import build_layout
from bellcrank.syntax.load import load_text

TRACK = """\
points P1
section NECK = A, P1
run edge HILL - A - B - >H - P1.toe
run P1.straight - LA - >L1 - <L2 - LB - P1.diverging
reverser LA, LB
"""


def errors(lines: str) -> list[tuple[str, str, str]]:
    """Code, message and the words that the caret stands under."""
    text = TRACK + lines
    program, unread = load_text(text, "x.crank")
    assert unread == ()
    rows = text.split("\n")
    return [
        (d.code, d.message, rows[d.span.line - 1][d.span.column - 1 : d.span.end_column - 1])
        for d in build_layout(program)[1]
    ]


def test_a_district_feeds_whole_sections_and_another_the_rest():
    layout = laid(
        f"{TRACK}district HILL_END {{ feeds NECK, B }}\ndistrict LOOP {{ feeds the rest }}"
    )
    assert {d.name: d.elements for d in layout.districts.values()} == {
        "HILL_END": ("P1", "A", "B"),
        "LOOP": ("LA", "LB"),
    }


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        (
            "district N { feeds A }\ndistrict S { feeds the rest }\n",
            [("E630", "the section NECK lies in N and in S", "S")],
        ),
        (
            "district N { feeds LA }\ndistrict S { feeds the rest }\n",
            [("E630", "the track behind one reverser, LA, LB, lies in N and in S", "S")],
        ),
        (
            "district N { feeds B }\ndistrict S { feeds B, NECK, LA, LB }\n",
            [("E630", "B is fed by N already", "B")],
        ),
        (
            "district N { feeds the rest }\ndistrict S { feeds the rest }\n",
            [("E630", "S is to feed the rest, as N is", "S")],
        ),
        (
            "district N { gives 3 A }\ndistrict S { feeds the rest }\n",
            [("E630", "N feeds nothing", "N")],
        ),
        (
            "district N { feeds NECK, B }\n",
            [("W880", "no district feeds LA, LB", "district N { feeds NECK, B }")],
        ),
        (
            "district N { feeds NEK }\ndistrict S { feeds the rest }\n",
            [("E201", "there is no section, piece or fitting `NEK`", "NEK")],
        ),
        (
            "district N { feeds the rest  gives 3 A  fuse 5 A }\n",
            [
                (
                    "W871",
                    "a fuse of 5 A does not blow for a short circuit that takes the 3 A which N "
                    "gives",
                    "5 A",
                )
            ],
        ),
    ],
)
def test_what_cannot_be_fed_so_is_reported(lines: str, expected: list[tuple[str, str, str]]):
    assert errors(lines) == expected


def test_a_section_may_be_called_district_as_before():
    layout = laid("run edge W - district - >H - output - stop\n")
    assert set(layout.sections) == {"district", "output"}
