"""Command files read again, from their bytes: what each list would send.

One reader for each form of file that holds commands. A reader believes what a
controller would go by, the number of an output and the side of it, and not the
names that stand beside it for people; these count only for what is done by hand.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple, cast, get_args

from bellcrank.diagnostics import printable
from bellcrank.hardware.addresses import output_of_pair
from bellcrank.hardware.packet_bytes import Basic, Extended, decode
from bellcrank.layout.layout_model import Side
from bellcrank.readback.bench import Bench
from bellcrank.syntax.characters import holds_disputed_line_end


class NotReadError(Exception):
    """A file that cannot be read again, with the reason as a sentence."""


@dataclass(frozen=True, slots=True)
class SwitchOn:
    """One side of an output is switched on.

    ends: whether what receives it ends the pulse of a coil, after the time that goes with it.
    """

    number: int
    side: Side
    ends: bool = True

    def play(self, bench: Bench) -> None:
        bench.switch_on(self.number, self.side, ends=self.ends)


@dataclass(frozen=True, slots=True)
class SwitchOff:
    """One side of an output is switched off."""

    number: int
    side: Side

    def play(self, bench: Bench) -> None:
        bench.switch_off(self.number, self.side)


@dataclass(frozen=True, slots=True)
class Show:
    """A value is sent to an extended address."""

    number: int
    value: int

    def play(self, bench: Bench) -> None:
        bench.show(self.number, self.value)


@dataclass(frozen=True, slots=True)
class ByHand:
    """Somebody throws a drive or sets a signal."""

    device: str
    name: str
    state: str

    def play(self, bench: Bench) -> None:
        bench.by_hand(self.device, self.name, self.state)


Act = SwitchOn | SwitchOff | Show | ByHand

What = Literal["set", "cancel", "start up"]
"""What a list does: sets a route, cancels it, or starts the layout up."""


class Key(NamedTuple):
    """What a list is for. route: its name; empty for the start-up."""

    what: What
    route: str


Lists = dict[Key, list[list[Act]]]
"""What each list sends, in order. A target may say the same twice in two ways."""

Files = Mapping[str, bytes]
"""What a target has written, by path."""

MOST_ACTS = 1_000_000
"""In all lists of a target together; a layout of a thousand routes has some ten thousand."""


def read_csv(files: Files) -> Lists:
    """The lists of `command-list.csv`, which set routes, and of `cancel-and-start-up.csv`
    if that is there."""
    lists: Lists = {}
    for row in _rows(files["command-list.csv"]):
        _add(lists, "set", row["route"], *_of_row(row))
    for row in _rows(files.get("cancel-and-start-up.csv", b"")):
        _add(lists, row["what"], row["route"], *_of_row(row))
    return lists


def read_json(files: Files) -> Lists:
    """The lists among the `commands` of `layout.json`, which set routes, and those of its
    `timetables` if they are there."""
    document = _fields(json.loads(files["layout.json"]))
    lists: Lists = {}
    for command in document["commands"]:
        _add(lists, "set", command["route"], *_of_command(command))
    for timetable in document.get("timetables", ()):
        acts = [act for timed in timetable["commands"] for act in _of_command(timed["command"])]
        lists.setdefault(_key(timetable["what"], timetable["route"]), []).append(acts)
    return lists


def _key(what: Any, route: Any) -> Key:
    if what not in get_args(What):
        raise NotReadError(f"there is no list that does `{what!s:.60}`")
    return Key(cast(What, what), _text(route or ""))


def _add(lists: Lists, what: str, route: str | None, *acts: Act) -> None:
    """Add to the one list that is for this."""
    lists.setdefault(_key(what, route), [[]])[0].extend(acts)


def _of_row(row: Mapping[str, Any]) -> list[Act]:
    act = _act(row["output number"], row["side"], row.get("value"), row)
    off, on = (_lamps(row.get(column)) for column in ("puts out", "lights"))
    return [*(_off(*lamp) for lamp in off), act, *(_on(*lamp) for lamp in on)]


def _lamps(said: Any) -> list[list[str]]:
    """Number and side of each lamp in a field that has several."""
    return [lamp.split() for lamp in (said or "").split(";") if lamp.strip()]


def _of_command(command: Mapping[str, Any]) -> list[Act]:
    act = _act(command["number"], command.get("side"), command.get("value"), command)
    off, on = (map(_fields, command.get(field, ())) for field in ("puts_out", "lights"))
    return [
        *(_off(lamp["number"], lamp["side"]) for lamp in off),
        act,
        *(_on(lamp["number"], lamp["side"]) for lamp in on),
    ]


def _off(number: Any, side: Any) -> SwitchOff:
    return SwitchOff(_whole(number), _side(number, side))


def _on(number: Any, side: Any) -> SwitchOn:
    return SwitchOn(_whole(number), _side(number, side))


def _act(number: Any, side: Any, value: Any, said: Mapping[str, Any]) -> Act:
    if number in (None, ""):
        return ByHand(_text(said["device"]), _text(said["name"]), _text(said["state"]))
    if value not in (None, ""):
        return Show(_whole(number), _whole(value))
    return SwitchOn(_whole(number), _side(number, side))


def _side(number: Any, side: Any) -> Side:
    if side not in ("green", "red"):
        raise NotReadError(f"output {_whole(number)} has no side {side!r:.60}")
    return cast(Side, side)


def _whole(said: Any) -> int:
    """A whole number, in figures or as JSON has it. int() alone would read `1.9` as 1."""
    if type(said) is int or (isinstance(said, str) and re.fullmatch("[0-9]{1,9}", said)):
        return int(said)
    raise NotReadError(f"`{said!s:.60}` is not a whole number")


def _text(said: Any) -> str:
    if not isinstance(said, str):
        raise NotReadError(f"`{said!s:.60}` is not a text")
    return said


def _fields(said: Any) -> Mapping[str, Any]:
    if not isinstance(said, dict):
        raise NotReadError(f"`{said!s:.60}` has no fields")
    return said


_BYTES = r"((?:[0-9A-F]{2} )+[0-9A-F]{2})"


def read_packets(files: Files) -> Lists:
    """The lists of `packets.txt`: of each packet the output, its side and whether that is
    switched on or off, or the value, from the bytes alone."""
    lists: Lists = {}
    first = 0
    acts: list[Act] | None = None
    text = files["packets.txt"].decode("utf-8")
    if holds_disputed_line_end(text):
        # Here a remark may go on where a controller sees a packet.
        raise NotReadError("some programs would see more lines in it than others")
    for line in text.split("\n"):
        said = line.partition("#")[0].strip()
        if match := re.fullmatch(r"numbering from decoder ([01])", said):
            first = int(match[1])
        elif match := re.fullmatch(r"(set|cancel) (.+)|(start up)", said):
            key = _key(match[1] or match[3], match[2])
            acts = lists.setdefault(key, [[]])[0]
        elif said and acts is None:
            raise NotReadError(f"this stands in no list: {said:.60}")
        elif acts is not None and (
            match := re.fullmatch(r"by hand (drive|signal) (\S+) (\S+)", said)
        ):
            acts.append(ByHand(*match.groups()))
        elif acts is not None and (
            match := re.fullmatch(rf"\d+ ms  {_BYTES}(?:  off at \d+ ms  {_BYTES})?", said)
        ):
            for packet in match.groups():
                acts += [_of_packet(decode(bytes.fromhex(packet)), first)] if packet else []
        elif said:
            raise NotReadError(f"there is no such line: {said:.60}")
    return lists


def _of_packet(packet: Basic | Extended, first: int) -> Act:
    if isinstance(packet, Extended):
        return Show(output_of_pair(packet.address >> 2, packet.address & 3, first), packet.aspect)
    number = output_of_pair(packet.decoder, packet.pair, first)
    side: Side = "green" if packet.green else "red"
    return SwitchOn(number, side, ends=False) if packet.activate else SwitchOff(number, side)


def read_events(files: Files) -> Lists:
    """The lists of `event-list.csv`: what each event does stands in `event-table.csv`."""
    does = {}
    for row in _rows(files["event-table.csv"]):
        if row["event"] in does:
            raise NotReadError(f"{row['event']:.60} stands for two things")
        does[row["event"]] = row
    lists: Lists = {}
    for row in _rows(files["event-list.csv"]):
        what_it_does = does[row["event"]]
        if what_it_does.get("role") == "report":
            raise NotReadError(f"{row['event']:.60} is a report and commands nothing")
        _add(lists, row["what"], row["route"], *_of_row(what_it_does))
    return lists


def read_messages(files: Files) -> Lists:
    """The lists of `messages.json`: what counts is what a message carries."""
    lists: Lists = {}
    for told in _fields(json.loads(files["messages.json"]))["lists"]:
        acts: list[Act] = []
        for message in told["messages"]:
            acts += _of_command(_fields(json.loads(message["payload"])))
        lists.setdefault(_key(told["what"], told["route"]), []).append(acts)
    return lists


def _rows(data: bytes) -> csv.DictReader[str]:
    return csv.DictReader(io.StringIO(data.decode("utf-8"), newline=""))


Reader = Callable[[Files], Lists]

READERS: Mapping[str, Reader] = {
    "csv": read_csv,
    "json": read_json,
    "packets": read_packets,
    "events": read_events,
    "messages": read_messages,
}
"""Readers by the name by which `target.toml` asks for them."""


def read(reader: str, files: Files) -> Lists:
    """The lists in what a target has written.

    Raises NotReadError if it is not of the form that the reader reads.
    """
    try:
        lists = READERS[reader](files)
    except NotReadError as error:
        raise NotReadError(printable(str(error))) from None
    except RecursionError:
        raise NotReadError(f"it is not of the form `{reader}`: it is nested too deeply") from None
    except (LookupError, ValueError, TypeError, csv.Error) as error:
        said = printable(" ".join(repr(error).split()))
        raise NotReadError(f"it is not of the form `{reader}`: {said:.200}") from error
    if sum(len(acts) for told in lists.values() for acts in told) > MOST_ACTS:
        raise NotReadError(f"it has more than {MOST_ACTS:,} commands")
    return lists
