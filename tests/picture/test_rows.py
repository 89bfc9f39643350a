"""Rows of a picture lie a whole distance apart where they can, and where they cannot there is a
picture all the same."""

from __future__ import annotations

import pytest

from bellcrank.picture.measures import ROW
from bellcrank.picture.rows import Programme


def two_lines(*, least: float, most: float | None = None) -> Programme:
    """A line that lies as high as it may, so far below another."""
    made = Programme()
    upper, lower = made.variable(), made.variable(1.0)
    made.at_least(least, (1.0, lower), (-1.0, upper))
    if most is not None:
        made.at_least(-most, (1.0, upper), (-1.0, lower))
    for line in (upper, lower):
        made.in_whole_rows(line)
    return made


def test_lines_lie_in_whole_rows_where_they_can() -> None:
    assert two_lines(least=ROW / 2).solve() == [0.0, ROW]
    assert two_lines(least=ROW).solve() == [0.0, ROW]


def test_lines_that_cannot_all_lie_in_whole_rows_lie_where_they_would_anyhow() -> None:
    assert two_lines(least=ROW / 2, most=ROW / 2).solve() == [0.0, ROW / 2]


def test_what_cannot_be_at_all_is_told() -> None:
    with pytest.raises(ArithmeticError):
        two_lines(least=ROW, most=ROW / 2).solve()
