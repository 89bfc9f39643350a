"""Runs to joined-up track: elements, edges, stops, and signals at their joints."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from bellcrank.diagnostics import Collector, Noun, Span, did_you_mean, nearest
from bellcrank.layout.declared_names import Names
from bellcrank.layout.kinds_meant import Meant, declaration_of, meant_by
from bellcrank.layout.layout_model import (
    PLAIN,
    Edge,
    Element,
    FittingKind,
    Hand,
    Leg,
    Stop,
    TrackEnd,
)
from bellcrank.layout.other_words import ENDS, renamed
from bellcrank.syntax import tree as t

FITTING = Noun("a", "fitting")
PIECE = Noun("a", "piece of track")
EDGE = Noun("an", "edge")
SIGNAL = Noun("a", "signal")

_TrackItem = t.Edge | t.Stop | t.Piece | t.LegHere


@dataclass(frozen=True, slots=True)
class PlacedSignal:
    """A signal where a run puts it; its other properties are not known here."""

    word: t.Word
    before: Leg | Edge
    beyond: Leg


@dataclass(frozen=True, slots=True)
class Double:
    """A leg of a fitting that two runs join."""

    leg: Leg
    first: Span
    second: Span


@dataclass(slots=True)
class Track:
    """What the runs say. `where` has the words that joined each leg, `reads` the side
    of its element on which a run reads it."""

    kinds: Mapping[str, FittingKind] = field(default_factory=dict)
    elements: dict[str, Element] = field(default_factory=dict)
    joined: dict[Leg, TrackEnd] = field(default_factory=dict)
    edges: dict[str, Leg] = field(default_factory=dict)
    signals: dict[str, PlacedSignal] = field(default_factory=dict)
    read_at: dict[Leg | Edge, PlacedSignal] = field(default_factory=dict)
    where: dict[Leg, Span] = field(default_factory=dict)
    reads: dict[Leg, Hand] = field(default_factory=dict)
    misnamed: set[str] = field(default_factory=set)
    """Elements of which some run names a leg wrongly, or the definition of their kind does: their
    open legs are no news."""
    named: Mapping[str, frozenset[str]] = field(default_factory=dict)
    """Of each fitting the legs that runs name, rightly or wrongly."""
    strangers: list[t.LegHere] = field(default_factory=list)
    """Legs of fittings that are not declared."""
    doubles: list[Double] = field(default_factory=list)


def declare(
    declarations: Iterable[t.Declaration],
    kinds: Mapping[str, FittingKind],
    faulty: Mapping[str, FittingKind],
    names: Names,
    track: Track,
) -> None:
    """Enter the declared fittings. faulty: kinds whose definition is, as far as they are known."""
    track.kinds = kinds
    for declaration in declarations:
        kind = kinds.get(declaration.kind.text)
        if kind is None and _means_frogs(declaration):
            names.found.report(
                "E204",
                f"`{declaration.kind.words[0]}` starts no statement",
                declaration.kind.words[0].span,
                hint="did you mean `frog`?",
            )
            continue
        named = declaration.names
        if kind is None and declaration.kind.text in faulty:
            kind = faulty[declaration.kind.text]
            track.misnamed.update(word.text for word in named)
            names.doubtful.update(word.text for word in named)
        if kind is None:
            # What can be guessed is laid all the same, so that nothing is reported of it that
            # only follows from its kind.
            meant = meant_by(declaration, kinds)
            _report_unknown_kind(declaration, meant, kinds, names.found)
            kind, named = meant.kind, meant.names
            names.guessed.update(word.text for word in named)
            if meant.kind is None:
                names.doubtful.update(word.text for word in declaration.kind.words)
            if not meant.sure:
                names.doubtful.update(word.text for word in named)
        for word in named:
            if names.claim(word, FITTING) and kind is not None:
                track.elements[word.text] = Element(word.text, kind, word.span)


def _means_frogs(declaration: t.Declaration) -> bool:
    """Whether a declaration is meant to say what feeds frogs, with its first word misspelt."""
    with_drive = [word.text for word in declaration.kind.with_words] == ["drive"]
    first = declaration.kind.words[0].text
    return with_drive and nearest(first, ["frog"]) is not None


def _report_unknown_kind(
    declaration: t.Declaration, meant: Meant, kinds: Mapping[str, FittingKind], found: Collector
) -> None:
    if meant.called in kinds:
        found.report(
            "E101",
            meant.wrong or f"the names of {meant.called} stand without commas",
            meant.names[0].span.to(meant.names[-1].span),
            hint=meant.hint,
        )
        return
    found.report(
        "E204",
        f"there is no kind of fitting `{meant.called}`",
        declaration.kind.words[0].span.to(meant.last),
        expected="one of: " + "; ".join(kinds),
        hint=meant.hint,
    )


def lay(runs: Sequence[t.RunLine], names: Names, track: Track) -> None:
    """Join up the track that the runs name."""
    found = names.found
    for run in runs:
        for item in run.items:
            if isinstance(item, t.Piece):
                _enter_piece(item.name, names, track)
        for one, other in pairwise(run.items):
            _warn_of_dash_in_name(one, other, found)
    track.named = _named_legs(runs)
    for run in runs:
        _lay_run(run, names, track)
    _report_strangers(track, names)
    _report_doubles(track, found)
    _report_open_legs(track, names)


def _warn_of_dash_in_name(one: t.RunItem, other: t.RunItem, found: Collector) -> None:
    if (
        isinstance(one, t.Piece | t.SignalHere | t.Edge)
        and isinstance(other, t.Piece)
        and other.name.text[0].isdigit()
        and one.span.end_line == other.span.line
        and one.span.end_column + 1 == other.span.column
    ):
        found.report(
            "W810",
            f"`{one.name}-{other.name}` is read as two things, {one.name} and {other.name}",
            one.name.span.to(other.span),
            hint=f"names have no dash: write `{one.name}_{other.name}`, "
            f"or `{one.name} - {other.name}` if two are meant",
        )


def _enter_piece(word: t.Word, names: Names, track: Track) -> None:
    bearer = names.bearers.get(word.text)
    if bearer is not None and bearer[0] in (FITTING, PIECE):
        return
    if names.claim(word, PIECE):
        track.elements[word.text] = Element(word.text, PLAIN, word.span)


def _named_legs(runs: Sequence[t.RunLine]) -> dict[str, frozenset[str]]:
    named: defaultdict[str, set[str]] = defaultdict(set)
    for run in runs:
        for item in run.items:
            if isinstance(item, t.LegHere):
                named[item.element.text].add(item.leg.text)
    return {element: frozenset(legs) for element, legs in named.items()}


def _only_leg_left(element: Element, track: Track) -> str | None:
    """What to write for a leg that there is not: the one that no run names, if all else that runs
    name of its fitting is there."""
    named = track.named.get(element.name, frozenset())
    left = [leg for leg in element.kind.legs if leg not in named]
    if len(left) != 1 or len(named.difference(element.kind.legs)) != 1:
        return None
    return f"write `{element.name}.{left[0]}`, which no run joins"


def _lay_run(run: t.RunLine, names: Names, track: Track) -> None:
    found = names.found
    items = [item for item in run.items if not isinstance(item, t.SignalHere)]
    if len(items) < 2:
        found.report(
            "E318",
            "this run joins nothing",
            run.span,
            expected="at least two pieces, legs, edges or stops with `-` between them",
        )
        return
    if not _can_be_laid(items, track, found):
        _hold_places(run, names, track)
        return
    pending: list[t.SignalHere] = []
    previous: _TrackItem | None = None
    for item in run.items:
        if isinstance(item, t.SignalHere):
            pending.append(item)
            continue
        if previous is None:
            for signal in pending:
                _lone_signal(signal, names)
        else:
            left = _end_of(previous, names, track, rightwards=True)
            right = _end_of(item, names, track, rightwards=False)
            if _join(left, right, previous, item, names, track):
                for signal in pending:
                    _place(signal, left, right, names, track)
            else:
                for signal in pending:
                    names.claim(signal.name, SIGNAL)
        pending = []
        previous = item
    for signal in pending:
        _lone_signal(signal, names)


def _can_be_laid(items: Sequence[_TrackItem], track: Track, found: Collector) -> bool:
    """Whether a run has edges, stops and legs at its two ends only; reports them if not."""
    sound = True
    for index, item in enumerate(items):
        inner = 0 < index < len(items) - 1
        if inner and isinstance(item, t.Edge | t.Stop):
            what = "edge" if isinstance(item, t.Edge) else "stop"
            found.report(
                "E318",
                f"track ends at the {what}, but this run goes on beyond it",
                item.span,
                hint="end the run here and start another on the next line",
            )
            sound = False
        elif inner and isinstance(item, t.LegHere):
            sound = False
            before = items[index - 1]
            if not _of_one_fitting(before, item):
                _through_fitting(item, items[index + 1], found)
            elif index == 1:  # else reported at the leg before
                _begins_in_fitting(before, item, found)
        elif isinstance(item, t.Piece) and item.name.text not in track.elements:
            sound = False  # reported where the name was claimed
    return sound


def _of_one_fitting(one: _TrackItem, other: _TrackItem) -> bool:
    return (
        isinstance(one, t.LegHere) and isinstance(other, t.LegHere) and one.element == other.element
    )


def _through_fitting(item: t.LegHere, following: _TrackItem, found: Collector) -> None:
    leg = f"{item.element}.{item.leg}"
    if isinstance(following, t.LegHere) and _of_one_fitting(item, following):
        onward = f"{following.element}.{following.leg}"
        found.report(
            "E312",
            f"a run cannot go through a fitting, from {leg} to {onward}",
            item.span.to(following.span),
            hint=f"end the run at {leg} and start another with `run {onward} - …`",
        )
    else:
        found.report(
            "E318",
            f"a run cannot go through a fitting, as this one would at {leg}",
            item.span,
            hint=f"end the run at {leg} and start another at the leg where it goes on",
        )


def _begins_in_fitting(first: _TrackItem, item: t.LegHere, found: Collector) -> None:
    onward = f"{item.element}.{item.leg}"
    found.report(
        "E312",
        "a run cannot begin by going through a fitting",
        first.span.to(item.span),
        expected="a run that begins at one leg of it",
        hint=f"begin with `run {onward} - …`; what is joined to the other leg is a run of its own",
    )


def _hold_places(run: t.RunLine, names: Names, track: Track) -> None:
    """Claim what a broken run names, so that it is not reported as unknown as well."""
    for item in run.items:
        if isinstance(item, t.SignalHere) and item.name.text not in names.bearers:
            names.claim(item.name, SIGNAL)
        elif isinstance(item, t.Edge) and item.name.text not in names.bearers:
            names.claim(item.name, EDGE)
        elif isinstance(item, t.LegHere):
            track.where.setdefault(Leg(item.element.text, item.leg.text), item.span)
        elif isinstance(item, t.Piece):
            for leg in PLAIN.legs:
                track.where.setdefault(Leg(item.name.text, leg), item.span)


def _lone_signal(signal: t.SignalHere, names: Names) -> None:
    names.claim(signal.name, SIGNAL)
    names.found.report(
        "E313",
        f"no train can read {signal.name}: it stands at the end of a run",
        signal.span,
        expected="a signal between two pieces of track",
        hint="put it between the piece before it and the piece that it protects",
    )


def _end_of(
    item: _TrackItem, names: Names, track: Track, *, rightwards: bool
) -> Leg | Edge | t.Stop | None:
    """The end of an item that a run joins: its right end if it lies left of the joint."""
    match item:
        case t.Edge():
            return Edge(item.name.text)
        case t.Stop():
            return item
        case t.Piece():
            element = track.elements[item.name.text]
            if not element.plain:
                track.misnamed.add(element.name)
                names.found.report(
                    "E316",
                    f"say which leg of {item.name} is meant",
                    item.span,
                    expected=" or ".join(f"{item.name}.{leg}" for leg in element.kind.legs),
                )
                return None
            return Leg(element.name, "right" if rightwards else "left")
        case t.LegHere():
            return _leg(item, names, track)


def _leg(item: t.LegHere, names: Names, track: Track) -> Leg | None:
    element = track.elements.get(item.element.text)
    if element is None:
        track.strangers.append(item)
        return None
    if element.plain:
        track.misnamed.add(element.name)
        names.found.report(
            "E317",
            f"{item.element} is a plain piece and has no legs with names",
            item.span,
            expected=f"`{item.element}` alone; a run joins its ends",
        )
        return None
    if item.leg.text not in element.kind.legs:
        track.misnamed.add(element.name)
        names.found.report(
            "E317",
            f"{item.element} has no leg `{item.leg}`",
            item.leg.span,
            expected=f"a leg of {element.kind.name}: {', '.join(element.kind.legs)}",
            hint=renamed(item.leg.text, element.kind.legs)
            or did_you_mean(item.leg.text, element.kind.legs)
            or _only_leg_left(element, track),
        )
        return None
    return Leg(element.name, item.leg.text)


def _join(
    left: Leg | Edge | t.Stop | None,
    right: Leg | Edge | t.Stop | None,
    left_item: _TrackItem,
    right_item: _TrackItem,
    names: Names,
    track: Track,
) -> bool:
    """Join two ends of track. Returns False with the reason reported if they cannot be."""
    found = names.found
    sound = left is not None and right is not None
    for end, item in ((left, left_item), (right, right_item)):
        if isinstance(item, t.Edge) and not names.claim(item.name, EDGE):
            sound = False
        if isinstance(end, Leg):
            if end in track.where and isinstance(item, t.LegHere):
                track.doubles.append(Double(end, track.where[end], item.span))
                sound = False
            elif end in track.where:
                found.report(
                    "E310",
                    f"{_end_name(end, track)} is joined twice",
                    item.span,
                    hint="each end of track has one joint; is one of the two another piece?",
                    related=[(track.where[end], "joined here first")],
                )
                sound = False
            track.where.setdefault(end, item.span)
    if not sound:
        return False
    if isinstance(left, Leg):
        track.reads[left] = "right"
    if isinstance(right, Leg):
        track.reads[right] = "left"
    if isinstance(left, Leg) and isinstance(right, Leg):
        if left.element == right.element and not track.elements[left.element].plain:
            found.report(
                "E312",
                f"this run joins two legs of one fitting, {left} and {right}",
                left_item.span.to(right_item.span),
                expected="at least one piece of track between them",
                hint=f"name the track between them: `{left} - LOOP - {right}`",
            )
            return False
        track.joined[left] = right
        track.joined[right] = left
        return True
    for leg, end in ((left, right), (right, left)):
        if isinstance(leg, Leg):
            if isinstance(end, Edge):
                track.joined[leg] = end
                track.edges[end.name] = leg
            else:
                track.joined[leg] = Stop(leg)
            return True
    found.report(
        "E318",
        "there is no track in this run",
        left_item.span.to(right_item.span),
        expected="a piece between the two ends",
    )
    return False


def _end_name(leg: Leg, track: Track) -> str:
    if track.elements[leg.element].plain:
        return f"the {leg.leg} end of {leg.element}"
    return f"the leg {leg}"


def _place(
    signal: t.SignalHere,
    left: Leg | Edge | t.Stop | None,
    right: Leg | Edge | t.Stop | None,
    names: Names,
    track: Track,
) -> None:
    before, beyond = (left, right) if signal.rightwards else (right, left)
    if not names.claim(signal.name, SIGNAL):
        return
    way = "rightwards" if signal.rightwards else "leftwards"
    turned = f"{'<' if signal.rightwards else '>'}{signal.name}"
    if isinstance(before, t.Stop):
        names.found.report(
            "E313",
            f"no train can read {signal.name}: it is read {way}, and no train comes from a stop",
            signal.span,
            hint=f"put it where trains leave {_element_of(beyond)}",
        )
    elif not isinstance(beyond, Leg):
        at_stop = isinstance(beyond, t.Stop)
        end = "a stop" if at_stop else f"the {beyond}"
        names.found.report(
            "E313",
            f"{signal.name} protects no track: it is read {way}, and beyond it is {end}",
            signal.span,
            hint=f"put it before {_element_of(before)}, the track that it protects"
            if at_stop
            else f"write `{turned}` if it is read by trains that come in from the edge",
        )
    elif isinstance(before, Leg | Edge):
        other = track.read_at.get(before)
        if other is not None:
            names.found.report(
                "E319",
                f"{signal.name} stands beside {other.word} and is read the same way",
                signal.span,
                hint="put a piece of track between them, or keep one of the two",
                related=[(other.word.span, "the other signal")],
            )
            return
        placed = PlacedSignal(signal.name, before, beyond)
        track.signals[signal.name.text] = track.read_at[before] = placed


def _end_hint(element: Element, leg: Leg) -> str:
    if not element.plain:
        return f"add `run {leg} - stop` if track ends here"
    if leg.leg == "left":
        return (
            f"write `edge {element.name}` if {element.name} is where track leaves the layout, "
            f"or add `run stop - {element.name}` if track ends here"
        )
    return (
        f"add `run {element.name} - stop` if track ends here, "
        f"or write `edge {element.name}` if it is where track leaves the layout"
    )


def _element_of(end: Leg | Edge | t.Stop | None) -> str:
    return end.element if isinstance(end, Leg) else "the track"


def _open_legs(track: Track) -> list[Leg]:
    """Legs of fittings that no run joins, and of which that is news."""
    return [
        Leg(element.name, leg)
        for element in track.elements.values()
        if not element.plain and element.name not in track.misnamed
        for leg in element.kind.legs
        if Leg(element.name, leg) not in track.where
    ]


def _report_strangers(track: Track, names: Names) -> None:
    """Report legs of fittings that are not declared, each with the fitting that is meant: one
    that is spelled like it, or the only one that lacks a run at a leg of this name; or else with
    the line that would declare it."""
    fittings = [e.name for e in track.elements.values() if not e.plain]
    legs: defaultdict[str, set[str]] = defaultdict(set)
    for item in track.strangers:
        legs[item.element.text].add(item.leg.text)
    missing: set[str] = set()
    for item in track.strangers:
        lacking = [leg for leg in _open_legs(track) if leg.leg == item.leg.text]
        near = nearest(item.element.text, (leg.element for leg in lacking))
        own = legs[item.element.text]
        kind = next((k.name for k in track.kinds.values() if own <= {*k.legs}), None)
        if near is None and kind is not None and (len(own) > 1 or not lacking):
            line = declaration_of(kind, [item.element])
            hint = f"add a line that says what it is, such as `{line}`"
            names.unknown(item.element, FITTING, fittings, hint)
            missing.add(item.element.text)
            continue
        near = near or nearest(item.element.text, fittings)
        if near is None and len(lacking) == 1:
            near = lacking[0].element
        names.unknown(item.element, FITTING, fittings, f"did you mean `{near}`?" if near else None)
        # Whichever is meant, that it lacks a run follows from this.
        for leg in lacking:
            if near in (None, leg.element):
                track.where[leg] = item.span
    names.doubtful |= missing  # what else is said of them follows from that


def _report_doubles(track: Track, found: Collector) -> None:
    """Report legs that two runs join, each where it is the odd one: where a leg that no run
    joins is named round about."""
    for double in track.doubles:
        open_legs = _open_legs(track)
        alike = [leg for leg in open_legs if leg.leg == double.leg.leg]
        meant = alike or [leg for leg in open_legs if leg.element == double.leg.element]
        odd, other = double.second, double.first
        hint = "each end of track has one joint; is one of the two another leg?"
        if len(meant) == 1:
            [leg] = meant
            if _lines_away(leg, double.first, track) < _lines_away(leg, double.second, track):
                odd, other = other, odd
            hint = f"is `{leg}` meant? No run is joined to it"
            track.where[leg] = odd
        found.report(
            "E310",
            f"{_end_name(double.leg, track)} is joined twice",
            odd,
            hint=hint,
            related=[(other, "joined here as well")],
        )


def _lines_away(leg: Leg, place: Span, track: Track) -> int:
    """How far the nearest run to the same fitting stands from a place."""
    return min(
        (
            abs(span.line - place.line)
            for joined, span in track.where.items()
            if joined.element == leg.element and span != place and span.file == place.file
        ),
        default=0,
    )


def _report_open_legs(track: Track, names: Names) -> None:
    found = names.found
    for element in track.elements.values():
        legs = [Leg(element.name, leg) for leg in element.kind.legs]
        open_legs = [leg for leg in legs if leg not in track.where]
        if not open_legs or element.name in track.misnamed:
            continue
        if len(open_legs) == len(legs):
            if element.name in names.guessed:
                continue
            found.report(
                "E311",
                f"{element.name} stands in no run",
                element.span,
                expected=f"a run to each of its legs: {', '.join(map(str, legs))}",
            )
            continue
        for leg in open_legs:
            others = [*(e for e in track.elements if e != element.name), "stop", "edge"]
            hint: str | None = found.did_you_mean(element.name, others) if element.plain else None
            if element.plain and element.name.casefold() in ENDS:
                hint = "where track ends, write `stop`"
            found.report(
                "E311",
                f"{_end_name(leg, track)} is joined to nothing",
                element.span,
                expected="a run that goes on from there, or ends in `stop` or `edge NAME`",
                hint=hint or _end_hint(element, leg),
            )
