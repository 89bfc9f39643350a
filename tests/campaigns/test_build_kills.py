"""Builds of real layouts, killed at random moments: never a mixed set, and the next build
clears up. Run by `pytest -m campaign tests/campaigns/test_build_kills.py -s`; a share of it
runs with the tests of `file_sets`.
"""

from __future__ import annotations

import io
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from contextlib import redirect_stdout
from functools import cache
from pathlib import Path

import pytest
from killed import Files, built, killed_after, leftovers, needs_fork, origin, tree

from bellcrank.commands.cli import main
from bellcrank.file_sets.exchange import _exchange
from bellcrank.file_sets.journal import UNFINISHED
from bellcrank.file_sets.manifest import MANIFEST, digest, read_json
from bellcrank.file_sets.staging import PREFIX
from bellcrank.file_sets.write_set import write_set

pytestmark = [pytest.mark.campaign, needs_fork]

KILLS_WHILE_WRITING = 75
KILLS_FILE_BY_FILE = 40
KILLS_OF_WHOLE_BUILDS = 8
BUILDS_BESIDE_A_READER = 60

EXAMPLE = Path(__file__).parents[2] / "examples" / "harbour-terminus.crank"

CHANGE = ("coil 200 ms", "coil 250 ms")

MINE: Files = {"notes.txt": b"mine"}


@cache
def text(source: str) -> str:
    """The layout, old or new."""
    old = EXAMPLE.read_text("utf-8")
    new = old.replace(*CHANGE)
    assert new != old
    return {"old": old, "new": new}[source]


def build(folder: Path, source: str, out: Path) -> int:
    """Build the old or the new layout by the command line, in this process."""
    layout = folder / f"{source}.crank"
    layout.write_text(text(source), "utf-8")
    with redirect_stdout(io.StringIO()):
        return main(["build", str(layout), "--out", str(out)])


@pytest.fixture(scope="module")
def sets(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Files]:
    """What builds of the two layouts write."""
    folder = tmp_path_factory.mktemp("sets")
    found = {}
    for source in ("old", "new"):
        assert build(folder, source, folder / source) == 0
        found[source] = built(folder / source)
        assert len(found[source]) == 5
    assert all(found["old"][name] != found["new"][name] for name in found["old"])
    return found


@pytest.fixture
def bench(tmp_path: Path, sets: dict[str, Files]) -> Path:
    (tmp_path / "one").mkdir()
    (tmp_path / "two").mkdir()
    try:
        _exchange(tmp_path / "one", tmp_path / "two")
    except OSError:
        pytest.skip("folders cannot be exchanged in one step here")
    folder = tmp_path / "bench"
    write_set(folder, sets["old"], origin("old"))
    for name, data in MINE.items():
        (folder / name).write_bytes(data)
    return folder


def which(folder: Path, sets: dict[str, Files], mine: Files = MINE) -> str:
    """Which set a folder holds; fails if it is mixed, or if its manifest tells of another."""
    files = built(folder, mine)
    manifest = read_json(folder / MANIFEST)
    assert manifest is not None
    assert manifest["files"] == {name: digest(data) for name, data in files.items()}
    (source,) = (name for name, whole in sets.items() if whole == files)
    return source


def test_kills_while_writing_never_leave_a_mixed_set(bench: Path, sets: dict[str, Files]) -> None:
    chance = random.Random(1)

    order = ["new", "old"]

    def both() -> None:
        for source in order:
            write_set(bench, sets[source], origin(source))

    both()
    begun = time.perf_counter()
    both()
    longest = time.perf_counter() - begun
    seen: Counter[str] = Counter()
    for number in range(KILLS_WHILE_WRITING):
        chance.shuffle(order)
        killed_after(chance.uniform(0, longest), both)
        seen[which(bench, sets)] += 1
        seen["with something to clear up"] += bool(leftovers(bench))
        if number % 5 == 0:
            source = chance.choice(("new", "old"))
            write_set(bench, sets[source], origin(source))
            assert which(bench, sets) == source
            assert leftovers(bench) == []
    write_set(bench, sets["new"], origin("new"))
    assert leftovers(bench) == []
    print(f"\n{KILLS_WHILE_WRITING} kills while writing: {dict(seen)}, mixed: 0")
    assert min(seen["old"], seen["new"]) > KILLS_WHILE_WRITING // 25
    assert seen["with something to clear up"] > KILLS_WHILE_WRITING // 5


