"""Random small railways, as texts in which every feature of the language comes up.

`random_railway(seed)` always gives the same text. Beside what `random_layouts` draws there
are fittings of one's own, sections with a signal inside, track without detection, edges at
which no signal meets a train or one stands at the edge itself, circuits, both ways of
release, named and written routes, and notebooks: complete ones, in which every form of rule
comes up, and such as have forgotten a rule or two.

Not every text compiles; no use is made of the compiler to sort them.
"""

from __future__ import annotations

import random
import re
import sys
from collections.abc import Iterator
from itertools import combinations
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "outside"))

from plain_railway import (
    EDGE,
    STOP,
    PlainRoute,
    Railway,
    conflict,
    meaning,
    railway,
)

OWN_KINDS = {
    "moveable diamond": """\
fitting moveable diamond {
  legs a1, b2, a2, b1
  drive nose1 with a, b
  drive nose2 with a, b
  way a1 - a2 when nose1 a, nose2 a
  way b1 - b2 when nose1 b, nose2 b
}""",
    "fan with one drive": """\
fitting fan with one drive {
  legs lead, one, two, three
  drive to_one, to_two, to_three
  way lead - one when to_one
  way lead - two when to_two
  way lead - three when to_three
}""",
    "scissors with one drive": """\
fitting scissors with one drive {
  legs a1, a2, b2, b1
  drive straight, across
  way a1 - a2 when straight
  way b1 - b2 when straight
  way a1 - b2 when across
  way b1 - a2 when across
}""",
}

LEGS = {
    "points": "toe straight diverging",
    "three way points": "toe left straight right",
    "double slip with one drive": "a1 b2 a2 b1",
    "double slip with two drives": "a1 b2 a2 b1",
    "single slip with one drive": "a1 b2 a2 b1",
    "single slip with two drives": "a1 b2 a2 b1",
    "fixed diamond": "a1 b2 a2 b1",
    "moveable diamond": "a1 b2 a2 b1",
    "fan with one drive": "lead one two three",
    "scissors with one drive": "a1 a2 b2 b1",
}
WEIGHTS = [10, 1, 1, 1, 1, 1, 1, 1, 1, 1]

MOST_ROUTES = 14
FEWEST_ROUTES = 2


def random_railway(seed: int, most_fittings: int = 3) -> str:
    """The text of a seed."""
    rng = random.Random(f"railway {seed}")
    while True:
        lines = _without_idle_signals(_track(rng, most_fittings))
        plain = railway("\n".join(lines))
        if FEWEST_ROUTES <= len(plain.routes) <= MOST_ROUTES:
            break
    lines += [line for line in _sections(rng, plain) if not _idle([*lines, line])]
    lines += _coupled(rng, plain)
    for line in _overlaps(rng, railway("\n".join(lines))):
        if not _contradicts([*lines, line]):
            lines.append(line)
    lines += _routes(rng, railway("\n".join(lines)))
    for line in _flanks(rng, railway("\n".join(lines))):
        if not _contradicts([*lines, line]):
            lines.append(line)
    lines += _locking(rng, railway("\n".join(lines)))
    if rng.random() < 0.4:
        lines.append(rng.choice(["release whole routes", "release section by section"]))
    lines += _expectations(rng, railway("\n".join(lines)))
    return "\n".join(lines) + "\n"


def _idle(lines: list[str]) -> set[str]:
    """Signals from which no route leads."""
    plain = railway("\n".join(lines))
    return set(plain.signals) - {route.start for route in plain.routes}


def _without_idle_signals(lines: list[str]) -> list[str]:
    """Lines without the signals from which no route leads."""
    while idle := _idle(lines):
        for name in idle:
            lines = [re.sub(rf"[<>]{name} - ", "", line) for line in lines]
    return lines


def _contradicts(lines: list[str]) -> bool:
    """Whether a route would need a drive in two positions."""
    plain = railway("\n".join(lines))
    return any(len(set(r.demands())) > len(dict(r.demands())) for r in plain.routes)


# ---------------------------------------------------------------------- track


