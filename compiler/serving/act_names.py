"""The names by which the page and other programs ask for acts on the simulated railway. They are
made and read here alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import astuple, fields

import msgspec

from bellcrank.simulated.acts import (
    Act,
    Comes,
    DetectorMended,
    Dies,
    Disobeys,
    DriveMended,
    Fault,
    IsCoupled,
    IsDivided,
    IsLeft,
    IsPickedUp,
    IsPut,
    IsTaken,
    Parts,
    Sticks,
    TurnsBack,
)

_WORDS: Mapping[type[Act | Fault], str] = {
    Comes: "come",
    IsPut: "put",
    TurnsBack: "turn",
    IsTaken: "take",
    IsDivided: "divide",
    IsLeft: "leave",
    IsPickedUp: "pick-up",
    IsCoupled: "couple",
    Sticks: "stick",
    DetectorMended: "mend-detector",
    Dies: "kill",
    DriveMended: "mend-drive",
    Disobeys: "disobey",
    Parts: "part",
}
"""Of each type the word that leads its names. What it is done with comes after that, in the order
of its fields: names of a layout hold no space."""

_TYPES = {word: type_ for type_, word in _WORDS.items()}


def name_of(act: Act | Fault) -> str:
    """The name of an act."""
    return " ".join([_WORDS[type(act)], *map(str, astuple(act))])


def act_named(name: str) -> Act | Fault | None:
    """The act of a name; None if it is none. Whether it is possible now is not asked."""
    word, *operands = name.split(" ")
    type_ = _TYPES.get(word)
    if type_ is None or len(operands) != len(fields(type_)):
        return None
    given = dict(zip((field.name for field in fields(type_)), operands, strict=True))
    try:
        return msgspec.convert(given, type_, strict=False)
    except msgspec.ValidationError:
        return None
