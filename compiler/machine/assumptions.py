"""What the machine assumes, in sentences. The reference explains each."""

from __future__ import annotations

from collections.abc import Sequence

from bellcrank.layout.graph import unsignalled_entries
from bellcrank.layout.layout_model import Layout

ASSUMPTIONS: dict[str, str] = {
    "signals obeyed": "drivers obey signals: no train passes one at stop, except one that could "
    "not stop any more when it was put back; and none turns back except when its route has ended "
    "and it stands whole before a signal that lets it out",
    "points hold": "points lie where their drive says and stay there until it is thrown",
    "track as written": "the track, its sections and its signals are as the layout says",
    "in the time allowed": "the time of approach locking is longer than a train needs to stop "
    "or pass, and a train stands before its overlap times out",
    "put on clear track": "vehicles are put on the track only on a stretch that is clear, in a "
    "section with no train, held for no route and in no overlap that is kept, while none is on its "
    "way from an edge to it and no points there are moving; at the start they may stand anywhere",
    "vehicles stand": "vehicles that stand do not move before they are coupled to a train that "
    "draws up to them, and then only those on the last stretch of its route; or, before a signal "
    "that lets them out, with the drives right and the section held for no other route, are "
    "ready to leave; or are taken off or drawn away",
    "edges ask first": "a train comes in at an edge only while the train before is wholly in, and "
    "the track up to the first signal is clear, held for no route and in no overlap that is kept",
    "edges watched": "no train comes in at {} of its own accord: no signal is read there before "
    "the first points or stop",
    "detection tells the truth": "a detected section is reported occupied while any part of a "
    "train is on it, and clear only when none is",
    "the operator looks": "before a route is set or released, the operator looks whether track "
    "without detection is clear ({})",
    "drives arrive in time": "a drive that does not report lies right when its time is up ({})",
    "no way back": "no train goes back the way it came, as no signal lets it, out of {}",
    "drawn up at sight": "a driver who is called on drives at sight in the berth and draws up to "
    "what stands there; from the moment in which the front comes to it the two count as one train, "
    "and neither goes on alone before they touch",
    "no full circuit": "trains that have drawn up to each other never fill a circuit all round "
    "({})",
    "reversers": "a train fits into the stretch between the gaps, and no two trains "
    "pass gaps of one stretch at the same time",
}
"""Every assumption by name; braces stand for what it is about."""

MOST_NAMED = 12
"""Drives, sections or edges that an assumption names before it only counts them."""


def named_in(layout: Layout, no_way_back: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Of the assumptions that are about some edges, sections, drives or stretches of track the
    names of these. no_way_back: as for `assumptions`."""
    return {
        "edges watched": tuple(sorted(unsignalled_entries(layout))),
        "the operator looks": tuple(s.name for s in layout.sections.values() if not s.detected),
        "drives arrive in time": tuple(d.name for d in layout.drives.values() if not d.detected),
        "no way back": tuple(no_way_back),
    }


def assumptions(
    layout: Layout,
    no_way_back: Sequence[str],
    full_circuits: Sequence[str],
    *,
    drawing_up: bool,
) -> dict[str, str]:
    """What the machine of a layout assumes, by name, in sentences.

    no_way_back: stretches of track where a train may come to stand, and no signal lets it
        out again the way it came.
    full_circuits: the track of circuits that trains could fill by drawing up to each other.
    drawing_up: whether trains may be called on to others or to vehicles that stand.
    """
    named = named_in(layout, no_way_back)
    quiet, blind = named["edges watched"], named["the operator looks"]
    all_blind = len(blind) == len(layout.sections)
    silent = named["drives arrive in time"]
    about: dict[str, tuple[bool, str]] = {
        "edges ask first": (len(quiet) < len(layout.edges), ""),
        "edges watched": (bool(quiet), _some(quiet)),
        "detection tells the truth": (not all_blind, ""),
        "the operator looks": (bool(blind), "nothing is detected" if all_blind else _some(blind)),
        "drives arrive in time": (bool(silent), _some(silent)),
        "no way back": (bool(no_way_back), _some(no_way_back)),
        "drawn up at sight": (drawing_up, ""),
        "no full circuit": (bool(full_circuits), _some(full_circuits)),
        "reversers": (bool(layout.reversers), ""),
    }
    said = {}
    for name, sentence in ASSUMPTIONS.items():
        applies, what = about.get(name, (True, ""))
        if applies:
            said[name] = sentence.format(what)
    return said


def _some(names: Sequence[str]) -> str:
    """The first of some names, and how many more there are."""
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + (f" and {more:,} more" if more > 0 else "")
