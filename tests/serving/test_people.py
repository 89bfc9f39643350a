"""Who may ask what, from a file; and what is wrong with one."""

from __future__ import annotations

from pathlib import Path

import pytest
from sound_layouts import compiled

from bellcrank.serving.people import PeopleError, anybody, read_people

YARD = compiled("""
layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
""")

GOOD = """
[[person]]
name = "Ada"
key = "0123456789abcdef"

[[person]]
name = "Ben"
key = "fedcba9876543210"
works = ["S", "D"]

[[person]]
name = "Cleo"
key = "aaaaaaaaaaaaaaaa"
works = "nothing"
"""


def people_of(text: str, tmp_path: Path) -> Path:
    path = tmp_path / "people.toml"
    path.write_text(text, "utf-8")
    return path


def test_each_works_what_is_stated(tmp_path: Path) -> None:
    people = read_people(people_of(GOOD, tmp_path), YARD.layout)
    ada, ben, cleo = (
        people.with_key(k) for k in ("0123456789abcdef", "fedcba9876543210", "a" * 16)
    )
    assert ada is not None and ada.may_work("W") and not ada.watches
    assert ben is not None and ben.may_work("S") and not ben.may_work("W")
    assert cleo is not None and cleo.watches
    assert people.with_key("") is None and people.with_key("0123456789abcdeg") is None
    assert people.with_key("ü") is None


@pytest.mark.parametrize(
    ("faulty", "wrong"),
    [
        ("", "holds no people"),
        ("[[person]]\nname = 1\n", "`name` is a text"),
        (GOOD.replace('"Ada"', '""'), "person 1: `name` is a text"),
        (GOOD.replace("0123456789abcdef", "short"), "16 letters or more"),
        (GOOD.replace("fedcba9876543210", "0123456789abcdef"), "the same key as that of Ada"),
        (GOOD.replace('"Ben"', '"Ada"'), "two called Ada"),
        (GOOD.replace('"S", "D"', '"SS"'), "no signal `SS`"),
        (GOOD.replace('"nothing"', '"some"'), '"all", "nothing" or a list'),
        (GOOD.replace("works", "does"), "has `name`, `key` and `works`"),
        ("[[person]\n", "is not TOML"),
    ],
)
def test_a_faulty_file_says_what_is_wrong(faulty: str, wrong: str, tmp_path: Path) -> None:
    with pytest.raises(PeopleError) as error:
        read_people(people_of(faulty, tmp_path), YARD.layout)
    assert wrong in str(error.value)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(PeopleError, match="cannot be read"):
        read_people(tmp_path / "none.toml", YARD.layout)


def test_without_a_file_there_are_two_keys_drawn_anew() -> None:
    (one, works, watches), (_, other, _) = anybody(), anybody()
    assert works != other and works != watches
    worker, watcher = one.with_key(works), one.with_key(watches)
    assert worker is not None and worker.may_work("W")
    assert watcher is not None and watcher.watches
