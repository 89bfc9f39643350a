"""Layouts for the benchmarks, as text: lines of stations of any length, and one terminus.

Every station has a throat at each end: a passing loop of two tracks, double slips, or a
ladder of several. Between two stations lies one plain section of single line.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise


def chain(stations: int, tracks: int) -> str:
    """A single line of stations with so many tracks each: 4 routes a track."""
    lines = ['layout "Long Valley Line" on two rails', "run edge WEST - LINE0 - >A0 - L0_1.toe"]
    for station in range(stations):
        lines += _station(station, tracks, last=station + 1 == stations)
    return "\n".join(lines) + "\n"


def _station(s: int, tracks: int, *, last: bool) -> Iterator[str]:
    left = [f"L{s}_{n}" for n in range(1, tracks)]
    right = [f"R{s}_{n}" for n in range(1, tracks)]
    yield f"points {', '.join(left + right)}"
    for n in range(1, tracks + 1):
        # The ladder's n-th points lead to track n; its last also to the last track.
        west = f"L{s}_{n}.diverging" if n < tracks else f"L{s}_{n - 1}.straight"
        east = f"R{s}_{n}.diverging" if n < tracks else f"R{s}_{n - 1}.straight"
        yield f"run {west} - <W{s}_{n} - T{s}_{n} - >E{s}_{n} - {east}"
    for points in (left, right):
        for one, other in pairwise(points):
            yield f"run {one}.straight - {other}.toe"
    if last:
        yield f"run R{s}_1.toe - <B{s} - LINE{s + 1} - edge EAST"
    else:
        yield f"run R{s}_1.toe - <B{s} - LINE{s + 1} - >A{s + 1} - L{s + 1}_1.toe"


def slips(stations: int) -> str:
    """A single line of stations of two tracks between double slips: 16 routes each."""
    lines = ['layout "Two Valleys Line" on two rails', "run edge WEST - LINE0 - >A0 - L0.toe"]
    for s in range(stations):
        lines.append(f"points L{s}, R{s}")
        drives = "one drive" if s % 2 else "two drives"
        lines.append(f"double slip SL{s}, SR{s} with {drives}")
        lines += [f"run L{s}.straight - SL{s}.a1", f"run L{s}.diverging - SL{s}.b1"]
        for n, leg in ((1, "a"), (2, "b")):
            track = f"<W{s}_{n} - T{s}_{n} - >E{s}_{n}"
            lines.append(f"run SL{s}.{leg}2 - {track} - SR{s}.{leg}1")
        lines += [f"run SR{s}.a2 - R{s}.straight", f"run SR{s}.b2 - R{s}.diverging"]
        east = f"run R{s}.toe - <B{s} - LINE{s + 1}"
        if s + 1 == stations:
            lines.append(f"{east} - edge EAST")
        else:
            lines.append(f"{east} - >A{s + 1} - L{s + 1}.toe")
    return "\n".join(lines) + "\n"


FAMILIES = {"passing loops": 2, "ladders of six": 6, "double slips": 0}
"""Tracks in each station, by the name of the family; 0 for two between double slips."""


DERIVED = 20_000
"""Routes that are derived, unless a layout allows more."""


def with_routes(family: str, routes: int) -> str:
    """A layout of a family with at least so many routes."""
    tracks = FAMILIES[family]
    text = chain(-(-routes // (4 * tracks)), tracks) if tracks else slips(-(-routes // 16))
    # A station more than asked for may go beyond the number.
    return text if routes < DERIVED else f"{text}routes derive at most {2 * routes}\n"


TERMINUS = """\
layout "Six Road Terminus" on two rails
points X1, X2, L1, L2, L4
coupled X1, X2
single slip S1 with two drives
double slip S2 with one drive
run edge FAST - FO - >F1 - <DF - FI - >F2 - X1.toe
run edge SLOW - SO - >R1 - <DR - SI - >R2 - X2.straight
run edge CARRIAGES - CO - >C1 - CI - >C2 - S1.b1
run X1.straight - L1.toe
run X1.diverging - X2.diverging
run X2.toe - S2.b1
run L1.straight - L2.toe
run L2.straight - <P1 - T1 - stop
run L2.diverging - <P2 - T2 - stop
run L1.diverging - S1.a1
run S1.a2 - <P3 - T3 - stop
run S1.b2 - S2.a1
run S2.a2 - L4.toe
run L4.straight - <P4 - T4 - stop
run L4.diverging - <P5 - T5 - stop
run S2.b2 - <P6 - T6 - stop
"""
"""Three lines come to six roads by a crossover, a single slip and a double slip: 35 routes."""
