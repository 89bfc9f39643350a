"""Overlaps: the track beyond a signal that a route up to it keeps clear."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import product

from bellcrank.diagnostics import Collector, Span, did_you_mean
from bellcrank.layout.layout_model import Layout, Leg, Position, Way
from bellcrank.routes.route_model import Overlap
from bellcrank.syntax import tree as t


def build_overlaps(
    lines: Iterable[t.OverlapLine], layout: Layout, found: Collector
) -> dict[str, Overlap]:
    """The overlap of each signal that has one."""
    overlaps: dict[str, Overlap] = {}
    for line in lines:
        name = line.signal.text
        if name not in layout.signals:
            found.report(
                "E201",
                f"there is no signal `{name}`",
                line.signal.span,
                expected="a signal at which routes end",
                hint=found.did_you_mean(name, layout.signals),
            )
        elif name in overlaps:
            found.report(
                "E107",
                f"{name} has two overlaps",
                line.span,
                hint="keep one of the two",
                related=[(overlaps[name].span, "said here first")],
            )
        else:
            overlap = _overlap(line, layout, found)
            if overlap is not None:
                overlaps[name] = overlap
    return overlaps


def _overlap(line: t.OverlapLine, layout: Layout, found: Collector) -> Overlap | None:
    entry: Leg | None = layout.signals[line.signal.text].beyond
    positions: list[Position] = []
    for index, word in enumerate(line.elements):
        if entry is None or entry.element != word.text:
            before = line.elements[index - 1] if index else line.signal
            found.report(
                "E405",
                f"{word} does not come next after {before}",
                word.span,
                expected=f"`{entry.element}`, which comes next"
                if entry
                else "no more pieces: track ends there",
            )
            return None
        options = layout.ways_from(entry)
        last = index + 1 == len(line.elements)
        if not last:
            following = line.elements[index + 1].text
            fitting = [w for w in options if _leads_to(w, following, layout)]
            if len(fitting) > 1:
                found.report(
                    "E405",
                    f"two ways lead from {word} to {following}",
                    word.span,
                    expected="an overlap with one way through it",
                )
                return None
            if fitting:
                options = tuple(fitting)
            elif len(options) > 1:
                _not_next(word, following, options, layout, found, line.elements[index + 1].span)
                return None
        # What every way onward needs is needed, whichever it is.
        positions += _needed_by_all(options)
        if len(options) == 1:
            beyond = layout.joined[Leg(word.text, options[0].exit)]
            entry = beyond if isinstance(beyond, Leg) else None
        elif _can_lie_for_none(options, layout):
            found.report(
                "E405",
                f"{word} can lie so that no way leads on from there",
                word.span,
                expected="the piece beyond it as well, so that the way through is known",
                hint="name one more: "
                + " or ".join(
                    f"`{line.signal} = … {word}, {end.element}`"
                    for end in (layout.joined[Leg(o.element, o.exit)] for o in options)
                    if isinstance(end, Leg)
                ),
            )
            return None
    elements = tuple(word.text for word in line.elements)
    sections = tuple(dict.fromkeys(layout.section_of[e] for e in elements))
    return Overlap(line.signal.text, elements, sections, tuple(positions), line.span)


def _needed_by_all(options: tuple[Way, ...]) -> list[Position]:
    return [p for p in options[0].when if all(p in o.when for o in options)]


def _can_lie_for_none(options: tuple[Way, ...], layout: Layout) -> bool:
    """Whether drives can lie right for none of the ways, though what all need is held."""
    held = dict(_needed_by_all(options))
    free = list(dict.fromkeys(d for o in options for d, _ in o.when if d not in held))
    for choice in product(*(layout.drives[d].positions for d in free)):
        lies = {**held, **dict(zip(free, choice, strict=True))}
        if not any(all(lies[d] == p for d, p in o.when) for o in options):
            return True
    return False


def _leads_to(way: Way, element: str, layout: Layout) -> bool:
    beyond = layout.joined[Leg(way.element, way.exit)]
    return isinstance(beyond, Leg) and beyond.element == element


def _not_next(
    word: t.Word,
    following: str,
    options: tuple[Way, ...],
    layout: Layout,
    found: Collector,
    span: Span,
) -> None:
    ends = [layout.joined[Leg(w.element, w.exit)] for w in options]
    names = [end.element for end in ends if isinstance(end, Leg)]
    found.report(
        "E405",
        f"{following} does not come next after {word}",
        span,
        expected=" or ".join(names) or "no more pieces: track ends there",
        hint=did_you_mean(following, names),
    )
