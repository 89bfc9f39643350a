"""Requests to stop, as signals of the system bring them."""

from __future__ import annotations

import signal

import pytest

from bellcrank.sending.stopping import Stopping

SIGNALS = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP]


@pytest.mark.parametrize("number", SIGNALS)
def test_at_first_a_request_is_a_keyboard_interrupt(number: signal.Signals) -> None:
    with pytest.raises(KeyboardInterrupt), Stopping():
        signal.raise_signal(number)


@pytest.mark.parametrize("number", SIGNALS)
def test_deferred_it_is_only_counted(number: signal.Signals) -> None:
    with Stopping() as stop:
        stop.defer()
        signal.raise_signal(number)
        signal.raise_signal(number)
    assert stop.asked == 2


def test_while_a_person_is_asked_it_interrupts_and_afterwards_is_counted_again() -> None:
    with Stopping() as stop:
        stop.defer()
        with pytest.raises(KeyboardInterrupt):
            stop.while_asking(lambda: signal.raise_signal(signal.SIGINT))
        signal.raise_signal(signal.SIGINT)
        assert stop.asked == 2


def test_somebody_who_asked_before_the_question_is_not_asked_it() -> None:
    answered: list[int] = []
    with Stopping() as stop:
        stop.defer()
        signal.raise_signal(signal.SIGINT)
        with pytest.raises(KeyboardInterrupt):
            stop.while_asking(lambda: answered.append(1))
    assert answered == []


def test_afterwards_all_is_as_it_was() -> None:
    before = [signal.getsignal(number) for number in SIGNALS]
    with Stopping():
        pass
    assert [signal.getsignal(number) for number in SIGNALS] == before


@pytest.mark.parametrize("number", SIGNALS)
def test_where_the_process_ends_with_it_what_was_sent_stands(number: signal.Signals) -> None:
    before = [signal.getsignal(each) for each in SIGNALS]
    try:
        with Stopping(lasts=True) as stop:
            stop.defer()
        signal.raise_signal(number)
        assert stop.asked == 1
    finally:
        for each, handler in zip(SIGNALS, before, strict=True):
            signal.signal(each, handler)


def test_where_nothing_was_sent_a_request_is_obeyed_as_before() -> None:
    before = [signal.getsignal(number) for number in SIGNALS]
    with Stopping(lasts=True):
        pass
    assert [signal.getsignal(number) for number in SIGNALS] == before


def test_what_whoever_started_the_process_wants_ignored_stays_ignored() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with Stopping() as stop:
            signal.raise_signal(signal.SIGHUP)
        assert stop.asked == 0
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)
