"""Packets are given their time on the track, one after another."""

from __future__ import annotations

from itertools import pairwise

import pytest
from sound_layouts import undecided

from bellcrank.document.command_data import command_data
from bellcrank.hardware.packet_bytes import bits, track_time
from bellcrank.timing.lists import timetables, to_set, to_stop_all
from bellcrank.timing.pace import breaches
from bellcrank.timing.timetable_model import Timetable

PLAIN = """\
points P, Q
run edge WEST - A - >H - P.toe
run P.straight - <S - B - stop
run P.diverging - Q.toe
run Q.straight - <R - C - stop
run Q.diverging - <T - D - stop
decoder kind quad { outputs 8 }
decoder K quad at 1
drive P = K.1  coil 200 ms  rests 1 s
drive Q = K.2  coil 100 ms
signal H = K.3
signal S = K.4
signal R = K.5
signal T shows stop at K.6 red and K.7 red, caution at K.6 green and K.7 red
"""

NUMBERED = PLAIN + "numbering from decoder 1\n"


@pytest.mark.parametrize(
    ("data", "microseconds"),
    [
        # 14 ones of preamble, 3 start bits of 0 and the last 1; 81 F9 78 has 2 + 6 + 4 ones.
        ("81 F9 78", (14 + 1 + 12) * 116 + (3 + 12) * 200),
        ("81 71 00 F0", (14 + 1 + 2 + 4 + 0 + 4) * 116 + (4 + 6 + 4 + 8 + 4) * 200),
    ],
)
def test_a_packet_takes_what_its_bits_take(data: str, microseconds: int) -> None:
    """NMRA S-9.1: 58 µs for half a 1 and 100 µs for half a 0; S-9.2: the framing."""
    assert track_time(bytes.fromhex(data)) == microseconds
    assert 5_000 < microseconds < 9_000


def test_nothing_is_sent_before_what_comes_before_it_can_be_out() -> None:
    c = undecided(NUMBERED)
    for timetable in (*timetables(c.layout, c.table, c.locking), to_stop_all(c.layout)):
        sent = []
        for timed in timetable.commands:
            data = command_data(timed.command, c.layout)
            assert data.packet is not None
            on = [lamp.packet for lamp in data.puts_out] + [data.packet.on]
            on += [lamp.packet for lamp in data.lights]
            takes = sum(_takes(packet) for packet in on if packet)
            sent.append((timed.at * 1000, takes))
            if data.held and data.packet.off:
                sent.append((timed.until * 1000, _takes(data.packet.off)))
        sent.sort()
        for (at, takes), (then, _) in pairwise(sent):
            # What ends a pulse may have to wait for the packet that is on the track just then.
            assert then >= at + takes or then in _ends(timetable), timetable.name


def _ends(timetable: Timetable) -> set[int]:
    return {timed.until * 1000 for timed in timetable.commands if timed.command.held}


def _takes(packet: str) -> int:
    said = bits(bytes.fromhex(packet))
    return sum(116 if bit == "1" else 200 for bit in said)


def test_what_is_late_cuts_nothing_short() -> None:
    plain, numbered = undecided(PLAIN), undecided(NUMBERED)
    for name in plain.table.routes:
        one = to_set(plain.layout, plain.table, plain.locking, name)
        other = to_set(numbered.layout, numbered.table, numbered.locking, name)
        pairs = list(zip(one.commands, other.commands, strict=True))
        assert [a.command.name for a, _ in pairs] == [b.command.name for _, b in pairs]
        assert all(a.until - a.at == b.until - b.at for a, b in pairs)
        late = [b.at - a.at for a, b in pairs]
        assert late == sorted(late) and late[0] == 0 and late[-1] > 0
        assert other.total == one.total + late[-1]
        assert one.bound < other.bound <= other.total
        if sum(b.command.device == "drive" for _, b in pairs) == 1:
            assert other.shortest
        assert breaches(numbered.layout, [(0, other)]) == ()


def test_signals_alone_take_what_their_packets_take_and_nothing_can_be_shorter() -> None:
    timetable = to_stop_all(undecided(NUMBERED).layout)
    first, *rest = [timed.at for timed in timetable.commands]
    assert first == 0 and all(10 < b - a < 15 for a, b in pairwise([first, *rest]))
    assert timetable.shortest


def test_where_nobody_says_how_outputs_are_numbered_no_packet_is_counted() -> None:
    assert to_stop_all(undecided(PLAIN).layout).total == 0
