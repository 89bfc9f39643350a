"""What a proof has to say to whoever is writing the layout, and at which places."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sized

from bellcrank.compilation import Checked
from bellcrank.diagnostics import Span
from bellcrank.editing.proof_messages import Finding, Gravity, Step
from bellcrank.machine.wording import rule_text, rule_with_place
from bellcrank.proof.moving.story import Story
from bellcrank.proof.standing.blocked_trains import blocked_trains
from bellcrank.proof.standing.minimal_core import never_settable
from bellcrank.proof.verdict import Hazard, MovingResult
from bellcrank.routes.route_model import Route
from bellcrank.routes.sentences import listed
from bellcrank.syntax import tree as t
from bellcrank.terminal.outcome_words import outcome_words

MOST_HAZARDS = 10
"""Unsafe sets of routes that are told."""

MOST_STORIES = 5
"""Stories that are told."""

_GRAVITY: dict[str, Gravity] = {"refuted": "error", "undecided": "warning", "unmet": "warning"}
"""Of outcomes; every other is for information."""


def findings(c: Checked) -> tuple[Finding, ...]:
    """The verdict, on the `layout` line or the first; there as well what is unsafe and how that
    comes about, with the places that it happens at; expectations that do not hold, where they
    stand; routes that can never be set, and trains that can block each other."""
    return (
        Finding(_GRAVITY.get(c.outcome, "information"), c.outcome, _verdict(c), _layout_line(c)),
        *(_of_hazard(c, hazard) for hazard in c.standing.hazards[:MOST_HAZARDS]),
        *_stories(c),
        *_expectations(c),
        *_barred(c),
        *_blocked(c),
    )


def _layout_line(c: Checked) -> Span:
    """The `layout` line, or, if the layout's own file has none, its first line."""
    own = c.program.files[-1]
    lines = [s for s in own.statements if isinstance(s, t.LayoutLine)]
    first = [*lines, *own.statements][:1]
    return first[0].span if first else Span(own.name, 1, 1, 1, 2)


def _verdict(c: Checked) -> str:
    """The outcome in a few lines: of what, by what, and under which assumptions."""
    of = f"{_count(c.table.routes, 'route')}, {_count(c.table.conflicts, 'conflicting pair')}"
    by = " and ".join(c.moving.solvers)
    said = [f"{outcome_words(c)} by {by}: {of}"]
    results: list[tuple[str, str]] = [(p.outcome, p.sentence) for p in c.standing.properties]
    results += [(r.outcome, r.sentence) for r in c.moving.results if not r.expectation]
    for outcome, word in (("refuted", "fails"), ("undecided", "undecided")):
        failing = dict.fromkeys(sentence for known, sentence in results if known == outcome)
        said += [f"{word}: {sentence}" for sentence in failing]
    if c.moving.stopped:
        said.append(f"stopped {c.moving.stopped}")
    assumed = (c.controlled or c.moving).assumptions
    said.append("assuming " + ", ".join(assumed))
    return "\n".join(said)


def _count(things: Sized, noun: str) -> str:
    return f"{len(things)} {noun}{'' if len(things) == 1 else 's'}"


def _of_hazard(c: Checked, hazard: Hazard) -> Finding:
    where = tuple(Step(f"the route {name}", c.table.routes[name].span) for name in hazard.routes)
    said = f"unsafe: {hazard.sentence}\nmissing rule: {hazard.missing}"
    return Finding("error", "refuted", said, hazard.instead_of or _layout_line(c), where)


def _stories(c: Checked) -> Iterator[Finding]:
    told = [r for r in c.moving.results if r.story is not None]
    for result in told[:MOST_STORIES]:
        if result.story is not None:
            yield _of_story(c, result, result.story)


def _of_story(c: Checked, result: MovingResult, story: Story) -> Finding:
    line = _layout_line(c)
    lies = "".join(f"{drive} lies {position}. " for drive, position in story.start)
    steps = tuple(
        Step(f"{number}. {step.sentence}", step.span or line)
        for number, step in enumerate(story.steps, start=1)
    )
    said = f"{result.sentence}: fails. {lies}After {_count(steps, 'event')}: {story.ending}"
    return Finding("error", "refuted", said, line, steps)


def _expectations(c: Checked) -> Iterator[Finding]:
    moving: Mapping[str, MovingResult] = {r.name: r for r in c.moving.results if r.expectation}
    for expectation in c.standing.expectations:
        result = moving.get(expectation.name)
        outcomes = {expectation.outcome, result.outcome if result else "proved"}
        if "refuted" in outcomes:
            said = f"does not hold: {expectation.why or (result.sentence if result else '')}"
            yield Finding("error", "unmet", said, expectation.span, _routes(c, result))
        elif "undecided" in outcomes:
            said = "undecided: whether this holds could not be decided"
            yield Finding("warning", "undecided", said, expectation.span)


def _barred(c: Checked) -> Iterator[Finding]:
    """Routes that can never be set, where they begin, with the rules that make it so."""
    barred = never_settable(c.layout, c.locking, c.standing, c.moving)
    for name, rules in barred.items():
        because = "; ".join(map(rule_with_place, rules)) or "taken together"
        steps = tuple(Step(rule_text(rule), rule.span) for rule in rules if rule.span)
        said = f"{name} can never be set under these rules: {because}"
        yield Finding("information", "never set", said, c.table.routes[name].span, steps)


def _blocked(c: Checked) -> Iterator[Finding]:
    """Trains that would wait for each other although the locking is sound."""
    if c.outcome == "refuted":
        return
    blocked = blocked_trains(c.layout, c.table, c.locking).found
    if blocked is None:
        return
    trains = listed(f"in {train.section} before {train.signal}" for train in blocked.waiting)
    until = "" if blocked.for_good else " until one goes back"
    steps = tuple(
        Step(f"a train in {train.section}", c.layout.signals[train.signal].span)
        for train in blocked.waiting
        if train.signal in c.layout.signals
    )
    said = f"trains {trains} would wait for each other{until}"
    yield Finding("information", "blocked", said, _layout_line(c), steps)


def _routes(c: Checked, result: MovingResult | None) -> tuple[Step, ...]:
    routes: list[Route] = [c.table.routes[n] for n in (result.never_set if result else ())]
    return tuple(Step(f"{route.name} can never be set", route.span) for route in routes)
