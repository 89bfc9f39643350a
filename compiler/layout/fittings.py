"""Kinds of fitting: the standard ones and those a layout defines itself."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from importlib import resources
from itertools import pairwise

from bellcrank.diagnostics import Collector, did_you_mean
from bellcrank.layout.declared_names import is_reserved
from bellcrank.layout.frog_model import KindFrog
from bellcrank.layout.frogs import alike_in
from bellcrank.layout.layout_model import FittingKind, KindWay, Position
from bellcrank.syntax import tree as t
from bellcrank.syntax.parse import parse

PRELUDE = "fittings.crank"


@cache
def standard_fittings() -> dict[str, FittingKind]:
    """The kinds defined in grammar/fittings.crank, by name."""
    text = resources.files("bellcrank.grammar").joinpath(PRELUDE).read_text("utf-8")
    source, diagnostics = parse(text, PRELUDE)
    found = Collector(list(diagnostics))
    kinds: dict[str, FittingKind] = {}
    for statement in source.statements:
        assert isinstance(statement, t.FittingDefinition)
        kind = define(statement, kinds, found)
        assert kind is not None
        kinds[kind.name] = kind
    assert not found.diagnostics, found.diagnostics
    return kinds


def define(
    definition: t.FittingDefinition, known: dict[str, FittingKind], found: Collector
) -> FittingKind | None:
    """One definition as a kind, or None with the reasons reported."""
    before = len(found.diagnostics)
    name = definition.kind.text
    if name in known:
        found.report(
            "E202",
            f"there is already a kind of fitting `{name}`",
            definition.kind.span,
            hint="give yours another name",
        )
    _check_head(definition, found)
    legs = _legs(definition, found)
    drives = _drives(definition, found)
    ways = [_way(part, legs, drives, found) for part in definition.parts if isinstance(part, t.Way)]
    _check_ways(definition, legs, found)
    frogs = _frogs(definition, legs, ways, found)
    drawn = _drawn(definition, found)
    if len(found.diagnostics) == before:
        _check_choice(definition, ways, found)
    if len(found.diagnostics) > before:
        return None
    family = " ".join(word.text for word in definition.kind.words)
    return FittingKind(name, legs, drives, tuple(ways), family, frogs, drawn)


def _check_head(definition: t.FittingDefinition, found: Collector) -> None:
    """How it is drawn is said between the braces; before them it would be a part of the name."""
    meant = _kind_meant(definition)
    head = (*definition.kind.words, *definition.kind.with_words)
    drawing = head[len(meant.words) + len(meant.with_words) :]
    if drawing:
        line = " ".join(word.text for word in drawing)
        found.report(
            "E101",
            f"`{line}` stands in the name of a kind of fitting",
            drawing[0].span.to(drawing[-1].span),
            hint=f"put `{line}` on a line of its own between the braces",
        )


def _kind_meant(definition: t.FittingDefinition) -> t.KindPhrase:
    """What names the kind: the words before `drawn as`, if that stands there."""
    kind = definition.kind
    words, with_words = _before_drawing(kind.words), _before_drawing(kind.with_words)
    return replace(kind, words=words, with_words=with_words if words == kind.words else ())


def _before_drawing(words: tuple[t.Word, ...]) -> tuple[t.Word, ...]:
    for place, (one, other) in enumerate(pairwise(words)):
        if place and (one.text, other.text) == ("drawn", "as"):
            return words[:place]
    return words


def as_far_as_known(definition: t.FittingDefinition) -> FittingKind:
    """The kind that a faulty definition is about, as far as it can be told.

    What is declared of this kind is laid with it all the same, so that nothing is reported there
    that only follows from the mistake in the definition.
    """
    unheard = Collector()
    parts = definition.parts
    named = [w for part in parts if isinstance(part, t.Legs) for w in part.names]
    lines = [part for part in parts if isinstance(part, t.Way)]
    named += [w for way in lines for w in (way.first, way.second)]
    legs = tuple(dict.fromkeys(w.text for w in named))
    drives = _drives(definition, unheard)
    ways = {frozenset(way.legs): way for way in (_way(w, legs, drives, unheard) for w in lines)}
    kind = _kind_meant(definition)
    family = " ".join(word.text for word in kind.words)
    led = tuple(way for pair, way in ways.items() if len(pair) == 2)
    return FittingKind(kind.text, legs, drives, led, family)


def _check_choice(definition: t.FittingDefinition, ways: list[KindWay], found: Collector) -> None:
    """Report two ways from one leg that can lie right at once: the drives would not
    settle which of them a train takes."""
    lines = [part for part in definition.parts if isinstance(part, t.Way)]
    for index, one in enumerate(ways):
        for number, other in enumerate(ways[index + 1 :], start=index + 1):
            shared = [leg for leg in one.legs if leg in other.legs]
            needed = dict(one.when)
            if shared and all(needed.get(d, p) == p for d, p in other.when):
                both = ", ".join(
                    f"{d} {p}".strip() for d, p in {**needed, **dict(other.when)}.items()
                )
                found.report(
                    "E305",
                    f"two ways from the leg {shared[0]} lie right at once"
                    + (f", with {both}" if both else ""),
                    lines[number].span,
                    expected="drives that settle which way a train takes",
                    hint="add to one of the two the drive and position that tell it from the other",
                    related=[(lines[index].span, "the other way")],
                )


MOST_POSITIONS = 64
"""Positions of one drive; a turntable with more roads has several drives here."""


def _legs(definition: t.FittingDefinition, found: Collector) -> tuple[str, ...]:
    words = [w for part in definition.parts if isinstance(part, t.Legs) for w in part.names]
    _distinct(words, "leg", found)
    if len(words) < 2:
        found.report(
            "E304",
            f"`{definition.kind.text}` has fewer than two legs",
            definition.kind.span,
            expected="`legs` and the names of at least two legs",
        )
    return tuple(dict.fromkeys(w.text for w in words))


def _drives(definition: t.FittingDefinition, found: Collector) -> dict[str, tuple[str, ...]]:
    parts = [part for part in definition.parts if isinstance(part, t.FittingDrive)]
    drives: dict[str, tuple[str, ...]] = {}
    for part in parts:
        if part.name is None and len(parts) > 1:
            found.report(
                "E304",
                "where a fitting has several drives, each needs a name",
                part.span,
                expected="a name and the positions, such as `drive end1 with straight, diverging`",
            )
        if len(part.positions) < 2:
            found.report(
                "E304",
                "a drive has at least two positions",
                part.span,
                expected="its positions, such as `drive straight, diverging`",
            )
        _distinct(part.positions, "position", found)
        if len(part.positions) > MOST_POSITIONS:
            found.report(
                "E304",
                f"a drive has at most {MOST_POSITIONS} positions, not {len(part.positions)}",
                part.span,
            )
        for word in (*part.positions, *([part.name] if part.name else [])):
            is_reserved(word, found, more=("clear", "set"))
        name = part.name.text if part.name else ""
        if name in drives and part.name:
            found.report("E202", f"there are two drives `{name}`", part.name.span)
        drives[name] = tuple(p.text for p in part.positions)
    return drives


def _distinct(words: Iterable[t.Word], what: str, found: Collector) -> None:
    seen: dict[str, t.Word] = {}
    for word in words:
        if word.text in seen:
            found.report(
                "E202",
                f"there are two {what}s `{word}`",
                word.span,
                related=[(seen[word.text].span, "named here first")],
            )
        seen.setdefault(word.text, word)


def _way(
    way: t.Way, legs: tuple[str, ...], drives: dict[str, tuple[str, ...]], found: Collector
) -> KindWay:
    for word in (way.first, way.second):
        if word.text not in legs:
            found.report(
                "E301",
                f"this fitting has no leg `{word}`",
                word.span,
                expected=f"one of its legs: {', '.join(legs)}",
                hint=did_you_mean(word.text, legs),
            )
    if way.first.text == way.second.text:
        found.report("E304", "a way leads from one leg to another", way.second.span)
    when: list[Position] = []
    for condition in way.when:
        drive = condition.drive.text if condition.drive else ""
        if drive not in drives:
            place = condition.drive or condition.position
            named = [name for name in drives if name]
            found.report(
                "E302",
                f"this fitting has no drive `{drive}`" if drive else "say which drive is meant",
                place.span,
                expected="a drive and a position: "
                + ", ".join(f"{n} {'/'.join(drives[n])}" for n in named)
                if named
                else "a position alone"
                if drives
                else "no `when`: this fitting has no drive",
                hint=did_you_mean(drive, named),
            )
        elif condition.position.text not in drives[drive]:
            found.report(
                "E302",
                f"this drive has no position `{condition.position}`",
                condition.position.span,
                expected=f"one of its positions: {', '.join(drives[drive])}",
                hint=did_you_mean(condition.position.text, drives[drive]),
            )
        elif any(d == drive and p != condition.position.text for d, p in when):
            found.report(
                "E302",
                "one drive cannot lie in two positions at once",
                condition.span,
            )
        else:
            when.append((drive, condition.position.text))
    return KindWay((way.first.text, way.second.text), tuple(when))


def _frogs(
    definition: t.FittingDefinition, legs: tuple[str, ...], ways: list[KindWay], found: Collector
) -> tuple[KindFrog, ...]:
    parts = [part for part in definition.parts if isinstance(part, t.FittingFrog)]
    frogs: dict[str, KindFrog] = {}
    for part in parts:
        frog = KindFrog(part.name.text if part.name else "", (part.first.text, part.second.text))
        missing = [word for word in (part.first, part.second) if word.text not in legs]
        for word in missing:
            found.report(
                "E301",
                f"this fitting has no leg `{word}`",
                word.span,
                expected=f"one of its legs: {', '.join(legs)}",
                hint=did_you_mean(word.text, legs),
            )
        if part.name is None and len(parts) > 1:
            found.report(
                "E306",
                "where a fitting has several frogs, each needs a name",
                part.span,
                expected="a name before `between`, such as `frog end1 between a1, b1`",
            )
        elif part.name is not None:
            is_reserved(part.name, found)
            if frog.name in frogs:
                found.report("E202", f"there are two frogs `{part.name}`", part.name.span)
        if not missing:
            _check_frog(part, frog, ways, found)
        frogs[frog.name] = frog
    return tuple(frogs.values())


def _drawn(definition: t.FittingDefinition, found: Collector) -> t.Table | None:
    """How it looks in the picture, if that is said."""
    said = [part for part in definition.parts if isinstance(part, t.FittingDrawing)]
    for again in said[1:]:
        found.report(
            "E304",
            "a fitting is drawn in one way",
            again.span,
            hint="keep one of the two lines",
            related=[(said[0].span, "said here first")],
        )
    return said[0].table if said else None


def _check_frog(part: t.FittingFrog, frog: KindFrog, ways: list[KindWay], found: Collector) -> None:
    """Report a frog where rails of opposite polarity cannot cross."""
    one, other = frog.between
    place = part.first.span.to(part.second.span)
    if one == other:
        found.report("E306", "a frog lies between two legs", part.second.span)
    elif any(set(way.legs) == {one, other} for way in ways):
        found.report(
            "E306",
            f"a way joins {one} and {other}: their rails that face each other are one rail",
            place,
            expected="two legs that no way joins",
        )
    elif alike_in(ways, frog):
        found.report(
            "E306",
            f"the rails of {one} and {other} that face each other are of one polarity, whichever "
            "way is used",
            place,
            hint="leave this frog out: nothing need be switched there",
        )


def _check_ways(definition: t.FittingDefinition, legs: tuple[str, ...], found: Collector) -> None:
    ways = [part for part in definition.parts if isinstance(part, t.Way)]
    seen: dict[frozenset[str], t.Way] = {}
    for way in ways:
        pair = frozenset((way.first.text, way.second.text))
        if pair in seen:
            found.report(
                "E304",
                f"there are two ways between {way.first} and {way.second}",
                way.span,
                related=[(seen[pair].span, "the other one")],
            )
        seen.setdefault(pair, way)
    used = {name for pair in seen for name in pair}
    if not used <= set(legs):
        return  # a leg is misnamed, so which are left out cannot be told
    for part in definition.parts:
        if isinstance(part, t.Legs):
            for word in part.names:
                if word.text in legs and word.text not in used:
                    found.report(
                        "E303",
                        f"no way leads to the leg `{word}`",
                        word.span,
                        expected=f"a line such as `way {word} - …`",
                    )
