"""Random railways on squared paper: made of paths that run through its squares and share them.

Nothing here is the compiler's. A path enters a square by one side and leaves it by another; what
several paths leave in a square is plain track, points, a slip or a diamond, and a path that
would leave anything else there looks for another way (Dijkstra's algorithm, with random
costs). Paths lead from edge to edge or to a buffer stop, or round a ring back into themselves.

Between fittings lies a line. A train can stand on it if it has a piece, and then it has a
signal at both its ends, or several pieces, each with both. Lines without a piece never close
a ring (they are a forest, by union and find), so no train runs round without a signal.
"""

from __future__ import annotations

import heapq
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import count

Square = tuple[int, int]
Side = str
Way = frozenset[Side]
Port = tuple[Square, Side]
"""A side of a square, seen from within."""

STEP = {"N": (0, -1), "E": (1, 0), "S": (0, 1), "W": (-1, 0)}
ACROSS = {"N": "S", "E": "W", "S": "N", "W": "E"}
SIDES = "NESW"
FITTINGS = frozenset(("points", "three way points", "fixed diamond", "single slip", "double slip"))
FARTHEST = 2_500
"""Ports that are looked at for one path."""

LARGEST_THROAT = 8
"""Fittings with no signal between them; the routes through them grow quickly."""

LEFT_OF = {"N": "E", "E": "S", "S": "W", "W": "N"}
"""For a train that comes in by a side, the side on its left."""


@dataclass(frozen=True, slots=True)
class Network:
    """A layout as text, and what it is made of."""

    seed: int
    text: str
    fittings: int
    signals: int


@dataclass(slots=True)
class _Paper:
    """Squares with the ways through them.

    ends: how track ends at a port: at an edge, or at a stop.
    """

    width: int
    height: int
    ways: dict[Square, frozenset[Way]] = field(default_factory=dict)
    ends: dict[Port, str] = field(default_factory=dict)

    def beyond(self, port: Port) -> Port | None:
        """The port of the next square that joins this one; None off the paper."""
        (x, y), side = port
        dx, dy = STEP[side]
        there = (x + dx, y + dy)
        if not (0 <= there[0] < self.width and 0 <= there[1] < self.height):
            return None
        return there, ACROSS[side]

    def fittings(self) -> int:
        return sum(1 for ways in self.ways.values() if _kind(ways) in FITTINGS)

    def used(self, port: Port) -> bool:
        square, side = port
        return any(side in way for way in self.ways.get(square, ()))


def network(seed: int, fittings: int) -> Network:
    """A railway with about this many fittings; the same for the same numbers."""
    rng = random.Random(f"{seed} {fittings}")
    while True:
        paper = _drawn(rng, fittings)
        if 0.8 * fittings <= paper.fittings() <= 1.2 * fittings:
            return _written(rng, seed, paper)


def on_paper(
    rng: random.Random,
    seed: int,
    ways: dict[Square, frozenset[Way]],
    ends: dict[Port, str],
    width: int,
    height: int,
) -> Network:
    """A railway whose ways someone else has drawn; where it has signals is chosen here."""
    return _written(rng, seed, _Paper(width, height, ways, ends))


# --------------------------------------------------------------------- drawing


