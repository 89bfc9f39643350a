"""A connection to a broker, by MQTT 5.0 (OASIS): opened, listened to, and closed."""

from __future__ import annotations

import asyncio
import contextlib
import importlib
import os
import ssl
from collections.abc import Iterable
from typing import Any, NamedTuple

from bellcrank.sending.places import PASSWORD, Place

_PUBLISH = 3
"""The type of the packet that its properties are for (MQTT 5.0, section 2.1.2)."""


class Came(NamedTuple):
    """A message. retained: it was kept by the broker, and may be of some other time."""

    topic: str
    payload: bytes
    retained: bool


class Connection:
    """One connection; when it is lost a new one is made.

    name: the client's; the broker knows one client of a name.
    gone: what the broker says for it if it is lost, a topic and a text; None if nothing.
    """

    def __init__(self, place: Place, name: str, gone: tuple[str, str] | None) -> None:
        paho: Any = importlib.import_module("paho.mqtt.client")

        self._place = place
        self._inbox: asyncio.Queue[Came | None] = asyncio.Queue()
        self._client: Any = paho.Client(
            paho.CallbackAPIVersion.VERSION2,
            name,
            protocol=paho.MQTTv5,
            reconnect_on_failure=False,
        )
        if gone is not None:
            self._client.will_set(*gone, qos=1, retain=True)

    async def open(self, keep_alive: int) -> None:
        """keep_alive: seconds. Raises OSError and ValueError."""
        loop = asyncio.get_running_loop()
        opened: asyncio.Future[None] = loop.create_future()
        client, inbox, place = self._client, self._inbox, self._place

        def say(what: Came | None) -> None:
            with contextlib.suppress(RuntimeError):  # the loop is over
                loop.call_soon_threadsafe(inbox.put_nowait, what)

        def connected(_c: Any, _d: Any, _f: Any, reason: Any, _p: Any = None) -> None:
            def tell() -> None:
                if not opened.done():
                    if reason.is_failure:
                        opened.set_exception(OSError(f"it refuses ({str(reason).lower()})"))
                    else:
                        opened.set_result(None)

            loop.call_soon_threadsafe(tell)

        client.on_connect = connected
        client.on_disconnect = lambda *_: say(None)
        client.on_message = lambda _c, _d, m: say(Came(m.topic, m.payload, m.retain))
        if place.secure:
            try:
                client.tls_set(ca_certs=place.ca or None)
            except (OSError, ValueError) as error:
                raise OSError(f"its certificates cannot be used: {error}") from None
        if place.user is not None:
            client.username_pw_set(place.user, os.environ.get(PASSWORD))

        def connect() -> None:
            try:
                client.connect(place.host, place.port, keep_alive, clean_start=True)
            except ssl.SSLCertVerificationError as error:
                said = f"its certificate is not vouched for: {error.verify_message}"
                raise OSError(said) from None

        await asyncio.to_thread(connect)
        client.loop_start()
        try:
            async with asyncio.timeout(5.0):
                await opened
        except TimeoutError:
            raise OSError("it does not answer") from None

    def subscribe(self, topics: Iterable[str]) -> None:
        self._client.subscribe([(topic, 1) for topic in topics])

    async def next(self, seconds: float) -> Came | None:
        """The next message; None if none comes in so many seconds. Raises OSError if the connection
        is lost."""
        try:
            async with asyncio.timeout(seconds):
                came = await self._inbox.get()
        except TimeoutError:
            return None
        if came is None:
            raise OSError("the connection is closed")
        return came

    def publish(
        self, topic: str, text: str, retain: bool = False, expires: float | None = None
    ) -> None:
        """expires: seconds after which the broker lets it go."""
        properties: Any = importlib.import_module("paho.mqtt.properties").Properties(_PUBLISH)
        if expires:
            properties.MessageExpiryInterval = max(1, int(expires))
        self._client.publish(topic, text, 1, retain, properties)

    async def close(self, gone: tuple[str, str] | None) -> None:
        """gone: what is said before, retained."""
        client = self._client
        if gone is not None:
            with contextlib.suppress(Exception):
                client.publish(*gone, 1, retain=True).wait_for_publish(0.2)
        with contextlib.suppress(Exception):
            client.disconnect()
        with contextlib.suppress(Exception):
            await asyncio.to_thread(client.loop_stop)
