"""Identifiers of events: each thing keeps its own whatever becomes of the layout.

NMRA S-9.7.0.3: an event has eight bytes, of which the first are those of whoever gives them.
"""

from __future__ import annotations

from functools import cache

import pytest
from hypothesis import given as given_text
from hypothesis import settings
from hypothesis import strategies as st
from sound_layouts import undecided

from bellcrank.diagnostics import render
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import Document
from bellcrank.emit.identifiers import (
    Event,
    Pinned,
    RoomError,
    completed,
    dotted,
    events_of,
    read_pinned,
)

RANGE = "05.01.01.01.22.00"

HALT = """
layout "Halt"
points P
run edge WEST - A - >W - P.toe
run P.straight - B - stop
run P.diverging - C - stop
drive P detected
detector kind octo { inputs 8 }
detector B1 octo at 11
report A = B1.2
report P straight = B1.3
report P diverging = "halt/p"
button W = B1.4
button B = "panel/b"
button W to C = B1.5
button to cancel W to C = B1.6
button to cancel W = B1.7
button to cancel W = B1.8
section YARD = C without detection
"""

DRIVE = [Event("command", "drive", name, state) for name in "PQRS" for state in ("a", "b")]


@cache
def halt() -> Document:
    return build_document(undecided(HALT), without=("controller", "vectors"))


def given(pinned: Pinned) -> dict[str, str]:
    return {str(event): dotted(number)[len(RANGE) + 1 :] for event, number in
            pinned.identifiers.items()}  # fmt: skip


def read(text: str, range_: str = RANGE) -> Pinned:
    pinned, found = read_pinned(text, "halt.identifiers", range_)
    assert found == ()
    return pinned


def told(text: str, range_: str = RANGE) -> str:
    """What is told of a file that has one thing wrong with it."""
    _, found = read_pinned(text, "halt.identifiers", range_)
    [diagnostic] = found
    return render(diagnostic, {"halt.identifiers": text})


# ---------------------------------------------------------------------- events


def test_commands_and_reports_are_events_of_their_own_each_with_its_input() -> None:
    found = {str(event): place for event, place in events_of(halt()).items()}
    assert list(found) == [
        "command drive P straight",
        "command drive P diverging",
        "command signal W stop",
        "command signal W proceed",
        *[f"report section {s} {state}" for s in "PAB" for state in ("occupied", "clear")],
        "report drive P straight",
        "report drive P diverging",
        "report place W pressed",
        "report place B pressed",
        "report route W to C requested",
        "report route W to C cancelled",
        "report signal W cancelled",
    ]
    assert found["report section A occupied"] == ("B1", 2, 12, None)
    assert found["report drive P diverging"] == (None, None, None, "halt/p")
    assert found["command drive P straight"] == found["report section B clear"] == (None,) * 4


# ---------------------------------------------------------------- what is given


def test_the_first_events_are_counted_from_the_start_of_the_range() -> None:
    pinned = completed(Pinned("halt.identifiers"), DRIVE[:2], RANGE, "halt.crank")
    assert given(pinned) == {"command drive P a": "00.00", "command drive P b": "00.01"}
    head, *lines = pinned.text.splitlines()
    assert head.startswith("# ") and "halt.crank" in head
    assert lines[-2:] == [
        "05.01.01.01.22.00.00.00  command drive P a",
        "05.01.01.01.22.00.00.01  command drive P b",
    ]
    assert read(pinned.text).identifiers == pinned.identifiers


def test_a_new_drive_renumbers_nothing_and_the_number_of_one_that_is_gone_is_not_given_again() -> (
    None
):
    first = completed(Pinned("f"), DRIVE[:4], RANGE, "halt.crank")
    second = completed(read(first.text), [*DRIVE[4:6], *DRIVE[:2]], RANGE, "halt.crank")
    third = completed(read(second.text), DRIVE, RANGE, "halt.crank")
    assert given(first).items() < given(second).items() < given(third).items()
    assert sorted(given(third).values()) == [f"00.0{n}" for n in range(8)]
    assert [given(third)[f"command drive {d} a"] for d in "PQRS"] == [
        "00.00",
        "00.02",
        "00.04",
        "00.06",
    ]


def test_what_stands_in_the_file_stays_as_it_is_and_new_lines_come_after_it() -> None:
    text = "# ours\n\n05.01.01.01.22.00.00.07 command drive  P  a # yard end"
    pinned = completed(read(text), DRIVE[:2], RANGE, "halt.crank")
    assert pinned.text == f"{text}\n05.01.01.01.22.00.00.08  command drive P b\n"
    assert completed(read(pinned.text), DRIVE[:2], RANGE, "halt.crank").text == pinned.text


