"""The three links behind one small interface: a broker, a network line, a serial line.

A link sends one message after another and says at once when it can no more. It never
sends anything again by itself: a command that comes late is worse than none, so what is
still to go when it gives up is discarded. No call waits without end: what has no limit of
its own is given one here.
"""

from __future__ import annotations

import importlib
import os
import secrets
import select
import socket
import ssl
import struct
import sys
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Protocol

from bellcrank.sending.bounded import LateError, within
from bellcrank.sending.places import PASSWORD, Place

PATIENCE = 5.0
"""Seconds after which a peer that does not answer counts as lost."""

_LOOKING_UP = 5.0
"""Seconds more to open a link: a name may have to be looked up, and it may have several
addresses."""

_CLOSING = 2.0
"""Seconds to close a link; after that it is left as it is."""

_GULP = 1 << 16
"""Bytes that are read at once of a peer that talks; the rest is read the next time."""


class LinkError(Exception):
    """A link that cannot be opened or is lost, as a sentence without its full stop."""


@dataclass(frozen=True, slots=True)
class Message:
    """What is sent for a command. topic: only for a broker."""

    text: str
    topic: str | None = None


class Link(Protocol):
    """An open link. acknowledges: whether `send` returns only when the peer has said that
    it has the message; else it is only known to have left."""

    @property
    def acknowledges(self) -> bool: ...

    def send(self, message: Message) -> None:
        """Send a message. Raises LinkError if it is not certain to have gone."""

    def check(self) -> None:
        """Raise LinkError if the link is known to be lost."""

    def settle(self) -> None:
        """Wait until what was sent has left, as far as this machine can tell. Raises
        LinkError if that is not certain."""

    def close(self) -> None:
        """Close it. Never raises, and takes no longer than a few seconds."""


def _never() -> bool:
    return False


def open_link(place: Place, given_up: Callable[[], bool] = _never) -> Link:
    """Open a link. Raises LinkError if it cannot be opened, if a library for it is missing, or
    once it is given up."""
    require(place)
    seconds = PATIENCE + _LOOKING_UP + place.wait / 1000
    try:
        return within(seconds, lambda: _opened(place), given_up=given_up, undo=_close)
    except LateError:
        raise LinkError(f"{place} cannot be reached: it does not answer") from None


def _opened(place: Place) -> Link:
    match place.kind:
        case "mqtt":
            return _Broker(place)
        case "tcp":
            return _NetworkLine(place)
        case "serial":
            return _SerialLine(place)


def _close(link: Link) -> None:
    link.close()


def require(place: Place) -> None:
    """Raise LinkError if the library for a place is not installed."""
    if place.kind != "tcp":
        _library(place)


def _library(place: Place) -> Any:
    module, package = {
        "mqtt": ("paho.mqtt.client", "paho-mqtt"),
        "serial": ("serial", "pyserial"),
    }[place.kind]
    try:
        return importlib.import_module(module)
    except ImportError:
        raise LinkError(
            f"{package} is needed to send to {place} and is not installed: "
            f"`pip install {package}` brings it"
        ) from None


def _reason(error: BaseException) -> str:
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"its certificate is not vouched for: {error.verify_message.rstrip('.')}"
    said = getattr(error, "strerror", None)
    if not said and len(error.args) == 2 and isinstance(error.args[1], str):
        said = error.args[1]  # a `termios.error`
    said = said or str(error) or type(error).__name__
    return " ".join(str(said).split())


def _bytes(message: Message) -> bytes:
    """A line; one that ends as its target wants it keeps that end."""
    text = message.text
    return (text if text.endswith("\n") else text + "\n").encode("utf-8")


# ---------------------------------------------------------------------- a broker


class _Broker:
    """MQTT 3.1.1 (OASIS), quality of service 1: each message is acknowledged.

    Nothing is retained: a broker must not repeat an old command to a decoder that is
    switched on later.
    """

    acknowledges = True

    def __init__(self, place: Place) -> None:
        paho = _library(place)
        self._place = place
        self._changed = threading.Event()
        self._refused: str | None = None
        self._lost: str | None = None
        self._open = False
        self._done = paho.MQTT_ERR_SUCCESS
        self._client = paho.Client(
            paho.CallbackAPIVersion.VERSION2,
            client_id=f"bellcrank-{secrets.token_hex(4)}",
            clean_session=True,
            protocol=paho.MQTTv311,
            # By itself it would connect again and send late what was not acknowledged.
            reconnect_on_failure=False,
        )
        if place.secure:
            try:
                self._client.tls_set(ca_certs=place.ca or None)
            except (OSError, ValueError) as error:
                where = f"in {place.ca}" if place.ca else "of this system"
                raise LinkError(
                    f"the certificates {where} cannot be used: {_reason(error)}"
                ) from None
        self._client.connect_timeout = PATIENCE
        self._client.on_connect = self._connected
        self._client.on_disconnect = self._disconnected
        try:
            if place.user is not None:
                self._client.username_pw_set(place.user, os.environ.get(PASSWORD))
            self._client.connect(place.host, place.port, keepalive=15)
        except (OSError, ValueError) as error:
            raise LinkError(f"{place} cannot be reached: {_reason(error)}") from None
        self._client.loop_start()
        self._changed.wait(PATIENCE)
        if not self._open or self._lost:
            why = self._refused or self._lost or "it does not answer"
            self.close()
            raise LinkError(f"{place} cannot be reached: {why}")

    def _connected(self, _client: Any, _data: Any, _flags: Any, reason: Any, _more: Any) -> None:
        if reason.is_failure:
            self._refused = f"it refuses ({str(reason).lower()})"
        else:
            self._open = True
        self._changed.set()

    def _disconnected(self, _client: Any, _data: Any, _flags: Any, reason: Any, _more: Any) -> None:
        self._lost = str(reason).lower()
        self._changed.set()

    def send(self, message: Message) -> None:
        self.check()
        try:
            # A message has its own end, and needs none of a line.
            payload = message.text.rstrip("\r\n").encode("utf-8")
            sent = self._client.publish(message.topic or "", payload, qos=1)
        except ValueError as error:
            raise LinkError(f"the topic `{message.topic}` cannot be sent: {error}") from None
        if sent.rc != self._done:
            raise LinkError(f"{self._place} is lost: it takes no message")
        end = time.monotonic() + PATIENCE
        while not sent.is_published():
            self.check()
            if time.monotonic() > end:
                raise LinkError(f"{self._place} does not acknowledge what was sent")
            with suppress(ValueError, RuntimeError):
                sent.wait_for_publish(0.02)

    def check(self) -> None:
        if self._lost is not None:
            raise LinkError(f"{self._place} is lost ({self._lost})")

    def settle(self) -> None:
        pass  # each message was acknowledged, or it was not sent

    def close(self) -> None:
        with suppress(Exception):
            self._client.disconnect()
        # It waits for a thread that waits for the broker.
        with suppress(Exception):
            within(_CLOSING, self._client.loop_stop)


