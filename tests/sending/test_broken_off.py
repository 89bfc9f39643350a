"""A list that is broken off: signals go to stop, and what became of each command is known."""

from __future__ import annotations

import termios
from collections.abc import Callable
from dataclasses import dataclass

import pytest
from played import SET, TEXTS, FakeClock, FakeLink, played, texts

from bellcrank.sending.links import LinkError


@dataclass
class Requests:
    """Requests to stop, made by whoever plays."""

    asked: int = 0


def at(text: str, act: Callable[[], None]) -> Callable[[FakeLink, str], None]:
    """Do something while a text is being sent for the first time."""
    done: list[str] = []

    def before(link: FakeLink, sent: str) -> None:
        if sent == text and not done:
            done.append(sent)
            act()

    return before


def ask(requests: Requests, times: int = 1) -> Callable[[], None]:
    def act() -> None:
        requests.asked += times

    return act


# ------------------------------------------------------------- whatever goes wrong


def raising(error: BaseException) -> Callable[[], None]:
    def act() -> None:
        raise error

    return act


@pytest.mark.parametrize(
    "error",
    [
        termios.error(5, "Input/output error"),
        RuntimeError("no thread can be started"),
        AssertionError(),
        MemoryError(),
        UnicodeError("?"),
    ],
)
def test_whatever_goes_wrong_signals_go_to_stop_over_a_fresh_link(error: Exception) -> None:
    run = played(SET, at("P2 diverging", raising(error)), fresh=FakeLink)
    assert run.outcome.ending == "failed"
    assert type(error).__name__ in run.outcome.reason
    assert [text for _, text in run.fresh[0].sent] == ["W1 stop", "W2 stop"]
    assert texts(run.outcome.stopped) == ["W1 stop", "W2 stop"]
    assert run.link.closed and run.fresh[0].closed


def test_what_goes_wrong_when_it_is_told_puts_signals_to_stop_too() -> None:
    told: list[str] = []

    def tell(step: object) -> None:
        told.append("")
        if len(told) == 3:
            raise ZeroDivisionError

    run = played(SET, fresh=FakeLink, tell=tell)
    assert run.outcome.ending == "failed"
    assert texts(run.outcome.sent) == TEXTS[:3]
    assert texts(run.outcome.stopped) == ["W1 stop", "W2 stop"]


def test_a_fresh_link_that_goes_wrong_in_any_way_is_tried_again() -> None:
    made: list[FakeLink] = []

    def fresh(clock: FakeClock) -> FakeLink:
        made.append(FakeLink(clock))
        if len(made) == 1:
            made[0].before = lambda text: raising(termios.error(5, "gone"))()
        return made[-1]

    run = played(SET, at("P1 straight", raising(LinkError("lost"))), fresh=fresh)
    assert texts(run.outcome.stopped) == ["W1 stop", "W2 stop"]
    assert [text for _, text in made[1].sent] == ["W1 stop", "W2 stop"]


def test_what_is_not_acknowledged_counts_only_once_it_has_surely_left() -> None:
    made: list[FakeLink] = []

    def fresh(clock: FakeClock) -> FakeLink:
        link = FakeLink(clock, acknowledges=False)
        made.append(link)
        if len(made) == 1:
            # The first signal is written, then the line turns out to be cut.
            link.before = lambda text: raising(LinkError("reset"))() if text == "W2 stop" else None
        return link

    run = played(SET, at("P1 straight", raising(LinkError("lost"))), fresh=fresh)
    assert [text for _, text in made[1].sent] == ["W1 stop", "W2 stop"]
    assert run.outcome.left == ()


def test_what_is_not_acknowledged_and_never_surely_left_is_not_called_stopped() -> None:
    def fresh(clock: FakeClock) -> FakeLink:
        link = FakeLink(clock, acknowledges=False)
        link.settling = raising(LinkError("reset"))
        return link

    run = played(SET, at("P1 straight", raising(LinkError("lost"))), fresh=fresh)
    assert run.outcome.stopped == ()
    assert texts(run.outcome.left) == ["W1 stop", "W2 stop"]


# ---------------------------------------------------------------- requests to stop


def test_a_request_in_the_midst_of_sending_waits_until_that_is_sent() -> None:
    requests = Requests()
    run = played(SET, at("P1 straight", ask(requests)), stop=requests)
    assert run.outcome.ending == "stopped"
    assert run.sent == [*TEXTS[:3], "W1 stop", "W2 stop"]
    assert run.outcome.doubtful is None
    assert texts(run.outcome.unsent) == TEXTS[3:]
    assert texts(run.outcome.stopped) == ["W1 stop", "W2 stop"]


def test_a_request_before_anything_is_sent_sends_nothing() -> None:
    run = played(SET, stop=Requests(1))
    assert run.outcome.ending == "stopped"
    assert run.sent == []
    assert run.outcome.stopped == run.outcome.left == ()
    assert run.link.closed


def test_a_request_while_the_link_closes_after_the_last_command_puts_signals_to_stop() -> None:
    requests = Requests()
    run = played(SET, stop=requests, fresh=FakeLink, closing=ask(requests))
    assert run.sent == TEXTS
    assert run.outcome.ending == "stopped"
    assert [text for _, text in run.fresh[0].sent] == ["W1 stop", "W2 stop"]
    assert texts(run.outcome.stopped) == ["W1 stop", "W2 stop"]
    assert run.outcome.unsent == ()


def test_a_second_request_leaves_signals_as_they_are_and_says_so() -> None:
    requests = Requests()

    def before(link: FakeLink, text: str) -> None:
        if text == "P1 straight" or (text == "W1 stop" and requests.asked == 1):
            requests.asked += 1

    run = played(SET, before, stop=requests)
    assert run.outcome.ending == "stopped"
    assert run.outcome.cut_short
    assert texts(run.outcome.stopped) == ["W1 stop"]
    assert texts(run.outcome.left) == ["W2 stop"]


def test_after_a_lost_link_one_request_does_not_keep_signals_from_going_to_stop() -> None:
    requests = Requests()
    tried: list[int] = []

    def fresh(clock: FakeClock) -> FakeLink:
        tried.append(1)
        requests.asked = 1
        if len(tried) == 1:
            raise LinkError("not yet")
        return FakeLink(clock)

    run = played(SET, at("P1 straight", raising(LinkError("lost"))), stop=requests, fresh=fresh)
    assert run.outcome.ending == "lost"
    assert not run.outcome.cut_short
    assert texts(run.outcome.stopped) == ["W1 stop", "W2 stop"]


def test_two_requests_end_the_waiting_for_a_link_that_does_not_come_back() -> None:
    requests = Requests()

    def fresh(clock: FakeClock) -> FakeLink:
        requests.asked += 1
        raise LinkError("not yet")

    run = played(SET, at("P1 straight", raising(LinkError("lost"))), stop=requests, fresh=fresh)
    assert requests.asked == 2
    assert run.outcome.cut_short
    assert texts(run.outcome.left) == ["W1 stop", "W2 stop"]


def test_what_was_confirmed_is_in_the_outcome() -> None:
    from test_playing import BY_HAND

    run = played(BY_HAND)
    assert [(w.name, w.state) for w in run.outcome.confirmed] == [("P2", "diverging")]
    assert played(BY_HAND, answer=False).outcome.confirmed == ()
