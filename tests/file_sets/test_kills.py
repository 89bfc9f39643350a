"""Whatever step a build is killed at, its folder holds one whole set, or says that it does
not; and the next build clears up."""

from __future__ import annotations

import os
import random
from pathlib import Path
from typing import Any

import pytest
from killed import (
    NEW,
    OLD,
    Files,
    built,
    ended,
    killed_after,
    killed_before,
    leftovers,
    needs_fork,
    origin,
    started,
)

from bellcrank.file_sets.exchange import _exchange
from bellcrank.file_sets.journal import UNFINISHED
from bellcrank.file_sets.manifest import digest, read_manifest
from bellcrank.file_sets.set_plan import Plan, planned
from bellcrank.file_sets.write_set import write_set

pytestmark = needs_fork

MINE: Files = {"notes.txt": b"mine", "deep/mine.txt": b"mine too"}


each_step = pytest.mark.parametrize(
    "stride", [pytest.param(1, marks=pytest.mark.campaign), 7], ids=["each", "one in seven"]
)
"""Before which steps a build is killed."""


def exchanges(folder: Path) -> bool:
    """Whether two folders can be exchanged in one step here."""
    (folder / "one").mkdir()
    (folder / "two").mkdir()
    try:
        _exchange(folder / "one", folder / "two")
    except OSError:
        return False
    finally:
        (folder / "one").rmdir()
        (folder / "two").rmdir()
    return True


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """To wait for the disk saves from a loss of power, and changes nothing about a kill."""
    monkeypatch.setattr(os, "fsync", lambda handle: None)


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    """A folder with an old set, and files of the user's own among it."""
    if not exchanges(tmp_path):
        pytest.skip("folders cannot be exchanged in one step here")
    folder = tmp_path / "bench"
    old_set(folder)
    return folder


def old_set(folder: Path) -> None:
    write_set(folder, OLD, origin("old"))
    for name, data in MINE.items():
        (folder / name).write_bytes(data)


def new_set(folder: Path) -> None:
    write_set(folder, NEW, origin("new"))


def is_whole(folder: Path, mine: Files) -> bool:
    """Whether a folder holds one of the two sets, with the manifest that tells it."""
    files = built(folder, mine)
    manifest = read_manifest(folder)
    assert manifest is not None
    told = {name: digest(data) for name, data in files.items()}
    return files in (OLD, NEW) and manifest.files == told


@each_step
def test_a_kill_at_any_step_leaves_a_whole_set_and_the_next_build_clears_up(
    bench: Path, stride: int
) -> None:
    step, seen = 1, set()
    while killed_before(step, lambda: new_set(bench)):
        assert is_whole(bench, MINE), step
        seen.add("new" if built(bench, MINE) == NEW else "old")
        # The user's own work goes on, whatever lies beside the folder.
        (bench / "notes.txt").unlink()
        (bench / "notes.txt").write_bytes(b"written anew")
        write_set(bench, OLD, origin("old"))
        assert built(bench, MINE | {"notes.txt": b"written anew"}) == OLD, step
        assert leftovers(bench) == [], step
        (bench / "notes.txt").write_bytes(b"mine")
        (bench / "deep" / "mine.txt").write_bytes(b"mine too")
        step += stride
    assert step > 50
    assert seen == {"old", "new"}
    assert built(bench, MINE) == NEW


@each_step
def test_a_kill_at_any_step_of_a_first_build_leaves_no_folder_or_a_whole_set(
    tmp_path: Path, stride: int
) -> None:
    folder = tmp_path / "bench"
    step = 1
    while killed_before(step, lambda: new_set(folder)):
        if folder.exists():
            assert is_whole(folder, {})
        old_set(folder)
        assert leftovers(folder) == []
        assert built(folder, MINE) == OLD
        for path in sorted(folder.rglob("*"), reverse=True):
            path.rmdir() if path.is_dir() else path.unlink()
        folder.rmdir()
        step += stride
    assert step > 30


