"""The machine in few bytes, for a page that carries it to a browser.

Nothing is left out and nothing is added: every string, literal, clause and change
stands once and is named by its number. `unpacked` in targets/page/machine.js reads it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any, Generic, TypeVar

from bellcrank.machine.model import Clause, Machine, Variable

Data = dict[str, Any]

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

    names: the words that are left out of a text.
    """

    def __init__(self, names: Iterable[str]) -> None:
        self._names = frozenset(names)
        self._words: Numbers[str] = Numbers()
        self._forms: Numbers[str] = Numbers()
        self._phrases: Numbers[tuple[int, ...]] = Numbers()

    def __call__(self, text: str) -> int:
        """The number of a text."""
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
        """The words, the forms with their gaps, and of each text its form and its words."""
        return {
            "words": self._words.listed(),
            "forms": self._forms.listed(),
            "phrases": self._phrases.listed(),
        }


def packed(machine: Machine, phrases: Phrases) -> Data:
    """A machine by numbers; its texts go into the phrases.

    variables: kind, of, the values, how many may be the first; those stand in front.
    literals: the number of a variable, then the values that are right; of a literal
        with many, minus one minus the number of the variable, then those that are wrong.
    clauses: literals. changes: a variable, then value and new value, again and again.
    events: name, kind, actor, of, route or null, text, clauses, changes.
    invariants: of, clause, sentence.
    """
    number = {name: k for k, name in enumerate(machine.variables)}
    place = {
        name: {value: k for k, value in enumerate(v.values)}
        for name, v in machine.variables.items()
    }
    literals: Numbers[tuple[int, ...]] = Numbers()
    clauses: Numbers[tuple[int, ...]] = Numbers()
    changes: Numbers[tuple[int, ...]] = Numbers()

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

    events = [
        [
            phrases(e.name),
            phrases(e.kind),
            phrases(e.actor),
            phrases(e.of),
            None if e.route is None else phrases(e.route),
            phrases(e.text),
            [clause(each) for each in e.guard],
            [change(*each) for each in e.updates.items()],
        ]
        for e in machine.events
    ]
    invariants = [
        [phrases(i.of), clause(i.clause), phrases(i.sentence)] for i in machine.invariants
    ]
    return {
        "variables": [_variable(v, phrases) for v in machine.variables.values()],
        "literals": literals.listed(),
        "clauses": clauses.listed(),
        "changes": changes.listed(),
        "events": events,
        "invariants": invariants,
    }


def _variable(v: Variable, phrases: Phrases) -> list[Any]:
    initial = [v.values.index(value) for value in v.initial]
    return [phrases(v.name), phrases(v.kind), phrases(v.of), [*map(phrases, v.values)], initial]
