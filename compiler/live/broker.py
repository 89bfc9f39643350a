"""The link over a broker, by MQTT 5.0 (OASIS), as `targets/README.md` lays down under "Messages".

An epoch is drawn anew whenever the signal box is stopped or the broker was lost; what was said in
another is neither obeyed nor believed. Boards answer each epoch with how everything stands; the
box cannot start before all have. Beats tell boards that somebody is there, and a last will that
nobody is.
"""

from __future__ import annotations

import asyncio
import json
import secrets
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from bellcrank.live.broker_connection import Connection
from bellcrank.live.decisions import Decision, Doing, Heard, HeardKind, Show, Throw
from bellcrank.live.live import Heed, pause_before
from bellcrank.live.reported import Reports
from bellcrank.sending.places import Place

_ASKED: Mapping[str, HeardKind] = {
    "request": "request",
    "cancel": "cancel",
    "confirm passed": "confirm passed",
    "confirm arrived": "confirm arrived",
}

Stands = Callable[[], "Standing"]


class Standing:
    """How things stand, for those who look on. running: whether the box is. states: of each signal
    and route, by what it is and its name."""

    def __init__(
        self, running: bool, because: str | None, states: Mapping[tuple[str, str], str]
    ) -> None:
        self.running = running
        self.because = because
        self.states = states


