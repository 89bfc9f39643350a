"""Targets: folders that say which files to write and how.

A target folder holds `target.toml` and Jinja templates. Templates run in
Jinja's sandbox and see the document and nothing else; what they write goes
only into the output folder. targets/README.md tells how to write one.
"""

from __future__ import annotations

import csv
import io
import json
import re
import tomllib
import traceback
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path, PurePosixPath
from types import MappingProxyType
from typing import Any

import jinja2
from jinja2.sandbox import ImmutableSandboxedEnvironment

from bellcrank.emit.document import VERSION
from bellcrank.emit.extras import EXTRAS

NOTHING: Mapping[str, Callable[[], object]] = MappingProxyType({})


class TargetError(Exception):
    """A target that cannot be used, with the reason as a sentence."""


@dataclass(frozen=True, slots=True)
class TargetFile:
    path: str
    template: str


@dataclass(frozen=True, slots=True)
class Target:
    """A target as its target.toml describes it.

    default: whether it is built where no target is asked for, if it is built in.
    extras: what its templates see beside the document; see extras.py.
    """

    name: str
    purpose: str
    files: tuple[TargetFile, ...]
    folder: Traversable
    default: bool = True
    extras: tuple[str, ...] = ()


def built_in_targets() -> tuple[str, ...]:
    """The names of the targets that come with the compiler."""
    root = resources.files("bellcrank.targets")
    return tuple(
        sorted(f.name for f in root.iterdir() if f.is_dir() and (f / "target.toml").is_file())
    )


def default_targets() -> tuple[str, ...]:
    """The names of the built-in targets that are built where none is asked for."""
    return tuple(name for name in built_in_targets() if load_target(name).default)


def load_target(name: str) -> Target:
    """A built-in target by its name, or any target by the path of its folder.

    Raises TargetError if there is none or its description is not sound.
    """
    if name in built_in_targets():
        folder: Traversable = resources.files("bellcrank.targets") / name
    elif name and "\0" not in name and Path(name).is_dir():
        folder = Path(name)
    else:
        names = ", ".join(built_in_targets())
        raise TargetError(f"there is no target `{name}`: give a folder or one of {names}")
    try:
        said = tomllib.loads((folder / "target.toml").read_text("utf-8"))
    except FileNotFoundError:
        raise TargetError(f"the folder {name} has no target.toml") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
        raise TargetError(f"{name}/target.toml cannot be read: {error}") from None
    return _target(name, said, folder)


def _target(name: str, said: dict[str, Any], folder: Traversable) -> Target:
    context = said.get("context")
    if context is None:
        raise TargetError(
            f"{name}/target.toml does not say for which context it is written; "
            f"this compiler has context {VERSION}"
        )
    if type(context) is not int or context != VERSION:
        raise TargetError(
            f"{name}/target.toml is written for context {context!r}; "
            f"this compiler has context {VERSION}"
        )
    files = said.get("files")
    if not isinstance(files, list) or not files:
        raise TargetError(f"{name}/target.toml names no [[files]] to write")
    listed: dict[str, TargetFile] = {}
    for entry in files:
        said_of_it = entry if isinstance(entry, dict) else {}
        path, template = said_of_it.get("path"), said_of_it.get("template")
        if not isinstance(path, str) or not isinstance(template, str):
            raise TargetError(f"{name}/target.toml: each of [[files]] needs a path and a template")
        for given in (path, template):
            if not _stays_inside(given):
                raise TargetError(f"{name}/target.toml: {given!r} leads out of its folder")
        file = TargetFile(PurePosixPath(path).as_posix(), template)
        if listed.setdefault(file.path, file) is not file:
            raise TargetError(f"{name}/target.toml: two of [[files]] have the path {path}")
    default = said.get("default", True)
    if not isinstance(default, bool):
        raise TargetError(f"{name}/target.toml: default is true or false, not {default!r}")
    return Target(
        str(said.get("name", name)),
        str(said.get("purpose", "")),
        tuple(listed.values()),
        folder,
        default,
        _extras(name, said),
    )


def _extras(name: str, said: dict[str, Any]) -> tuple[str, ...]:
    wanted = said.get("extras", [])
    if not isinstance(wanted, list) or any(w not in EXTRAS for w in wanted):
        known = ", ".join(EXTRAS)
        raise TargetError(f"{name}/target.toml: extras is a list of {known}, not {wanted!r}")
    return tuple(wanted)


