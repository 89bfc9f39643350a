"""A timetable played against a clock that stands still between waits."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from played import (
    SET,
    TEXTS,
    FakeClock,
    FakeLink,
    command,
    played,
    steps,
    texts,
    timetable,
)

from bellcrank.sending.links import LinkError
from bellcrank.sending.outcome import Step, UntoldError
from bellcrank.timing.timetable_model import Timed, Timetable, Wait


def test_each_command_is_sent_at_its_time() -> None:
    run = played(SET)
    assert run.outcome.ending == "done"
    assert run.sent == TEXTS
    assert run.times == [0, 0, 0, 450, 900]
    assert texts(run.outcome.sent) == TEXTS
    assert run.outcome.unsent == ()
    assert run.link.closed


def test_what_a_slow_link_delays_delays_all_that_follows() -> None:
    def slow(link: FakeLink, text: str) -> None:
        link.clock.wait(300 if text == "P1 straight" else 0)

    run = played(SET, slow)
    assert run.times == [0, 0, 300, 750, 1200]


@given(delays=st.lists(st.floats(0, 5000), min_size=5, max_size=5))
def test_however_late_each_is_no_pause_is_cut_short(delays: list[float]) -> None:
    late = iter(delays)
    run = played(SET, lambda link, text: link.clock.wait(next(late)))
    for before, after, gap in ((2, 3, 450), (3, 4, 450), (0, 4, 900)):
        assert run.times[after] - run.times[before] >= gap - 1e-6


def test_the_end_is_when_the_last_drive_has_moved() -> None:
    run = played(timetable((0, 700, command("P1", "straight", 1))))
    assert run.link.clock.time == 1700


def test_a_signal_comes_off_only_after_all_drives_whatever_the_timetable_says() -> None:
    hasty = timetable(
        (0, 0, command("W1", "stop", 1)),
        (0, 200, command("P1", "straight", 2)),
        (50, 50, command("W1", "proceed", 3)),
    )
    assert played(hasty).times == [0, 0, 200]


# ------------------------------------------------------------------- by hand

BY_HAND = timetable(
    (0, 0, command("W1", "stop", 1)),
    (0, 200, command("P1", "straight", 2)),
    (0, 0, command("P2", "diverging", 3, by_hand=True)),
    (250, 250, command("W1", "proceed", 4)),
)


def test_a_drive_thrown_by_hand_is_confirmed_before_the_signal_comes_off() -> None:
    run = played(BY_HAND, takes=8000)
    assert run.person.told == ["P2 diverging"]
    assert run.person.asked == ["P2 diverging"]
    assert run.sent == ["W1 stop", "P1 straight", "W1 proceed"]
    assert run.times[-1] >= 8000
    assert run.outcome.ending == "done"


def test_not_confirmed_no_signal_comes_off_and_those_of_the_list_go_to_stop() -> None:
    run = played(BY_HAND, answer=False)
    assert run.outcome.ending == "not confirmed"
    assert "P2 lies diverging" in run.outcome.reason
    assert run.sent == ["W1 stop", "P1 straight", "W1 stop"]
    assert texts(run.outcome.unsent) == ["W1 proceed"]
    assert texts(run.outcome.stopped) == ["W1 stop"]


def test_a_signal_put_to_stop_by_hand_is_confirmed_before_any_drive_moves() -> None:
    table = timetable(
        (0, 0, command("W1", "stop", 1, by_hand=True)),
        (0, 200, command("P1", "straight", 2)),
    )
    run = played(table, answer=False)
    assert run.sent == []
    assert run.outcome.ending == "not confirmed"
    assert texts(run.outcome.unsent) == ["P1 straight"]


def test_what_a_timetable_waits_for_is_asked_once_and_in_its_place() -> None:
    report = Wait("report", "P1", "straight", "P1 reports that it lies straight")
    confirm = Wait("confirmation", "P2", "diverging", "somebody confirms that P2 lies diverging")
    *first, last = BY_HAND.commands
    table = Timetable(
        "set", "R", (*first, Timed(last.at, last.until, last.command, (report, confirm))), 250, 250
    )
    run = played(table)
    assert run.person.asked == ["P1 straight", "P2 diverging"]


def test_at_the_end_of_a_cancellation_nobody_is_asked_whether_it_is_released() -> None:
    release = Wait("release", "R", "released", "R is released")
    run = played(timetable((0, 0, command("W1", "stop", 1)), waits=[release]), answer=False)
    assert run.outcome.ending == "done"
    assert run.person.asked == []


# ------------------------------------------------------------- when it goes wrong


def cut_at(text: str):  # type: ignore[no-untyped-def]
    def before(link: FakeLink, sent: str) -> None:
        if sent == text:
            link.lost = True
            raise LinkError("the link is lost")

    return before


def test_when_the_link_is_lost_signals_go_to_stop_over_a_fresh_one() -> None:
    run = played(SET, cut_at("P2 diverging"), fresh=FakeLink)
    assert run.outcome.ending == "lost"
    assert run.sent == ["W1 stop", "W2 stop", "P1 straight"]
    assert texts(run.outcome.sent) == ["W1 stop", "W2 stop", "P1 straight"]
    assert run.outcome.doubtful is not None
    assert texts([run.outcome.doubtful]) == ["P2 diverging"]
    assert texts(run.outcome.unsent) == ["W1 proceed"]
    assert [text for _, text in run.fresh[0].sent] == ["W1 stop", "W2 stop"]
    assert texts(run.outcome.stopped) == ["W1 stop", "W2 stop"]
    assert run.outcome.left == ()
    assert run.link.closed and run.fresh[0].closed


def test_a_link_lost_between_two_commands_is_noticed_before_the_next() -> None:
    clocks: list[float] = []

    def tell(step: Step) -> None:
        if step.command.name == "P1":
            link_of[0].lost = True
            clocks.append(link_of[0].clock.time)

    link_of: list[FakeLink] = []
    run = played(SET, lambda link, text: link_of.append(link), fresh=FakeLink, tell=tell)
    assert run.outcome.ending == "lost"
    assert run.outcome.doubtful is None
    assert texts(run.outcome.unsent) == ["P2 diverging", "W1 proceed"]
    assert run.fresh[0].sent[0][0] - clocks[0] <= 100


def test_signals_that_cannot_be_put_to_stop_are_named() -> None:
    run = played(SET, cut_at("P1 straight"))
    assert run.outcome.ending == "lost"
    assert run.outcome.stopped == ()
    assert texts(run.outcome.left) == ["W1 stop", "W2 stop"]


def test_a_fresh_link_that_is_lost_too_is_tried_again() -> None:
    tried: list[FakeLink] = []

    def fresh(clock: FakeClock) -> FakeLink:
        link = FakeLink(clock)
        if not tried:
            link.before = lambda text: cut_at("W2 stop")(link, text)
        tried.append(link)
        return link

    run = played(SET, cut_at("P1 straight"), fresh=fresh)
    assert [[text for _, text in link.sent] for link in tried] == [["W1 stop"], ["W2 stop"]]
    assert texts(run.outcome.stopped) == ["W1 stop", "W2 stop"]


def test_stopped_by_hand_signals_go_to_stop_over_the_same_link() -> None:
    def stop(link: FakeLink, text: str) -> None:
        if text == "W1 proceed":
            raise KeyboardInterrupt

    run = played(SET, stop)
    assert run.outcome.ending == "stopped"
    assert run.sent == [*TEXTS[:4], "W1 stop", "W2 stop"]
    assert run.outcome.doubtful is not None
    assert run.link.closed


def test_what_can_be_logged_no_more_is_not_sent_on() -> None:
    def full(step: Step) -> None:
        if step.command.name == "P1":
            raise UntoldError("what is sent cannot be logged: No space left on device")

    run = played(SET, tell=full)
    assert run.outcome.ending == "untold"
    assert "No space left" in run.outcome.reason
    assert run.sent == ["W1 stop", "W2 stop", "P1 straight", "W1 stop", "W2 stop"]
    assert texts(run.outcome.sent) == ["W1 stop", "W2 stop", "P1 straight"]


def test_where_nothing_was_sent_nothing_is_put_to_stop() -> None:
    table = Timetable(
        "set",
        "R",
        (Timed(0, 0, command("W1", "stop", 1), (Wait("report", "P1", "straight", "P1 lies"),)),),
        0,
        0,
    )
    run = played(table, answer=False)
    assert run.sent == []
    assert run.outcome.stopped == run.outcome.left == ()


def test_signals_by_hand_are_left_to_the_person_when_it_goes_wrong() -> None:
    table = timetable(
        (0, 0, command("W2", "stop", 1)),
        (0, 0, command("W1", "stop", 2, by_hand=True)),
        (0, 200, command("P1", "straight", 3)),
    )
    run = played(table, cut_at("P1 straight"), fresh=FakeLink)
    assert texts(run.outcome.stopped) == ["W2 stop"]
    assert texts(run.outcome.left) == ["W1 stop"]


@pytest.mark.parametrize("cut", range(5))
def test_sent_doubtful_and_unsent_are_together_the_whole_list(cut: int) -> None:
    run = played(SET, cut_at(TEXTS[cut]))
    out = run.outcome
    assert out.doubtful is not None
    assert [*texts(out.sent), *texts([out.doubtful]), *texts(out.unsent)] == TEXTS
    assert len(out.sent) == cut
    assert texts(out.left) == texts(steps(SET)[:2])
