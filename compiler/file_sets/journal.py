"""A set put into its folder file by file, with a journal (redo log): where the folder
itself cannot be exchanged for another.

All new files, and links to the old ones, are made ready in a folder of passing use. This
becomes `bellcrank-build-unfinished` in one step: from here on the new set counts. Then
each file goes to its place, the manifest last, and the folder is cleared away. An error
puts the old files back. After a kill the next build goes on where this one was stopped.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Mapping
from contextlib import nullcontext, suppress
from dataclasses import dataclass
from pathlib import Path

from bellcrank.file_sets.manifest import MANIFEST, digest, digest_of, paths_in, read_json
from bellcrank.file_sets.not_written import NotWrittenError, told_of
from bellcrank.file_sets.set_plan import Plan, folders_above, look_at_the_way
from bellcrank.file_sets.staging import (
    PREFIX,
    clear_dead,
    staging,
    sync,
    sync_folder,
    write_new,
)

UNFINISHED = "bellcrank-build-unfinished"
"""The folder that tells, to people too, that the files beside it may be of two builds."""

JOURNAL, NEW, OLD = "journal.json", "new", "old"
"""In it: what is to be done, the new files, and those that they replace."""


@dataclass(frozen=True, slots=True)
class _Steps:
    """What is to be done, in this order.

    drop: files that go, each with its hash.
    put: files that come, each with the hash of the one it replaces, if there is one.
    """

    drop: Mapping[str, str]
    put: Mapping[str, str | None]

    def text(self) -> bytes:
        return json.dumps({"drop": self.drop, "put": self.put}).encode("utf-8")


def complete(place: Path, told: Path) -> None:
    """Clear up in a folder what a kill has left behind; complete a set that was begun.

    Raises NotWrittenError if what it would replace has been changed since.
    """
    clear_dead(place, PREFIX, shutil.rmtree)
    unfinished = place / UNFINISHED
    if not os.path.lexists(unfinished):
        return
    steps = _read(unfinished)
    if steps is None:
        raise NotWrittenError(f"{told / UNFINISHED} is in the way: no build wrote it")
    for name, was in steps.put.items():
        look_at_the_way(place, told, name, steps.drop)
        begun = not os.path.lexists(unfinished / NEW / name)
        if not begun and os.path.lexists(place / name) and digest_of(place / name) != was:
            raise NotWrittenError(
                f"{told / name} cannot be written: a build was stopped half-way, and it was "
                "changed since; move it away, or write into another folder"
            )
    with told_of(told):
        _go_on(unfinished, place, steps)
        _clear(unfinished, place)


def write_by_journal(place: Path, plan: Plan) -> None:
    """Write a set into a folder, file by file.

    Raises NotWrittenError; then the old files are there again.
    """
    put = {name: digest_of(place / name) for name in plan.put}
    steps = _Steps(plan.drop, put)
    unfinished = place / UNFINISHED
    with told_of(plan.told), staging(place, PREFIX, _clear_unused, nullcontext()) as ready:
        for name, data in plan.put.items():
            write_new(ready / NEW / name, data, plan.told / name)
        for name in [*steps.drop, *(name for name, was in put.items() if was is not None)]:
            _save(place / name, ready / OLD / name, plan.told / name)
        write_new(ready / JOURNAL, steps.text(), plan.told)
        made = [ready / JOURNAL, *(ready / NEW / name for name in plan.put)]
        sync(ready, made, plan.told)
        try:
            ready.rename(unfinished)
            sync_folder(place)
            _go_on(unfinished, place, steps)
        except BaseException:
            if unfinished.is_dir():
                _put_back(unfinished, place, steps)
                _clear(unfinished, place)
            raise
        _clear(unfinished, place)


def _save(path: Path, saved: Path, told: Path) -> None:
    """A second name for a file, or a copy where a file can have but one."""
    with told_of(told):
        saved.parent.mkdir(parents=True, exist_ok=True)
        try:
            os.link(path, saved)
        except OSError:
            write_new(saved, path.read_bytes(), told)


def _go_on(unfinished: Path, place: Path, steps: _Steps) -> None:
    """Do what is not done yet. Raises OSError."""
    for name, was in steps.drop.items():
        if digest_of(place / name) == was:
            (place / name).unlink()
            _drop_empty(place, name)
    for name in steps.put:
        new = unfinished / NEW / name
        if os.path.lexists(new):
            (place / name).parent.mkdir(parents=True, exist_ok=True)
            new.replace(place / name)
    for folder in {(place / name).parent for name in (*steps.drop, *steps.put)}:
        sync_folder(folder)


def _put_back(unfinished: Path, place: Path, steps: _Steps) -> None:
    """Undo what is done. Raises OSError."""
    for name in steps.put:
        if os.path.lexists(unfinished / NEW / name):
            continue
        old = unfinished / OLD / name
        if os.path.lexists(old):
            old.replace(place / name)
        else:
            (place / name).unlink(missing_ok=True)
            _drop_empty(place, name)
    for name in steps.drop:
        if not os.path.lexists(place / name):
            (place / name).parent.mkdir(parents=True, exist_ok=True)
            (unfinished / OLD / name).replace(place / name)


def _drop_empty(place: Path, name: str) -> None:
    """Remove the folders in which a file lay, if nothing else does."""
    with suppress(OSError):
        for above in reversed(folders_above(name)):
            (place / above).rmdir()


def _clear(unfinished: Path, place: Path) -> None:
    """Take the sign away in one step, then what is left of it. Raises OSError."""
    sync_folder(place)
    gone = place / f"{PREFIX}{digest(os.urandom(16))[:12]}"
    unfinished.rename(gone)
    shutil.rmtree(gone, ignore_errors=True)


def _clear_unused(ready: Path) -> None:
    if ready.is_dir():
        shutil.rmtree(ready)


def _read(unfinished: Path) -> _Steps | None:
    if unfinished.is_symlink():
        return None
    said = read_json(unfinished / JOURNAL) or {}
    drop, put = paths_in(said.get("drop")), paths_in(said.get("put"))
    if drop is None or put is None or MANIFEST not in put:
        return None
    return _Steps(drop, put)
