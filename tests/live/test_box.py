"""The signal box: when it starts, what stops it, what it says, and when its times run."""

from __future__ import annotations

from headless import Headless
from sound_layouts import compiled

from bellcrank.live.box import Box
from bellcrank.live.decisions import Heard, Show, Throw
from bellcrank.machine.frame import IDLE

YARD = """
layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
drive P detected
signal W shows stop, slow, clear
route W to C shows slow
"""


def box_of(text: str, *links: str) -> Box:
    c = compiled(text)
    return Box(c.layout, c.table, c.control, links)


def told(box: Box, *heard: Heard, now: float = 0.0) -> list[str]:
    return [words for each in heard for words in box.decide(each, now).told]


CLEAR = [Heard("clear", s) for s in ("A", "B", "C", "P")]
STRAIGHT = Heard("lies", "P", "straight")


def started(text: str = YARD) -> Box:
    box = box_of(text)
    for heard in (*CLEAR, STRAIGHT, Heard("start")):
        box.decide(heard, 0.0)
    assert box.running
    return box


def test_it_starts_only_when_all_that_reports_has_reported() -> None:
    box = box_of(YARD)
    assert box.because == "it has not been started yet"
    assert told(box, Heard("start")) == [
        "P, A, B, C and drive P have not reported yet how things stand"
    ]
    for heard in (*CLEAR[1:], STRAIGHT):
        box.decide(heard, 0.0)
    assert told(box, Heard("start")) == ["A has not reported yet how things stand"]
    box.decide(Heard("occupied", "A"), 0.0)
    decision = box.decide(Heard("start", who="Ada"), 5.0)
    assert decision.outcome == "started"
    assert decision.known == (("A",), (("P", "straight"),))
    assert decision.doing == (Show("W", "stop"), Show("S", "stop"), Show("D", "stop"))
    assert decision.told == ("Ada says that no train is moving: it runs",)


def test_a_link_that_is_not_there_keeps_it_from_starting() -> None:
    box = box_of(YARD, "tcp://yard:1")
    for heard in (*CLEAR, STRAIGHT):
        box.decide(heard, 0.0)
    assert told(box, Heard("start")) == ["tcp://yard:1 is not there"]
    box.decide(Heard("here", "tcp://yard:1"), 0.0)
    assert box.decide(Heard("start"), 0.0).outcome == "started"


def test_nothing_is_set_before_the_start() -> None:
    box = box_of(YARD)
    decision = box.decide(Heard("request", "W to B"), 0.0)
    assert decision.outcome == "refused" and not decision.doing
    assert decision.told == ("nothing is set before a start: it has not been started yet",)


def test_signals_go_to_stop_before_drives_and_off_after_them() -> None:
    box = started()
    asked = box.decide(Heard("request", "W to C"), 10.0)
    assert asked.doing == (Throw("P", "diverging"),)
    lies = box.decide(Heard("lies", "P", "diverging"), 20.0)
    assert lies.doing == (Show("W", "slow"),)
    assert box.aspects() == {"W": "slow", "S": "stop", "D": "stop"}
    assert box.off_for("W") == "W to C" and box.held_for("P") == "W to C"
    assert box.decide(Heard("occupied", "P"), 30.0).doing == (Show("W", "stop"),)


def test_a_refusal_says_what_is_in_the_way() -> None:
    box = started()
    box.decide(Heard("request", "W to B"), 0.0)
    assert told(box, Heard("request", "W to C")) == ["P is held for W to B"]
    assert told(box, Heard("request", "W to B")) == ["W to B is set already"]
    assert told(box, Heard("request", "W to X")) == ["there is no `W to X`"]


def test_what_nothing_explains_stops_all_and_says_what_may_have_happened() -> None:
    box = started()
    box.decide(Heard("request", "W to B"), 0.5)
    decision = box.decide(Heard("occupied", "B"), 1.0)
    assert decision.outcome == "alarm" and not box.running
    assert decision.doing == (Show("W", "stop"), Show("S", "stop"), Show("D", "stop"))
    assert box.because is not None
    assert box.because.startswith("B is reported occupied, and nothing explains that")
    assert "passed a signal at stop" in box.because
    assert box.decide(Heard("request", "W to B"), 2.0).outcome == "refused"


