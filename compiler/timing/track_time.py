"""When packets can be out: one after another, each for as long as its bits take on the track.

A "1" bit lasts 2 × 58 µs and a "0" bit 2 × 100 µs (NMRA S-9.1, nominal values); a packet has a
preamble, a start bit before each byte and an end bit (NMRA S-9.2). A basic accessory packet takes
about 6 ms. Where a layout says how outputs are numbered in packets, no command is given a time at
which the one before cannot be out yet.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from heapq import heappop, heappush

from bellcrank.hardware.packet_bytes import basic_accessory, extended_accessory, track_time
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.commands import Command
from bellcrank.timing.timetable_model import Timed, Timetable


def on_the_track(layout: Layout, timetable: Timetable, *, ends_with_pulse: bool) -> Timetable:
    """The timetable with each command as late as the packets before it make it.

    What is late makes all that follows later by as much, so no pulse, rest or time to settle
    becomes shorter. The packets that end pulses count like the others, and go before what is
    sent at the same time.

    ends_with_pulse: whether each drive is taken to lie just when a packet ends its pulse. Then
        no signal comes off before such a packet is out, whatever the order.
    """
    first = layout.hardware.first_decoder
    if first is None:
        return timetable
    late = until_drives = before_drives = 0  # milliseconds
    free = 0  # microseconds
    # When pulses are over, and how long the packet takes that says so, in microseconds.
    ends: list[tuple[int, int]] = []
    timed: list[Timed] = []
    for each in timetable.commands:
        command, begins = each.command, (each.at + late) * 1000
        if command.number is not None:
            while ends and ends[0][0] <= max(begins, free):
                over, takes = heappop(ends)
                free = max(free, over) + takes
            at = -(-max(begins, free) // 1000)
            late = at - each.at
            free = at * 1000 + sum(_packets(command, first))
            if command.held:
                heappush(ends, ((each.until + late) * 1000, _off_takes(command, first)))
        if command.phase == "drives":
            if not any(t.command.phase == "drives" for t in timed):
                before_drives = late
            until_drives = late
        timed.append(Timed(each.at + late, each.until + late, command, each.after))
    total = max([timetable.total + until_drives, *(t.at for t in timed)])
    bound = timetable.bound + before_drives
    held = [t.command for t in timed if t.command.held]
    if not any(t.command.phase == "drives" for t in timed):
        bound = total  # the packets take what they take, in any order
    elif ends_with_pulse and held and timed[-1].command.phase == "signals off":
        bound += min(-(-_off_takes(command, first) // 1000) for command in held)
    return replace(timetable, commands=tuple(timed), total=total, bound=min(bound, total))


def _packets(command: Command, first: int) -> Iterator[int]:
    """How many microseconds each packet of a command takes."""
    for lamp in command.puts_out:
        yield _basic_takes(lamp.number, lamp.side == "green", False, first)
    if command.number is None:
        return
    if command.value is not None:
        yield track_time(extended_accessory(command.number, command.value, first_decoder=first))
    else:
        yield _basic_takes(command.number, command.side == "green", True, first)
    for lamp in command.lights:
        yield _basic_takes(lamp.number, lamp.side == "green", True, first)


def _off_takes(command: Command, first: int) -> int:
    """How many microseconds the packet takes that ends a pulse."""
    assert command.number is not None
    return _basic_takes(command.number, command.side == "green", False, first)


@lru_cache(maxsize=1 << 14)
def _basic_takes(number: int, green: bool, activate: bool, first: int) -> int:
    """How many microseconds a basic packet takes. The same ones stand in many routes."""
    return track_time(basic_accessory(number, green=green, activate=activate, first_decoder=first))
