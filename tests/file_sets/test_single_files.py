"""Files are written whole or not at all, whatever stops the work half-way."""

from __future__ import annotations

import os
import stat
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from killed import killed_before, needs_fork

from bellcrank.file_sets.single_files import SUFFIX, write_files, write_new_file

OLD = {"a.csv": b"old a", "b.json": b"old b", "deep/er/c.txt": b"old c"}
NEW = {"a.csv": b"new a, longer", "b.json": b"n", "deep/er/c.txt": b"new c", "d.txt": b"new d"}


def whole_tree(folder: Path) -> dict[str, bytes]:
    return {
        p.relative_to(folder).as_posix(): p.read_bytes()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


# ------------------------------------------------------------------ what it writes


def test_the_files_hold_what_was_given_and_nothing_else_is_left(tmp_path: Path) -> None:
    assert write_files(tmp_path, NEW) == tuple(tmp_path / name for name in NEW)
    assert whole_tree(tmp_path) == NEW


def test_a_folder_that_is_not_there_is_made(tmp_path: Path) -> None:
    write_files(tmp_path / "one" / "two", {"three/four.txt": b"x"})
    assert whole_tree(tmp_path) == {"one/two/three/four.txt": b"x"}


def test_old_files_are_replaced_and_others_left_alone(tmp_path: Path) -> None:
    write_files(tmp_path, OLD)
    (tmp_path / "mine.txt").write_bytes(b"mine")
    write_files(tmp_path, NEW)
    assert whole_tree(tmp_path) == NEW | {"mine.txt": b"mine"}


def test_no_files_write_nothing(tmp_path: Path) -> None:
    assert write_files(tmp_path / "out", {}) == ()
    assert not (tmp_path / "out").exists()


def test_bytes_are_written_as_they_are(tmp_path: Path) -> None:
    data = bytes(range(256)) + b"\r\n\n\r" + b"x" * 100_000
    write_files(tmp_path, {"x": data})
    assert (tmp_path / "x").read_bytes() == data


@settings(max_examples=25, deadline=None)
@given(
    st.dictionaries(
        st.sampled_from(["a", "b", "c/d", "c/e", "f/g/h", "ä ö.txt"]), st.binary(max_size=50)
    )
)
def test_writing_twice_changes_nothing(files: dict[str, bytes]) -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_files(folder, files)
        first = whole_tree(folder)
        write_files(folder, files)
        assert whole_tree(folder) == first == files


# -------------------------------------------------------------------- permissions


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX")
@pytest.mark.parametrize("mask", [0o022, 0o027, 0o077, 0o002])
def test_permissions_follow_the_umask_as_for_any_new_file(tmp_path: Path, mask: int) -> None:
    old = os.umask(mask)
    try:
        write_files(tmp_path / "out", {"x.txt": b"x", "deep/y.txt": b"y"})
        (tmp_path / "plain").write_bytes(b"z")
        expected = stat.S_IMODE((tmp_path / "plain").stat().st_mode)
        assert os.umask(mask) == mask  # it has been put back
    finally:
        os.umask(old)
    assert expected == 0o666 & ~mask
    for name in ("x.txt", "deep/y.txt"):
        assert stat.S_IMODE((tmp_path / "out" / name).stat().st_mode) == expected


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX")
def test_a_file_that_is_there_keeps_its_permissions(tmp_path: Path) -> None:
    write_files(tmp_path, {"x.txt": b"x"})
    (tmp_path / "x.txt").chmod(0o640)
    write_files(tmp_path, {"x.txt": b"y"})
    assert stat.S_IMODE((tmp_path / "x.txt").stat().st_mode) == 0o640


# ------------------------------------------------------------ under a name of its own


def test_a_new_file_takes_no_name_that_is_taken(tmp_path: Path) -> None:
    write_new_file(tmp_path / "x.txt", b"x")
    with pytest.raises(FileExistsError):
        write_new_file(tmp_path / "x.txt", b"y")
    assert whole_tree(tmp_path) == {"x.txt": b"x"}


def test_a_new_file_is_written_where_a_file_has_but_one_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def cannot(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", cannot)
    write_new_file(tmp_path / "x.txt", b"x")
    assert whole_tree(tmp_path) == {"x.txt": b"x"}


# --------------------------------------------------------------------------- killed


@needs_fork
def test_a_kill_at_any_step_leaves_each_file_whole_and_the_next_time_clears_up(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "fsync", lambda handle: None)
    write_files(tmp_path, OLD)
    step, left = 1, 0
    while killed_before(step, lambda: write_files(tmp_path, NEW) and None):
        now = whole_tree(tmp_path)
        left += any(name.endswith(SUFFIX) for name in now)
        for name, data in now.items():
            assert name.endswith(SUFFIX) or data in (OLD.get(name), NEW[name])
        write_files(tmp_path, NEW)
        assert whole_tree(tmp_path) == NEW
        write_files(tmp_path, OLD)
        (tmp_path / "d.txt").unlink()
        step += 1
    assert left > 10


@needs_fork
def test_a_kill_at_any_step_leaves_no_half_of_a_new_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "fsync", lambda handle: None)
    record = tmp_path / "record.txt"
    step = 1
    while killed_before(step, lambda: write_new_file(record, b"all of it")):
        assert not record.exists() or record.read_bytes() == b"all of it"
        record.unlink(missing_ok=True)
        write_new_file(record, b"all of it")
        assert whole_tree(tmp_path) == {"record.txt": b"all of it"}
        record.unlink()
        step += 1
    assert step > 5


# ----------------------------------------------------------- stopped at each step


def fail_at(
    monkeypatch: pytest.MonkeyPatch, owner: Any, name: str, nth: int, error: BaseException
) -> list[int]:
    """Let the nth call of a function raise; returns the calls that were made."""
    right = getattr(owner, name)
    calls: list[int] = []

    def wrong(*arguments: Any, **options: Any) -> Any:
        calls.append(len(calls))
        if len(calls) == nth:
            raise error
        return right(*arguments, **options)

    monkeypatch.setattr(owner, name, wrong)
    return calls


BEFORE_ANY_IS_REPLACED = [(tempfile, "mkstemp"), (os, "fdopen"), (os, "fsync"), (Path, "chmod")]

ERRORS = [OSError(28, "No space left on device"), KeyboardInterrupt(), MemoryError()]


@pytest.mark.parametrize("error", ERRORS, ids=lambda e: type(e).__name__)
@pytest.mark.parametrize("nth", [1, 2, 4])
@pytest.mark.parametrize(
    ("owner", "name"), BEFORE_ANY_IS_REPLACED, ids=lambda x: x if isinstance(x, str) else ""
)
def test_what_stops_the_writing_leaves_every_old_file_as_it_was(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    owner: Any,
    name: str,
    nth: int,
    error: BaseException,
) -> None:
    write_files(tmp_path, OLD)
    with monkeypatch.context() as patch:
        calls = fail_at(patch, owner, name, nth, error)
        with pytest.raises(type(error)):
            write_files(tmp_path, NEW)
        assert len(calls) == nth
    assert whole_tree(tmp_path) == OLD


@pytest.mark.parametrize("error", ERRORS, ids=lambda e: type(e).__name__)
@pytest.mark.parametrize("nth", [1, 2, 3, 4])
def test_what_stops_the_replacing_puts_every_old_file_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, nth: int, error: BaseException
) -> None:
    write_files(tmp_path, OLD)
    with monkeypatch.context() as patch:
        fail_at(patch, Path, "replace", nth, error)
        with pytest.raises(type(error)):
            write_files(tmp_path, NEW)
    assert whole_tree(tmp_path) == OLD