class BrokerLink:
    """told: what the target mqtt says of topics, devices and reports (`messages.json`).

    stands: how things stand now. pressed: what a button asks for, by the topic of it.
    """

    def __init__(self, place: Place, told: Mapping[str, Any], stands: Stands) -> None:
        self.name = str(place)
        self.up = False
        self.trouble = "it has not been opened yet"
        self._place = place
        self._stands = stands
        self._topics: Mapping[str, str] = told["topics"]
        self._limits = {name: ms / 1000 for name, ms in told["milliseconds"].items()}
        self._devices = {(d["device"], d["name"]): d for d in told["devices"]}
        self._answers = {d["answer"]: d["topic"] for d in told["devices"]}
        self._named = {d["topic"]: f"{d['device']} {d['name']}" for d in told["devices"]}
        self._reports = Reports(told["reports"], self.name)
        self._buttons = {b["topic"]: b for b in told["buttons"]}
        self._state_topics = {(s["device"], s["name"]): s["topic"] for s in told["states"]}
        self._people = {self._topics[kind]: kind for kind in _ASKED}
        self._client: Connection | None = None
        self._heed: Heed = lambda _: None
        self._told = False  # that it is not there at first; later its loss was
        self._begin_epoch()

    # ------------------------------------------------------------------ epochs

    def _begin_epoch(self) -> None:
        """All that was known is forgotten, and every board is asked to tell it anew."""
        self._epoch = secrets.token_hex(4)
        self._sequence = 0
        self._boards: dict[str, list[str]] = {}
        self._last: dict[str, int] = {}
        self._waiting: dict[str, tuple[int, float]] = {}
        self._shown: dict[tuple[str, str], str] = {}
        self._pressed: str | None = None
        self._here = False
        self._running = False
        self._echo = time.monotonic()

    def _unserved(self) -> list[str]:
        served = {topic for serves in self._boards.values() for topic in serves}
        return sorted(
            d["topic"]
            for d in self._devices.values()
            if not d["by_hand"] and d["topic"] not in served
        )

    async def run(self, heed: Heed) -> None:
        self._heed = heed
        tried = 0
        while True:
            try:
                await self._connected()
                tried = 0
                await self._keep()
                why = "the connection is closed"
            except (OSError, ValueError) as error:
                why = " ".join(str(error).split()) or "it does not answer"
            finally:
                await self._leave()
            was_up, self.up = self.up, False
            self.trouble = f"it cannot be reached: {why}"
            if was_up:
                self._lost(f"{self.name} is lost: {why}")
            elif not self._told:
                self._lost(f"{self.name} cannot be reached: {why}")
            self._told = True
            await asyncio.sleep(pause_before(tried))
            tried += 1

    async def _connected(self) -> None:
        self._client = Connection(self._place, self._topics["controller"], self._gone())
        await self._client.open(int(self._limits["keep_alive"]))
        heard = [self._topics["controller"], self._topics["board"] + "/+", self._topics["start"]]
        heard += [*self._answers, *self._reports.topics, *self._people, *self._buttons]
        self._client.subscribe(heard)
        self.up, self.trouble = True, ""
        self._begin_epoch()
        self._beat()

    def _gone(self) -> tuple[str, str]:
        """What is said once it is gone, by itself or by the broker for it: a topic and a text."""
        return self._topics["controller"], json.dumps({"state": "gone", "epoch": None})

    async def _leave(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            await client.close(self._gone())

    async def _keep(self) -> None:
        """Take in what comes, and say once a beat that somebody is there."""
        while True:
            wait = max(0.0, min(self._next_beat - time.monotonic(), 0.05))
            assert self._client is not None
            came = await self._client.next(wait)
            if came is not None:
                self._take(*came)
            self._in_time()
            self._follow()

    def _in_time(self) -> None:
        now = time.monotonic()
        late = next((topic for topic, (_, end) in self._waiting.items() if end < now), None)
        if late is not None:
            self._lost(f"{self._named[late]} does not answer: its board may hang")
        elif now > self._echo + self._limits["beat"] + self._limits["late"]:
            self._lost(f"{self.name} is too slow: what was said to it does not come back in time")
        if now > self._next_beat:
            self._beat()

    def _follow(self) -> None:
        """Tell boards and onlookers what has changed at the box."""
        stands = self._stands()
        if stands.running != self._running:
            if self._running:
                # It was stopped, by whomever: nothing that is under way is obeyed any more.
                self._forget()
                return
            self._running = True
            self._beat()
        if not stands.running:
            return
        for key, state in stands.states.items():
            if self._shown.get(key) != state and key in self._state_topics:
                told = {"state": state, "epoch": self._epoch}
                self._publish(self._state_topics[key], told, retain=True)
                self._shown[key] = state

    def _forget(self) -> None:
        """A new epoch: the box is told that what is behind this link has to report anew."""
        self._begin_epoch()
        self._heed((Heard("lost", self.name, self._stands().because or "", self.name),))
        self._beat()

    def _lost(self, why: str) -> None:
        self._heed((Heard("lost", self.name, why, self.name),))
        self._begin_epoch()
        self._beat()

    # -------------------------------------------------------------------- out

    def _at(self) -> int:
        return int(time.monotonic() * 1000)

    def _beat(self) -> None:
        self._next_beat = time.monotonic() + self._limits["beat"]
        stands = self._stands()
        told = {
            "state": "running" if stands.running and self._running else "stopped",
            "epoch": self._epoch,
            "at": self._at(),
            "because": stands.because,
            "missing": self._missing(),
        }
        self._publish(self._topics["controller"], told, True, self._limits["silent"])

    def _missing(self) -> list[str]:
        return sorted(
            {*self._unserved(), *(t for t in self._reports.topics if t not in self._last)}
        )

    def _publish(
        self, topic: str, told: Any, retain: bool = False, expires: float | None = None
    ) -> None:
        if self._client is not None:
            self._client.publish(topic, json.dumps(told), retain, expires)

    def put_out(self, doing: Doing) -> None:
        if isinstance(doing, Show):
            device, state = ("signal", doing.signal), doing.aspect
        elif isinstance(doing, Throw):
            device, state = ("drive", doing.drive), doing.position
        else:
            return  # boards end pulses by themselves, and panels follow the states of routes
        if self._stands().running and not self._running:
            self._follow()  # that it runs is to be known before it commands anything
        told = self._devices.get(device)
        command = next((c for c in told["commands"] if c["state"] == state), None) if told else None
        if told is None or command is None or self._client is None:
            return
        self._sequence += 1
        message = {**command, "epoch": self._epoch, "sequence": self._sequence, "at": self._at()}
        self._publish(told["topic"], message, expires=self._limits["late"])
        if not told["by_hand"] and self._running:
            end = time.monotonic() + self._limits["answer"]
            self._waiting[told["topic"]] = self._sequence, end

    def follow(self, decisions: Sequence[Decision]) -> None:
        """What was refused to somebody at this broker is told there."""
        for decision in decisions:
            heard = decision.heard
            if decision.outcome == "refused" and heard.who == self.name:
                told = {"epoch": self._epoch, "kind": heard.kind, "of": heard.of}
                self._publish(self._topics["refused"], told)

    # --------------------------------------------------------------------- in

    def _take(self, topic: str, payload: bytes, retained: bool) -> None:
        if retained:
            return  # of some other time
        try:
            self._understand(topic, json.loads(payload))
        except (ValueError, LookupError, TypeError, AttributeError):
            said = payload[:100].decode("utf-8", "replace")
            self._heed((Heard("not understood", topic, said, self.name),))

    def _understand(self, topic: str, told: Mapping[str, Any]) -> None:
        board = topic.removeprefix(self._topics["board"] + "/")
        if topic == self._topics["controller"]:
            self._echo = time.monotonic()
        elif board != topic and told["state"] == "gone":
            self._lost(f"the board {board} is gone")
        elif told.get("epoch") != self._epoch:
            return  # said to another, or before the last stop
        elif board != topic:
            self._boards[board] = [str(each) for each in told["serves"]]
        elif topic in self._answers:
            asked = self._waiting.get(self._answers[topic])
            if asked is not None and asked[0] == told["sequence"]:
                del self._waiting[self._answers[topic]]
        elif topic in self._reports.topics:
            if told["sequence"] > self._last.get(topic, 0):
                self._last[topic] = told["sequence"]
                self._heed(self._reports.read(topic, told["state"]))
        elif topic == self._topics["start"]:
            self._heed((Heard("start", who=self.name),))
        elif topic in self._people:
            route = told.get("route")
            if isinstance(route, str):
                self._heed((Heard(_ASKED[self._people[topic]], route, who=self.name),))
        else:
            self._press(topic)
        if not self._here and self.up and not self._unserved():
            self._here = True
            self._heed((Heard("here", self.name, who=self.name),))

    def _press(self, topic: str) -> None:
        button, first = self._buttons[topic], self._pressed
        pair = [a["input"] for a in button["after"] if a["topic"] == first]
        self._pressed = None if pair or button["alone"] else topic
        asked = [*button["alone"], *pair]
        self._heed([Heard(a["kind"], a["of"], who=self.name) for a in asked])