def test_a_line_that_somebody_took_out_leaves_its_number_unused() -> None:
    text = completed(Pinned("f"), DRIVE[:4], RANGE, "halt.crank").text
    left = "".join(line for line in text.splitlines(True) if "drive P" not in line)
    again = given(completed(read(left), DRIVE[:4], RANGE, "halt.crank"))
    assert sorted(again.values()) == ["00.02", "00.03", "00.04", "00.05"]


def test_a_range_in_which_numbers_have_run_out_is_told() -> None:
    text = "05.01.01.01.22.00.00.FE  command drive P a\n"
    short = f"{RANGE}.00"
    assert completed(read(text, short), DRIVE[:2], short, "halt.crank")
    with pytest.raises(RoomError) as caught:
        completed(read(text, short), DRIVE[:3], short, "halt.crank")
    assert str(caught.value) == (
        "the range 05.01.01.01.22.00.00 has room for 256 events, and halt.identifiers has "
        "given 255, so that 2 more find none"
    )


# -------------------------------------------------------------------- mistakes

LINE = "05.01.01.01.22.00.00.00  command drive P a\n"


@pytest.mark.parametrize(
    ("text", "place", "code", "said"),
    [
        ("05.01.01.01.22.00.00 command drive P a", "1:1", "E721", "expected: eight bytes such as"),
        ("05-01-01-01-22-00-00-0a report drive P a", "1:1", "E721",
         "try: write 05.01.01.01.22.00.00.0A"),
        ("050101012200000A command drive P a", "1:1", "E721", "try: write 05.01.01.01.22.00.00.0A"),
        (f"{LINE}\n05.01.01.01.22.00.00.01 comand drive P a", "3:25", "E721",
         "try: did you mean `command`?"),
        ("05.01.01.01.22.00.00.01 command section P a", "1:33", "E721",
         "expected: `drive` or `signal`"),
        ("05.01.01.01.22.00.00.01 report sectoin P a", "1:32", "E721",
         "try: did you mean `section`?"),
        ("05.01.01.01.22.00.00.01 report drive P # a", "1:39", "E721", "the line ends too soon"),
        ("05.01.01.01.22.00.00.01", "1:24", "E721", "expected: `command` or `report`"),
        (LINE.replace("22", "23"), "1:1", "E722", "try: state the range of this file: `--option "
         "range=05.01.01.01.23.00`"),
        (f"{LINE}05.01.01.01.23.00.00.00 report drive P a", "2:1", "E722",
         "try: give it the next one that is free, 05.01.01.01.22.00.00.01"),
        (LINE + LINE.replace("command", "report"), "2:1", "E723",
         "try: give it the next one that is free, 05.01.01.01.22.00.00.01"),
        (LINE + LINE.replace("00  ", "03  "), "2:26", "E723", "try: take out the line that no"),
        (LINE + LINE, "2:26", "E723", "halt.identifiers:1:26: here it stands first"),
        ("05.01.01.01.22.00.00.00  command drive P\x07 a", "1:41", "E106", "control code"),
    ],
)  # fmt: skip
def test_a_mistake_in_the_file_is_told_with_its_place(
    text: str, place: str, code: str, said: str
) -> None:
    shown = told(text)
    assert shown.startswith(f"halt.identifiers:{place}: error {code}: ")
    assert said in " ".join(shown.split())
    assert "^" in shown


def test_a_file_of_another_range_is_told_once() -> None:
    text = "".join(f"05.01.01.01.33.00.00.{n:02X}  command drive P s{n}\n" for n in range(90))
    assert "`--option range=05.01.01.01.33.00`" in told(text)


def test_a_file_that_is_no_such_file_is_not_told_without_end() -> None:
    _, found = read_pinned("what\n" * 1000, "halt.identifiers", RANGE)
    assert len(found) == 50


@given_text(st.text(st.sampled_from("0A. \n#\tPcommandreport"), max_size=60))
@settings(max_examples=60)
def test_no_text_upsets_the_reader(text: str) -> None:
    pinned, found = read_pinned(f"{LINE}{text}", "halt.identifiers", RANGE)
    assert found or len(set(pinned.identifiers.values())) == len(pinned.identifiers)
    assert all(d.span.line <= text.count("\n") + 2 for d in found)
