"""Command files read again, from their bytes: what each list would send.

One reader for each form of file that holds commands. A reader believes what a
controller would go by, the number of an output and the side of it, and not the
names that stand beside it for people; these count only for what is done by hand.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, cast

from bellcrank.layout.model import Side
from bellcrank.readback.bench import Bench


class NotReadError(Exception):
    """A file that cannot be read again, with the reason as a sentence."""


@dataclass(frozen=True, slots=True)
class Throw:
    """One side of an output is switched on."""

    number: int
    side: Side

    def play(self, bench: Bench) -> None:
        bench.throw(self.number, self.side)


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


Act = Throw | Show | ByHand

Lists = dict[str, list[Act]]
"""By route what its list sends, in order."""


def read_csv(data: bytes) -> Lists:
    """The lists of `command-list.csv`."""
    lists: Lists = {}
    for row in csv.DictReader(io.StringIO(data.decode("utf-8"), newline="")):
        act = _act(row["output number"], row["side"], row.get("value"), row)
        lists.setdefault(row["route"], []).append(act)
    return lists


def read_json(data: bytes) -> Lists:
    """The lists among the `commands` of `layout.json`."""
    lists: Lists = {}
    for command in json.loads(data)["commands"]:
        act = _act(command["number"], command["side"], command.get("value"), command)
        lists.setdefault(command["route"], []).append(act)
    return lists


def _act(number: Any, side: Any, value: Any, said: Mapping[str, Any]) -> Act:
    if number in (None, ""):
        return ByHand(said["device"], said["name"], said["state"])
    if value not in (None, ""):
        return Show(int(number), int(value))
    if side not in ("green", "red"):
        raise NotReadError(f"output {number} has no side {side!r}")
    return Throw(int(number), cast(Side, side))


Reader = Callable[[bytes], Lists]

READERS: Mapping[str, Reader] = {"csv commands": read_csv, "json commands": read_json}
"""Readers by the name by which `target.toml` asks for them."""


def read(reader: str, data: bytes) -> Lists:
    """The lists of a file.

    Raises NotReadError if it is not of the form that the reader reads.
    """
    try:
        return READERS[reader](data)
    except (KeyError, ValueError, TypeError) as error:
        raise NotReadError(f"it is not of the form `{reader}`: {error!r}") from error
