"""What takes long to make of the controller, made when it is first asked for and once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Generic, TypeVar

Made = TypeVar("Made")


class Once(Generic[Made]):
    """Room for what a function makes of some values.

    It is made anew if it is asked for of other values: of a compilation with another machine the
    old one would be wrong.
    """

    __slots__ = ("_given", "_made")

    def __init__(self) -> None:
        self._given: tuple[object, ...] = ()
        self._made: Made | None = None

    def of(self, make: Callable[..., Made], *given: object) -> Made:
        """What `make` makes of these values, which are compared by identity."""
        same = len(given) == len(self._given) and all(map(_is, given, self._given))
        if self._made is None or not same:
            self._made = make(*given)
            self._given = given
        return self._made


def _is(one: object, other: object) -> bool:
    return one is other
