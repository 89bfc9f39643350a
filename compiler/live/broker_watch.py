"""Listening at a broker beside another controller, as `targets/README.md` lays down under
"Messages": reports come in, nothing is ever said.

Reports are those of the epoch that the controller's beat tells. Where a new epoch begins all is
forgotten, for boards report everything anew in it; so watching begins with the next epoch, or once
each board has reported of itself.
"""

from __future__ import annotations

import asyncio
import json
import secrets
from collections.abc import Mapping
from typing import Any

from bellcrank.live.broker_connection import Connection
from bellcrank.live.decisions import Doing, Heard
from bellcrank.live.live import Heed, pause_before
from bellcrank.live.reported import Reports
from bellcrank.sending.places import Place


class BrokerWatch:
    """told: what the target mqtt says of topics, devices and reports (`messages.json`)."""

    def __init__(self, place: Place, told: Mapping[str, Any]) -> None:
        self.name = str(place)
        self.up = False
        self.trouble = "it has not been opened yet"
        self._place = place
        self._topics: Mapping[str, str] = told["topics"]
        self._keep_alive = int(told["milliseconds"]["keep_alive"] / 1000)
        self._reports = Reports(told["reports"], self.name)
        self._epoch: str | None = None
        self._last: dict[str, int] = {}

    async def run(self, heed: Heed) -> None:
        tried, told = 0, False
        while True:
            # So named that two who watch do not turn each other out.
            name = f"{self._topics['controller']}/watch/{secrets.token_hex(4)}"
            connection = Connection(self._place, name, None)
            try:
                await connection.open(self._keep_alive)
                connection.subscribe([self._topics["controller"], *self._reports.topics])
                self.up, self.trouble, tried = True, "", 0
                self._epoch = None
                heed((Heard("here", self.name, who=self.name),))
                while True:
                    came = await connection.next(3600)
                    if came is not None:
                        self._take(came.topic, came.payload, came.retained, heed)
            except (OSError, ValueError) as error:
                why = " ".join(str(error).split()) or "it does not answer"
            finally:
                await connection.close(None)
            self.trouble = f"it cannot be reached: {why}"
            if self.up or not told:
                is_ = "is lost" if self.up else "cannot be reached"
                heed((Heard("lost", self.name, f"{self.name} {is_}: {why}", self.name),))
            self.up, told = False, True
            await asyncio.sleep(pause_before(tried))
            tried += 1

    def put_out(self, doing: Doing) -> None:
        """Nothing is said."""

    def _take(self, topic: str, payload: bytes, retained: bool, heed: Heed) -> None:
        try:
            told = json.loads(payload)
            if topic == self._topics["controller"]:
                self._beat(told["epoch"], heed)
                return
            news = told["epoch"] == self._epoch and told["sequence"] > self._last.get(topic, 0)
            if news and not retained:
                self._last[topic] = told["sequence"]
                heed(self._reports.read(topic, told["state"]))
        except (ValueError, LookupError, TypeError):
            said = payload[:100].decode("utf-8", "replace")
            heed((Heard("not understood", topic, said, self.name),))

    def _beat(self, epoch: str | None, heed: Heed) -> None:
        if epoch == self._epoch:
            return
        if self._epoch is not None:
            why = "the controller begins anew" if epoch else "the controller is gone"
            heed((Heard("lost", self.name, why, self.name), Heard("here", self.name)))
        self._epoch = epoch
        self._last.clear()