def _drawn(rng: random.Random, fittings: int) -> _Paper:
    side = round((fittings * rng.uniform(3.5, 6)) ** 0.5) + 3
    paper = _Paper(side + rng.randint(0, side // 2), side)
    for _ in range(80 + 6 * fittings):
        if paper.ways and rng.random() < 0.3:
            _ring(rng, paper)
        else:
            _line(rng, paper)
        if paper.fittings() >= fittings:
            break
    return paper


def _line(rng: random.Random, paper: _Paper) -> None:
    """A path between two ends, at the rim of the paper or at a buffer stop."""
    (begins, one), (ends, other) = _end(rng, paper), _end(rng, paper)
    if begins[0] == ends[0]:
        return
    # So that the path does not run through its own ends.
    paper.ends |= {begins: one, ends: other}
    if not _lay(paper, _way(rng, paper, begins, ends)):
        del paper.ends[begins], paper.ends[ends]


def _end(rng: random.Random, paper: _Paper) -> tuple[Port, str]:
    """Somewhere where track may end: mostly at an edge, else at a stop."""
    while True:
        x, y = rng.randrange(paper.width), rng.randrange(paper.height)
        port, kind = ((x, y), rng.choice(SIDES)), "stop"
        if rng.random() < 0.7:
            if rng.random() < 0.5:
                x = rng.choice((0, paper.width - 1))
            else:
                y = rng.choice((0, paper.height - 1))
            rim = [s for s in SIDES if paper.beyond(((x, y), s)) is None]
            port, kind = ((x, y), rng.choice(rim)), "edge"
        other = paper.beyond(port)
        free = other is None or (not paper.used(other) and other not in paper.ends)
        if free and not paper.used(port) and port not in paper.ends:
            return port, kind


def _ring(rng: random.Random, paper: _Paper) -> None:
    """A path that comes back into where it began, the same way round."""
    x, y = rng.randrange(1, paper.width - 1), rng.randrange(1, paper.height - 1)
    begins = ((x, y), rng.choice(SIDES))
    ends = paper.beyond(begins)
    if ends is not None and begins not in paper.ends and ends not in paper.ends:
        _lay(paper, _way(rng, paper, begins, ends))


def _way(rng: random.Random, paper: _Paper, begins: Port, ends: Port) -> list[tuple[Square, Way]]:
    """The cheapest path in by one port and out by another; track that is there costs little.

    Empty if there is none, or none near.
    """
    came: dict[Port, tuple[Port, Side]] = {}
    queue: list[tuple[float, Port]] = [(0, begins)]
    cost: dict[Port, float] = {begins: 0}
    done: set[Port] = set()
    while queue and len(done) < FARTHEST:
        so_far, port = heapq.heappop(queue)
        if port in done:
            continue
        done.add(port)
        square, side = port
        there = paper.ways.get(square, frozenset())
        for out in SIDES:
            way = frozenset((side, out))
            if out == side or _kind(there | {way}) is None:
                continue
            if (square, out) == ends:
                return _back(came, port, out)
            beyond = paper.beyond((square, out))
            if beyond is None or beyond in paper.ends or (square, out) in paper.ends:
                continue
            bend = 0 if ACROSS[side] == out else 1
            # Slips are rare otherwise: a path comes to one only by turning in a crossing.
            cheap = way in there or "slip" in (_kind(there | {way}) or "")
            dear = so_far + (0.4 if cheap else rng.uniform(1, 4) + bend)
            if dear < cost.get(beyond, dear + 1):
                cost[beyond] = dear
                came[beyond] = (port, out)
                heapq.heappush(queue, (dear, beyond))
    return []


def _back(came: dict[Port, tuple[Port, Side]], last: Port, out: Side) -> list[tuple[Square, Way]]:
    """The path that led to a port, and out by a side, from its end to its beginning."""
    path = [(last[0], frozenset((last[1], out)))]
    while last in came:
        last, out = came[last]
        path.append((last[0], frozenset((last[1], out))))
    return path


def _lay(paper: _Paper, path: list[tuple[Square, Way]]) -> bool:
    """Lay a path if it is long enough, and if it shares a fitting with what lies there.

    One that runs through a square twice may leave there what no fitting has.
    """
    ways = dict(paper.ways)
    for square, way in path:
        ways[square] = ways.get(square, frozenset()) | {way}
    kinds = [_kind(ways[square]) for square, _ in path]
    shares = not paper.ways or any(kind in FITTINGS for kind in kinds)
    if len(path) < 4 or not shares or None in kinds:
        return False
    paper.ways = ways
    return True


def _kind(ways: frozenset[Way]) -> str | None:
    """What lies in a square with these ways; None if no fitting has them."""
    straight = [way for way in ways if ACROSS[min(way)] in way]
    curved = [way for way in ways if way not in straight]
    if len(ways) == 1:
        return "plain"
    if len(ways) == 2:
        one, other = ways
        if one & other:
            return "points"
        return "fixed diamond" if len(straight) == 2 else "two"
    if len(ways) == 3:
        if frozenset.intersection(*ways):
            return "three way points"
        return "single slip" if len(straight) == 2 else None
    if len(ways) == 4 and len(straight) == 2 and not curved[0] & curved[1]:
        return "double slip"
    return None


def _legs(kind: str, ways: frozenset[Way]) -> dict[Side, str]:
    """Which leg of its fitting lies at each side of a square."""
    if kind in ("points", "three way points"):
        (toe,) = frozenset.intersection(*ways)
        others = [s for s in SIDES if any(s in way for way in ways) and s != toe]
        if kind == "three way points":
            left = LEFT_OF[toe]
            return {toe: "toe", left: "left", ACROSS[left]: "right", ACROSS[toe]: "straight"}
        straight = ACROSS[toe] if ACROSS[toe] in others else others[0]
        (diverging,) = (s for s in others if s != straight)
        return {toe: "toe", straight: "straight", diverging: "diverging"}
    curved = sorted(sorted(way) for way in ways if ACROSS[min(way)] not in way)
    one, other = curved[0] if curved else ("N", "E")
    return {one: "a1", ACROSS[one]: "a2", other: "b2", ACROSS[other]: "b1"}


# --------------------------------------------------------------------- writing


@dataclass(frozen=True, slots=True)
class _Line:
    """Track from one end or fitting to another, and how many squares of it are plain."""

    begins: str
    ends: str
    squares: int

    @property
    def fittings(self) -> list[str]:
        """At its ends; two for a line that begins and ends at the same one."""
        return [end.split(".")[0] for end in (self.begins, self.ends) if "." in end]


def _written(rng: random.Random, seed: int, paper: _Paper) -> Network:
    kinds: dict[str, str] = {}
    legs: dict[Port, str] = {}
    for square, ways in paper.ways.items():
        kind = _kind(ways)
        if kind in FITTINGS:
            name = f"F{len(kinds) + 1}"
            kinds[name] = kind
            legs |= {(square, s): f"{name}.{leg}" for s, leg in _legs(kind, ways).items()}
    lines = [line for line in _lines(paper, legs) if line.fittings]
    throats, bare = _throats(rng, list(kinds), lines)
    text = [f'layout "Network {seed}" on three rails']
    for name, kind in kinds.items():
        drives = rng.choice(("one drive", "two drives"))
        text.append(f"{kind} {name}" + (f" with {drives}" if kind.endswith("slip") else ""))
    pieces, signals = count(1), count(1)
    for line in lines:
        if line in bare:
            text.append(f"run {line.begins} - {line.ends}")
            continue
        # A train that sets out at one end and comes back at the other finds its own road
        # taken, unless that has a second piece.
        ring = len({throats.root(f) for f in line.fittings}) < len(line.fittings)
        several = 2 if ring or (line.squares > 3 and rng.random() < 0.4) else 1
        run = [line.begins]
        for number in range(several):
            # No train comes to a signal from a stop, nor reads one on its way out at an edge.
            if number or "." in line.begins:
                run.append(f"<S{next(signals)}")
            run.append(f"T{next(pieces)}")
            if number + 1 < several or "." in line.ends:
                run.append(f">S{next(signals)}")
        text.append("run " + " - ".join([*run, line.ends]))
    if rng.random() < 0.2:
        text.append("release whole routes")
    return Network(seed, "\n".join(text) + "\n", len(kinds), next(signals) - 1)


@dataclass(slots=True)
class _Throats:
    """Fittings that are joined without a signal between them, by union and find."""

    parent: dict[str, str]
    size: dict[str, int]

    def root(self, fitting: str) -> str:
        while self.parent[fitting] != fitting:
            fitting = self.parent[fitting]
        return fitting

    def join(self, one: str, other: str) -> bool:
        """Whether two fittings may be joined so, which they then are."""
        one, other = self.root(one), self.root(other)
        if one == other or self.size[one] + self.size[other] > LARGEST_THROAT:
            return False
        self.parent[one] = other
        self.size[other] += self.size[one]
        return True


def _throats(
    rng: random.Random, fittings: list[str], lines: list[_Line]
) -> tuple[_Throats, set[_Line]]:
    """Which fittings make one throat, and the lines without a piece inside of throats."""
    throats = _Throats({f: f for f in fittings}, dict.fromkeys(fittings, 1))
    bare = set()
    for line in lines:
        if len(line.fittings) < 2 or (line.squares > 0 and rng.random() < 0.75):
            continue
        if throats.join(*line.fittings):
            bare.add(line)
    return throats, bare


def _lines(paper: _Paper, legs: dict[Port, str]) -> Iterator[_Line]:
    """Every line once."""
    done: set[Port] = set()
    edges = 0
    starts: list[tuple[str, Port, Port | None]] = []
    named: dict[Port, str] = {}
    for port, kind in paper.ends.items():
        if kind == "edge":
            edges += 1
        named[port] = f"edge E{edges}" if kind == "edge" else "stop"
        starts.append((named[port], port, port))
    starts += [(leg, port, paper.beyond(port)) for port, leg in legs.items()]
    for name, port, inward in starts:
        if port in done:
            continue
        done.add(port)
        squares = 0
        if port in paper.ends and port in legs:
            # The end of track is at a fitting itself.
            yield _Line(name, legs[port], 0)
            continue
        while True:
            assert inward is not None
            if inward in legs:
                if inward not in done:
                    done.add(inward)
                    yield _Line(name, legs[inward], squares)
                break
            squares += 1
            square, side = inward
            (way,) = (w for w in paper.ways[square] if side in w)
            (out,) = way - {side}
            if (square, out) in paper.ends:
                done.add((square, out))
                yield _Line(name, named[square, out], squares)
                break
            inward = paper.beyond((square, out))
