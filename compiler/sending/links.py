"""The three links behind one small interface: a broker, a network line, a serial line.

A link sends one message after another and says at once when it can no more. It never
sends anything again by itself: a command that comes late is worse than none.
"""

from __future__ import annotations

import importlib
import os
import secrets
import select
import socket
import ssl
import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, Literal, Protocol
from urllib.parse import parse_qsl, unquote, urlsplit

PATIENCE = 5.0
"""Seconds after which a peer that does not answer counts as lost."""

PASSWORD = "BELLCRANK_PASSWORD"
"""The environment variable that holds the password for a broker, where it wants one: a
command line can be read by everybody on the machine."""

_PORTS = {"mqtt": 1883, "mqtts": 8883}
_BAUD = 9600
_FORMS = (
    "mqtt://host[:port], mqtts://host[:port][?ca=FILE], tcp://host:port "
    "or serial:/dev/ttyX[?baud=9600]"
)


class LinkError(Exception):
    """A link that cannot be opened or is lost, as a sentence without its full stop."""


class PlaceError(ValueError):
    """Words that name no place to send to, as a sentence without its full stop."""


@dataclass(frozen=True, slots=True)
class Message:
    """What is sent for a command. topic: only for a broker."""

    text: str
    topic: str | None = None


@dataclass(frozen=True, slots=True)
class Place:
    """Where to send. wait: milliseconds to wait after opening a serial line, for boards
    that start anew when it is opened (common practice). secure: a broker over TLS; ca: the
    file of certificates that vouch for it, empty for those that the system trusts."""

    kind: Literal["mqtt", "tcp", "serial"]
    host: str = ""
    port: int = 0
    user: str | None = None
    device: str = ""
    baud: int = _BAUD
    wait: int = 0
    secure: bool = False
    ca: str = ""

    def __str__(self) -> str:
        if self.kind == "serial":
            return f"serial:{self.device}?baud={self.baud}"
        host = f"[{self.host}]" if ":" in self.host else self.host
        return f"{'mqtts' if self.secure else self.kind}://{host}:{self.port}"


class Link(Protocol):
    """An open link. acknowledges: whether `send` returns only when the peer has said that
    it has the message; else it is only known to have left."""

    @property
    def acknowledges(self) -> bool: ...

    def send(self, message: Message) -> None:
        """Send a message. Raises LinkError if it is not certain to have gone."""

    def check(self) -> None:
        """Raise LinkError if the link is known to be lost."""

    def close(self) -> None:
        """Close it, after what was sent has gone. Never raises."""


def read_place(text: str) -> Place:
    """The place that a user names. Raises PlaceError."""
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError:
        raise PlaceError(f"`{text}` names no place to send to: write {_FORMS}") from None
    kind = parts.scheme
    if kind == "serial" and parts.path and not parts.netloc:
        options = dict(parse_qsl(parts.query, keep_blank_values=True))
        baud = _count(options.pop("baud", str(_BAUD)), "baud", 4_000_000)
        wait = _count(options.pop("wait", "0"), "wait", 60_000, least=0)
        if options:
            raise PlaceError(f"a serial line has `baud` and `wait`, and no `{next(iter(options))}`")
        return Place("serial", device=unquote(parts.path), baud=baud, wait=wait)
    if kind in ("mqtt", "mqtts", "tcp") and parts.hostname:
        ca = _certificates(parts.query) if kind == "mqtts" else ""
        if parts.path.strip("/") or (parts.query and not ca) or parts.fragment:
            raise PlaceError(f"nothing may follow the port in `{text}`: write {_FORMS}")
        if parts.password is not None:
            raise PlaceError(
                f"a password does not belong on the command line: put it into {PASSWORD} "
                "in the environment"
            )
        if parts.username is not None and kind == "tcp":
            raise PlaceError(f"a network line knows no users: write {_FORMS}")
        port = port or _PORTS.get(kind)
        if not port:
            raise PlaceError(f"`{text}` names no port: write {_FORMS}")
        user = unquote(parts.username) if parts.username else None
        if kind == "tcp":
            return Place("tcp", parts.hostname, port)
        return Place("mqtt", parts.hostname, port, user, secure=kind == "mqtts", ca=ca)
    raise PlaceError(f"`{text}` names no place to send to: write {_FORMS}")


