"""Job cards: one for each fitting, with all that is done at it."""

from __future__ import annotations

from bench_layouts import HEARD, WIRED, told

from bellcrank.paper.job_cards import JobCard, job_cards


def cards(text: str) -> dict[str, JobCard]:
    return {card.name: card for card in job_cards(told(text))}


def test_each_fitting_has_a_card_that_says_what_lies_round_it() -> None:
    found = cards(WIRED)
    assert list(found) == ["P1", "P2", "P3", "TT"]
    around = {n.leg: (n.element, n.its_leg, n.signals) for n in found["P1"].neighbours}
    assert around == {
        "toe": ("A", None, ("H",)),
        "straight": ("T1", None, ("S1",)),
        "diverging": ("P2", "toe", ()),
    }


def test_its_wires_come_in_the_order_of_joining_the_common_one_first() -> None:
    wires = [(w.side, w.wire, w.terminal) for w in cards(WIRED)["P1"].wires]
    assert wires == [
        ("common", "black", "C"),
        ("red", "white", "B1"),
        ("green", "brown", "A1"),
    ]
    assert [(d.decoder, d.supply) for d in cards(WIRED)["TT"].decoders] == [("K2", "BENCH")]
    assert cards(WIRED)["P3"].wires == ()


def test_gaps_and_feeds_are_those_at_its_own_legs() -> None:
    card = cards(WIRED)["P2"]
    assert {g.one for g in card.gaps} | {g.other for g in card.gaps} >= {"P2.toe", "P2.straight"}
    assert all("P2" in g.one or "P2" in g.other for g in card.gaps)
    assert [f.feed.at.element for f in card.feeds] == ["P2"]


def test_contacts_say_which_input_tells_where_its_drive_lies() -> None:
    (drive,) = cards(HEARD)["P"].drives
    assert [(c.position, c.detector, c.input, c.terminal, c.common) for c in drive.contacts] == [
        ("straight", "N1", 4, "I4", "0 V")
    ]


PAIR = """
points P1, P2
run edge WEST - A - >W - P1.toe
run P1.straight - P2.straight
run P1.diverging - <N - B - stop
run edge EAST - C - >E - P2.toe
run P2.diverging - <D - T - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
frog P1 = K1.3
"""


def test_a_frog_on_an_output_has_its_wires_and_its_label_on_the_card_of_its_fitting() -> None:
    found = cards(PAIR + "drive P1 = K1.1  coil 100 ms\ndrive P2 by hand\n")
    assert [f.by for f in found["P1"].frogs] == ["output"]
    assert [w.output for w in found["P1"].wires if w.device == "frog"] == [3, 3, 3]
    assert [f.by for f in found["P2"].frogs] == ["could be contact"]
    assert not any(w.device == "frog" for w in found["P2"].wires)
    assert found["P1"].labels == ("P1", "frog P1")


def test_coupled_points_say_what_is_thrown_with_them() -> None:
    found = cards(PAIR + "coupled P1, P2\ndrive P1 = K1.1  coil 100 ms\n")
    assert found["P1"].drives[0].also == ("P2",)
    assert found["P2"].drives[0].also == ("P1",)
    assert found["P2"].drives[0].name == "P1"
