"""What the user of a target may state: options, described in its `target.toml`."""

from __future__ import annotations

import re
import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from bellcrank.diagnostics import did_you_mean

OptionType = Literal["text", "number", "choice"]

Value = str | int | float

LONGEST_PATTERN = 500
"""Characters. To compile a long one can take many seconds."""


class OptionError(Exception):
    """An option that cannot be used, with the reason as a sentence."""


@dataclass(frozen=True, slots=True)
class Option:
    """One option.

    default: its value where the user states none; None if he must.
    choices: of a choice, what it may be.
    pattern: of a text, a regular expression that the whole of it matches.
    help: what it is for, in a few words.
    """

    name: str
    type: OptionType
    default: Value | None
    choices: tuple[str, ...]
    pattern: str | None
    help: str

    def value(self, given: str) -> Value:
        """What a text from the command line stands for.

        Raises OptionError if it cannot be that.
        """
        if self.type == "number":
            try:
                number = float(given)
            except ValueError:
                raise OptionError(f"{self.name} is a number, not `{given:.60}`") from None
            if not -1e9 < number < 1e9:
                raise OptionError(f"{self.name} is a number within bounds, not {given:.60}")
            return int(number) if number.is_integer() else number
        if any("\ud800" <= c <= "\udfff" for c in given):
            raise OptionError(f"{self.name} holds bytes that are not UTF-8")
        if self.type == "choice" and given not in self.choices:
            near = did_you_mean(given, self.choices)
            raise OptionError(
                f"{self.name} is {' or '.join(self.choices)}, not `{given:.60}`"
                + (f"; {near}" if near else "")
            )
        if self.pattern is not None and not re.fullmatch(self.pattern, given):
            raise OptionError(f"{self.name} cannot be `{given:.60}`: {self.help}")
        return given


def read_options(said: object) -> tuple[Option, ...]:
    """The options under `[options]` of a description.

    Raises OptionError if they are not soundly described.
    """
    if not isinstance(said, dict):
        raise OptionError("options are tables: `[options.NAME]` with a type")
    return tuple(_option(name, told) for name, told in said.items())


def _option(name: str, told: object) -> Option:
    if not re.fullmatch(r"[a-z][a-z0-9_]*", name):
        raise OptionError(f"an option is named in small letters, not `{name}`")
    if not isinstance(told, dict) or told.get("type") not in ("text", "number", "choice"):
        raise OptionError(f"the option {name} needs a type: text, number or choice")
    choices = told.get("choices", [])
    if not isinstance(choices, list) or not all(isinstance(c, str) for c in choices):
        raise OptionError(f"the choices of the option {name} are a list of texts")
    if (told["type"] == "choice") != bool(choices):
        raise OptionError(f"the option {name} has choices if, and only if, it is a choice")
    pattern = told.get("pattern")
    if pattern is not None and not isinstance(pattern, str):
        raise OptionError(f"the pattern of the option {name} is a text, not {pattern!r:.60}")
    if len(pattern or "") > LONGEST_PATTERN:
        raise OptionError(f"the pattern of the option {name} has over {LONGEST_PATTERN} characters")
    try:
        with warnings.catch_warnings(action="ignore"):  # they speak to programmers
            re.compile(pattern or "")
    except (re.error, TypeError, OverflowError, RecursionError):
        raise OptionError(f"the pattern of the option {name} is not a regular expression") from None
    option = Option(
        name, told["type"], None, tuple(choices), pattern, str(told.get("help", "see its README"))
    )
    if "default" not in told:
        return option
    default = told["default"]
    meant = int | float if option.type == "number" else str
    if not isinstance(default, meant) or isinstance(default, bool):
        of = "number" if option.type == "number" else "text"
        raise OptionError(f"the default of the option {name} is a {of}, not {default!r:.60}")
    # A pattern is left to `chosen`: to match it may take for ever.
    return replace(option, default=replace(option, pattern=None).value(str(default)))


def chosen(options: Sequence[Option], given: Mapping[str, str]) -> dict[str, Value]:
    """The value of every option; what is given for others is left aside.

    Raises OptionError for a value that is not possible, a default too, or one that is
    missing.
    """
    values: dict[str, Value] = {}
    for option in options:
        if option.name in given:
            values[option.name] = option.value(given[option.name])
        elif option.default is not None:
            values[option.name] = option.value(str(option.default))
        else:
            raise OptionError(f"it needs `--option {option.name}=…`: {option.help}")
    return values


def split(words: Sequence[str], known: Sequence[Option]) -> dict[str, str]:
    """Options by name from words such as `label=38x12`.

    Raises OptionError for a word of another form or a name that no target knows.
    """
    names = [option.name for option in known]
    given: dict[str, str] = {}
    for word in words:
        name, sign, value = word.partition("=")
        if not sign:
            raise OptionError(f"`--option {word}` is not of the form NAME=VALUE")
        if name not in names:
            near = did_you_mean(name, names)
            has = f"there are {', '.join(names)}" if names else "these targets have none"
            raise OptionError(f"no target has the option `{name}`: {near or has}")
        given[name] = value
    return given