# --------------------------------------------------------------- a network line


class _NetworkLine:
    """TCP, a line of text for each command. What the peer says is read and dropped."""

    acknowledges = False

    def __init__(self, place: Place) -> None:
        self._place = place
        try:
            self._socket = socket.create_connection((place.host, place.port), timeout=PATIENCE)
        except (OSError, ValueError) as error:  # a ValueError: a name that no host can have
            raise LinkError(f"{place} cannot be reached: {_reason(error)}") from None
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if hasattr(socket, "TCP_USER_TIMEOUT"):
            # So that a cable pulled out is noticed (RFC 5482), where the system can.
            patience = int(PATIENCE * 1000)
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, patience)

    def send(self, message: Message) -> None:
        self.check()
        try:
            self._socket.sendall(_bytes(message))
        except OSError as error:
            self._discard()
            raise LinkError(f"{self._place} is lost: {_reason(error)}") from None

    def check(self) -> None:
        try:
            if select.select([self._socket], [], [], 0)[0] and not self._socket.recv(_GULP):
                raise LinkError(f"{self._place} is lost: it has closed the connection")
        except (OSError, ValueError) as error:
            raise LinkError(f"{self._place} is lost: {_reason(error)}") from None

    def settle(self) -> None:
        end = time.monotonic() + PATIENCE
        self.check()
        while _waiting_to_leave(self._socket.fileno()):
            if time.monotonic() > end:
                self._discard()
                raise LinkError(f"{self._place} is lost: it takes nothing in any more")
            time.sleep(0.005)
            self.check()

    def _discard(self) -> None:
        """Let what has not left yet be dropped when the line is closed, not sent later."""
        with suppress(OSError):
            self._socket.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))

    def close(self) -> None:
        # Closed with something unread, the line would be reset, and what is still under
        # way to the peer might be lost with it.
        with suppress(OSError, ValueError):
            self._socket.shutdown(socket.SHUT_WR)
            end = time.monotonic() + 0.5
            while (left := end - time.monotonic()) > 0:
                if not select.select([self._socket], [], [], left)[0]:
                    break
                if not self._socket.recv(_GULP):
                    break
        with suppress(OSError):
            self._socket.close()


def _waiting_to_leave(line: int) -> int:
    """Bytes of a network or serial line that the other side has not taken yet; 0 where the
    system cannot say."""
    try:
        import fcntl
        import termios

        return int.from_bytes(fcntl.ioctl(line, termios.TIOCOUTQ, bytes(4)), sys.byteorder)
    except (ImportError, AttributeError, OSError):
        return 0


# ---------------------------------------------------------------- a serial line


class _SerialLine:
    """A serial line, eight data bits, no parity, one stop bit; a line of text for each
    command. What the peer says is read and dropped."""

    acknowledges = False

    def __init__(self, place: Place) -> None:
        serial = _library(place)
        self._place = place
        try:
            self._port = serial.Serial(
                place.device, place.baud, timeout=0, write_timeout=PATIENCE, exclusive=True
            )
        except Exception as error:
            raise LinkError(f"{place} cannot be opened: {_reason(error)}") from None
        time.sleep(place.wait / 1000)

    # Of a device that is pulled out the library lets through whatever the system raises,
    # and one of them, `termios.error`, is no OSError.

    def send(self, message: Message) -> None:
        self.check()
        try:
            self._port.write(_bytes(message))
            # It waits until all is out, without a limit: the other side may hold it up.
            within(PATIENCE, self._port.flush)
        except LateError:
            self._discard()
            raise LinkError(f"{self._place} is lost: it takes nothing in any more") from None
        except Exception as error:
            self._discard()
            raise LinkError(f"{self._place} is lost: {_reason(error)}") from None

    def check(self) -> None:
        try:
            if self._port.in_waiting:
                self._port.read(_GULP)
        except Exception as error:
            raise LinkError(f"{self._place} is lost: {_reason(error)}") from None

    def settle(self) -> None:
        self.check()

    def _discard(self) -> None:
        with suppress(Exception):
            self._port.reset_output_buffer()

    def close(self) -> None:
        with suppress(Exception):
            within(_CLOSING, self._port.close)
