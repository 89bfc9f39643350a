"""Pieces of track that were most likely meant as signals: their arrow was forgotten."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Literal

from bellcrank.layout.layout_model import Edge, Element, Hand, Layout, Leg, Signal, TrackEnd

Arrow = Literal[">", "<"]
"""Which way the trains run that read a signal, as its run reads."""


def arrow_of(before: Leg | Edge, beyond: Leg, reads: Mapping[Leg, Hand]) -> Arrow:
    """The arrow of a signal between two ends of track."""
    rightwards = reads[before] == "right" if isinstance(before, Leg) else reads[beyond] == "left"
    return ">" if rightwards else "<"


def turned(arrow: Arrow) -> Arrow:
    """The other arrow."""
    return "<" if arrow == ">" else ">"


def arrow_meant(
    piece: str,
    elements: Mapping[str, Element],
    joined: Mapping[Leg, TrackEnd],
    wont: Iterable[Arrow] = (),
) -> Arrow | None:
    """The arrow that would make a sensible signal of a piece, or None.

    A signal protects what lies beyond it and trains wait before it, so it stands where plain
    track ends at a fitting. wont: how signals of its kind are read, which decides elsewhere.
    """
    ends = joined.get(Leg(piece, "left")), joined.get(Leg(piece, "right"))
    sensible: list[Arrow] = []
    protecting: list[Arrow] = []
    arrows: tuple[Arrow, Arrow] = (">", "<")
    for arrow, (before, beyond) in zip(arrows, (ends, ends[::-1]), strict=True):
        waits = isinstance(before, Edge) or (
            isinstance(before, Leg) and elements[before.element].plain
        )
        if waits and isinstance(beyond, Leg):
            sensible.append(arrow)
            if not elements[beyond.element].plain:
                protecting.append(arrow)
    kinds = set(wont)
    likely = protecting or [arrow for arrow in sensible if kinds == {arrow}]
    return likely[0] if len(likely) == 1 else None


def arrow_missing(name: str, layout: Layout) -> Arrow | None:
    """The arrow that would make a sensible signal of what is called one, if it is a plain
    piece with no signal at its joints."""
    legs = {Leg(name, "left"), Leg(name, "right")}
    element = layout.elements.get(name)
    if element is None or not element.plain:
        return None
    if any(s.before in legs or s.beyond in legs for s in layout.signals.values()):
        return None
    return arrow_meant(name, layout.elements, layout.joined)


def as_signal(
    name: str, elements: Mapping[str, Element], joined: Mapping[Leg, TrackEnd]
) -> str | None:
    """What to write in the run, if what is called a signal is a piece of track there."""
    arrow = arrow_meant(name, elements, joined)
    return f"write `{arrow}{name}` in the run if {name} is a signal" if arrow else None


def named_like_signals(layout: Layout) -> dict[str, tuple[Arrow, tuple[Signal, ...]]]:
    """The plain pieces that are named as some signals are and as no other track is, at whose
    joints no signal stands and where one would be sensible: the arrow, and those signals."""
    if not layout.signals:
        return {}
    signals: dict[str, list[Signal]] = defaultdict(list)
    for signal in layout.signals.values():
        for family in _families(signal.name):
            signals[family].append(signal)
    others: dict[str, set[str]] = defaultdict(set)
    for name in (*layout.elements, *layout.edges, *layout.sections):
        for family in _families(name):
            others[family].add(name)
    beside = {signal.before for signal in layout.signals.values()}
    beside |= {signal.beyond for signal in layout.signals.values()}
    found: dict[str, tuple[Arrow, tuple[Signal, ...]]] = {}
    for name, element in layout.elements.items():
        families = [family for family in _families(name) if family in signals]
        if not families or not element.plain or any(others[f] != {name} for f in _families(name)):
            continue
        legs = Leg(name, "left"), Leg(name, "right")
        if beside.intersection(legs):
            continue
        of_them = {s.name for family in families for s in signals[family]}
        alike = tuple(s for s in layout.signals.values() if s.name in of_them)
        wont = [arrow_of(s.before, s.beyond, layout.reads) for s in alike]
        arrow = arrow_meant(name, layout.elements, layout.joined, wont)
        if arrow is not None:
            found[name] = arrow, alike
    return found


def _families(name: str) -> tuple[str, ...]:
    """What names of one kind have in common: `E1` and `E` their letters, `HA` and `HB` all but
    the last."""
    letters = name.rstrip("0123456789")
    found = [letters] if letters else []
    if len(name) > 1 and letters == name:
        found.append(f"{name[:-1]} and a letter")
    return tuple(found)
