"""The sandbox in which templates run: what they can reach, and what no template may do.

Nothing here knows of targets or documents. It adds to Jinja's own sandbox, which keeps
Python's attributes out of reach, three things: no single sign of a template makes
something that grows beyond bounds, two runs make the same text, and no link leads out
of the folder.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from importlib.resources.abc import Traversable
from pathlib import Path, PurePosixPath
from typing import Any, NoReturn

import jinja2
from jinja2.exceptions import SecurityError
from jinja2.sandbox import ImmutableSandboxedEnvironment

LONGEST_TEXT = 1_000_000
"""Characters that one `*`, one filter or one method of a template may make."""

_GROWING_FILTERS = ("batch", "center", "indent", "slice", "tojson", "truncate", "wordwrap")
_GROWING_METHODS = ("center", "expandtabs", "ljust", "rjust", "zfill")
"""Those that are told by a number how much to make."""


class RefusedError(Exception):
    """What a template says with `refuse`: a sentence for people."""


class Sandbox(ImmutableSandboxedEnvironment):
    """Jinja's sandbox, in which no text grows beyond bounds by one sign.

    folder: where the templates are. inside: whether a name stays in it.
    loaded: the names of templates that were asked for.
    """

    intercepted_binops = frozenset(("*", "**"))

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
        self.globals["refuse"] = refuse

    def call_binop(
        self, context: jinja2.runtime.Context, operator: str, left: Any, right: Any
    ) -> Any:
        for one, times in ((left, right), (right, left)):
            sized = isinstance(one, str | list | tuple) and isinstance(times, int)
            if sized and len(one) * times > LONGEST_TEXT:
                raise SecurityError(f"`*` would make more than {LONGEST_TEXT:,} characters")
        whole = isinstance(left, int) and isinstance(right, int)
        if operator == "**" and whole and left.bit_length() * right > LONGEST_TEXT:
            raise SecurityError("`**` would make a number of more digits than anybody reads")
        return super().call_binop(context, operator, left, right)

    def call(*arguments: Any, **named: Any) -> Any:
        """Call what a template calls. The sandbox, the context and what is called come
        first, without names, so that a template may use any name for its own."""
        _, _, called, *given = arguments
        method = isinstance(getattr(called, "__self__", None), str)
        if method and called.__name__ in _GROWING_METHODS:
            _count(*given, *named.values())
        return ImmutableSandboxedEnvironment.call(*arguments, **named)


def refuse(sentence: object) -> NoReturn:
    """For templates: stop, and say why.

    Raises RefusedError.
    """
    raise RefusedError(" ".join(str(sentence).split()))


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


def _counting(made: Callable[..., Any]) -> Callable[..., Any]:
    """A filter that does not make more than a template may."""

    @functools.wraps(made)
    def counted(*given: Any, **named: Any) -> Any:
        _count(*given, *named.values())
        return made(*given, **named)

    return counted


def _count(*given: Any) -> None:
    """Raises SecurityError if a number says to make too much."""
    for value in given:
        if isinstance(value, int) and value > LONGEST_TEXT:
            raise SecurityError(f"it asks for {value:,}; a template may make {LONGEST_TEXT:,}")