def _stays_inside(given: str) -> bool:
    """Whether a relative path names a file in its folder or below it."""
    path = PurePosixPath(given)
    return (
        bool(path.parts)
        and not path.is_absolute()
        and ".." not in path.parts
        and not given.endswith("/")
        and not any(c in given for c in "\\\0")
    )


def render_target(
    target: Target, document: dict[str, Any], extras: Mapping[str, Callable[[], object]] = NOTHING
) -> dict[str, bytes]:
    """The files of a target by path, from the document of a layout.

    extras: what makes those that the target asks for.
    Raises TargetError if a template fails, or if a file of an unproved layout
    would not say so.
    """

    def template(name: str) -> tuple[str, str, None] | None:
        if not _stays_inside(name):
            return None
        path = target.folder.joinpath(*PurePosixPath(name).parts)
        if not path.is_file():
            return None
        return path.read_text("utf-8"), name, None

    environment = ImmutableSandboxedEnvironment(
        loader=jinja2.FunctionLoader(template),
        undefined=jinja2.StrictUndefined,
        keep_trailing_newline=True,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["csv"] = csv_row
    environment.filters["json"] = json_text
    environment.filters["pick"] = pick
    more = {name: extras[name]() for name in target.extras}
    rendered = {}
    for file in target.files:
        try:
            text = environment.get_template(file.template).render(
                document, document=document, **more
            )
            rendered[file.path] = text.encode("utf-8")
        except jinja2.TemplateNotFound as error:
            raise TargetError(f"the target {target.name} has no template {error.name}") from None
        except Exception as error:
            # A template can bring about whatever Python raises for its values.
            raise TargetError(
                f"the target {target.name} fails in {_place(error, file)}: {_said(error)}"
            ) from None
        if document["status"] == "UNPROVED" and "UNPROVED" not in text:
            raise TargetError(
                f"the target {target.name} does not say in {file.path} that the layout is "
                "UNPROVED: write {{ status }} in its template"
            )
    return rendered


def _place(error: Exception, file: TargetFile) -> str:
    """The template and line where it failed, as far as can be told."""
    if isinstance(error, jinja2.TemplateSyntaxError):
        return f"{error.name or file.template}:{error.lineno}"
    lines = [
        frame.lineno
        for frame in traceback.extract_tb(error.__traceback__)
        if frame.filename == file.template
    ]
    return f"{file.template}:{lines[-1]}" if lines else file.template


def _said(error: Exception) -> str:
    if isinstance(error, RecursionError):
        return "it goes round in a circle or is nested too deeply"
    # Where a value lies in memory tells the user nothing.
    said = re.sub(r" at 0x[0-9a-fA-F]+", "", str(error))
    return " ".join(said.split()) or type(error).__name__


def csv_row(values: Iterable[object]) -> str:
    """One row of CSV (RFC 4180), its line end included.

    None is an empty field; a list is one field, its items parted by "; ".
    """
    buffer = io.StringIO()
    csv.writer(buffer).writerow(
        "; ".join(map(str, v)) if isinstance(v, list | tuple) else v for v in values
    )
    return buffer.getvalue()


def pick(names: Iterable[str], mapping: Mapping[str, object]) -> list[object]:
    """What a mapping holds for each name; None where it holds nothing."""
    return [mapping.get(name) for name in names]


LINE = 120
"""As wide as a line of JSON gets, unless it is a single value with its name."""

_INDENT = " "
_scalar = json.JSONEncoder(ensure_ascii=False).encode


def json_text(value: object) -> str:
    """A value as JSON, in the order of its fields. What is short stands on one line;
    of what is not, each item or field begins a line of its own."""
    return _json(value, 0, 0)


def _json(value: object, depth: int, before: int) -> str:
    """A value as JSON.

    depth: how many values it stands in. before: how much of its line is taken up.
    """
    if not isinstance(value, dict | list | tuple) or not value:
        return _scalar(value)
    if isinstance(value, dict):
        opening, closing = "{", "}"
        named = [(f"{_scalar(str(key))}: ", inner) for key, inner in value.items()]
    else:
        opening, closing = "[", "]"
        named = [("", inner) for inner in value]
    indent = _INDENT * (depth + 1)
    items = [name + _json(inner, depth + 1, len(indent) + len(name)) for name, inner in named]
    # The comma that may follow is counted too.
    length = before + sum(map(len, items)) + 2 * len(items) + 1
    if length <= LINE and not any("\n" in item for item in items):
        return f"{opening}{', '.join(items)}{closing}"
    lines = f",\n{indent}".join(items)
    return f"{opening}\n{indent}{lines}\n{_INDENT * depth}{closing}"