def _track(rng: random.Random, most_fittings: int) -> list[str]:
    count = rng.choice([n for n in (1, 1, 2, 2, 3, 4, 5) if n <= most_fittings])
    kinds = rng.choices(list(LEGS), weights=WEIGHTS, k=count)
    blind = " without detection" if rng.random() < 0.05 else ""
    lines = [f'layout "Drawn by lot" on three rails{blind}']
    lines += [OWN_KINDS[kind] for kind in dict.fromkeys(kinds) if kind in OWN_KINDS]
    legs = []
    for number, kind in enumerate(kinds):
        phrase, _, rest = kind.partition(" with ")
        lines.append(f"{phrase} F{number}" + (f" with {rest}" if rest else ""))
        legs += [f"F{number}.{leg}" for leg in LEGS[kind].split()]
    pairs = _pairs(rng, legs, count)
    names = {"pieces": 0, "signals": 0}
    for one, other in pairs:
        lines.append(_run(rng, one, other, names))
    if rng.random() < 0.08:
        # A circle of its own, or a line that meets no fitting.
        lines.append(f"run edge FAR - Z1 - >SZ - Z2 - {rng.choice(['<SY - ', ''])}Z3 - edge NEAR")
    return lines


def _pairs(rng: random.Random, legs: list[str], count: int) -> list[tuple[str, str]]:
    """Legs joined to each other, to edges and to stops, in one piece."""
    while True:
        ends = rng.randint(0 if count > 1 and rng.random() < 0.1 else 1, min(6, len(legs)))
        ends += (len(legs) + ends) % 2
        made = [f"edge E{n}" if rng.random() < 0.65 else "stop" for n in range(ends)]
        loose = legs + made
        rng.shuffle(loose)
        pairs = list(zip(loose[::2], loose[1::2], strict=True))
        if any("." not in one and "." not in other for one, other in pairs):
            continue
        joined = {legs[0].split(".")[0]}
        for _ in range(count):
            for one, other in pairs:
                both = {end.split(".")[0] for end in (one, other) if "." in end}
                if both & joined:
                    joined |= both
        if len(joined) == count:
            return pairs


def _run(rng: random.Random, one: str, other: str, names: dict[str, int]) -> str:
    """A line between two ends, with pieces and signals."""
    same = one.split(".")[0] == other.split(".")[0]
    least = 1 if same or "stop" in (one, other) else 0
    pieces = []
    for _ in range(max(least, rng.choice((0, 1, 1, 1, 2, 2, 3)))):
        pieces.append(f"T{names['pieces']}")
        names["pieces"] += 1
    items = [one, *pieces, other]
    words = [items[0]]
    placed = {direction: _joints(rng, items, direction) for direction in (">", "<")}
    for joint, item in enumerate(items[1:]):
        for direction in (">", "<"):
            if joint in placed[direction]:
                words.append(f"{direction}S{names['signals']}")
                names["signals"] += 1
        words.append(item)
    return "run " + " - ".join(words)


def _joints(rng: random.Random, items: list[str], direction: str) -> list[int]:
    """Where signals of one direction stand in a line."""
    comes, goes = (items[0], items[-1]) if direction == ">" else (items[-1], items[0])
    joints = list(range(len(items) - 1))
    last = joints[-1] if direction == ">" else joints[0]
    first = joints[0] if direction == ">" else joints[-1]
    if comes == "stop":
        joints.remove(first)
    if "." not in goes and last in joints:
        joints.remove(last)
    if not joints:
        return []
    likely = 0.9 if "." not in comes else 0.15 if "." not in goes else 0.4
    chosen = []
    if rng.random() < likely:
        # Most stand where the line comes to points.
        chosen.append(last if last in joints and rng.random() < 0.6 else rng.choice(joints))
    if len(joints) > 1 and rng.random() < 0.1:
        chosen.append(rng.choice(joints))
    return chosen


def _sections(rng: random.Random, plain: Railway) -> Iterator[str]:
    taken: set[str] = set()
    number = 0
    for _ in range(rng.choice((0, 0, 1, 1, 2))):
        group = [rng.choice(plain.elements())]
        for _ in range(rng.choice((1, 1, 2, 3))):
            near = [
                beyond[0]
                for end, beyond in plain.beyond.items()
                if end[0] in group and beyond[0] not in (EDGE, STOP[0], *group)
            ]
            if near:
                group.append(rng.choice(near))
        if not taken.intersection(group):
            blind = " without detection" if rng.random() < 0.15 else ""
            yield f"section SEC{number} = {', '.join(group)}{blind}"
            taken.update(group)
            number += 1
    if rng.random() < 0.12:
        alone = [e for e in plain.elements() if e not in taken]
        if alone:
            yield f"section BLIND = {rng.choice(alone)} without detection"


