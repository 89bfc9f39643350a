"""The work of giving each option of a target its value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bellcrank.emit.options import Option, OptionError, Value, chosen
from bellcrank.emit.work import FailedError


@dataclass(frozen=True, slots=True)
class Choosing:
    """The values of the options of a target, from texts."""

    target: str
    options: tuple[Option, ...]
    given: Mapping[str, str]

    def run(self) -> dict[str, Value]:
        """The value of each option by its name.

        Raises FailedError with a sentence for a value that is not possible or missing.
        """
        try:
            return chosen(self.options, self.given)
        except OptionError as error:
            raise FailedError(f"the target {self.target}: {error}") from None
