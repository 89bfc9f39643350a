"""Reading a script: from its text to lines whose names are known to the railway.

The forms of lines are in `forms.py`; what they do is in `acts.py`. A line that
cannot be read is reported with its place, and the others are read all the same.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from operator import ne

from bellcrank.diagnostics import Collector, Diagnostic, Span, did_you_mean
from bellcrank.layout.layout_model import Edge
from bellcrank.rehearsal.forms import (
    ACTS,
    FORMS,
    PHRASES,
    Bound,
    Form,
    Matching,
    Wanted,
    as_written,
    described,
)
from bellcrank.rehearsal.other_words import in_other_words
from bellcrank.rehearsal.railway import Railway
from bellcrank.routes.route_model import Route
from bellcrank.routes.route_naming import by_start, find_route
from bellcrank.syntax import tree as t
from bellcrank.syntax.characters import without_unwanted
from bellcrank.syntax.load import MOST_LINES
from bellcrank.syntax.parse import LONGEST_LINE, MOST_ERRORS

SENTENCE = "sentence"
"""The key of a line that is the sentence of an event."""

BY_CONTROLLER = "run by the controller"
"""The line with which the page begins a session in which reports came to a controller."""

WISHED = "what can stand after `expect` in a script, such as `train in PLACE before SIGNAL`"
"""What a condition of a goal begins with."""

MOST_NAMES = 20_000
"""Names among which one like a name that is not known is looked for."""


LONGEST_ROUTE = 200
"""Words by which a route may be named."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a script.

    key: of its form. names: what it names, by the word in capitals of the form.
    """

    key: str
    names: Mapping[str, str]
    text: str
    span: Span


def read_script(
    text: str, file: str, railway: Railway
) -> tuple[tuple[Line, ...], tuple[Diagnostic, ...]]:
    """The lines of a script, and the diagnostics of those that cannot be read.

    file: what messages call it.
    """
    reader = Reader(railway, file)
    if text.count("\n") > MOST_LINES:
        reader.found.report(
            "E103",
            f"the script has over {MOST_LINES:,} lines",
            Span(file, MOST_LINES, 1, MOST_LINES, 2),
        )
        return (), reader.found.result()
    lines = []
    for number, row in enumerate(text.removeprefix("\ufeff").split("\n"), start=1):
        if row.split("#", 1)[0].split() == BY_CONTROLLER.split():
            reader.found.report(
                "E705",
                "this session was run by the controller, of which only the page knows the reports",
                Span(file, number, 1, number, len(row) + 1),
                expected="a session of the interlocking alone",
                hint="load it in the page that `bellcrank build --target page` makes",
            )
            break
        line = reader.line(row, number)
        if line is not None:
            lines.append(line)
        if len(reader.found.diagnostics) >= MOST_ERRORS:
            break
    return tuple(lines), reader.found.result()


@dataclass(slots=True)
class Reader:
    """Reads the lines of one script.

    forms: that its lines may have.
    """

    railway: Railway
    file: str
    forms: Sequence[Form] = FORMS
    found: Collector = field(default_factory=Collector)
    _sentences: frozenset[str] = field(init=False)
    _drives: dict[str, str] = field(init=False)
    _frogs: frozenset[str] = field(init=False)
    _known: dict[str, Iterable[str]] = field(init=False)
    _starts: dict[str, list[Route]] = field(init=False)

    def __post_init__(self) -> None:
        layout, machine = self.railway.layout, self.railway.machine
        acts = any(form in ACTS for form in self.forms)
        self._sentences = frozenset(event.text for event in machine.events if acts)
        self._drives = layout.drives_by_name()
        self._frogs = frozenset(name for name, drive in layout.drives.items() if drive.frog)
        self._known = {
            "SIGNAL": layout.signals,
            "EDGE": layout.edges,
            "DRIVE": self._drives,
            "PLACE": self.railway.parts_of,
            "START": self.railway.parts_of,
            "SECTION": [*layout.sections, *layout.section_of],
            "EVENT": {event.name: None for event in machine.events},
        }
        self._known["CAUSE"] = [
            *self.railway.parts_of,
            *self._drives,
            *self.railway.table.routes,
        ]
        self._starts = by_start(self.railway.table.routes.values())

    def line(self, row: str, number: int) -> Line | None:
        """One line; None if it says nothing or cannot be read."""
        if len(row) > LONGEST_LINE:
            self.found.report(
                "E103",
                f"this line has {len(row):,} characters; no line may have over {LONGEST_LINE:,}",
                Span(self.file, number, LONGEST_LINE + 1, number, LONGEST_LINE + 2),
                expected="one act a line",
            )
            return None
        faulty = len(self.found.diagnostics)
        row = without_unwanted(row, self.file, self.found, MOST_ERRORS, number)
        if len(self.found.diagnostics) > faulty:
            return None
        words = [
            t.Word(Span(self.file, number, m.start() + 1, number, m.end() + 1), m.group())
            for m in re.finditer(r"\S+", row.split("#", 1)[0])
        ]
        if not words:
            return None
        span = words[0].span.to(words[-1].span)
        text = _text(words)
        if text in self._sentences:
            return Line(SENTENCE, {"SENTENCE": text}, text, span)
        # First with names that are there, then with any words in the place of names:
        # what is wrong is told from the reading that makes sense for longer.
        texts = [word.text for word in words]
        strict = Matching(texts, lambda *place: self._ends(words, *place, strict=True))
        loose = Matching(texts, lambda *place: self._ends(words, *place, strict=False))
        for matching in (strict, loose):
            for form in self.forms:
                bound = matching.match(form)
                if bound is not None:
                    return self._named(form, bound, words, Line(form.key, {}, text, span))
        self._unreadable(words, loose if loose.reached > strict.reached else strict)
        return None

    # ------------------------------------------------------------------ names

    def _ends(
        self, words: list[t.Word], slot: str, at: int, bound: Bound, *, strict: bool
    ) -> Iterator[int | tuple[int, Wanted]]:
        ends: Iterable[int | tuple[int, Wanted]]
        if slot == "EVENT":
            ends = [len(words)]
        elif slot in ("DRIVE", "CAUSE") and _text(words[at : at + 2]) in self._frogs:
            ends = [at + 2]  # a frog is called by two words
        elif slot in ("ROUTE", "CAUSE"):
            ends = self._ends_of_route(words, at)
        else:
            ends = [at + 1]
        for end in ends:
            if strict and not isinstance(end, tuple):
                name = self._find(slot, words[at:end], words, bound, Collector())
                if name is None:
                    continue
            yield end

    def _ends_of_route(self, words: list[t.Word], at: int) -> Iterator[int | tuple[int, Wanted]]:
        routes = self.railway.table.routes
        furthest = min(len(words), at + LONGEST_ROUTE)
        ends = [end for end in range(furthest, at, -1) if _text(words[at:end]) in routes]
        if len(words) > at + 2 and words[at + 1].text == "to":
            end = at + 3
            longer = [end]
            while len(words) > end + 1 and words[end].text == (
                "then" if len(longer) > 1 else "via"
            ):
                end += 2
                longer.append(end)
            if [word.text for word in words[end : end + 2]] == ["calling", "on"]:
                longer.append(end + 2)
            ends += reversed(longer)
        yield from dict.fromkeys(ends)
        if words[at].text not in self._starts:
            yield at + 1
        elif not ends and [word.text for word in words[at + 1 : at + 2]] == ["to"]:
            yield at + 2, described("where the route ends")
        elif not ends:
            yield at + 1, as_written("to")

    def _find(
        self, slot: str, own: list[t.Word], words: list[t.Word], bound: Bound, found: Collector
    ) -> str | None:
        """The name that words stand for, as the layout has it; None with the reason reported."""
        text = _text(own)
        if slot == "ROUTE" or (slot == "CAUSE" and len(own) > 1 and text not in self._drives):
            return self._find_route(own, found)
        if slot in ("POSITION", "ASPECT"):
            owner = "DRIVE" if slot == "POSITION" else "SIGNAL"
            of = _text(words[slice(*bound[owner])])
            return self._find_of(slot, own[0], of, found)
        if text not in self._known[slot]:
            self._unknown(slot, own, found)
            return None
        if slot == "DRIVE":
            return self._drives[text]
        if slot == "SECTION":
            return self.railway.layout.section_of.get(text, text)
        return text

    def _find_route(self, own: list[t.Word], found: Collector) -> str | None:
        routes = self.railway.table.routes
        if _text(own) in routes:
            return _text(own)
        ref: t.RouteRef = t.RouteByName(own[0].span, own[0])
        if len(own) > 1:
            calling_on = [word.text for word in own[-2:]] == ["calling", "on"]
            names = own[4 : -2 if calling_on else None : 2]
            via = tuple(t.Passing(word.span, word, None) for word in names)
            ref = t.RouteWay(own[0].span.to(own[-1].span), own[0], own[2], via, calling_on)
        route = find_route(ref, routes, self._starts, found, "E706")
        return None if route is None else route.name

    def _find_of(self, slot: str, own: t.Word, of: str, found: Collector) -> str | None:
        layout = self.railway.layout
        if slot == "POSITION" and of in self._drives:
            known = layout.drives[self._drives[of]].positions
            what = "position"
        elif slot == "ASPECT" and of in layout.signals:
            known = tuple(aspect.name for aspect in layout.signals[of].aspects)
            what = "aspect"
        else:
            return own.text  # whose it is has been reported
        if own.text not in known:
            found.report(
                "E706",
                f"{of} has no {what} `{own}`",
                own.span,
                expected=f"one of: {_some(known)}",
                hint=did_you_mean(own.text, known),
            )
            return None
        return own.text

    def _unknown(self, slot: str, own: list[t.Word], found: Collector) -> None:
        text, what = _text(own), PHRASES[slot]
        names = sorted(set(self._known[slot]))
        other = next((PHRASES[s] for s, known in self._known.items() if text in known), None)
        message = f"there is no {_NOUNS.get(slot, what.noun)} `{text}`"
        if other is not None:
            message = f"`{text}` is {other}, not {what}"
        found.report(
            "E706",
            message,
            own[0].span.to(own[-1].span),
            expected=f"{what}: {_some(names)}" if names and slot != "EVENT" else str(what),
            hint=(self._placed(text) if slot == "SIGNAL" else None)
            or did_you_mean(text, names[:MOST_NAMES]),
        )

    def _placed(self, where: str) -> str | None:
        """How a train is put where somebody wants it: at an edge it comes in, in a place it stands
        before the signal there; None if it is neither, or nothing of the kind can be."""
        if self.forms is not FORMS:
            return None
        if where in self.railway.layout.edges:
            comes = where in self._able("comes in")
            return f"write `train comes in from {where}`" if comes else None
        parts = self.railway.parts_of.get(where, ())
        signals = [
            signal
            for signal in self._able("stands")
            if any(self.railway.fronts_before(part, signal) for part in parts)
        ]
        written = " or ".join(f"`train stands before {signal}`" for signal in signals[:2])
        return f"write {written}" if written else None

    def _named(self, form: Form, bound: Bound, words: list[t.Word], line: Line) -> Line | None:
        """The line with its names; None with the reason reported."""
        names: dict[str, str] = {}
        for slot, (at, end) in bound.items():
            name = self._find(slot, words[at:end], words, bound, self.found)
            if name is None:
                return None
            names[slot] = name
        line = Line(form.key, names, line.text, line.span)
        return line if self._can_ever_be(line, bound, words) else None

    # ------------------------------------------------------- what can never be

    def _can_ever_be(self, line: Line, bound: Bound, words: list[t.Word]) -> bool:
        """Whether the machine has events for an act; reports it if it has none."""
        if line.key in ("train before", "came before"):
            return self._can_come_before(line, bound, words)
        if line.key not in _NEVER:
            return True
        able = self._able(line.key)
        ((slot, name),) = line.names.items()
        if name in able:
            return True
        start, end = bound[slot]
        signal = self.railway.parts.signals.get(Edge(name)) if slot == "EDGE" else None
        self.found.report(
            "E707",
            _NEVER[line.key].format(name),
            words[start].span.to(words[end - 1].span),
            expected=f"{PHRASES[slot]}: {_some(able)}" if able else None,
            hint=f"`train passes {signal.name}`: the train waits outside" if signal else None,
        )
        return False

    def _can_come_before(self, line: Line, bound: Bound, words: list[t.Word]) -> bool:
        """Whether a signal stands where a train leaves a place; reports it if it does not."""
        place, signal = line.names["PLACE"], line.names["SIGNAL"]
        parts = self.railway.parts_of[place]
        before = [
            name
            for name in self.railway.layout.signals
            if any(self.railway.fronts_before(part, name) for part in parts)
        ]
        if signal in before:
            return True
        start, end = bound["SIGNAL"]
        self.found.report(
            "E707",
            f"no train in {place} comes to {signal} next",
            words[start].span.to(words[end - 1].span),
            expected=f"a signal where {place} is left: {_some(before)}" if before else None,
            hint=None if before else f"no signal stands there; write `train in {place}`",
        )
        return False

    def _able(self, key: str) -> list[str]:
        """The names for which an act has events."""
        railway = self.railway
        match key:
            case "comes in":
                return [e for e in railway.layout.edges if railway.events("comes in", e)]
            case "stands":
                return [s for s in railway.layout.signals if railway.events("put down", s)]
            case "turns back":
                return [p for p in railway.parts_of if railway.in_place("turns back", p)]
            case "ready":
                return [s for s in railway.layout.signals if railway.events("ready to leave", s)]
            case "uncoupled":
                return [p for p in railway.parts_of if railway.in_place("uncoupled", p)]
            case _:
                return [s for s in railway.layout.signals if railway.events_past(s)]

    # ------------------------------------------------------- what is no line

    def _unreadable(self, words: list[t.Word], matching: Matching) -> None:
        at = matching.reached
        wanted = list(matching.wanted[at])
        if at < len(words):
            word, span = words[at].text, words[at].span
            what = f"`{word}` does not belong here" if at else f"`{word}` starts no line"
        else:
            end = words[-1].span
            word, what = "", "the line ends too early"
            span = Span(end.file, end.line, end.end_column, end.line, end.end_column + 1)
        hint = self._like(_text(words))
        if hint is None and word in _AT and [w.text for w in words[:2]] == ["train", "stands"]:
            hint = self._placed(_text(words[at + 1 : at + 2]))
        if hint is None and at == 0 and self.forms is FORMS:
            hint = in_other_words([w.text for w in words])
        if hint is None and self.forms is not FORMS and words[0].text in _ASKED_FOR:
            hint = "a goal says what is to be so; what is done for it is found"
        if hint is None and word:
            hint = did_you_mean(word, [w.words[0] for w in wanted if w.literal])
        self.found.report("E705", what, span, expected=self._listed(wanted, at), hint=hint)

    def _listed(self, wanted: list[Wanted], at: int) -> str:
        if at:
            return _listed(wanted)
        if self.forms is FORMS:
            return "an act, such as `request`, `train` or `wait`; or `expect`"
        return WISHED

    def _like(self, text: str) -> str | None:
        """The sentence of an event that a line is very much like: one word is another."""
        words = text.split()
        alike = [sentence for sentence in self._sentences if _one_differs(sentence.split(), words)]
        near = difflib.get_close_matches(text, sorted(alike), n=1, cutoff=0.9)
        return f"did you mean `{near[0]}`?" if near else None


def _one_differs(one: list[str], other: list[str]) -> bool:
    return len(one) == len(other) and sum(map(ne, one, other)) == 1


_ASKED_FOR = ("request", "cancel")
"""First words of acts that may be taken for the beginning of a condition."""

_AT = ("in", "at", "on")
"""Words with which people say where a train stands."""

_NOUNS = {
    "EVENT": "event",
    "PLACE": "section and no piece of track",
    "START": "section and no piece of track",
    "CAUSE": "route, drive or section",
}

_NEVER = {
    "comes in": "no train comes in from {} to the track there",
    "stands": "no train can be put on the track before {}",
    "uncoupled": "no train comes into {}, so nothing is uncoupled there",
    "ready": "no route begins at {}, so nothing leaves past it",
    "passes": "no route begins at {}, so no train passes it",
    "front passes": "no route begins at {}, so no train passes it",
    "turns back": "no train turns back in {}: there is no signal to let it out again",
}
"""What to say where an act has no events."""


def _text(words: Iterable[t.Word]) -> str:
    return " ".join(word.text for word in words)


def _some(names: Iterable[str]) -> str:
    names = list(names)
    shown = ", ".join(names[:8])
    return shown + (f" or one of {len(names) - 8} more" if len(names) > 8 else "")


def _listed(wanted: list[Wanted]) -> str:
    if len(wanted) == 1:
        return str(wanted[0])
    ordered = [str(w) for w in sorted(wanted, key=lambda w: (w.literal, str(w)))]
    return ", ".join(ordered[:-1]) + " or " + ordered[-1]
