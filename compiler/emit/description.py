"""What a target.toml says, as it stands there; `target.py` checks it.

Help and completion name the targets that come with the compiler, and need no more of them
than this, which loads nothing else.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib import resources
from importlib.resources.abc import Traversable
from pathlib import Path

LONGEST_DESCRIPTION = 20_000
"""Bytes of a target.toml. Reading a key of many dots takes time that grows with their square."""


class TargetError(Exception):
    """A target that cannot be used, with the reason as a sentence."""


def built_in_targets() -> tuple[str, ...]:
    """The names of the targets that come with the compiler."""
    root = resources.files("bellcrank.targets")
    return tuple(
        sorted(f.name for f in root.iterdir() if f.is_dir() and (f / "target.toml").is_file())
    )


def built_in_folder(name: str) -> Traversable:
    """Where a target lies that comes with the compiler."""
    return resources.files("bellcrank.targets") / name


def default_targets() -> tuple[str, ...]:
    """The names of the built-in targets that are built where none is asked for."""
    return tuple(
        name
        for name in built_in_targets()
        if description(name, built_in_folder(name)).get("default", True)
    )


def description(name: str, folder: Traversable) -> Mapping[str, object]:
    """What the target.toml of a folder says.

    Raises TargetError if it cannot be read.
    """
    path = folder / "target.toml"
    try:
        if isinstance(path, Path) and path.exists() and not path.is_file():
            raise TargetError(f"{name}/target.toml is not a file that holds a text")
        with path.open("rb") as stream:
            data = stream.read(LONGEST_DESCRIPTION + 1)
        if len(data) > LONGEST_DESCRIPTION:
            raise TargetError(f"{name}/target.toml has over {LONGEST_DESCRIPTION:,} bytes")
        return tomllib.loads(data.decode("utf-8-sig"))
    except FileNotFoundError:
        raise TargetError(f"the folder {name} has no target.toml") from None
    except RecursionError:
        raise TargetError(f"{name}/target.toml cannot be read: it is nested too deeply") from None
    except (ValueError, OSError) as error:
        # A number of too many digits is a ValueError and none of tomllib's own.
        raise TargetError(f"{name}/target.toml cannot be read: {error}") from None
