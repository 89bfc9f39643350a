"""Coils whose pulses are ended by what is sent: none stays on because a run ended."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from played import (
    SET,
    FakeClock,
    FakeLink,
    Played,
    command,
    ending_pulses,
    played,
    texts,
    timetable,
)
from test_broken_off import Requests, ask, at, raising

from bellcrank.sending.links import LinkError
from bellcrank.timing.timetable_model import Timed, Timetable, Wait

OFF = ["P1 off", "P2 off"]


def on(run: Played) -> set[str]:
    """The drives whose coils are on after all that was sent, as far as it arrived."""
    found: set[str] = set()
    for link in (run.link, *run.fresh):
        for _, text in link.sent:
            name, _, what = text.partition(" ")
            if name.startswith("P"):
                found = found - {name} if what == "off" else found | {name}
    return found


def test_each_pulse_ends_in_its_time_and_before_what_comes_then() -> None:
    run = played(SET, made=ending_pulses)
    assert run.outcome.ending == "done"
    assert list(zip(run.sent, run.times, strict=True)) == [
        ("W1 stop", 0),
        ("W2 stop", 0),
        ("P1 straight", 0),
        ("P1 off", 200),
        ("P2 diverging", 450),
        ("P2 off", 650),
        ("W1 proceed", 900),
    ]
    assert "switched off: P1 straight" in run.told


def test_pulses_that_overlap_end_each_in_its_time() -> None:
    table = timetable(
        (0, 300, command("P1", "straight", 1)),
        (100, 250, command("P2", "diverging", 2)),
        (250, 250, command("W1", "proceed", 3)),
    )
    run = played(table, made=ending_pulses)
    assert list(zip(run.sent, run.times, strict=True))[2:] == [
        ("P2 off", 250),
        ("P1 off", 300),
        ("W1 proceed", 300),
    ]


def test_a_pulse_is_never_cut_short_by_what_comes_late() -> None:
    def slow(link: FakeLink, text: str) -> None:
        if text == "P1 straight":
            link.clock.wait(70)

    run = played(SET, slow, made=ending_pulses)
    sent = dict(zip(run.sent, run.times, strict=True))
    assert sent["P1 off"] - sent["P1 straight"] == 200


def test_nobody_is_asked_while_a_coil_is_on() -> None:
    wait = Wait("report", "P1", "straight", "P1 reports that it lies straight")
    first = Timed(0, 200, command("P1", "straight", 1))
    second = Timed(50, 50, command("W1", "proceed", 2), (wait,))
    table = Timetable("set", "W1 to T1", (first, second), 200, 200, ())
    run = played(table, made=ending_pulses, takes=60_000)
    assert run.sent == ["P1 straight", "P1 off", "W1 proceed"]
    assert run.times[1] == 200


@pytest.mark.parametrize("text", ["P1 straight", "P2 diverging", "W1 proceed", *OFF])
@pytest.mark.parametrize("acknowledges", [True, False])
def test_a_request_to_stop_leaves_no_coil_on(text: str, acknowledges: bool) -> None:
    requests = Requests()
    run = played(
        SET,
        at(text, ask(requests)),
        stop=requests,
        made=ending_pulses,
        acknowledges=acknowledges,
        fresh=FakeLink,
    )
    assert run.outcome.ending == "stopped"
    assert on(run) == set()
    assert run.outcome.left_on == ()


def test_a_pulse_gets_its_rest_while_signals_go_to_stop() -> None:
    requests = Requests()
    run = played(SET, at("P1 straight", ask(requests)), stop=requests, made=ending_pulses)
    assert run.sent[2:] == ["P1 straight", "W1 stop", "W2 stop", "P1 off"]
    assert run.times[-1] == 200


def test_a_second_request_ends_the_pulse_at_once() -> None:
    requests = Requests()
    run = played(SET, at("P1 straight", ask(requests, 2)), stop=requests, made=ending_pulses)
    assert run.sent[2:] == ["P1 straight", "P1 off"]
    assert run.times[-1] == 0
    assert run.outcome.cut_short and on(run) == set()


@pytest.mark.parametrize("text", ["P1 straight", "P2 diverging", "W1 proceed", *OFF])
@pytest.mark.parametrize("acknowledges", [True, False])
@pytest.mark.parametrize("error", [LinkError("lost"), RuntimeError("a mistake")])
def test_when_a_lost_link_is_back_no_coil_is_left_on(
    text: str, acknowledges: bool, error: Exception
) -> None:
    run = played(
        SET,
        at(text, raising(error)),
        made=ending_pulses,
        acknowledges=acknowledges,
        fresh=FakeLink,
    )
    thrown = {t.split()[0] for t in [*run.sent, text] if t.startswith("P") and "off" not in t}
    again = {t.split()[0] for _, t in run.fresh[0].sent if t.endswith("off")}
    # Where nothing is acknowledged, what ended a pulse may have been lost with the link.
    assert on(run) == set()
    assert again == thrown if not acknowledges else again <= thrown
    assert run.outcome.left_on == ()


def test_a_coil_whose_pulse_is_over_goes_off_before_signals_go_to_stop() -> None:
    def fresh(clock: FakeClock) -> FakeLink:
        clock.wait(500)
        return FakeLink(clock)

    def lost(link: FakeLink, text: str) -> None:
        if text == "P1 off":
            raise LinkError("lost")

    run = played(SET, lost, made=ending_pulses, fresh=fresh)
    assert [text for _, text in run.fresh[0].sent] == ["P1 off", "W1 stop", "W2 stop"]


def test_a_coil_that_cannot_be_switched_off_is_told() -> None:
    run = played(SET, at("P1 off", raising(LinkError("lost"))), made=ending_pulses)
    assert texts(run.outcome.left_on) == ["P1 straight"]


def test_a_coil_counts_as_off_only_once_that_has_surely_left() -> None:
    def fresh(clock: FakeClock) -> FakeLink:
        link = FakeLink(clock, acknowledges=False)
        link.settling = raising(LinkError("reset"))
        return link

    run = played(SET, at("P1 off", raising(LinkError("lost"))), made=ending_pulses, fresh=fresh)
    assert texts(run.outcome.left_on) == ["P1 straight"]


def test_before_anything_is_sent_nothing_is_switched_off() -> None:
    run = played(SET, stop=Requests(1), made=ending_pulses, fresh=FakeLink)
    assert run.sent == [] and run.fresh == []


def telling(sentence: str) -> Callable[[object], None]:
    def tell(step: object) -> None:
        raise ZeroDivisionError(sentence)

    return tell


def test_what_cannot_be_told_leaves_no_coil_on() -> None:
    table = timetable((0, 200, command("P1", "straight", 1)))
    run = played(table, made=ending_pulses, tell=telling("?"), fresh=FakeLink)
    assert run.outcome.ending == "failed"
    assert on(run) == set()
