"""The function block, played through the vectors of inputs of the same document.

Each input comes in cycles in which nothing else changes. The clock stands still: where a time is
over, that timer alone is told that it began long ago.
"""

from __future__ import annotations

import copy
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import structured_text
from sound_layouts import NO_TIME, checked_file
from structured_text import OnDelay
from test_structured_text import Names, block_text

from bellcrank.document.build_document import build_document

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))
LONG = ("four-track-station", "harbour-terminus-forgetful")
"""Played through in a campaign."""

Data = dict[str, Any]

LONG_AGO = -(10**9)


class Player:
    """The block after the start of a run."""

    def __init__(self, data: Data, block: structured_text.Block, run: Data) -> None:
        controller = data["controller"]
        self.block, self.names = block, Names.of(block, data)
        inputs = enumerate(controller["inputs"], start=1)
        self.numbers = {(i["kind"], i["of"], i["value"]): n for n, i in inputs}
        self.variables = controller["variables"]
        self.lamps = {lamp["signal"]: lamp["variable"] for lamp in controller["lamps"]}
        self.aspects = {
            s["name"]: [a["name"] for a in s["aspects"]] for s in data["layout"]["signals"]
        }
        self.timers = {
            (t["variable"], t["value"]): n for n, t in enumerate(controller["timers"], start=1)
        }
        self.places = {v["name"]: n for n, v in enumerate(self.variables, start=1)}
        self.memory = block.instance()
        self.on = {self.numbers["occupied", section, None] for section in run["occupied"]}
        self.on |= {self.numbers["lies", lies["drive"], lies["position"]] for lies in run["lies"]}
        self.state = {v["name"]: v["initial"] for v in self.variables}
        self.settle()
        self.cycle(0)
        for report in controller["reports"]:
            if report["section"] in run["occupied"]:
                self.state[report["variable"]] = report["when_occupied"]
        throws = {t["drive"]: t for t in controller["throws"]}
        for lies in run["lies"]:
            self.state[throws[lies["drive"]]["variable"]] = lies["position"]

    def cycle(self, *pressed: int) -> None:
        on = self.on | set(pressed)
        self.block.call(self.memory, 0, **{m: n in on for n, m in self.names.inputs.items()})

    def long_ago(self, *prefixes: str) -> None:
        for name, timer in self.memory.items():
            if isinstance(timer, OnDelay) and name.startswith(prefixes) and timer.since is not None:
                timer.since = LONG_AGO

    def settle(self) -> None:
        """What is reported has been so for long."""
        self.cycle()
        self.long_ago("ON_", "OFF_", "CONTACT_")
        self.cycle()

    def give(self, kind: str, of: str, value: str | None) -> None:
        number = self.numbers[kind, of, value]
        match kind:
            case "occupied":
                self.on.add(number)
                self.settle()
            case "clear":
                self.on.discard(self.numbers["occupied", of, None])
                self.settle()
            case "lies":
                self.on -= {n for (k, o, _), n in self.numbers.items() if (k, o) == ("lies", of)}
                self.cycle()
                self.on.add(number)
                self.settle()
            case "time over" if number not in self.names.inputs:
                self.time_over(of, str(value))
            case _:  # a button; of a time that is over, that somebody has laid a drive by hand
                self.cycle(number)
                self.cycle()

    def time_over(self, variable: str, value: str) -> None:
        for _ in range(3 * len(self.places)):  # until it is the turn of that drive
            self.cycle()
            if self.memory.get(f"SENT_{self.places[variable]}", True):
                break
            self.long_ago("PULSE_", "REST_", "COOL_")
        self.cycle()
        self.cycle()
        self.memory[f"TIMER_{self.timers[variable, value]}"].since = LONG_AGO
        self.cycle()

    def wrong(self) -> Iterator[str]:
        for v in self.variables:
            found = v["domain"][self.memory[self.names.variables[v["name"]]]]
            if found != self.state[v["name"]]:
                yield f"{v['name']} is {found}, not {self.state[v['name']]}"

    def aspect(self, signal: str) -> str:
        return self.aspects[signal][self.memory[self.names.aspects[self.lamps[signal]]]]


def disagreements(data: Data, block: structured_text.Block) -> Iterator[str]:
    for run in data["vectors"]["controller"]["runs"]:
        player = Player(data, block, run)
        yield from player.wrong()
        for after, step in enumerate([*run["inputs"], None]):
            for alarm in (a for a in run["alarms"] if a["after"] == after):
                before = copy.deepcopy(player.memory), set(player.on)
                told = alarm["kind"], alarm["of"], alarm["value"]
                player.give(*told)
                if player.memory["UNEXPLAINED"] != player.numbers[told]:
                    yield f"{told} raises no alarm"
                for shown in alarm["signals"]:
                    if player.aspect(shown["signal"]) != shown["aspect"]:
                        yield f"{told} leaves {shown['signal']} off"
                player.memory, player.on = before
            if step is None:
                break
            told = step["kind"], step["of"], step["value"]
            player.give(*told)
            player.state.update(step["changes"])
            if player.memory["ALARM"]:
                yield f"{told} raises the alarm"
                break
            person = step["kind"] not in ("occupied", "clear", "lies", "time over")
            if person and player.memory["REFUSED"] is step["granted"]:
                yield f"{told}: {step['granted']}"
            yield from (f"{told}: {wrong}" for wrong in player.wrong())
            for shown in step["signals"]:
                if player.aspect(shown["signal"]) != shown["aspect"]:
                    yield f"{told}: {shown['signal']} shows {player.aspect(shown['signal'])}"


@cache
def example(path: Path) -> tuple[Data, str]:
    data = build_document(checked_file(path, NO_TIME))
    return data.plain, block_text(data)


@pytest.mark.parametrize(
    "path",
    [pytest.param(p, marks=[pytest.mark.campaign] * (p.stem in LONG), id=p.stem) for p in EXAMPLES],
)
def test_the_block_agrees_on_every_vector_of_inputs(path: Path) -> None:
    data, text = example(path)
    assert sum(len(run["inputs"]) for run in data["vectors"]["controller"]["runs"]) > 50
    assert list(disagreements(data, structured_text.read(text))) == []


def test_a_block_that_was_changed_disagrees_on_a_vector() -> None:
    data, text = example(next(path for path in EXAMPLES if path.stem == "turning-loop"))
    steps = [line for line in text.splitlines() if "is released: its train" in line]
    for line in steps:
        spoilt = text.replace(line, line.replace(" THEN (*", " AND FALSE THEN (*"))
        assert spoilt != text
        assert next(disagreements(data, structured_text.read(spoilt)), None)
    assert steps