def _certificates(query: str) -> str:
    """The file that `ca` names; empty without it."""
    options = dict(parse_qsl(query, keep_blank_values=True))
    ca = options.pop("ca", None)
    if options:
        raise PlaceError(f"a broker over TLS has `ca`, and no `{next(iter(options))}`")
    if ca == "":
        raise PlaceError("`ca` names no file: write ?ca=FILE, or leave it out")
    return ca or ""


def _count(text: str, what: str, most: int, least: int = 1) -> int:
    if not (text.isascii() and text.isdecimal()) or not least <= int(text[:9]) <= most:
        raise PlaceError(f"`{what}={text}`: {what} is a number from {least} to {most}")
    return int(text)


def open_link(place: Place) -> Link:
    """Open a link. Raises LinkError if it cannot be, or a library for it is missing."""
    if place.kind == "mqtt":
        return _Broker(place)
    if place.kind == "tcp":
        return _NetworkLine(place)
    return _SerialLine(place)


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
    said = getattr(error, "strerror", None) or str(error) or type(error).__name__
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
        if place.user is not None:
            self._client.username_pw_set(place.user, os.environ.get(PASSWORD))
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
            self._client.connect(place.host, place.port, keepalive=15)
        except (OSError, ValueError) as error:
            raise LinkError(f"{place} cannot be reached: {_reason(error)}") from None
        self._client.loop_start()
        self._changed.wait(PATIENCE)
        if not self._open or self._lost:
            self._client.loop_stop()
            why = self._refused or self._lost or "it does not answer"
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

    def close(self) -> None:
        with suppress(Exception):
            self._client.disconnect()
        with suppress(Exception):
            self._client.loop_stop()


# --------------------------------------------------------------- a network line


class _NetworkLine:
    """TCP, a line of text for each command. What the peer says is read and dropped."""

    acknowledges = False

    def __init__(self, place: Place) -> None:
        self._place = place
        try:
            self._socket = socket.create_connection((place.host, place.port), timeout=PATIENCE)
        except OSError as error:
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
            raise LinkError(f"{self._place} is lost: {_reason(error)}") from None

    def check(self) -> None:
        try:
            while select.select([self._socket], [], [], 0)[0]:
                if not self._socket.recv(4096):
                    raise LinkError(f"{self._place} is lost: it has closed the connection")
        except (OSError, ValueError) as error:
            raise LinkError(f"{self._place} is lost: {_reason(error)}") from None

    def close(self) -> None:
        # Closed with something unread, the line would be reset, and what is still under
        # way to the peer might be lost with it.
        with suppress(OSError, ValueError):
            self._socket.shutdown(socket.SHUT_WR)
            end = time.monotonic() + 0.5
            while (left := end - time.monotonic()) > 0:
                if not select.select([self._socket], [], [], left)[0]:
                    break
                if not self._socket.recv(4096):
                    break
        self._socket.close()


# ---------------------------------------------------------------- a serial line


class _SerialLine:
    """A serial line, eight data bits, no parity, one stop bit; a line of text for each
    command. What the peer says is read and dropped."""

    acknowledges = False

    def __init__(self, place: Place) -> None:
        serial = _library(place)
        self._place = place
        self._troubles: tuple[type[Exception], ...] = (OSError, ValueError, serial.SerialException)
        try:
            self._port = serial.Serial(
                place.device, place.baud, timeout=0, write_timeout=PATIENCE, exclusive=True
            )
        except self._troubles as error:
            raise LinkError(f"{place} cannot be opened: {_reason(error)}") from None
        time.sleep(place.wait / 1000)

    def send(self, message: Message) -> None:
        self.check()
        try:
            self._port.write(_bytes(message))
            self._port.flush()
        except self._troubles as error:
            raise LinkError(f"{self._place} is lost: {_reason(error)}") from None

    def check(self) -> None:
        try:
            if self._port.in_waiting:
                self._port.read(self._port.in_waiting)
        except self._troubles as error:
            raise LinkError(f"{self._place} is lost: {_reason(error)}") from None

    def close(self) -> None:
        with suppress(Exception):
            self._port.close()