def test_kills_where_files_are_written_one_by_one_leave_a_set_or_a_sign(
    bench: Path, sets: dict[str, Files]
) -> None:
    chance = random.Random(2)
    (bench / "photos").mkdir()  # a folder of the user's own keeps the whole from being exchanged

    def both() -> None:
        for source in ("new", "old"):
            write_set(bench, sets[source], origin(source))

    both()
    begun = time.perf_counter()
    both()
    longest = time.perf_counter() - begun
    seen: Counter[str] = Counter()
    for _ in range(KILLS_FILE_BY_FILE):
        killed_after(chance.uniform(0, longest), both)
        if (bench / UNFINISHED).exists():
            seen["unfinished, and it says so"] += 1
        else:
            hidden = [path for path in leftovers(bench) if path.parent == bench]
            for path in hidden:
                shutil.rmtree(path)
            seen[which(bench, sets)] += 1
        source = chance.choice(("new", "old"))
        write_set(bench, sets[source], origin(source))
        assert which(bench, sets) == source
        assert leftovers(bench) == []
    print(f"\n{KILLS_FILE_BY_FILE} kills while writing file by file: {dict(seen)}, untold: 0")
    assert seen["unfinished, and it says so"] > 0


def test_kills_of_whole_builds_never_leave_a_mixed_set(
    bench: Path, sets: dict[str, Files], tmp_path: Path
) -> None:
    chance = random.Random(3)
    for source in ("old", "new"):
        assert build(tmp_path, source, tmp_path / "spare") == 0
    # The sets as the command line writes them have manifests of their own.
    bench.rename(tmp_path / "set-by-set")
    seen: Counter[str] = Counter()
    assert build(tmp_path, "old", bench) == 0

    def started(source: str) -> subprocess.Popen[bytes]:
        layout = str(tmp_path / f"{source}.crank")
        return subprocess.Popen(
            [sys.executable, "-m", "bellcrank", "build", layout, "--out", str(bench)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )

    for number in range(KILLS_OF_WHOLE_BUILDS):
        before = beside(bench)
        with started(chance.choice(("old", "new"))) as process:
            # Most of the time goes by before anything is written.
            if number % 4:
                while process.poll() is None and beside(bench) <= before:
                    time.sleep(0.001)
                time.sleep(chance.uniform(0, 0.03))
            else:
                time.sleep(chance.uniform(0, 3))
            process.send_signal(signal.SIGKILL)
        seen[which(bench, sets, {})] += 1
        seen["with something to clear up"] += bool(beside(bench))
        seen["ended before"] += process.returncode == 0
    assert build(tmp_path, "new", bench) == 0
    assert which(bench, sets, {}) == "new"
    assert leftovers(bench) == []
    print(f"\n{KILLS_OF_WHOLE_BUILDS} kills of whole builds: {dict(seen)}, mixed: 0")
    assert seen["with something to clear up"] > 1


def beside(bench: Path) -> set[Path]:
    """Folders of passing use beside a folder."""
    return {path for path in bench.parent.iterdir() if path.name.startswith(PREFIX)}


def test_a_reader_beside_many_builds_never_reads_a_mixed_set(
    bench: Path, sets: dict[str, Files]
) -> None:
    """It opens the folder, then each file in it. What is being cleared away it does not
    get; what it gets is of one set."""
    seen: Counter[str] = Counter()
    over = threading.Event()

    def read() -> None:
        while not over.is_set():
            handle = os.open(bench, os.O_RDONLY)
            try:
                files = {name: contents(handle, name) for name in sets["old"]}
            finally:
                os.close(handle)
            got = {name: data for name, data in files.items() if data is not None}
            for source, whole in sets.items():
                if got and got.items() <= whole.items():
                    seen[f"{source}{'' if len(got) == len(whole) else ', in part'}"] += 1
                    break
            else:
                seen["mixed" if got else "nothing"] += 1

    reader = threading.Thread(target=read)
    reader.start()
    try:
        for number in range(BUILDS_BESIDE_A_READER):
            source = ("new", "old")[number % 2]
            write_set(bench, sets[source], origin(source))
    finally:
        over.set()
        reader.join()
    print(f"\n{BUILDS_BESIDE_A_READER} builds with a reader beside them: {dict(seen)}")
    assert not seen["mixed"]
    assert min(seen["old"], seen["new"]) > BUILDS_BESIDE_A_READER // 3
    assert tree(bench).keys() == {*sets["old"], MANIFEST, *MINE}


def contents(folder: int, name: str) -> bytes | None:
    """A file in an open folder; None if it is gone."""
    try:
        handle = os.open(name, os.O_RDONLY, dir_fd=folder)
    except FileNotFoundError:
        return None
    with os.fdopen(handle, "rb") as stream:
        return stream.read()
