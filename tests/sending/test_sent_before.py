"""What was thrown before, as a log tells it, gets the rest that it still needs."""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import bellcrank
from bellcrank.layout.layout_model import Layout
from bellcrank.sending.log_rows import Commanded, DamagedRowError, Entry, Fate
from bellcrank.sending.older_log import OlderLog
from bellcrank.sending.sent_before import Thrown, rest_due, thrown_before
from bellcrank.timing.lists import timetables
from bellcrank.timing.timetable_model import Timed, Timetable

LAYOUT = """\
points P, Q
run edge WEST - A - >H - P.toe
run P.straight - B - Q.toe
run P.diverging - C - stop
run Q.straight - D - edge EAST
run Q.diverging - E - stop
decoder kind quad { outputs 4 }
decoder K quad at 1
drive P = K.1  coil 300 ms  rests 2 s
drive Q = K.2  coil 200 ms
signal H = K.3
supply BENCH { feeds K  one at a time  rest 400 ms }
"""

NOON = datetime(2030, 6, 1, 12, tzinfo=UTC).astimezone()


@cache
def laid() -> tuple[Layout, dict[str, Timetable]]:
    c = bellcrank.compile(LAYOUT)
    assert c.layout and c.table and c.locking, c.diagnostics
    found = timetables(c.layout, c.table, c.locking)
    return c.layout, {t.of: t for t in found if t.what == "set"}


def due(*thrown: Thrown, route: str = "H to C") -> int:
    layout, table = laid()
    rest = rest_due(layout, thrown, table[route])
    return rest.milliseconds if rest else 0


def row(ago: float, text: str) -> str:
    at = (NOON - timedelta(seconds=ago)).strftime("%Y-%m-%d %H:%M:%S.%f")[:-3]
    return f"{at}  {text}\n"


def test_a_coil_thrown_a_moment_ago_gets_its_rest_and_no_more() -> None:
    # Its pulse of 300 ms is over at 300; it must be left alone until 2300.
    assert due(Thrown("P", "straight", 1000)) == 1300
    assert due(Thrown("P", "straight", 2299)) == 1
    assert due(Thrown("P", "straight", 2300)) == 0


def test_a_supply_is_left_its_rest_after_another_drive() -> None:
    # Q has its pulse until 200; the supply that feeds both rests until 600.
    assert due(Thrown("Q", "straight", 0)) == 600
    assert due(Thrown("Q", "straight", 550)) == 50
    layout, table = laid()
    rest = rest_due(layout, [Thrown("Q", "straight", 550)], table["H to C"])
    assert rest is not None
    assert rest.sentence.startswith("BENCH throws 1 at a time and rests 400 ms after each")


def test_of_many_throws_the_one_that_binds_longest_counts() -> None:
    assert due(Thrown("Q", "straight", 100), Thrown("P", "straight", 2000)) == 500
    assert due(Thrown("P", "straight", 900), Thrown("Q", "straight", 100)) == 1400


def test_what_was_sent_too_fast_before_is_past_and_no_reason_to_refuse() -> None:
    assert due(Thrown("P", "straight", 700), Thrown("P", "diverging", 600)) == 1700


def test_a_drive_that_the_layout_has_no_more_is_passed_over() -> None:
    assert due(Thrown("R", "straight", 0)) == 0
    assert due(Thrown("P", "sideways", 0)) == due(Thrown("P", "straight", 0)) == 2300


@given(st.lists(st.tuples(st.sampled_from("PQ"), st.integers(0, 3000)), max_size=6))
@settings(max_examples=50, deadline=None)
def test_after_the_rest_a_plain_count_finds_every_limit_kept(throws: list[tuple[str, int]]) -> None:
    wait = due(*(Thrown(name, "straight", ago) for name, ago in throws), route="H to EAST")
    pulse = {"P": 300, "Q": 200}
    _, table = laid()
    own: list[Timed] = [t for t in table["H to EAST"].commands if t.command.device == "drive"]
    for timed in own:
        at = wait + timed.at
        for name, ago in throws:
            over = -ago + pulse[name]
            assert at >= over + 400, "the supply has had no rest"
            if name == timed.command.name == "P":
                assert at >= over + 2000, "the coil has had no rest"


# ------------------------------------------------------------------------ the log


