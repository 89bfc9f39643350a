"""The option `--broken`, which two commands have: what is to be broken once, and where."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

import click

from bellcrank.commands.declaring import OneOfMany
from bellcrank.controller.breakings import BREAKINGS, Breaking

ALL = "all"

_AT = " at "

_ALSO_SAID = {
    "spad": "signal passed at stop",
    "signal passed at danger": "signal passed at stop",
    "runaway": "vehicles left behind",
    "train divided": "vehicles left behind",
    "detector broken": "stuck at clear",
    "points failed": "points did not move",
}
"""What railwaymen say."""


class BrokenWish(NamedTuple):
    """What is to be broken. place: a section, a drive, a signal, an edge or a route; empty for
    anywhere."""

    what: str
    place: str = ""


class WhatIsBroken(OneOfMany):
    """A kind of assumption, alone or with `at` and a place; or all of them."""

    def __init__(self) -> None:
        super().__init__([ALL, *BREAKINGS], _meanings, _ALSO_SAID)

    def convert(  # type: ignore[override]
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> BrokenWish:
        if isinstance(value, BrokenWish):
            return value
        said = str(value)
        for kind in BREAKINGS:
            place = said.removeprefix(kind + _AT).strip()
            if said.startswith(kind + _AT) and place:
                return BrokenWish(kind, place)
        if said.endswith(".crank"):
            self.fail(f"`{said}` is a file: write it before --broken, or say what is broken first")
        return BrokenWish(super().convert(said, param, ctx))

    def meant(self, said: str) -> str | None:
        known = super().meant(said)
        before, at, place = said.rpartition(_AT)
        if known or not at:
            return known
        kind = super().meant(before)
        return f"{kind}{_AT}{place}" if kind else None


def _meanings() -> Mapping[str, str]:
    from bellcrank.proof.noticed_words import HAPPENS

    return {ALL: "each of them, as a table"} | {str(kind): said for kind, said in HAPPENS.items()}


def broken_option(told: str) -> click.Option:
    """The option. told: what it does, in the help of a command."""
    return click.Option(
        ["--broken"],
        type=WhatIsBroken(),
        multiple=True,
        is_flag=False,
        flag_value=ALL,
        metavar="[WHAT]",
        help=f"{told}: `all` (so too if nothing is named; takes minutes), or a kind such as `stuck "
        "at clear`, at one place if you like, such as `stuck at clear at T1`; may be given again "
        "(`--broken list` says which there are)",
    )


def kinds_asked(wishes: Iterable[BrokenWish]) -> tuple[Breaking, ...]:
    """The kinds that are to be decided, in their order."""
    named = {wish.what for wish in wishes}
    return tuple(kind for kind in BREAKINGS if ALL in named or kind in named)


def places_asked(wishes: Iterable[BrokenWish]) -> Mapping[Breaking, tuple[str, ...]]:
    """Of each kind that is asked of some places alone, their names."""
    wishes = list(wishes)
    anywhere = {wish.what for wish in wishes if not wish.place}
    return {
        kind: tuple(dict.fromkeys(wish.place for wish in wishes if wish.what == kind))
        for kind in kinds_asked(wishes)
        if not anywhere.intersection((ALL, kind))
    }
