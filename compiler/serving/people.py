"""Who may ask what: people with their keys, and what part of the railway each may work.

A key stands for a person. Without a file of people there is one key to work all and one to look
on, both drawn anew at each start; whoever has the first says on the page what they are called.
"""

from __future__ import annotations

import hmac
import secrets
import tomllib
from dataclasses import dataclass
from pathlib import Path

from bellcrank.layout.layout_model import Layout

_SHORTEST = 16
"""Letters of a key."""

LONGEST_NAME = 40


class PeopleError(ValueError):
    """A file of people that cannot be used, as a sentence without its full stop."""


@dataclass(frozen=True, slots=True)
class Person:
    """name: empty for whoever has the key to work all, and says on the page what they are called.
    works: the signals at which routes begin that this person may ask for; None for all.
    """

    name: str
    works: frozenset[str] | None

    def may_work(self, signal: str) -> bool:
        return self.works is None or signal in self.works

    @property
    def watches(self) -> bool:
        """Whether this person may only look on."""
        return self.works is not None and not self.works


@dataclass(frozen=True, slots=True)
class People:
    """Everybody, by key."""

    by_key: dict[str, Person]

    def with_key(self, key: str) -> Person | None:
        """Whose key it is. Every key is compared, in a time that tells nothing of them."""
        found = None
        for known, person in self.by_key.items():
            if hmac.compare_digest(known.encode(), key.encode("utf-8", "replace")):
                found = person
        return found


def anybody() -> tuple[People, str, str]:
    """People without a file: with the key to work all, and the one to look on."""
    works, watches = secrets.token_urlsafe(18), secrets.token_urlsafe(18)
    people = People({works: Person("", None), watches: Person("", frozenset())})
    return people, works, watches


def read_people(path: Path, layout: Layout) -> People:
    """People from a file. Raises PeopleError.

    The file is TOML: a `[[person]]` each with `name`, `key`, and `works`: "all", "nothing", or a
    list of signals.
    """
    try:
        told = tomllib.loads(path.read_text("utf-8"))
    except OSError as error:
        raise PeopleError(f"{path} cannot be read: {error.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise PeopleError(f"{path} is not TOML: {error}") from None
    rows = told.pop("person", None)
    if told or not isinstance(rows, list) or not rows:
        raise PeopleError(
            f"{path} holds no people: write a `[[person]]` for each, and nothing else"
        )
    found: dict[str, Person] = {}
    names = set()
    for number, row in enumerate(rows, start=1):
        who = f"{path}, person {number}"
        person, key = _person(row, who, layout)
        if key in found:
            raise PeopleError(f"{who}: the same key as that of {found[key].name}")
        if person.name in names:
            raise PeopleError(f"{who}: there are two called {person.name}")
        names.add(person.name)
        found[key] = person
    return People(found)


def _person(row: object, who: str, layout: Layout) -> tuple[Person, str]:
    if not isinstance(row, dict) or not row.keys() <= {"name", "key", "works"}:
        raise PeopleError(f"{who}: a person has `name`, `key` and `works`")
    name, key, works = row.get("name"), row.get("key"), row.get("works", "all")
    if not isinstance(name, str) or not name.strip() or len(name) > LONGEST_NAME:
        raise PeopleError(f"{who}: `name` is a text of 1 to {LONGEST_NAME} letters")
    if not isinstance(key, str) or len(key) < _SHORTEST or not key.isascii() or " " in key:
        raise PeopleError(
            f"{who}: `key` is a text of {_SHORTEST} letters or more that nobody can guess, such as "
            f'"{secrets.token_urlsafe(18)}"'
        )
    return Person(name.strip(), _works(works, who, layout)), key


def _works(works: object, who: str, layout: Layout) -> frozenset[str] | None:
    if works == "all":
        return None
    if works == "nothing":
        return frozenset()
    if not isinstance(works, list):
        raise PeopleError(f'{who}: `works` is "all", "nothing" or a list of signals')
    for signal in works:
        if signal not in layout.signals:
            raise PeopleError(f"{who}: the layout has no signal `{signal}`{_near(signal, layout)}")
    return frozenset(works)


def _near(signal: object, layout: Layout) -> str:
    from bellcrank.diagnostics import did_you_mean

    hint = did_you_mean(str(signal), list(layout.signals))
    return f"; {hint}" if hint else ""
