"""Frogs for the sheets: when each needs which polarity, and what gives it.

Frogs of which the same is to be said stand in one row, as those of all points mostly do.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from bellcrank.document.document_types import Document
from bellcrank.document.frog_types import Frog
from bellcrank.document.layout_types import Drive, Side
from bellcrank.document.part import DrivePosition

By = Literal["contact", "output", "reverser", "dead", "could be contact", "open"]
"""What feeds a frog: as `feed` in the document has it; where the layout does not say, whether a
contact could serve."""


@dataclass(frozen=True, slots=True)
class FrogCase:
    """When frogs have which polarity. lies: where drives lie; own: that of each of them, where
    that is one drive which bears the name of the fitting. ways: those used, where only that
    tells. side: of the output, if it has one."""

    lies: tuple[DrivePosition, ...]
    own: str | None
    ways: tuple[tuple[str, str], ...]
    leg: str
    facing: str
    side: Side | None


@dataclass(frozen=True, slots=True)
class FrogRow:
    """Frogs of which the same is to be said. of: the output or the drive, where it is not that of
    the fitting."""

    names: tuple[str, ...]
    cases: tuple[FrogCase, ...]
    by: By
    of: str | None


def frog_rows(document: Document) -> list[FrogRow]:
    """The frogs at which something must be switched, or that are dead, in the order of the
    layout; those of which the same is to be said, together."""
    rows = _rows(document)
    found = []
    kinds = {e.name: e.kind for e in document.layout.elements}
    names = {frog.name: kinds[frog.element] for frog in document.layout.frogs}
    order: dict[tuple[object, ...], int] = {}
    for row in rows:
        order.setdefault(_alike(row, names), len(order))
    rows.sort(key=lambda row: order[_alike(row, names)])
    for _, same in groupby(rows, key=lambda row: _alike(row, names)):
        some = list(same)
        together = tuple(name for row in some for name in row.names)
        found.append(FrogRow(together, some[0].cases, some[0].by, some[0].of))
    return found


def frogs_of(document: Document) -> dict[str, list[FrogRow]]:
    """The same by fitting, each frog in a row of its own."""
    found: dict[str, list[FrogRow]] = {}
    fittings = {frog.name: frog.element for frog in document.layout.frogs}
    for row in _rows(document):
        found.setdefault(fittings[row.names[0]], []).append(row)
    return found


def _rows(document: Document) -> list[FrogRow]:
    drives = {drive.name: drive for drive in document.layout.drives}
    return [_row(frog, drives) for frog in document.layout.frogs if not frog.alike]


def _alike(row: FrogRow, kinds: dict[str, str]) -> tuple[object, ...]:
    """What rows that can stand together have in common. An output is of one frog alone."""
    said = tuple(
        (case.own, case.own is None and case.lies, case.ways, case.leg, case.facing)
        for case in row.cases
    )
    alone = row.names if row.by == "output" else ()
    return row.by, row.of, kinds[row.names[0]], said, alone


def _row(frog: Frog, drives: dict[str, Drive]) -> FrogRow:
    by: By = frog.feed or ("could be contact" if frog.contact is not None else "open")
    of = frog.drive if by == "contact" else frog.contact if by == "could be contact" else None
    own = of is not None and frog.element in drives[of].works
    sides: dict[str, Side | None] = {}
    if by == "output" and frog.drive is not None:
        positions = drives[frog.drive].positions
        sides = {p.position: p.side for p in positions}
        of = f"{positions[0].decoder}.{positions[0].output}"
    cases = []
    for case in frog.cases if by != "dead" else ():
        if case.way is None:
            position = case.when[0].position if own else None
            lies = tuple(case.when)
            side = sides.get(case.from_leg)
            cases.append(FrogCase(lies, position, (), case.from_leg, case.facing, side))
    if not cases and by != "dead":
        for leg in frog.between:
            ways = tuple((c.way[0], c.way[1]) for c in frog.cases if c.way and c.from_leg == leg)
            facing = next(other for other in frog.between if other != leg)
            if ways:
                cases.append(FrogCase((), None, ways, leg, facing, sides.get(leg)))
    return FrogRow((frog.name,), tuple(cases), by, None if own else of)
