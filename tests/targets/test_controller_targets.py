"""What the targets packets, events and mqtt write, read here by readers of their own.

The bytes are worked by hand from the format line of NMRA S-9.2.1 and from nothing in the
compiler; the identifiers are those of NMRA S-9.7, the topics those of MQTT 3.1.1.
"""

from __future__ import annotations

import csv
import io
import json
import re
from functools import cache
from typing import Any

import pytest
from msgspec.structs import replace
from sound_layouts import undecided

from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import SPARED, Document
from bellcrank.emit.description import TargetError
from bellcrank.emit.identifiers import Event, Pinned
from bellcrank.emit.render import command_lines, render_target
from bellcrank.emit.target import load_target

HALT = """\
layout "Halt"
points P
run edge WEST - A - >W - P.toe
run P.straight - B - stop
run P.diverging - C - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 13
drive P = K1.4  coil 200 ms
signal W = K1.1
numbering from decoder 1
"""
"""P is on output 16, which is pair 3 of decoder 4; W on output 13, pair 0 of the same."""

RANGE = {"range": "05.01.01.01.22.00"}


@cache
def halt(text: str = HALT) -> Document:
    return build_document(undecided(text), SPARED)


def made(target: str, data: Document, **options: str) -> dict[str, str]:
    files = render_target(load_target(target), data, options)
    return {path: content.decode("utf-8") for path, content in files.items()}


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline="")))


# -------------------------------------------------------------------- packets


def packet_lines(data: Document) -> list[str]:
    """The lines without remarks and without blanks that only align."""
    text = made("packets", data)["packets.txt"]
    lines = (" ".join(line.partition("#")[0].split()) for line in text.splitlines())
    return [line for line in lines if line]


def test_packets_are_the_bytes_worked_by_hand_in_the_order_to_send() -> None:
    """Decoder 4: `10 000100` = 84; high bits 000 inverted 111. Pair 3 green, on:
    `1 111 1 11 1` = FF, off F7; red FE, F6. Pair 0 red `1 111 1 00 0` = F8, green F9;
    off F0 and F1. The last byte is the exclusive or (S-9.2)."""
    lines = packet_lines(halt())
    assert lines[0] == "numbering from decoder 1"
    assert lines[1:7] == [
        "set W to B",
        "0 ms 84 F1 75",  # the other lamp goes out first
        "0 ms 84 F8 7C",
        "13 ms 84 FF 7B off at 213 ms 84 F7 73",  # two packets take 12.3 ms
        "219 ms 84 F0 74",  # and the one that ends the pulse 6
        "219 ms 84 F9 7D",
    ]
    assert "13 ms 84 FE 7A off at 213 ms 84 F6 72" in lines
    stop = ["0 ms 84 F1 75", "0 ms 84 F8 7C"]
    assert lines[-4:] == ["start up", *stop, "13 ms 84 FF 7B off at 213 ms 84 F7 73"]


def test_what_a_decoder_does_by_itself_is_not_sent() -> None:
    text = HALT.replace("outputs 4", "outputs 4  pulses timed  lamps paired")
    assert packet_lines(halt(text))[1:5] == [
        "set W to B",
        "0 ms 84 F8 7C",
        "7 ms 84 FF 7B",
        "207 ms 84 F9 7D",
    ]


def test_the_other_numbering_sends_to_the_decoder_before() -> None:
    """Decoder 3: `10 000011` = 83."""
    lines = packet_lines(halt(HALT.replace("decoder 1\n", "decoder 0\n")))
    assert lines[0] == "numbering from decoder 0"
    assert lines[2:7] == [
        "0 ms 83 F1 72",
        "0 ms 83 F8 7B",
        "13 ms 83 FF 7C off at 213 ms 83 F7 74",
        "219 ms 83 F0 73",
        "219 ms 83 F9 7A",
    ]


def test_a_signal_on_extended_packets_is_sent_the_value_of_its_aspect() -> None:
    """S-9.2.1 `10AAAAAA 0AAA0AA1 XXXXXXXX`: of output 21 the address is 20 + 4 = 24, which
    is 00000011000; so 86, then `0 111 0 00 1` = 71, then the value."""
    text = HALT + "decoder kind many { outputs 4  packets extended }\ndecoder K2 many at 21\n"
    text = text.replace("signal W = K1.1", "signal W shows stop, proceed as 7 = K2.1")
    lines = packet_lines(halt(text))
    assert lines[2] == "0 ms 86 71 00 F7"
    assert lines[4] == "214 ms 86 71 07 F0"


