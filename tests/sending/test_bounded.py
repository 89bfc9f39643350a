"""A call that may last only so long."""

from __future__ import annotations

import threading
import time

import pytest

from bellcrank.sending.bounded import LateError, within


def test_what_is_done_in_time_comes_back() -> None:
    assert within(5, lambda: 7) == 7


def test_what_it_raises_is_raised_here() -> None:
    def fail() -> None:
        raise KeyError("x")

    with pytest.raises(KeyError):
        within(5, fail)


def test_what_takes_too_long_is_left_behind_and_undone_when_it_comes_after_all() -> None:
    go_on, undone = threading.Event(), threading.Event()
    got: list[int] = []

    def slow() -> int:
        go_on.wait(20)
        return 7

    def undo(result: int) -> None:
        got.append(result)
        undone.set()

    begun = time.monotonic()
    with pytest.raises(LateError):
        within(0.05, slow, undo=undo)
    assert time.monotonic() - begun < 5
    go_on.set()
    assert undone.wait(20)
    assert got == [7]


def test_what_is_given_up_is_waited_for_no_longer() -> None:
    asked: list[int] = []

    def given_up() -> bool:
        asked.append(1)
        return len(asked) > 2

    go_on = threading.Event()
    with pytest.raises(LateError):
        within(60, lambda: go_on.wait(20), given_up=given_up)
    go_on.set()


def test_what_came_in_time_is_not_undone() -> None:
    undone: list[int] = []
    within(5, lambda: 7, undo=undone.append)
    time.sleep(0.02)
    assert undone == []