def _coupled(rng: random.Random, plain: Railway) -> Iterator[str]:
    alike = [d for d, positions in plain.drives.items() if positions == ("straight", "diverging")]
    if len(alike) > 1 and rng.random() < 0.25:
        yield f"coupled {', '.join(rng.sample(alike, 2))}"
    elif alike and rng.random() < 0.2:
        yield f"drive {rng.choice(alike)} detected"


def _overlaps(rng: random.Random, plain: Railway) -> Iterator[str]:
    ends = dict.fromkeys(route.end for route in plain.routes if route.at_signal)
    for signal in ends:
        if rng.random() < 0.6:
            continue
        end = plain.signals[signal][1]
        named = []
        for _ in range(rng.choice((1, 1, 2))):
            if end not in plain.ways or end[0] in named or not plain.ways[end]:
                break
            named.append(end[0])
            way, _ = rng.choice(plain.ways[end])
            end = plain.beyond[way.element, way.exit]
        if named:
            yield f"overlap {signal} = {', '.join(named)}"


# --------------------------------------------------------------------- routes


def reference(route: PlainRoute, plain: Railway) -> str:
    """Words that mean a route and no other; none if there are none."""
    if route.name:
        return route.name
    words = f"{route.start} to {route.end}"
    tail = " calling on" if route.calling_on else ""
    elements = [way.element for way in route.ways]
    legs = [f"{way.element}.{way.entry} then {way.element}.{way.exit}" for way in route.ways
            if way.element not in plain.pieces]  # fmt: skip
    for via in ("", *elements, " then ".join(elements), *legs, " then ".join(legs)):
        named = words + (f" via {via}" if via else "") + tail
        if meaning(named, plain) == [route.number]:
            return named
    return ""


