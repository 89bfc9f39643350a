"""Where to send, as a user names it: a broker, a network line, a serial line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal
from urllib.parse import parse_qsl, unquote, urlsplit

PASSWORD = "BELLCRANK_PASSWORD"
"""The environment variable that holds the password for a broker, where it wants one: a
command line can be read by everybody on the machine."""

_PORTS = {"mqtt": 1883, "mqtts": 8883}
_BAUD = 9600
_FORMS = (
    "mqtt://host[:port], mqtts://host[:port][?ca=FILE], tcp://host:port "
    "or serial:/dev/ttyX[?baud=9600]"
)


class PlaceError(ValueError):
    """Words that name no place to send to, as a sentence without its full stop."""


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
        _check_host(parts.hostname)
        user = unquote(parts.username) if parts.username else None
        if kind == "tcp":
            return Place("tcp", parts.hostname, port)
        return Place("mqtt", parts.hostname, port, user, secure=kind == "mqtts", ca=ca)
    raise PlaceError(f"`{text}` names no place to send to: write {_FORMS}")


def _check_host(host: str) -> None:
    """Names of hosts are labels of 1 to 63 characters between dots (RFC 1035)."""
    if ":" in host:
        return  # an address of IPv6
    try:
        host.encode("idna")
    except ValueError:
        raise PlaceError(f"`{host}` is not a name that a host can have") from None
    if not host.isprintable() or " " in host:
        raise PlaceError(f"`{host}` is not a name that a host can have")


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