def test_a_person_stops_it_and_starts_it_again() -> None:
    box = started()
    box.decide(Heard("request", "W to B"), 0.0)
    assert box.decide(Heard("stop", who="Ada"), 1.0).told == ("all was stopped by Ada",)
    assert box.stage("W to B") == IDLE and not box.running
    # What was reported is still known, so it can be started at once.
    assert box.decide(Heard("start"), 2.0).outcome == "started"
    assert box.stage("W to B") == IDLE


def test_a_lost_link_stops_it_and_what_it_reported_is_not_known_any_more() -> None:
    box = box_of(YARD, "east", "west")
    for name in ("east", "west"):
        box.decide(Heard("here", name), 0.0)
    for heard in CLEAR:
        box.decide(heard._replace(who="east"), 0.0)
    box.decide(STRAIGHT._replace(who="west"), 0.0)
    assert box.decide(Heard("start"), 0.0).outcome == "started"
    box.decide(Heard("lost", "west", "west is lost: pulled out", "west"), 1.0)
    assert box.because == "west is lost: pulled out"
    assert box.missing() == ((), ("P",))


def test_the_time_of_a_drive_runs_from_when_it_is_really_thrown() -> None:
    box = started(YARD.replace("drive P detected", "drive P detected\ntime of drive 2 s"))
    box.decide(Heard("request", "W to C"), 0.0)
    assert box.next_at() is None  # it may have to wait for its supply
    box.decide(Heard("thrown", "P", "diverging"), 700.0)
    assert box.next_at() == 2700.0
    assert box.due(2699.0) == []
    [over] = box.due(2700.0)
    decision = box.decide(over, 2700.0)
    assert decision.outcome == "alarm"
    assert decision.told[0].startswith(
        "P has not reported in time that it lies where it was thrown"
    )


def test_a_report_that_says_the_same_again_is_nothing_new() -> None:
    box = started()
    assert box.decide(Heard("clear", "B"), 1.0).outcome == "nothing new"


def test_what_is_not_understood_is_the_alarm() -> None:
    box = started()
    decision = box.decide(Heard("not understood", value="A occxpied", who="tcp://yard:1"), 1.0)
    assert decision.outcome == "alarm"
    assert decision.told == ("tcp://yard:1 said `A occxpied`, which means nothing",)


def test_a_drive_thrown_by_hand_is_taken_to_lie_when_a_person_says_so() -> None:
    box = started(YARD.replace("drive P detected", ""))
    assert box.by_hand == {"P"}
    box.decide(Heard("request", "W to C"), 0.0)
    assert box.goes_to("P") == "diverging" and box.off_for("W") is None
    decision = box.decide(Heard("thrown by hand", "P", who="Ada"), 60_000.0)
    assert decision.doing == (Show("W", "slow"),)
    again = box.decide(Heard("thrown by hand", "P"), 60_001.0)
    assert again.outcome == "refused"


def test_an_opened_contact_is_nowhere_unless_another_closed_before() -> None:
    box = box_of(YARD)
    box.decide(Heard("lies", "P", "diverging"), 0.0)
    box.decide(Heard("nowhere", "P", "straight"), 0.0)  # that of straight opens late
    assert box.drives["P"] == "diverging"
    box.decide(Heard("nowhere", "P", "diverging"), 0.0)
    assert box.drives["P"] == ""
    box.decide(Heard("lies", "P", "straight"), 0.0)
    box.decide(Heard("nowhere", "P"), 0.0)  # it lies in none at all
    assert box.drives["P"] == ""


def test_what_is_looked_at_where_no_report_tells() -> None:
    text = YARD.replace("signal W", "section HIDDEN = C without detection\nsignal W")
    box = box_of(text)
    assert box.sentences.looked_at["W to C"] == ("HIDDEN",)
    assert box.sentences.looked_at["W to B"] == ()


def test_the_same_things_heard_at_the_same_times_lead_to_the_same_decisions() -> None:
    run = Headless(compiled(YARD))
    run.start()
    run.run(600_000)
    assert run.decided["request", "done"] > 5
    box = box_of(YARD)
    again = [box.decide(d.heard, d.at) for d in run.written]
    assert again == run.written


def test_a_drive_that_takes_long_is_waited_for_though_no_time_is_stated() -> None:
    slow = "decoder kind quad { outputs 4 }\ndecoder K1 quad at 1\ndrive P = K1.1  servo 9 s"
    box = started(YARD.replace("drive P detected", slow))
    box.decide(Heard("request", "W to C"), 0.0)
    box.decide(Heard("thrown", "P", "diverging"), 0.0)
    assert box.next_at() == 9000.0