def test_every_line_of_the_packets_has_one_of_the_forms_that_the_readme_tells() -> None:
    byte = "[0-9A-F]{2}"
    packet = f"{byte}( {byte}){{2,3}}"
    text = HALT.replace("coil 200 ms", "coil 200 ms detected") + "supply S { feeds K1  rest 1 s }\n"
    for line in packet_lines(halt(text)) + packet_lines(halt()):
        assert re.fullmatch(
            f"numbering from decoder [01]|(set|cancel) .+|start up|by hand (drive|signal) .+ .+"
            f"|[0-9]+ ms {packet}( off at [0-9]+ ms {packet})?",
            line,
        ), line


# --------------------------------------------------------------------- events


def test_each_state_has_one_event_and_each_detected_section_two() -> None:
    table = rows(made("events", halt(), **RANGE)["event-table.csv"])
    assert [(r["role"], r["device"], r["name"], r["state"]) for r in table] == [
        ("command", "drive", "P", "straight"),
        ("command", "drive", "P", "diverging"),
        ("command", "signal", "W", "stop"),
        ("command", "signal", "W", "proceed"),
        *[
            ("report", "section", s, state)
            for s in "P A B C".split()
            for state in ("occupied", "clear")
        ],
    ]
    told = {r["event"] for r in table}
    assert len(told) == len(table)
    # S-9.7: eight bytes, as eight dotted hexadecimal pairs.
    assert all(re.fullmatch(r"05\.01\.01\.01\.22\.00(\.[0-9A-F]{2}){2}", event) for event in told)


REPORTED = """
detector kind octo { inputs 8 }
detector B1 octo at 11
report P straight = B1.3
report P diverging = "halt/p"
"""


def test_that_a_drive_lies_is_another_event_than_that_it_is_thrown() -> None:
    table = rows(made("events", halt(HALT + REPORTED), **RANGE)["event-table.csv"])
    of_p = [r for r in table if (r["device"], r["name"]) == ("drive", "P")]
    assert [(r["role"], r["state"], r["event"][-2:]) for r in of_p] == [
        ("command", "straight", "00"),
        ("command", "diverging", "01"),
        ("report", "straight", "0C"),
        ("report", "diverging", "0D"),
    ]
    where = ("output number", "side", "detector", "input", "input number", "input name")
    assert [[r[f] for f in where] for r in of_p[1:]] == [
        ["16", "red", "", "", "", ""],
        ["", "", "B1", "3", "13", ""],
        ["", "", "", "", "", "halt/p"],
    ]


def test_identifiers_that_were_given_before_stay() -> None:
    pinned = Pinned("f", "", {Event("command", "signal", "W", "stop"): 0x0501010122000077})
    files = render_target(load_target("events"), halt(), RANGE, pinned=pinned)
    table = rows(files["event-table.csv"].decode("utf-8"))
    found = {(r["name"], r["state"]): r["event"][-5:] for r in table if r["role"] == "command"}
    assert found == {
        ("W", "stop"): "00.77",
        ("P", "straight"): "00.78",
        ("P", "diverging"): "00.79",
        ("W", "proceed"): "00.7A",
    }
    assert {r["event"][-5:] for r in rows(files["event-list.csv"].decode("utf-8"))} == {
        *found.values()
    }


def test_without_detection_sections_have_no_events() -> None:
    data = halt(HALT.replace('"Halt"', '"Halt" without detection'))
    table = rows(made("events", data, **RANGE)["event-table.csv"])
    assert {r["device"] for r in table} == {"drive", "signal"}


def test_the_lists_send_events_of_the_table_that_mean_the_same() -> None:
    files = made("events", halt(), **RANGE)
    means = {r["event"]: r for r in rows(files["event-table.csv"])}
    assert {r["role"] for r in means.values()} == {"command", "report"}
    listed = rows(files["event-list.csv"])
    assert {r["what"] for r in listed} == {"set", "cancel", "start up"}
    for row in listed:
        assert means[row["event"]]["role"] == "command"
        assert [row[f] for f in ("device", "name", "state")] == [
            means[row["event"]][f] for f in ("device", "name", "state")
        ]


