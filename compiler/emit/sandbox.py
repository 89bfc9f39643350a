"""The sandbox in which templates run: what they can reach, and what no template may do.

Nothing here knows of targets or documents. It adds to Jinja's own sandbox, which keeps
Python's attributes out of reach, three things: no single sign of a template makes
something that grows beyond bounds, two runs make the same text, and no link leads out
of the folder.
"""

from __future__ import annotations

import functools
import re
import string
from collections.abc import Callable, Iterable, Mapping, Sequence
from importlib.resources.abc import Traversable
from pathlib import Path, PurePosixPath
from typing import Any, NoReturn

import jinja2
from jinja2.exceptions import SecurityError
from jinja2.sandbox import ImmutableSandboxedEnvironment

from bellcrank.diagnostics import printable

LONGEST_TEXT = 1_000_000
"""Characters that one `*`, one filter or one method of a template may make."""

_GROWING_FILTERS = ("batch", "center", "indent", "slice", "tojson", "truncate", "wordwrap")
"""Those that are told by a number how much to make."""

# Width and precision of a conversion, behind its `%` and its key: the library reference of
# Python, "printf-style String Formatting".
_WIDTHS = re.compile(rb"[#0\- +]*([0-9]+|\*)?(?:\.([0-9]+|\*))?")
_DIGITS = re.compile("[0-9]+")


class RefusedError(Exception):
    """What a template says with `refuse`: a sentence for people."""


