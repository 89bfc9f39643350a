"""Targets: folders that say which files to write and how.

A target folder holds `target.toml`, which is checked here, and Jinja templates, which
`render.py` runs. targets/README.md tells how to write one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib.resources.abc import Traversable
from pathlib import Path, PurePosixPath

from bellcrank.diagnostics import did_you_mean
from bellcrank.document.document_types import SPARED, VERSION
from bellcrank.emit.description import TargetError, built_in_folder, built_in_targets, description
from bellcrank.emit.extra_names import EXTRAS
from bellcrank.emit.options import Option, OptionError, read_options
from bellcrank.emit.sandbox import stays_inside
from bellcrank.readback.readers import READERS

NEEDS = {
    "hardware": "decoders and what is wired to them",
    "numbering": "`numbering from decoder 0` or `1`: how the numbers of outputs are counted "
    "in packets; the book of the command station tells",
}
"""What a target may need of a layout, and what the layout then lacks if it is not there."""

FIELDS = tuple(
    (
        "name purpose context default line off topic needs without reads_back identifiers extras "
        "options files"
    ).split()
)
"""What `target.toml` may say."""


@dataclass(frozen=True, slots=True)
class TargetFile:
    """A file that a target writes. pdf: where it goes as a PDF too, where that is asked
    for; None if it is not a page."""

    path: str
    template: str
    pdf: str | None = None


@dataclass(frozen=True, slots=True)
class Target:
    """A target as its target.toml describes it.

    default: whether it is built where no target is asked for, if it is built in.
    line, topic: the templates of the text that it has for one command, and of the topic
        under which a broker gets it; None if it has none.
    off: the template of the text that ends what a command switched on; None where whatever
        receives the command does so by itself.
    options: what its user may state.
    needs: what a layout must have for it, of NEEDS.
    without: parts of the document that it does not see, of SPARED.
    reads_back: the reader with which its commands are read again; None if it has none.
    identifiers: the option that states the range from which events get identifiers; None if
        its templates see none.
    builtin: whether it comes with the compiler.
    extras: what its templates see beside the document; see extras.py.
    """

    name: str
    purpose: str
    files: tuple[TargetFile, ...]
    folder: Traversable
    default: bool = True
    line: str | None = None
    off: str | None = None
    topic: str | None = None
    options: tuple[Option, ...] = ()
    needs: tuple[str, ...] = ()
    reads_back: str | None = None
    builtin: bool = False
    extras: tuple[str, ...] = ()
    without: frozenset[str] = frozenset()
    identifiers: str | None = None


def load_target(name: str) -> Target:
    """A built-in target by its name, or any target by the path of its folder.

    Raises TargetError if there is none or its description is not sound.
    """
    builtin = name in built_in_targets()
    if builtin:
        folder: Traversable = built_in_folder(name)
    elif name and "\0" not in name and Path(name).is_dir():
        folder = Path(name)
    else:
        names = ", ".join(built_in_targets())
        hint = did_you_mean(name, built_in_targets())
        said = f"there is no target `{name}`: give a folder or one of {names}"
        raise TargetError(f"{said}; {hint}" if hint else said)
    return replace(_target(name, description(name, folder), folder), builtin=builtin)


def _target(name: str, said: Mapping[str, object], folder: Traversable) -> Target:
    context = said.get("context")
    if context is None:
        raise TargetError(
            f"{name}/target.toml does not say for which context it is written; "
            f"this compiler has context {VERSION}"
        )
    if type(context) is not int or context != VERSION:
        raise TargetError(
            f"{name}/target.toml is written for context {context!r:.60}; "
            f"this compiler has context {VERSION}"
        )
    for field in said:
        if field not in FIELDS and (near := did_you_mean(field, FIELDS)):
            raise TargetError(f"{name}/target.toml has no field `{field}`: {near}")
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
            if not stays_inside(given):
                raise TargetError(f"{name}/target.toml: {given!r:.200} leads out of its folder")
            if not given.isprintable():
                raise TargetError(
                    f"{name}/target.toml: {given!r:.200} holds a character that cannot be seen"
                )
        file = TargetFile(PurePosixPath(path).as_posix(), template, _pdf(name, said_of_it))
        if listed.setdefault(file.path, file) is not file:
            raise TargetError(f"{name}/target.toml: two of [[files]] have the path {path}")
    pages = [file.pdf for file in listed.values() if file.pdf]
    if len({*listed, *pages}) < len(listed) + len(pages):
        raise TargetError(f"{name}/target.toml: two of [[files]] go to one path as PDF")
    default = said.get("default", True)
    if not isinstance(default, bool):
        raise TargetError(f"{name}/target.toml: default is true or false, not {default!r:.60}")
    try:
        options = read_options(said.get("options", {}))
    except OptionError as error:
        raise TargetError(f"{name}/target.toml: {error}") from None
    needs = said.get("needs", [])
    if not isinstance(needs, list) or not all(need in tuple(NEEDS) for need in needs):
        raise TargetError(f"{name}/target.toml: needs is a list of {', '.join(NEEDS)}")
    reads_back = said.get("reads_back")
    if reads_back is not None and reads_back not in tuple(READERS):
        raise TargetError(
            f"{name}/target.toml: reads_back names a form of commands, one of {', '.join(READERS)}"
        )
    without = said.get("without", [])
    if not isinstance(without, list) or not all(part in SPARED for part in without):
        raise TargetError(f"{name}/target.toml: without is a list of {', '.join(SPARED)}")
    extras = said.get("extras", [])
    if not isinstance(extras, list) or not all(extra in EXTRAS for extra in extras):
        raise TargetError(f"{name}/target.toml: extras is a list of {', '.join(EXTRAS)}")
    identifiers = said.get("identifiers")
    if identifiers is not None and identifiers not in [o.name for o in options if o.pattern]:
        raise TargetError(
            f"{name}/target.toml: identifiers names an option with a pattern, for their range"
        )
    return Target(
        str(said.get("name", name)),
        str(said.get("purpose", "")),
        tuple(listed.values()),
        folder,
        default,
        _template(name, said, "line"),
        _template(name, said, "off"),
        _template(name, said, "topic"),
        options,
        tuple(needs),
        reads_back,
        extras=tuple(extras),
        without=frozenset(without),
        identifiers=identifiers,
    )


def _template(name: str, said: Mapping[str, object], field: str) -> str | None:
    """The template of the text for one command, or of its topic."""
    template = said.get(field)
    if template is not None and not (isinstance(template, str) and stays_inside(template)):
        raise TargetError(f"{name}/target.toml: {field} names no template in its folder")
    return template


def _pdf(name: str, said: Mapping[str, object]) -> str | None:
    """Where one of [[files]] goes as a PDF."""
    path = said.get("pdf")
    if path is None:
        return None
    if not isinstance(path, str) or not stays_inside(path) or path == said.get("path"):
        raise TargetError(f"{name}/target.toml: {path!r:.200} is not a path for a PDF")
    return PurePosixPath(path).as_posix()
