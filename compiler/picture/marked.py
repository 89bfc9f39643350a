"""How what is laid over track looks, and what a key says of it: in pictures, on the page and on
paper alike. What this says of no medium is marked on none.

Nothing is told by colour alone: widths and dashes differ as well. Of two marks on one way the
later one here is seen.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from bellcrank.picture.rules import Rule


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark, and its sample in a key.

    word: what it is called in data. said: the words of the key. rules: how it looks.
    way, element: the classes that a way or its element has in the sample.
    at: the selector of CSS of what bears it on a page.
    """

    word: str
    said: str
    rules: tuple[Rule, ...]
    at: str
    way: str = ""
    element: str = ""

    def sample(self, x: float, y: float, length: float = 30.0) -> str:
        """A line that is marked so, from a place rightwards, as SVG."""
        ticks = f'<path class="ticks" d="M{x:g} {y:g}h{length:g}"/>'
        way = f"way {self.way}".strip()
        element = f"element {self.element}".strip()
        return (
            f'<g class="{element}">{ticks if self.word == "reported" else ""}'
            f'<path class="{way}" d="M{x:g} {y:g}h{length:g}"/></g>'
        )


_FREE = ":not(.set):not(.second):not(.away)"
"""Of a way over which no route that is shown leads, and no points lie otherwise."""

_UNDER = ".element:not(.meets):not(.occupied) > .way:not(.meets):not(.train)"
"""On a page, a way that nothing lies upon."""

MARKS = (
    Mark(
        "held",
        "held for a route",
        (Rule((f".held > .way{_FREE}",), "stroke: var(--route); stroke-dasharray: 7 2;"),),
        at=f".held{_UNDER}{_FREE}",
        element="held",
    ),
    Mark(
        "set",
        "route",
        (Rule((".way.set",), "stroke: var(--route); stroke-width: 5;"),),
        at=f"{_UNDER}.set:not(.second):not(.away)",
        way="set",
    ),
    Mark(
        "second",
        "second route",
        (Rule((".way.second",), "stroke: var(--other); stroke-width: 5; stroke-dasharray: 9 4;"),),
        at=f"{_UNDER}.second:not(.set)",
        way="second",
    ),
    Mark(
        "both",
        "both routes",
        (Rule((".way.set.second",), "stroke: var(--accent); stroke-dasharray: 16 3 4 3;"),),
        at=f"{_UNDER}.set.second",
        way="set second",
    ),
    Mark(
        "overlap",
        "overlap",
        (
            Rule(
                (f".overlap > .way{_FREE}",),
                "stroke: var(--route); stroke-width: 5;\n  stroke-dasharray: 2 3;",
            ),
        ),
        at=f".overlap{_UNDER}{_FREE}",
        element="overlap",
    ),
    Mark(
        "flank",
        "flank",
        (
            Rule(
                (f".flank > .way.lies{_FREE}",),
                "stroke: var(--route); stroke-width: 3.4;\n  stroke-dasharray: 2 3;",
            ),
        ),
        at=f".flank{_UNDER}.lies{_FREE}",
        way="lies",
        element="flank",
    ),
    Mark(
        "ends",
        "a route may end here",
        (
            Rule(
                (".way.ends.ends.ends",),
                "stroke: var(--route); stroke-width: 8; stroke-dasharray: 1.5 4;",
            ),
        ),
        at=".way.ends",
        way="ends",
    ),
    Mark(
        "away",
        "points do not lie so",
        (
            Rule((".way.away",), "stroke-dasharray: 2 3; opacity: 0.55;"),
            Rule((".way.set.away",), "stroke-dasharray: 4 3; opacity: 1;"),
        ),
        at=f"{_UNDER}.away:not(.set)",
        way="away",
    ),
    Mark(
        "reported",
        "reported occupied",
        (
            Rule((".ticks",), "display: none;"),
            Rule(
                (".reported > .ticks",),
                "display: inline; fill: none; stroke: var(--line); stroke-width: 15;\n"
                "  stroke-dasharray: 1.6 4.4; stroke-linecap: butt;",
            ),
        ),
        at=".reported > .ticks",
        element="reported",
    ),
    Mark(
        "occupied",
        "train",
        (
            Rule((".occupied > .way",), "stroke-width: 3.4;"),
            Rule(
                (
                    ".way.train.train.train.train",
                    ".occupied > .way.set.set.set",
                    ".piece.occupied > .way.way.way",
                    ".occupied > .way.lies.lies.lies",
                ),
                "stroke: var(--occupied);\n  stroke-width: 8; stroke-dasharray: none; opacity: 1;",
            ),
        ),
        at=":not(.meets) > .way.train:not(.meets), .piece.occupied:not(.meets) > .way, "
        ".occupied:not(.meets) > .way.lies",
        way="train",
    ),
    Mark(
        "meets",
        "where they meet",
        (
            Rule(
                (
                    ".way.meets.meets.meets.meets.meets",
                    ".element.meets.meets.meets.meets > .way:not(.away)",
                ),
                "stroke: var(--meets);\n  stroke-width: 7; stroke-dasharray: 4 3; opacity: 1;",
            ),
            Rule((".ring",), "fill: none; stroke: var(--meets); stroke-width: 1.8;"),
        ),
        at=".way.meets, .element.meets > .way:not(.away)",
        way="meets",
    ),
)

RULES = tuple(rule for mark in MARKS for rule in mark.rules)


def used(drawn: Iterable[tuple[Iterable[str], Iterable[Iterable[str]]]]) -> Iterator[Mark]:
    """The marks that a key is to explain.

    drawn: of each element its classes, and those of each of its ways.
    """
    worn: set[str] = set()
    for element, ways in drawn:
        of_element = {*element}
        for way in map(set, ways):
            route = way & {"set", "second"}
            if "meets" in way | of_element:
                worn.add("meets")
            elif "occupied" in of_element and (route or "piece" in of_element or "lies" in way):
                worn.add("occupied")
            elif route:
                worn |= {"both"} if len(route) == 2 else route
            else:
                worn |= of_element & {"held", "overlap"}
    return (mark for mark in MARKS if mark.word in worn)


KEY = [
    [
        mark.word,
        mark.said,
        f'<svg class="plan" viewBox="0 0 30 16">{mark.sample(0, 8)}</svg>',
        mark.at,
    ]
    for mark in MARKS
]
KEY.append(
    [
        "one-way",
        "one way only",
        '<svg class="plan" viewBox="0 0 30 16"><line class="over" x1="0" y1="8" x2="30" y2="8"/>'
        '<path class="one-way" d="M11 4L20 8L11 12Z"/></svg>',
        ".one-way",
    ]
)
"""For a page: what each mark is called, what its key says, its sample, and what bears it there."""
