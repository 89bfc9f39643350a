"""Writing a set of files into a folder. What is promised stands in the room's docstring."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from bellcrank.file_sets.exchange import clear_leftovers, exchange_set, put_first_set
from bellcrank.file_sets.journal import complete, write_by_journal
from bellcrank.file_sets.manifest import MANIFEST, Origin
from bellcrank.file_sets.not_written import NotWrittenError, told_of
from bellcrank.file_sets.set_plan import Plan, planned
from bellcrank.file_sets.staging import locked


@dataclass(frozen=True, slots=True)
class Written:
    """What became of the files in a folder.

    paths: those that were written, the manifest last.
    removed: those of an earlier build of another origin; they are gone.
    left: likewise, but changed since; they are still there.
    """

    paths: tuple[Path, ...] = ()
    removed: tuple[Path, ...] = ()
    left: tuple[Path, ...] = ()


def write_set(folder: Path, files: Mapping[str, bytes], origin: Origin) -> Written:
    """Write files, given by paths relative to a folder, as one set.

    Raises NotWrittenError if that cannot be done; then no file has been changed, or the
    folder says that it is unfinished.
    """
    if not files:
        return Written()
    if MANIFEST in files:
        raise NotWrittenError(f"{MANIFEST} cannot be written: by it builds tell their files")
    place = Path(os.path.realpath(folder))
    with _folders_above(place, folder):
        plan = _written(place, folder, files, origin)
    return Written(
        tuple(folder / name for name in plan.put),
        tuple(folder / name for name in plan.drop),
        tuple(folder / name for name in plan.changed),
    )


@contextmanager
def _folders_above(place: Path, told: Path) -> Iterator[None]:
    """The folders in which a folder lies; those made for it go again if it fails."""
    made = [above for above in place.parents if not above.exists()]
    for above in place.parents:
        if above.exists() and not above.is_dir():
            raise NotWrittenError(f"{told} cannot be written: {above} is not a folder")
    try:
        with told_of(told):
            place.parent.mkdir(parents=True, exist_ok=True)
        yield
    except BaseException:
        for above in made:
            with suppress(OSError):
                above.rmdir()
        raise


def _written(place: Path, told: Path, files: Mapping[str, bytes], origin: Origin) -> Plan:
    while True:
        there = os.path.lexists(place)
        try:
            with locked(place):
                return _written_by_us(place, told, files, origin, there=there)
        except NotWrittenError:
            # Where no folder was, none was locked, and another build may have made one
            # meanwhile: what was planned without it does not count.
            if there or not os.path.lexists(place):
                raise


def _written_by_us(
    place: Path, told: Path, files: Mapping[str, bytes], origin: Origin, *, there: bool
) -> Plan:
    clear_leftovers(place)
    if there:
        if not place.is_dir():
            raise NotWrittenError(f"{told} cannot be written: it is not a folder")
        if not os.access(place, os.W_OK | os.X_OK):
            raise NotWrittenError(f"{told} cannot be written: {os.strerror(errno.EACCES)}")
        complete(place, told)
    with told_of(told):
        plan = planned(place, told, files, origin)
    if not there:
        put_first_set(place, plan)
    # A folder of the user's own can be taken along only by moving it, which takes time.
    elif plan.folders or not exchange_set(place, plan):
        write_by_journal(place, plan)
    return plan