@each_step
def test_where_nothing_can_be_exchanged_a_kill_at_any_step_leaves_a_set_or_a_sign(
    tmp_path: Path, stride: int
) -> None:
    """A folder of the user's own keeps the whole from being exchanged."""
    folder = tmp_path / "bench"
    old_set(folder)
    (folder / "photos").mkdir()
    (folder / "photos" / "one.jpg").write_bytes(b"light")
    mine = MINE | {"photos/one.jpg": b"light"}
    step, signs = 1, 0
    while killed_before(step, lambda: new_set(folder)):
        if (folder / UNFINISHED).exists():
            signs += 1
        else:
            visible = {n: d for n, d in built(folder, mine).items() if not n.startswith(".")}
            assert visible in (OLD, NEW), step
        new_set(folder)
        assert is_whole(folder, mine) and built(folder, mine) == NEW
        write_set(folder, OLD, origin("old"))
        assert is_whole(folder, mine) and built(folder, mine) == OLD
        assert leftovers(folder) == [], step
        step += stride
    assert step > 50
    assert signs > 1
    assert built(folder, mine) == NEW


def test_kills_at_random_moments_leave_whole_sets(bench: Path) -> None:
    """A share of the campaign in tests/campaigns."""
    chance = random.Random(4)

    def both() -> None:
        new_set(bench)
        write_set(bench, OLD, origin("old"))

    for _ in range(10):
        killed_after(chance.uniform(0, 0.2), both)
        assert is_whole(bench, MINE)
    new_set(bench)
    assert leftovers(bench) == []
    assert built(bench, MINE) == NEW


def test_a_reader_that_holds_the_folder_never_reads_a_mixed_set(bench: Path) -> None:
    """It may come upon files that are being cleared away; those it does not get at all."""
    for source, files in [("new", NEW), ("old", OLD)] * 5:
        handle = os.open(bench, os.O_RDONLY)
        try:
            write_set(bench, files, origin(source))
            for name in {*OLD, *NEW}:
                with pytest.raises(FileNotFoundError):
                    os.close(os.open(name, os.O_RDONLY, dir_fd=handle))
        finally:
            os.close(handle)
        assert built(bench, MINE) == files


def test_what_comes_into_the_folder_while_a_build_is_cleared_away_is_kept(
    bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Written by a program that stands in the old folder, just before it is exchanged."""

    def late(one: Path, other: Path) -> None:
        (other / "late.txt").write_bytes(b"late")
        (other / "notes.txt").unlink()
        (other / "notes.txt").write_bytes(b"written anew")
        (other / "a.csv").write_bytes(b"corrected by hand")
        _exchange(one, other)

    monkeypatch.setattr("bellcrank.file_sets.exchange._exchange", late)
    new_set(bench)
    assert built(bench, MINE | {"late.txt": b"late"}) == NEW | {
        "notes.txt.1": b"written anew",
        "a.csv.1": b"corrected by hand",
    }
    assert leftovers(bench) == []


def test_two_builds_at_once_do_not_clear_away_or_mix_each_other(tmp_path: Path) -> None:
    folder = tmp_path / "bench"

    def five_times() -> None:
        for _ in range(5):
            new_set(folder)

    for _ in range(3):
        other = started(five_times)
        for _ in range(5):
            write_set(folder, OLD, origin("old"))
        assert ended(other) == 0
        assert is_whole(folder, {})
        assert leftovers(folder) == []


@pytest.mark.parametrize("when", ["before it has planned", "after it has planned"])
def test_a_first_build_that_another_gets_ahead_of_begins_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, when: str
) -> None:
    folder = tmp_path / "bench"
    others = iter([lambda: write_set(folder, OLD, origin("old"))])

    def overtaken(*arguments: Any) -> Plan:
        before = planned(*arguments) if when.startswith("after") else None
        for another in others:
            another()
        return before or planned(*arguments)

    monkeypatch.setattr("bellcrank.file_sets.write_set.planned", overtaken)
    new_set(folder)
    assert is_whole(folder, {}) and built(folder, {}) == NEW
    assert leftovers(folder) == []
