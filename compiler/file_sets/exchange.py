"""A whole new folder, put into the place of the old one in a single step.

The new folder is made ready beside the old one, with hard links to the files of the
user's own that lie in the old one. Linux exchanges the two by `renameat2` with
`RENAME_EXCHANGE` (its manual page, section 2); then the old one is cleared away.
"""

from __future__ import annotations

import ctypes
import errno
import hashlib
import json
import os
import shutil
import stat
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from bellcrank.file_sets.manifest import digest_of, read_json
from bellcrank.file_sets.not_written import NotWrittenError, told_of
from bellcrank.file_sets.set_plan import Plan, identity
from bellcrank.file_sets.staging import (
    PREFIX,
    clear_dead,
    locked,
    staging,
    sync,
    sync_folder,
    write_new,
)

SET = "set"
"""Within the folder of passing use, the new set; after the exchange, the old one."""

NOTE = "note.json"
"""Beside it: which folder the new set is, and which files of the user's own are in both."""

_NOT_HERE = frozenset(
    (
        errno.EACCES, errno.EBUSY, errno.EINVAL, errno.EMLINK, errno.ENOSYS, errno.ENOTSUP,
        errno.EOPNOTSUPP, errno.EPERM, errno.EROFS, errno.EXDEV,
    )
)  # fmt: skip
"""Errors that say that this cannot be done in this place, though files may be written."""


def clear_leftovers(place: Path) -> None:
    """Clear what builds into a folder have left beside it that no longer live."""
    with locked(place.parent):
        clear_dead(place.parent, _prefix(place), lambda left: _clear(left, place))


def put_first_set(place: Path, plan: Plan) -> None:
    """Write a set in one step where no folder is.

    Raises NotWrittenError, also if a folder with something in it has come there meanwhile.
    """
    with told_of(plan.told), _made_ready(place, plan) as new:
        new.rename(place)
        sync_folder(place.parent)


def exchange_set(place: Path, plan: Plan) -> bool:
    """Write a set into a folder so that no moment sees half of it; False, with nothing
    changed, if that cannot be done here.

    Raises NotWrittenError; then the old set is as it was.
    """
    if not _may_be_exchanged(place):
        return False
    try:
        with told_of(plan.told), _made_ready(place, plan) as new:
            _exchange(new, place)
            sync_folder(place.parent)
    except NotWrittenError as error:
        if error.number in _NOT_HERE:
            return False
        raise
    return True


@contextmanager
def _made_ready(place: Path, plan: Plan) -> Iterator[Path]:
    """The new set, in a folder beside its place; what is there in the end is cleared."""

    def clear(left: Path) -> None:
        _clear(left, place)

    with staging(place.parent, _prefix(place), clear, locked(place.parent)) as beside:
        _make_ready(beside, place, plan)
        yield beside / SET


def _may_be_exchanged(place: Path) -> bool:
    """Whether a folder may become another one. Where it is a mount point it cannot, and
    who stands in it would stand in a folder that is gone."""
    if sys.platform != "linux" or place.is_mount():
        return False
    try:
        here = Path.cwd()
    except OSError:
        return False
    return here != place and place not in here.parents


def _make_ready(beside: Path, place: Path, plan: Plan) -> None:
    """Write the new set, with links to what stays. The note comes first, so that whoever
    clears up knows what is what."""
    new = beside / SET
    new.mkdir()
    note = {"new": identity(new), "others": plan.others, "ours": plan.ours}
    write_new(beside / "part", json.dumps(note).encode("utf-8"), plan.told)
    (beside / "part").rename(beside / NOTE)
    for name, data in plan.put.items():
        write_new(new / name, data, plan.told / name)
    for name in (*plan.keep, *plan.others):
        if name not in plan.put:
            (new / name).parent.mkdir(parents=True, exist_ok=True)
            with suppress(FileNotFoundError):  # its owner has taken it away
                os.link(place / name, new / name, follow_symlinks=False)
    if place.is_dir():
        _make_alike(new, place)
    sync(beside, [beside / NOTE, *(new / name for name in plan.put)], plan.told)


def _make_alike(new: Path, place: Path) -> None:
    """Give a folder the owner, permissions and attributes of another. Raises OSError."""
    was, now = place.stat(), new.stat()
    if (was.st_uid, was.st_gid) != (now.st_uid, now.st_gid):
        os.chown(new, was.st_uid, was.st_gid)
    new.chmod(stat.S_IMODE(was.st_mode))
    if sys.platform == "linux":
        for name in os.listxattr(place):
            value = os.getxattr(place, name)
            if name not in os.listxattr(new) or os.getxattr(new, name) != value:
                os.setxattr(new, name, value)


def _exchange(one: Path, other: Path) -> None:
    """Exchange two folders in one step. Raises OSError."""
    rename = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if rename is None:
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))
    here, both = -100, 2  # AT_FDCWD, RENAME_EXCHANGE
    if rename(here, os.fsencode(one), here, os.fsencode(other), both):
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))


# ------------------------------------------------------------------- clearing away


def _prefix(place: Path) -> str:
    return f"{PREFIX}{hashlib.sha256(os.fsencode(place.name)).hexdigest()[:12]}-"


def _clear(beside: Path, place: Path) -> None:
    """Clear away a folder of passing use: before the exchange, what was made ready; after
    it, the old folder. Raises OSError."""
    left = beside / SET
    if os.path.lexists(beside / NOTE) and left.is_dir():
        note = read_json(beside / NOTE)
        if note is None:
            return  # nothing tells what it is
        if list(identity(left)) != note["new"]:
            _clear_old(left, place, note["others"], note["ours"])
    # Before the exchange there are only links in it to files of the user's own.
    shutil.rmtree(beside)


def _clear_old(
    old: Path, place: Path, others: Mapping[str, Sequence[int]], ours: Mapping[str, str]
) -> None:
    """Clear away an old folder. What came into it after the new one was made ready is
    the user's, and is moved there."""
    for inner, folders, files in os.walk(old, topdown=False):
        for leaf in files + folders:
            path = Path(inner, leaf)
            if path.is_dir() and not path.is_symlink():
                path.rmdir()
                continue
            name = path.relative_to(old).as_posix()
            known = list(identity(path)) == list(others.get(name, ()))
            if known or (name in ours and digest_of(path) == ours[name]):
                path.unlink()
            else:
                _move(path, place, name)
    old.rmdir()


def _move(path: Path, place: Path, name: str) -> None:
    """Move a file into the folder, under a name that nothing has there."""
    if not place.is_dir():
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(place))
    target = place / name
    number = 1
    while os.path.lexists(target):
        target = place / f"{name}.{number}"
        number += 1
    target.parent.mkdir(parents=True, exist_ok=True)
    path.rename(target)
