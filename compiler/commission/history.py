"""How a layout stands by all its records: what has been tested as it is now, and what has not.

A record counts for a check as long as its digest is the same (`tested.py`). What was found wrong
later than it was found right is wrong, until it is found right again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Literal, NamedTuple

from bellcrank.commission.checks import Checklist
from bellcrank.commission.tested import CheckKind, Tested, checks_now
from bellcrank.layout.layout_model import Layout

State = Literal["right", "wrong", "changed since", "never tested"]
"""`changed since`: it was found right, but not as it is now."""


class Session(NamedTuple):
    """A commissioning, as its record tells it.

    on: the day, as `2026-05-01`. wrong: what was found wrong. right: what was found right, that
    day or earlier and not been asked since.
    """

    on: str
    wrong: frozenset[tuple[CheckKind, str]]
    right: Sequence[Tested]


class Standing(NamedTuple):
    """How a check stands. on: the day that says so; empty if it was never tested."""

    kind: CheckKind
    name: str
    state: State
    on: str


def standings(
    sessions: Iterable[Session], checklist: Checklist, layout: Layout
) -> tuple[Standing, ...]:
    """How each check of a layout stands. sessions: from the earliest on."""
    right: dict[tuple[CheckKind, str, str], str] = {}
    wrong: dict[tuple[CheckKind, str], str] = {}
    ever: dict[tuple[CheckKind, str], str] = {}
    for session in sessions:
        for found in session.wrong:
            wrong[found] = session.on
            right = {key: on for key, on in right.items() if key[:2] != found}
        for each in session.right:
            if (each.kind, each.name) not in session.wrong:
                if each.on == session.on:
                    wrong.pop((each.kind, each.name), None)
                right[each[:3]] = max(each.on, right.get(each[:3], ""))
            ever[each.kind, each.name] = max(each.on, ever.get((each.kind, each.name), ""))
    return tuple(_standing(each, right, wrong, ever) for each in checks_now(checklist, layout))


def _standing(
    each: Tested,
    right: Mapping[tuple[CheckKind, str, str], str],
    wrong: Mapping[tuple[CheckKind, str], str],
    ever: Mapping[tuple[CheckKind, str], str],
) -> Standing:
    key = each.kind, each.name
    if key in wrong:
        return Standing(*key, "wrong", wrong[key])
    if each[:3] in right:
        return Standing(*key, "right", right[each[:3]])
    if key in ever:
        return Standing(*key, "changed since", ever[key])
    return Standing(*key, "never tested", "")
