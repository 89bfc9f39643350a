"""Which chapters of the sheets are printed."""

from __future__ import annotations

import pytest
from bench_layouts import UNWIRED, WIRED, told
from msgspec.structs import replace

from bellcrank.paper.chapters import WORDS, chosen_chapters


def words(chosen: str, text: str = WIRED) -> list[str]:
    return [c.word for c in chosen_chapters(told(text), chosen)]


def test_the_usual_ones_leave_out_what_another_says_already_and_what_there_is_nothing_of() -> None:
    assert words("usual") == [word for word in WORDS if word not in ("drives", "cards", "noticed")]
    assert words("all") == [word for word in WORDS if word != "noticed"]


def test_chosen_ones_come_in_their_order_however_they_are_written() -> None:
    assert (
        words("cover,labels, plan") == words("plan , cover,labels") == ["cover", "plan", "labels"]
    )


def test_numbers_count_those_that_are_printed_and_have_one() -> None:
    found = chosen_chapters(told(UNWIRED), "cover, plan, wiring, control, labels")
    assert [(c.word, c.number, c.lacks is not None) for c in found] == [
        ("cover", None, False),
        ("plan", None, False),
        ("wiring", None, True),
        ("control", 1, False),
        ("labels", 2, False),
    ]


def test_a_layout_that_is_not_proved_has_its_cover_whatever_is_chosen() -> None:
    assert words("labels") == ["cover", "labels"]
    proved = replace(told(WIRED), status="proved")
    assert [c.word for c in chosen_chapters(proved, "labels")] == ["labels"]


@pytest.mark.parametrize(
    ("chosen", "said"),
    [
        ("wirng", r"there is no chapter `wirng`: did you mean `wiring`\?"),
        ("plan, xyzzy", "there is no chapter `xyzzy`: there are cover, plan, parts"),
    ],
)
def test_a_word_that_is_no_chapter_is_told_with_those_there_are(chosen: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        chosen_chapters(told(WIRED), chosen)