class Sandbox(ImmutableSandboxedEnvironment):
    """Jinja's sandbox, in which no text grows beyond bounds by one sign.

    folder: where the templates are. inside: whether a name stays in it.
    loaded: the names of templates that were asked for.
    """

    intercepted_binops = frozenset(("*", "**", "%"))

    def __init__(self, folder: Traversable, inside: Callable[[str], bool]) -> None:
        self.loaded: set[str] = set()

        def template(name: str) -> tuple[str, str, None] | None:
            self.loaded.add(name)
            return _template(folder, name) if inside(name) else None

        super().__init__(
            loader=jinja2.FunctionLoader(template),
            undefined=jinja2.StrictUndefined,
            autoescape=lambda name: name is not None and ".html" in name,
            keep_trailing_newline=True,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        # Two builds are byte for byte the same, so nothing is left to chance.
        del self.globals["lipsum"]
        del self.filters["random"]
        for name in _GROWING_FILTERS:
            self.filters[name] = _counting(self.filters[name])
        self.filters["format"] = _counting(self.filters["format"], _count_format)
        self.filters["replace"] = _counting(self.filters["replace"], _count_replace)
        self.globals["refuse"] = refuse

    def call_binop(
        self, context: jinja2.runtime.Context, operator: str, left: Any, right: Any
    ) -> Any:
        for one, times in ((left, right), (right, left)):
            sized = isinstance(one, str | bytes | list | tuple) and isinstance(times, int)
            if sized and len(one) * times > LONGEST_TEXT:
                raise SecurityError(f"`*` would make more than {LONGEST_TEXT:,} characters")
        whole = isinstance(left, int) and isinstance(right, int)
        if operator == "**" and whole and left.bit_length() * right > LONGEST_TEXT:
            raise SecurityError("`**` would make a number of more digits than anybody reads")
        if operator == "%" and isinstance(left, str | bytes):
            _count_percent(left, right)
        made = super().call_binop(context, operator, left, right)
        _check_growth(made, left, right)
        return made

    def call(*arguments: Any, **named: Any) -> Any:
        """Call what a template calls. The sandbox, the context and what is called come
        first, without names, so that a template may use any name for its own."""
        _, _, called, *given = arguments
        # What Jinja gives for `format` stands for the method that it wraps.
        of = getattr(getattr(called, "__wrapped__", called), "__self__", None)
        if not isinstance(of, str | bytes | int):
            return ImmutableSandboxedEnvironment.call(*arguments, **named)
        method = getattr(called, "__name__", "")
        if isinstance(of, str) and method in ("format", "format_map"):
            _count_braces(of, given, named)
        else:
            _count(*given, *named.values())
        if isinstance(of, str | bytes) and method == "replace" and len(given) > 1:
            _count_replaced(of, given[0], given[1])
        made = ImmutableSandboxedEnvironment.call(*arguments, **named)
        if method != "join":  # as long as what it joins
            _check_growth(made, of, *given, *named.values())
        return made


def stays_inside(given: str) -> bool:
    """Whether a relative path names a file in its folder or below it."""
    path = PurePosixPath(given)
    return (
        bool(path.parts)
        and not path.is_absolute()
        and ".." not in path.parts
        and not given.endswith("/")
        and not any(c in given for c in "\\:\0")
    )


def refuse(sentence: object) -> NoReturn:
    """For templates: stop, and say why.

    Raises RefusedError.
    """
    raise RefusedError(printable(" ".join(str(sentence).split())))


def _template(folder: Traversable, name: str) -> tuple[str, str, None] | None:
    """The text of a template, for Jinja's loader; None if there is none.

    Raises SecurityError if a link leads out of the folder.
    """
    path = folder.joinpath(*PurePosixPath(name).parts)
    if not path.is_file():
        return None
    if isinstance(path, Path) and isinstance(folder, Path):
        at = path.resolve()
        if not at.is_relative_to(folder.resolve()):
            raise SecurityError(f"a link leads from {name} out of the target's folder")
        path = at
    return path.read_text("utf-8"), name, None


def _counting(
    made: Callable[..., Any], count: Callable[..., None] | None = None
) -> Callable[..., Any]:
    """A filter that does not make more than a template may."""

    @functools.wraps(made)
    def counted(*given: Any, **named: Any) -> Any:
        if count is None:
            _count(*given, *named.values())
        else:
            count(*given, **named)
        result = made(*given, **named)
        if any(isinstance(one, str) for one in given):  # not of a whole document as JSON
            _check_growth(result, *given)
        return result

    return counted


def _count_format(text: Any, *given: Any, **named: Any) -> None:
    _count_percent(str(text), named or given)


def _count_replace(
    _: Any, text: Any, old: Any, new: Any = "", count: int | None = None, **__: Any
) -> None:
    _count_replaced(str(text), str(old), str(new))


def _count_percent(text: str | bytes, given: Any) -> None:
    """Raises SecurityError if `%` would make too much, whether its widths stand in the text
    or are given by `*`."""
    said = text.encode("utf-8", "replace") if isinstance(text, str) else bytes(text)
    given = given if isinstance(given, tuple) else (given,)
    starred = max((abs(v) for v in given if isinstance(v, int)), default=0)
    widths = []
    for conversion in said.split(b"%")[1:]:
        _, sign, behind = conversion.partition(b")")
        match = _WIDTHS.match(behind if sign and conversion.startswith(b"(") else conversion)
        widths += [width for width in match.groups() if width] if match else []
    _check_sum(starred if width == b"*" else _clipped(width) for width in widths)


def _count_braces(text: str, given: Sequence[Any], named: Mapping[str, Any]) -> None:
    """Raises SecurityError if `format` would make too much, whether its widths stand in the
    text or are given by fields within the fields."""
    values = [*given, *named.values()]
    values += [v for value in values if isinstance(value, Mapping) for v in value.values()]
    nested = max((_widest(value) for value in values), default=0)
    widths = []
    for _, _, form, _ in string.Formatter().parse(text):
        widths += [_clipped(width) for width in _DIGITS.findall(form or "")]
        widths += [nested] * (form or "").count("{")
    _check_sum(widths)


def _widest(value: Any) -> int:
    """The greatest width that a value stands for as part of a form."""
    if isinstance(value, str):
        return max(map(_clipped, _DIGITS.findall(value)), default=0)
    return abs(value) if isinstance(value, int) else 0


def _clipped(digits: str | bytes) -> int:
    """A number by its digits, or some number that is too great."""
    return int(digits[:12])


def _check_sum(widths: Iterable[int]) -> None:
    asked = sum(widths)
    if asked > LONGEST_TEXT:
        raise SecurityError(f"it asks for {asked:,}; a template may make {LONGEST_TEXT:,}")


def _count_replaced(text: str | bytes, old: Any, new: Any) -> None:
    """Raises SecurityError if to replace something would make too much of a text."""
    if isinstance(old, str | bytes) and isinstance(new, str | bytes) and type(old) is type(text):
        times = text.count(old)  # type: ignore[arg-type]
        if times * (len(new) - len(old)) > LONGEST_TEXT:
            raise SecurityError(f"`replace` would make more than {LONGEST_TEXT:,} characters")


def _check_growth(made: Any, *of: Any) -> None:
    """Raises SecurityError if a text or a list is by too much longer than what it is made of."""
    sized = (str, bytes, list, tuple)
    if isinstance(made, sized) and len(made) > LONGEST_TEXT:
        longest = max((len(one) for one in of if isinstance(one, sized)), default=0)
        if len(made) > longest + LONGEST_TEXT:
            raise SecurityError(f"it makes more than {LONGEST_TEXT:,} characters")


def _count(*given: Any) -> None:
    """Raises SecurityError if a number says to make too much."""
    for value in given:
        if isinstance(value, int) and value > LONGEST_TEXT:
            raise SecurityError(f"it asks for {value:,}; a template may make {LONGEST_TEXT:,}")
