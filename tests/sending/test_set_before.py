"""The routes that a log shows as set and not cancelled since."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from sound_layouts import undecided

from bellcrank.sending.log_rows import Answered, Begun, Commanded, Ended, Entry, Row, read, written
from bellcrank.sending.set_before import against, set_before

NOW = datetime(2024, 5, 4, 10, 0, tzinfo=UTC)

SENT = Commanded("sent", "signal", "H", "stop")


def begun(does: str | None, route: str | None = None) -> Begun:
    return Begun("?", "tcp://x:1", "csv", "proved", ("a",), "0", "0", "", does, route)


def still_set(*rows: Row) -> list[str]:
    entries = [Entry(NOW + timedelta(seconds=n), row) for n, row in enumerate(rows)]
    assert [read(written(entry)) for entry in entries] == entries
    return [earlier.route for earlier in set_before(entries)]


H_TO_B = (begun("set", "H to B"), SENT, Ended("done", ""))
H_TO_C = (begun("set", "H to C"), SENT, Ended("done", ""))


def test_a_route_that_was_sent_stands_until_it_is_cancelled() -> None:
    assert still_set(*H_TO_B) == ["H to B"]
    cancel = (begun("cancel", "H to B"), SENT)
    assert still_set(*H_TO_B, *cancel, Ended("done", "")) == []
    assert still_set(*H_TO_B, *cancel, Ended("lost", "")) == ["H to B"]
    assert still_set(*H_TO_B, begun("cancel", "H to C"), SENT, Ended("done", "")) == ["H to B"]


@pytest.mark.parametrize("does", ["start up", "all to stop"])
def test_all_signals_at_stop_end_every_route(does: str) -> None:
    assert still_set(*H_TO_B, *H_TO_C, begun(does), SENT, Ended("done", "")) == []
    assert still_set(*H_TO_B, begun(does), SENT, Ended("stopped", "")) == ["H to B"]


def test_one_drive_thrown_alone_ends_no_route() -> None:
    assert still_set(*H_TO_B, begun("throw"), SENT, Ended("done", "")) == ["H to B"]


def test_a_route_that_was_broken_off_stands_only_if_a_signal_could_not_go_to_stop() -> None:
    assert still_set(begun("set", "H to B"), SENT, Ended("stopped", "")) == []
    left = Commanded("not put to stop", "signal", "H", "stop")
    assert still_set(begun("set", "H to B"), SENT, left, Ended("lost", "")) == ["H to B"]


def test_a_run_that_died_in_the_midst_leaves_its_route() -> None:
    assert still_set(begun("set", "H to B"), SENT) == ["H to B"]
    assert still_set(begun("set", "H to B"), SENT, *H_TO_C) == ["H to B", "H to C"]


def test_a_run_that_sent_nothing_sets_nothing() -> None:
    assert still_set(begun("set", "H to B"), Ended("not sent", "")) == []


def test_what_somebody_says_is_over_is_over() -> None:
    over = Answered(True, "H to B", "released", "H to B is over")
    assert still_set(*H_TO_B, begun("set", "H to C"), over, SENT, Ended("done", "")) == ["H to C"]


def test_of_older_logs_no_route_is_known() -> None:
    assert still_set(begun(None), SENT, Ended("done", "")) == []


JUNCTION = """\
points P
run edge WEST - A - >H - P.toe
run P.straight - <S - B - stop
run P.diverging - <R - C - stop
"""


def test_what_conflicts_on_the_track_or_by_a_rule_is_asked_about() -> None:
    c = undecided(JUNCTION)
    (b,) = set_before([Entry(NOW, row) for row in H_TO_B])
    assert against("H to C", [b], c.table, c.locking) == (b,)
    assert against("H to B", [b], c.table, c.locking) == ()
