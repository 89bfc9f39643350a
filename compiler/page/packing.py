"""The machine in few bytes, for a page that carries it to a browser.

Nothing is left out and nothing is added: every string, literal, clause and change
stands once and is named by its number. `unpacked` in targets/page/machine.js reads it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from itertools import zip_longest
from typing import Generic, TypeVar

from bellcrank.document.plain import Data
from bellcrank.machine.machine_model import Clause, Event, Machine, Variable

T = TypeVar("T")

_WORD = re.compile(r"\w+")

GAP = "%"
"""Where a word is left out of a text."""


class Numbers(Generic[T]):
    """Things numbered as they come, each once."""

    def __init__(self) -> None:
        self.of: dict[T, int] = {}

    def __call__(self, thing: T) -> int:
        return self.of.setdefault(thing, len(self.of))

    def listed(self) -> list[T]:
        return list(self.of)


class Phrases:
    """Texts taken apart into what many of them share and the names in the gaps.

    names: whose words are left out of a text.
    """

    def __init__(self, names: Iterable[str]) -> None:
        self._names = frozenset(word for name in names for word in _WORD.findall(name))
        self._words: Numbers[str] = Numbers()
        self._forms: Numbers[str] = Numbers()
        self._phrases: Numbers[tuple[int, ...]] = Numbers()
        self._known: dict[str, int] = {}

    def __call__(self, text: str) -> int:
        """The number of a text."""
        known = self._known.get(text)
        if known is None:
            known = self._known[text] = self._numbered(text)
        return known

    def _numbered(self, text: str) -> int:
        if GAP in text:
            return self._phrases((self._forms(GAP), self._words(text)))
        left_out: list[int] = []

        def gap(word: re.Match[str]) -> str:
            if word[0] not in self._names:
                return word[0]
            left_out.append(self._words(word[0]))
            return GAP

        form = _WORD.sub(gap, text)
        return self._phrases((self._forms(form), *left_out))

    def data(self) -> Data:
        """The words, the forms with their gaps, and of each text its form and its words;
        these as differences, end to end."""
        return {
            "words": self._words.listed(),
            "forms": self._forms.listed(),
            "phrases": end_to_end(differences(self._phrases.listed())),
        }


def counted_back(rows: Iterable[Iterable[int]]) -> list[list[int]]:
    """Numbers counted back from the first that was not named yet: 0 is that one itself.

    Things that are named in the order of their numbers, mostly soon after each other,
    become small figures, many of them the same.
    """
    upcoming = 0
    found = []
    for row in rows:
        counted = []
        for number in row:
            counted.append(upcoming - number)
            upcoming = max(upcoming, number + 1)
        found.append(counted)
    return found


def end_to_end(rows: Iterable[Sequence[int]]) -> Data:
    """Rows as two lists, how long each is and all their numbers: a browser reads two long
    lists much faster than a hundred thousand short ones."""
    lengths: list[int] = []
    numbers: list[int] = []
    for row in rows:
        lengths.append(len(row))
        numbers.extend(row)
    return {"lengths": lengths, "numbers": numbers}


def differences(rows: Iterable[Sequence[int]]) -> list[list[int]]:
    """What each row has more than the one before, place by place; where that has none, 0
    stands for it. Rows that follow from one another become small figures."""
    before: Sequence[int] = ()
    found = []
    for row in rows:
        found.append([n - b for n, b in zip_longest(row, before[: len(row)], fillvalue=0)])
        before = row
    return found


def packed(machine: Machine, phrases: Phrases, together: Machine | None = None) -> Data:
    """A machine by numbers; its texts go into the phrases.

    variables: kind, of, the values, and which of these may be the first.
    literals: the number of a variable, then the values that are right; of a literal
        with many, minus one minus the number of the variable, then those that are wrong.
    clauses: literals. changes: a variable, then value and new value, again and again.
    events: of each kind, actor, of, route or null. invariants: of.
    texts: of each event its name and what happens, then of each invariant its sentence.
    guards: the clauses of each event, then the clause of each invariant.
    updates: the changes of each event.
    Literals, clauses, changes, texts, guards and updates stand end to end; of these,
    clauses, texts, guards and updates are counted back.

    together: the machine of the same railway with its controller, if that is wanted too. It
        has all of the machine's variables, and its invariants among its own, which are left
        out here. Its variables stand after the machine's. After their rows of texts, guards
        and updates stand those of its events: of an event with a base, that is an event of the
        machine that it takes from and adds to, only what it has more.
    variables there: how many are the machine's. base: the number of that event or null.
    events there: as above, of those that have no base.
    """
    variables = (machine if together is None else together).variables
    if tuple(variables)[: len(machine.variables)] != tuple(machine.variables):
        raise ValueError("machine and controller do not have their variables in common")
    number = {name: k for k, name in enumerate(variables)}
    place = {name: {value: k for k, value in enumerate(v.values)} for name, v in variables.items()}
    literals: Numbers[tuple[int, ...]] = Numbers()
    clauses: Numbers[tuple[int, ...]] = Numbers()
    changes: Numbers[tuple[int, ...]] = Numbers()

    @cache
    def literal(variable: str, values: frozenset[str]) -> int:
        right = sorted(place[variable][v] for v in values)
        if 2 * len(right) <= len(place[variable]):
            return literals((number[variable], *right))
        wrong = sorted(k for v, k in place[variable].items() if v not in values)
        return literals((-1 - number[variable], *wrong))

    def clause(given: Clause) -> int:
        return clauses(tuple(literal(*each) for each in given))

    def change(variable: str, becomes: Mapping[str, str]) -> int:
        where = place[variable]
        pairs = sorted((where[before], where[to]) for before, to in becomes.items())
        return changes((number[variable], *(k for pair in pairs for k in pair)))

    texts = [[phrases(e.name), phrases(e.text)] for e in machine.events]
    texts += [[phrases(i.sentence)] for i in machine.invariants]
    guards = [[clause(each) for each in e.guard] for e in machine.events]
    guards += [[clause(i.clause)] for i in machine.invariants]
    updates = [[change(*each) for each in e.updates.items()] for e in machine.events]
    more: Data = {}
    if together is not None:
        bases = _bases(machine, together)
        for base, event in zip(bases, together.events, strict=True):
            known = None if base is None else machine.events[base]
            from_clause, from_update = (len(known.guard), len(known.updates)) if known else (0, 0)
            texts.append([] if known else [phrases(event.name), phrases(event.text)])
            guards.append([clause(each) for each in event.guard[from_clause:]])
            updates.append([change(*each) for each in [*event.updates.items()][from_update:]])
        alone = [e for base, e in zip(bases, together.events, strict=True) if base is None]
        more["together"] = {
            "variables": len(machine.variables),
            "base": bases,
            "events": _events(alone, phrases),
        }
    return more | {
        "variables": [_variable(v, phrases) for v in variables.values()],
        "literals": end_to_end(literals.listed()),
        "clauses": end_to_end(counted_back(clauses.listed())),
        "changes": end_to_end(changes.listed()),
        "events": _events(machine.events, phrases),
        "invariants": [phrases(i.of) for i in machine.invariants],
        "texts": end_to_end(counted_back(texts)),
        "guards": end_to_end(counted_back(guards)),
        "updates": end_to_end(counted_back(updates)),
    }


def _bases(machine: Machine, together: Machine) -> list[int | None]:
    """For each event of the larger machine the event of the smaller that it adds to."""
    named = {event.name: number for number, event in enumerate(machine.events)}
    found: list[int | None] = []
    for event in together.events:
        number = named.get(event.name)
        adds = number is not None and _adds_to(machine.events[number], event)
        found.append(number if adds else None)
    return found


def _adds_to(one: Event, other: Event) -> bool:
    """Whether an event is another with nothing but more clauses and more updates."""
    said = (one.kind, one.actor, one.of, one.text, one.route)
    updates = [*other.updates.items()][: len(one.updates)]
    return (
        said == (other.kind, other.actor, other.of, other.text, other.route)
        and other.guard[: len(one.guard)] == one.guard
        and updates == [*one.updates.items()]
    )


def _events(events: Sequence[Event], phrases: Phrases) -> Data:
    return {
        "kind": [phrases(e.kind) for e in events],
        "actor": [phrases(e.actor) for e in events],
        "of": [phrases(e.of) for e in events],
        "route": [None if e.route is None else phrases(e.route) for e in events],
    }


def _variable(v: Variable, phrases: Phrases) -> list[int | list[int]]:
    initial = [v.values.index(value) for value in v.initial]
    return [phrases(v.name), phrases(v.kind), phrases(v.of), [*map(phrases, v.values)], initial]