def stretched(states: int) -> Document:
    """The halt as if it had so many states; the first of them are its own."""
    one = halt().states[0]
    more = [replace(one, name=f"Q{n}") for n in range(states - len(halt().states))]
    return replace(halt(), states=[*halt().states, *more])


@pytest.mark.parametrize(
    ("range_", "room"),
    [
        ("05.01.01.01.22.00.07", 256),
        pytest.param("05.01.01.01.22.00", 65536, marks=pytest.mark.campaign),
    ],
)
def test_a_range_is_filled_to_its_last_event_and_no_further(range_: str, room: int) -> None:
    table = rows(made("events", stretched(room), range=range_)["event-table.csv"])
    assert len({r["event"] for r in table}) == room
    assert table[-1]["event"] == range_ + ".FF" * (8 - len(range_.split(".")))
    with pytest.raises(TargetError) as caught:
        made("events", stretched(room + 1), range=range_)
    assert str(caught.value) == (
        f"the target events: the range {range_} has room for {room} events, "
        f"and the layout has {room + 1}"
    )


@pytest.mark.parametrize(
    "range_",
    ["", "05", "05.01.01.01.22", "5.1.1.1.22.0", "05.01.01.01.22.00.00.00", "05-01-01-01-22-00",
     "0g.01.01.01.22.00", "05.01.01.01.22.00\n"],
)  # fmt: skip
def test_what_is_no_range_is_refused(range_: str) -> None:
    with pytest.raises(TargetError, match="range cannot be"):
        made("events", halt(), range=range_)


# ----------------------------------------------------------------------- mqtt


def messages(data: Document, **options: str) -> dict[str, Any]:
    return json.loads(made("mqtt", data, **options)["messages.json"])  # type: ignore[no-any-return]


def test_messages_say_topic_and_payload_of_each_command_with_its_time() -> None:
    told = messages(halt(), prefix="club/halt")
    first = told["lists"][0]
    assert (first["what"], first["route"]) == ("set", "W to B")
    assert [(m["at"], m["topic"]) for m in first["messages"]] == [
        (0, "club/halt/signal/W"),
        (13, "club/halt/drive/P"),
        (219, "club/halt/signal/W"),
    ]
    payload = json.loads(first["messages"][1]["payload"])
    assert (payload["state"], payload["number"], payload["side"]) == ("straight", 16, "green")
    assert told["status"] == halt().status and told["sha256"] == halt().source.sha256
    assert told["notice"] == halt().notice


def test_every_topic_is_one_under_which_a_message_may_be_published() -> None:
    """MQTT 3.1.1, section 4.7: one character at least, no + and no #, no NUL, at most
    65,535 bytes; section 1.5.3: no control characters."""
    for told in messages(halt())["lists"]:
        for message in told["messages"]:
            topic = message["topic"]
            assert 0 < len(topic.encode()) <= 65535
            assert not re.search("[+#\0-\x1f\x7f-\x9f]", topic)


def test_the_line_for_sending_is_the_payload_of_the_file() -> None:
    data = halt()
    listed = [timed.command for timed in data.timetables[0].commands]
    lines = command_lines(load_target("mqtt"), data, listed)
    assert [line.strip() for line in lines] == [
        m["payload"] for m in messages(data)["lists"][0]["messages"]
    ]


# ------------------------------------------------------------------- document


def test_a_command_has_its_packet_in_bytes_and_bits() -> None:
    """Bits by S-9.2: 14 ones, a 0 before each byte, a last 1."""
    straight = next(c for c in halt().plain["commands"] if c["state"] == "straight")
    assert straight["packet"] == {
        "type": "basic",
        "on": "84 FF 7B",
        "off": "84 F7 73",
        "bits": "111111111111110100001000111111110011110111",
    }


def test_there_is_no_packet_without_numbering_and_none_by_hand() -> None:
    unnumbered = halt(HALT.replace("numbering from decoder 1\n", ""))
    assert [c.packet for c in unnumbered.commands] == [None] * len(unnumbered.commands)
    by_hand = halt(HALT.replace("drive P = K1.4  coil 200 ms", "drive P by hand"))
    assert all((c.packet is None) == (c.device == "drive") for c in by_hand.commands)
    assert "by hand drive P straight" in packet_lines(by_hand)
