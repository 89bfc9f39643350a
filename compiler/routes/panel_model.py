"""The panel: buttons that ask for routes, and lamps that show which are set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from bellcrank.diagnostics import Span
from bellcrank.layout.detectors import Input
from bellcrank.layout.layout_model import OutputRef, Side

PlaceKind = Literal["signal", "edge", "stop"]
"""Where routes begin and end; a stop is named by the last piece before it."""


@dataclass(frozen=True, slots=True)
class RouteButton:
    """Asks for a route, or cancels it."""

    route: str
    cancels: bool
    input: Input
    span: Span


@dataclass(frozen=True, slots=True)
class PlaceButton:
    """Where a route begins or ends: of two that are pressed one after the other the first is
    where the route begins, and the second where it ends."""

    place: str
    kind: PlaceKind
    input: Input
    span: Span


@dataclass(frozen=True, slots=True)
class CancelButton:
    """Cancels whatever is set from a signal."""

    signal: str
    input: Input
    span: Span


Button = RouteButton | PlaceButton | CancelButton


@dataclass(frozen=True, slots=True)
class RouteLamp:
    """Lit while a route is set."""

    route: str
    output: OutputRef
    side: Side
    span: Span


@dataclass(frozen=True, slots=True)
class Panel:
    """All buttons and lamps, in the order of the source.

    asked: the route that two buttons at places ask for, by where it begins and ends.
    """

    buttons: tuple[Button, ...] = ()
    lamps: tuple[RouteLamp, ...] = ()
    asked: Mapping[tuple[str, str], str] = field(default_factory=dict)