def test_a_first_build_that_is_stopped_leaves_no_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fail_at(monkeypatch, os, "fsync", 3, OSError(5, "Input/output error"))
    with pytest.raises(OSError, match="Input/output error"):
        write_files(tmp_path / "out", NEW)
    assert whole_tree(tmp_path) == {}


def test_no_reader_sees_a_file_before_it_is_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Until the last byte of the last file is safe, every old file is in its place."""
    write_files(tmp_path, OLD)
    seen: list[dict[str, bytes]] = []
    right = os.fsync

    def watch(handle: int) -> None:
        right(handle)
        seen.append({name: (tmp_path / name).read_bytes() for name in OLD})

    monkeypatch.setattr(os, "fsync", watch)
    write_files(tmp_path, NEW)
    assert seen == [OLD] * len(NEW)


# ------------------------------------------------------------- places that refuse


def test_a_file_where_the_folder_should_be_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "out").write_bytes(b"a file")
    with pytest.raises(OSError, match="out"):
        write_files(tmp_path / "out", NEW)
    assert whole_tree(tmp_path) == {"out": b"a file"}


def test_a_folder_where_a_file_should_be_leaves_every_old_file_as_it_was(tmp_path: Path) -> None:
    write_files(tmp_path, OLD)
    (tmp_path / "d.txt").mkdir()
    with pytest.raises(OSError, match=r"d\.txt"):
        write_files(tmp_path, NEW)
    assert whole_tree(tmp_path) == OLD


def test_a_file_that_another_needs_as_a_folder_leaves_no_files(tmp_path: Path) -> None:
    with pytest.raises(OSError):
        write_files(tmp_path / "out", {"a": b"1", "a/b": b"2"})
    assert whole_tree(tmp_path) == {}
