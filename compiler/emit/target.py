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
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path, PurePosixPath
from typing import Any

import jinja2
from jinja2.sandbox import ImmutableSandboxedEnvironment

from bellcrank.emit.document import VERSION


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
    line, topic: the templates of the text that it has for one command, and of the topic
        under which a broker gets it; None if it has none.
    """

    name: str
    purpose: str
    files: tuple[TargetFile, ...]
    folder: Traversable
    default: bool = True
    line: str | None = None
    topic: str | None = None


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
    for field in ("line", "topic"):
        template = said.get(field)
        if template is not None and not (isinstance(template, str) and _stays_inside(template)):
            raise TargetError(f"{name}/target.toml: {field} names no template in its folder")
    return Target(
        str(said.get("name", name)),
        str(said.get("purpose", "")),
        tuple(listed.values()),
        folder,
        default,
        said.get("line"),
        said.get("topic"),
    )


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


def render_target(target: Target, document: dict[str, Any]) -> dict[str, bytes]:
    """The files of a target by path, from the document of a layout.

    Raises TargetError if a template fails, or if a file of an unproved layout
    would not say so.
    """
    environment = _environment(target)
    rendered = {}
    for file in target.files:
        text = _rendered(target, environment, file.template, document)
        rendered[file.path] = text.encode("utf-8")
        if document["status"] == "UNPROVED" and "UNPROVED" not in text:
            raise TargetError(
                f"the target {target.name} does not say in {file.path} that the layout is "
                "UNPROVED: write {{ status }} in its template"
            )
    return rendered


def command_lines(
    target: Target, document: dict[str, Any], commands: Sequence[dict[str, Any]]
) -> list[str]:
    """The text that a target has for each command, to be sent to a controller.

    Raises TargetError if it has none, or if its template fails.
    """
    return _for_each(target, target.line, "text", document, commands)


def command_topics(
    target: Target, document: dict[str, Any], commands: Sequence[dict[str, Any]]
) -> list[str]:
    """The topic under which a broker gets each command.

    Raises TargetError if the target has none, or if its template fails.
    """
    topics = _for_each(target, target.topic, "topic", document, commands)
    return [topic.strip() for topic in topics]


def _for_each(
    target: Target,
    template: str | None,
    what: str,
    document: dict[str, Any],
    commands: Sequence[dict[str, Any]],
) -> list[str]:
    if template is None:
        raise TargetError(f"the target {target.name} has no {what} for one command")
    environment = _environment(target)
    return [
        _rendered(target, environment, template, {**document, "command": command})
        for command in commands
    ]


def _environment(target: Target) -> ImmutableSandboxedEnvironment:
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
    return environment


def _rendered(
    target: Target,
    environment: ImmutableSandboxedEnvironment,
    template: str,
    context: dict[str, Any],
) -> str:
    try:
        text = environment.get_template(template).render(context, document=context)
        text.encode("utf-8")
        return text
    except jinja2.TemplateNotFound as error:
        raise TargetError(f"the target {target.name} has no template {error.name}") from None
    except Exception as error:
        # A template can bring about whatever Python raises for its values.
        raise TargetError(
            f"the target {target.name} fails in {_place(error, template)}: {_said(error)}"
        ) from None


def _place(error: Exception, template: str) -> str:
    """The template and line where it failed, as far as can be told."""
    if isinstance(error, jinja2.TemplateSyntaxError):
        return f"{error.name or template}:{error.lineno}"
    lines = [
        frame.lineno
        for frame in traceback.extract_tb(error.__traceback__)
        if frame.filename == template
    ]
    return f"{template}:{lines[-1]}" if lines else template


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


def json_text(value: object) -> str:
    """A value as JSON, indented, in the order of its fields."""
    return json.dumps(value, ensure_ascii=False, indent=2)