def before(lines: Iterable[str], now: datetime = NOON) -> tuple[Thrown, ...]:
    """The throws of a log as they were written before rows had fields."""
    older = OlderLog(now)
    return thrown_before([e for e in map(older.read, lines) if e is not None], now)


def test_rows_of_a_log_tell_of_throws_and_of_those_that_may_have_arrived() -> None:
    fates: list[tuple[float, Fate, str, str, str]] = [
        (8, "sent", "signal", "H", "stop"),
        (7.5, "sent", "drive", "P", "straight"),
        (6, "in doubt", "drive", "Q", "diverging"),
        (5, "not sent", "drive", "P", "diverging"),
        (4, "by hand", "drive", "R", "straight"),
    ]
    entries = [
        Entry(NOON - timedelta(seconds=ago), Commanded(fate, device, name, state))
        for ago, fate, device, name, state in fates
    ]
    assert thrown_before(entries, NOON) == (
        Thrown("P", "straight", 7500),
        Thrown("Q", "diverging", 6000),
    )


def test_a_row_of_the_future_counts_as_thrown_just_now() -> None:
    entry = Entry(NOON + timedelta(seconds=90), Commanded("sent", "drive", "P", "straight"))
    assert thrown_before([entry], NOON) == (Thrown("P", "straight", 0),)


def test_an_older_log_is_read_for_throws_and_for_those_that_may_have_arrived() -> None:
    log = [
        row(9, "bellcrank 1: set H to C to tcp://127.0.0.1:1, target csv"),
        row(8, "sent: signal H stop    H stop 3"),
        row(7.5, "sent: drive P straight    P straight 1"),
        row(6, "BROKEN OFF: it is lost."),
        row(6, "sent: 2"),
        row(6, "  signal H stop    H stop 3"),
        row(6, "  drive P straight    P straight 1"),
        row(5, "may have arrived or not: 1"),
        row(5, "  drive Q diverging    Q diverging 2"),
        row(5, "not sent: 1"),
        row(5, "  drive P diverging    P diverging 1"),
        row(4, "by hand: throw R to straight"),
    ]
    assert before(log) == (
        Thrown("P", "straight", 7500),
        Thrown("Q", "diverging", 5000),
    )


@pytest.mark.parametrize("time", ["2030-13-45 12:00:00.000", "0001-01-01 00:00:00.000"])
def test_what_an_older_log_says_of_a_time_that_cannot_be_counts_as_thrown_just_now(
    time: str,
) -> None:
    assert before([f"{time}  sent: drive P straight\n"]) == (Thrown("P", "straight", 0),)


def test_what_an_older_log_says_of_the_future_counts_as_thrown_just_now() -> None:
    assert before([row(-90, "sent: drive P straight")]) == (Thrown("P", "straight", 0),)


def test_what_is_no_row_of_an_older_log_is_damage() -> None:
    with pytest.raises(DamagedRowError):
        before(["and a line of something else\n"])


def test_a_number_of_five_thousand_digits_in_an_older_log_is_passed_over() -> None:
    assert before([row(1, "may have arrived or not: " + "9" * 5000)]) == ()


@pytest.fixture
def zone_with_summer_time() -> Iterator[None]:
    before = os.environ.get("TZ")
    os.environ["TZ"] = "CET-1CEST,M3.5.0,M10.5.0/3"
    time.tzset()
    yield
    if before is None:
        del os.environ["TZ"]
    else:
        os.environ["TZ"] = before
    time.tzset()


@pytest.mark.usefixtures("zone_with_summer_time")
@pytest.mark.skipif(not hasattr(time, "tzset"), reason="this system has no time zones to set")
@pytest.mark.parametrize(
    ("written", "now", "ago"),
    [
        # In spring the clock jumps from 2 to 3, in autumn it goes from 3 back to 2.
        ("2030-03-31 01:59:59.000", datetime(2030, 3, 31, 1, 0, 1, tzinfo=UTC), 2000),
        ("2030-10-27 02:59:59.000", datetime(2030, 10, 27, 1, 0, 1, tzinfo=UTC), 2000),
        ("2030-10-27 02:00:01.000", datetime(2030, 10, 27, 1, 0, 3, tzinfo=UTC), 2000),
    ],
)
def test_an_hour_that_is_left_out_or_gone_through_twice_makes_no_rest_shorter(
    written: str, now: datetime, ago: int
) -> None:
    (found,) = before([f"{written}  sent: drive P straight\n"], now)
    assert found.ago == ago
