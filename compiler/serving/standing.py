"""How the railway stands, as the page and other programs read it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Literal

import msgspec

from bellcrank.controller.view import STANDS_STILL
from bellcrank.live.box import Box
from bellcrank.live.live import Link
from bellcrank.live.pacing import Pacer
from bellcrank.machine.frame import CLOSING, GONE_ON, IDLE, SET
from bellcrank.serving.simulated import ActState, HappenedState, SimulatedState, TrainState

Stage = Literal["idle", "set", "cancelled", "under way", "arrived", "kept for its overlap"]
"""How far a route has got. `cancelled`: the time of approach locking runs."""

_STAGES: Mapping[str, Stage] = {
    IDLE: "idle",
    SET: "set",
    CLOSING: "cancelled",
    STANDS_STILL: "arrived",
    GONE_ON: "kept for its overlap",
}


class SectionState(msgspec.Struct, frozen=True):
    """said: what it reported last; null if it does not report, or has not yet.
    held: the route for which it is held, or null."""

    said: Literal["occupied", "clear"] | None
    held: str | None


class SignalState(msgspec.Struct, frozen=True):
    """shows: its aspect. off_for: the route for which it is off, or null."""

    shows: str
    off_for: str | None


class DriveState(msgspec.Struct, frozen=True):
    """lies: the position where it is known to lie, or null. goes_to: where it is being thrown to,
    or null. waits: whether the throw still waits for its supply. by_hand: whether a person throws
    it."""

    lies: str | None
    goes_to: str | None
    waits: bool
    by_hand: bool


class LinkState(msgspec.Struct, frozen=True):
    """up: whether it is there. trouble: what is wrong with it, if it is not."""

    up: bool
    trouble: str


class State(msgspec.Struct, frozen=True):
    """The whole railway.

    running: whether the signal box runs. because: why it does not, as a sentence without its full
    stop, or null. missing: sections and drives that have to report before a start. can_confirm: of
    what a person may now say that it is so, by route: `passed`, `arrived`. entry: the number of the
    last entry of the journal that it tells of. left: what the run before this one has left, if that
    ended without stopping, as sentences, until it is started. trains: of the simulated railway,
    else null. may: what people may do with them now, and where another may be put. faults: what can
    be made to fail there, or mended. happened: what has happened there last, in its order.
    """

    running: bool
    because: str | None
    missing: list[str]
    sections: dict[str, SectionState]
    signals: dict[str, SignalState]
    drives: dict[str, DriveState]
    routes: dict[str, Stage]
    links: dict[str, LinkState]
    can_confirm: dict[str, list[Literal["passed", "arrived"]]]
    entry: int
    left: list[str] = []
    trains: list[TrainState] | None = None
    may: list[ActState] | None = None
    faults: list[ActState] | None = None
    happened: list[HappenedState] | None = None


def standing(
    box: Box,
    pacer: Pacer,
    links: tuple[Link, ...],
    entry: int,
    simulated: SimulatedState | None = None,
    left: Sequence[str] = (),
) -> State:
    """How the railway stands now."""
    missing = box.missing()
    waiting = {throw.drive for throw in pacer.waiting()}
    aspects = box.aspects()
    routes = {name: stage_of(box.stage(name)) for name in box.table.routes}
    return State(
        running=box.running,
        because=box.because,
        missing=[*missing.sections, *(f"drive {name}" for name in missing.drives)],
        sections={
            s: SectionState(_said(box.occupied(s)), box.held_for(s)) for s in box.layout.sections
        },
        signals={s: SignalState(aspects[s], box.off_for(s)) for s in aspects},
        drives={
            d: DriveState(box.lies(d), box.goes_to(d), d in waiting, d in box.by_hand)
            for d in box.layout.drives
        },
        routes=routes,
        links={link.name: LinkState(link.up, link.trouble) for link in links},
        can_confirm={
            name: can
            for name, stage in routes.items()
            if stage != "idle" and (can := box.can_confirm(name))
        },
        entry=entry,
        left=list(left),
        **(simulated._asdict() if simulated is not None else {}),
    )


def stage_of(value: str) -> Stage:
    """How far a route has got, by the controller's own value."""
    return _STAGES.get(value, "under way")


def _said(occupied: bool | None) -> Literal["occupied", "clear"] | None:
    if occupied is None:
        return None
    return "occupied" if occupied else "clear"


def changed(before: State | None, now: State) -> dict[str, Any]:
    """What is other than before, as plain data: of each mapping only the names that have changed,
    with null where one is not in it any more; of what has happened only what is new.
    """
    new: dict[str, Any] = msgspec.to_builtins(now)
    if before is None:
        return new
    old: dict[str, Any] = msgspec.to_builtins(before)
    found: dict[str, Any] = {}
    for name, value in new.items():
        was = old[name]
        if name == "happened" and value is not None:
            last = was[-1]["number"] if was else 0
            value, was = [each for each in value if each["number"] > last], []
        if isinstance(value, dict) and isinstance(was, dict):
            part = {k: v for k, v in value.items() if was.get(k, _NOTHING) != v}
            part |= dict.fromkeys(was.keys() - value.keys())
            if part:
                found[name] = part
        elif value != was:
            found[name] = value
    return found


_NOTHING = object()
