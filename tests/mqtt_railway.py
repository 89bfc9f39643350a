"""A railway run over a real broker by the two programs of targets/README.md, as they stand there.

They are taken from the text and called here step by step, in one thread, so that a test knows
what has happened when; where it must be a process of its own that is killed, it is one.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from pathlib import Path
from types import ModuleType
from typing import Any

from paho.mqtt.client import CallbackAPIVersion, Client, MQTTMessage, MQTTv5
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from peers import PATIENCE, Broker
from sound_layouts import undecided

from bellcrank.commands.cli import main
from bellcrank.document.build_document import build_document
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target

README = (resources.files("bellcrank.targets") / "README.md").read_text("utf-8")

HALT = """
layout "Reedham Halt" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 13
drive P = K1.4  coil 200 ms
signal W = K1.1
signal S = K1.2
signal D = K1.3
report A = "yard/a"
report P = "yard/points"
report B = "yard/b"
report C = "yard/c"
report P straight = "yard/straight"
report P diverging = "yard/diverging"
button W = "panel/w"
button C = "panel/c"
button to cancel W = "panel/cancel"
"""

PATIENT = {"beat": 100, "silent": 8000, "late": 4000, "answer": 8000, "keep_alive": 8000}
"""Milliseconds that no machine with much else to do is late by. A test about one of these times
makes it shorter."""

FILES = {
    "reader": "class Controller",
    "pace": "class Pace",
    "runner": "class Runner",
    "board": "class Board",
}

STANDING = {
    "yard/a": "clear",
    "yard/points": "clear",
    "yard/b": "clear",
    "yard/c": "clear",
    "yard/straight": "on",
    "yard/diverging": "off",
}
"""What the inputs of the halt say of an empty railway."""


def program(name: str) -> str:
    """One of the programs in the README."""
    blocks = re.findall(r"```python\n(.*?)```", README, flags=re.S)
    [found] = [text for text in blocks if FILES[name] in text]
    return str(found)


@cache
def module(name: str) -> ModuleType:
    """A program of the README, loaded as if it were in a file of this name."""
    made = ModuleType(name)
    if name == "runner":
        sys.modules |= {"reader": module("reader"), "pace": module("pace")}
    exec(compile(program(name), f"{name}.py", "exec"), made.__dict__)
    return made


def built_files(folder: Path) -> None:
    """What `build` makes of the halt, its controller proved."""
    (folder / "halt.crank").write_text(HALT)
    words = ["--target", "json", "--target", "mqtt", "--out", str(folder)]
    assert main(["build", str(folder / "halt.crank"), *words]) == 0


def files_without_proof(folder: Path) -> None:
    """The same, said to be proved: that it is takes longer, and a campaign shows it."""
    document = build_document(undecided(HALT), without=("vectors",))
    told = {**document.plain, "controlled": {"outcome": "proved"}}
    (folder / "layout.json").write_text(json.dumps(told))
    made = render_target(load_target("mqtt"), document)
    (folder / "messages.json").write_bytes(made["messages.json"])


def add_programs(folder: Path) -> None:
    """The programs beside the files, as somebody has them who runs it, with times for tests."""
    for name in FILES:
        (folder / f"{name}.py").write_text(program(name))
    path = folder / "messages.json"
    told = json.loads(path.read_text("utf-8"))
    told["milliseconds"] |= PATIENT
    path.write_text(json.dumps(told))


@dataclass
class Over:
    """A railway over a broker. steps: what is called again and again while a test waits."""

    broker: Broker
    folder: Path
    steps: dict[str, Callable[[], object]] = field(default_factory=dict)
    heard: list[tuple[str, Any, bool]] = field(default_factory=list)
    processes: list[subprocess.Popen[str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        read = {name: (self.folder / f"{name}.json").read_text("utf-8") for name in
                ("layout", "messages")}  # fmt: skip
        self.document, self.told = (json.loads(text) for text in read.values())
        self.onlooker = self.client("onlooker", lambda client: client.subscribe([("#", 1)]))

    def client(self, name: str, then: Callable[[Any], object] = lambda _: None) -> Any:
        """A panel, an onlooker, or whoever disturbs, which speaks MQTT 3.1.1."""
        made = Client(CallbackAPIVersion.VERSION2, name)
        made.on_connect = lambda client, *_: then(client)
        made.on_message = lambda _client, _data, message: self.hear(message)
        made.connect("127.0.0.1", self.broker.port)
        self.steps[name] = lambda: made.loop(0.002)
        self.until(made.is_connected)
        return made

    def hear(self, message: Any) -> None:
        with suppress(ValueError):  # what a disturber says need not be JSON
            self.heard.append((message.topic, json.loads(message.payload), message.retain))

    def until(self, so: Callable[[], object], seconds: float = PATIENCE) -> None:
        end = time.monotonic() + seconds
        while not so():
            assert time.monotonic() < end, self.heard[-5:]
            for step in list(self.steps.values()):
                step()

    def go_on(self, seconds: float) -> None:
        """Let time pass."""
        end = time.monotonic() + seconds
        self.until(lambda: time.monotonic() > end, seconds + PATIENCE)

    # ---------------------------------------------------------------- programs

    def hasten(self, **milliseconds: int) -> None:
        """Shorten times of the programs that begin after this."""
        self.told["milliseconds"] |= milliseconds

    def board(self, name: str, *serves: str, **senses: str) -> Any:
        """A board that serves drives and signals, and reports what is named with `yard/`."""
        ours = [(d["device"], d["name"]) for d in self.told["devices"] if d["name"] in serves]
        said = {f"yard/{topic}": state for topic, state in senses.items()}
        made = module("board").Board(name, self.told, ours, said, "127.0.0.1", self.broker.port)
        made.done = []
        put_out = made.put_out

        def put(device: Any, told: Any) -> None:
            made.done.append((device["name"], told["state"]))
            put_out(device, told)

        made.put_out = put
        made.client.loop = quickly(made.client.loop)
        self.steps[name] = made.step
        return made

    def whole_board(self) -> Any:
        """One that serves all of the halt."""
        senses = {topic.removeprefix("yard/"): state for topic, state in STANDING.items()}
        return self.board("K1", "P", "W", "S", "D", **senses)

    def runner(self) -> Any:
        made = module("runner").Runner(self.document, self.told, "127.0.0.1", self.broker.port)
        made.client.loop = quickly(made.client.loop)
        self.steps["runner"] = made.step
        return made

    def process(self, name: str, *more: str) -> subprocess.Popen[str]:
        """A program as a process of its own, as the README calls it."""
        words = [f"{name}.py", "127.0.0.1", str(self.broker.port), *more]
        process = subprocess.Popen(
            [sys.executable, *words], cwd=self.folder, text=True, stdout=subprocess.PIPE
        )
        self.processes.append(process)
        return process

    def close(self) -> None:
        for process in self.processes:
            process.kill()
            process.wait()

    # ------------------------------------------------------------------ people

    def controller(self) -> Any:
        """What the controller said last of itself."""
        said = [told for topic, told, _ in self.heard if topic == "layout/controller"]
        return said[-1] if said else {"state": None, "epoch": None}

    def say(self, topic: str, **told: object) -> None:
        """A panel says something in the epoch that it knows of."""
        told = {"epoch": self.controller()["epoch"], **told}
        self.onlooker.publish(topic, json.dumps(told), qos=0)

    def start(self) -> None:
        """A person starts it when nothing is missing any more. What the last one said of itself
        may be on its way still, so only one that is stopped is started."""
        self.until(
            lambda: (
                (self.controller()["state"], self.controller().get("missing")) == ("stopped", [])
            )
        )
        self.say("layout/start")
        self.until(lambda: self.controller()["state"] == "running")

    def clear_for_c(self, board: Any) -> None:
        """W is cleared for C."""
        self.say("layout/request", route="W to C")
        self.until(lambda: board.shows.get(("drive", "P")) == "diverging")
        board.sense("yard/straight", "off")
        board.sense("yard/diverging", "on")
        self.until(lambda: board.shows["signal", "W"] == "proceed")

    def sent(self, topic: str) -> list[Any]:
        """What was said under a topic."""
        return [told for t, told, _ in self.heard if t == topic]

    def states(self, device: str, name: str) -> list[str]:
        """What was told of a signal or route, for whoever looks on."""
        return [told["state"] for told in self.sent(f"layout/state/{device}/{name}")]

    def command(self, name: str, state: str, **told: object) -> dict[str, object]:
        """The payload of a command, with what a disturber adds."""
        [device] = [d for d in self.told["devices"] if d["name"] == name]
        [payload] = [c for c in device["commands"] if c["state"] == state]
        return {**payload, **told}


def quickly(loop: Callable[[float], object]) -> Callable[[float], object]:
    """They take turns in one thread, so none waits long."""
    return lambda _seconds: loop(0.002)


def retained(topic: str, told: object) -> MQTTMessage:
    """A message as a broker has kept it for whoever comes later."""
    made = MQTTMessage(topic=topic.encode())
    made.payload, made.retain = json.dumps(told).encode(), True
    return made


def expiring(seconds: int) -> Properties:
    """A message expiry interval (MQTT 5.0, 3.3.2.3.3)."""
    made = Properties(PacketTypes.PUBLISH)
    made.MessageExpiryInterval = seconds
    return made


def version_5(name: str, port: int) -> Client:
    made = Client(CallbackAPIVersion.VERSION2, name, protocol=MQTTv5)
    made.connect("127.0.0.1", port)
    return made