def _routes(rng: random.Random, plain: Railway) -> Iterator[str]:
    named = [(route, words) for route in plain.routes if (words := reference(route, plain))]
    if not named:
        return
    if rng.random() < 0.1:
        yield "routes written"
        kept = rng.sample(named, max(2, len(named) * 2 // 3)) if len(named) > 2 else named
        yield from (f"route {words}" for _, words in kept)
        return
    if rng.random() < 0.3:
        yield "routes derive"
    for number, (_, words) in enumerate(rng.sample(named, min(2, len(named)))):
        if rng.random() < 0.25:
            yield f"route NAMED{number} = {words}"
    berths = [
        words
        for route, words in named
        if not {way.element for way in route.ways if plain.section_of[way.element]
                == route.sections[-1]} - plain.pieces
    ]  # fmt: skip
    if berths and rng.random() < 0.35:
        yield f"route {rng.choice(berths)} calling on"


def _flanks(rng: random.Random, plain: Railway) -> Iterator[str]:
    if rng.random() < 0.2:
        yield "flank derive"
    for route in plain.routes:
        words = reference(route, plain)
        needed = dict(route.demands())
        free = sorted(d for d in plain.drives if d not in needed)
        if words and free and rng.random() < 0.08:
            drive = rng.choice(free)
            yield f"flank {words} = {drive} {rng.choice(plain.drives[drive])}"


# -------------------------------------------------------------------- locking


def _locking(rng: random.Random, plain: Railway) -> list[str]:
    words = {route.number: reference(route, plain) for route in plain.routes}
    if rng.random() < 0.3 or not all(words.values()):
        extra = list(_extra(rng, plain, words)) if rng.random() < 0.5 else []
        return ["locking derive {", *extra, "}"] if extra else []
    forgets = rng.choice((0.0, 0.0, 0.0, 0.03, 0.1))
    lines = list(_notebook(rng, plain, words, forgets)) + list(_extra(rng, plain, words))
    return ["locking written {", *lines, "}"]


def _notebook(
    rng: random.Random, plain: Railway, words: dict[int, str], forgets: float
) -> Iterator[str]:
    """Rules with which all should hold, in one form or another; some left out."""

    def kept() -> bool:
        return rng.random() >= forgets

    if rng.random() < 0.6:
        yield "  every route needs its positions"
    else:
        for route in plain.routes:
            needs = [f"{d} {p}" for d, p in dict(route.demands()).items() if kept()]
            if needs:
                yield f"  {words[route.number]} needs {', '.join(needs)}"
    if rng.random() < 0.6:
        yield "  every route needs its sections clear"
    else:
        for route in plain.routes:
            sections = dict.fromkeys((*route.berth_or_all, *route.overlap))
            clear = [f"{section} clear" for section in sections if kept()]
            if clear:
                yield f"  {words[route.number]} needs {', '.join(clear)}"
    if rng.random() < 0.6:
        yield "  every drive needs its section clear"
    pairs = [
        (one, other)
        for one, other in combinations(plain.routes, 2)
        if conflict(one, other) and kept()
    ]
    grouped: set[tuple[int, int]] = set()
    form = rng.random()
    if form < 0.3:
        for group in _cliques(plain):
            yield f"  only one of {', '.join(words[number] for number in group)}"
            grouped.update(combinations(group, 2))
    elif form < 0.6:
        places = [place for place in _shared(plain) if kept()]
        for place in places:
            over = [route.number for route in plain.routes if place in route.sections]
            grouped.update(combinations(over, 2))
        if len(places) > 1 and rng.random() < 0.5:
            yield f"  only one route over each of {', '.join(places)}"
        else:
            yield from (f"  only one route over {place}" for place in places)
    for one, other in pairs:
        if (one.number, other.number) not in grouped:
            yield _lock(rng, plain, one, other, words)


def _shared(plain: Railway) -> list[str]:
    """The sections over which several routes lead."""
    seen = [section for route in plain.routes for section in route.sections]
    return [section for section in dict.fromkeys(seen) if seen.count(section) > 1]


def _cliques(plain: Railway) -> Iterator[list[int]]:
    """Groups of routes of which each conflicts with each other."""
    left = list(plain.routes)
    while len(left) > 1:
        group = [left.pop(0)]
        for route in list(left):
            if all(conflict(route, other) for other in group):
                group.append(route)
                left.remove(route)
        if len(group) > 1:
            yield [route.number for route in group]


def _lock(
    rng: random.Random, plain: Railway, one: PlainRoute, other: PlainRoute, words: dict[int, str]
) -> str:
    if rng.random() < 0.5:
        one, other = other, one
    rule = f"  {words[one.number]} locks {words[other.number]}"
    together = dict(one.demands()) | dict(other.demands())
    if together and rng.random() < 0.25:
        # What both need lies so whenever both are set, so the condition is always met;
        # now and then it is turned round.
        drive = rng.choice(sorted(together))
        position = together[drive]
        if rng.random() < 0.15:
            position = rng.choice(plain.drives[drive])
        rule += f" when {drive} {position}"
    return rule


def _extra(rng: random.Random, plain: Railway, words: dict[int, str]) -> Iterator[str]:
    """Rules that people write for reasons of their own."""
    if len(plain.routes) < 2:
        return
    if rng.random() < 0.12:
        one, other = rng.sample(plain.routes, 2)
        if words[one.number] and words[other.number]:
            yield f"  {words[one.number]} needs {words[other.number]} set"
    if rng.random() < 0.15:
        route = rng.choice(plain.routes)
        if words[route.number]:
            yield f"  {words[route.number]} needs {rng.choice(plain.elements())} clear"
    if rng.random() < 0.15 and plain.drives:
        one, other = rng.sample(plain.routes, 2)
        drive = rng.choice(sorted(plain.drives))
        if words[one.number] and words[other.number]:
            position = rng.choice(plain.drives[drive])
            yield f"  {words[one.number]} locks {words[other.number]} when {drive} {position}"
    if rng.random() < 0.12 and plain.drives:
        route = rng.choice(plain.routes)
        free = sorted(d for d in plain.drives if d not in dict(route.demands()))
        if free and words[route.number]:
            drive = rng.choice(free)
            yield f"  {words[route.number]} needs {drive} {rng.choice(plain.drives[drive])}"


def _expectations(rng: random.Random, plain: Railway) -> Iterator[str]:
    words = {route.number: reference(route, plain) for route in plain.routes}
    if len(plain.routes) > 1 and rng.random() < 0.3:
        one, other = rng.sample(plain.routes, 2)
        if words[one.number] and words[other.number]:
            never = "never with" if conflict(one, other) else "with"
            yield f"expect {words[one.number]} {never} {words[other.number]}"
