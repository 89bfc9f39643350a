"""Answers that are kept on the disk: found again, never believed when damaged, never in the way."""

from __future__ import annotations

import json
import os
import random
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from bellcrank.commands.cli import main
from bellcrank.proof.kept import on_disk
from bellcrank.proof.kept.kept_model import SIZE, Shown
from bellcrank.proof.kept.on_disk import OnDisk, kept_on_this_machine

PLAIN = """layout "Eel Fen" on three rails
run edge WEST - A - >W1 - B - C - >C1 - D - edge EAST
routes derive
locking derive
"""


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache folder of one's own, in which proofs are kept."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.delenv("BELLCRANK_KEPT")
    return tmp_path / "cache"


@pytest.fixture
def layout(tmp_path: Path) -> Path:
    path = tmp_path / "fen.crank"
    path.write_text(PLAIN, "utf-8")
    return path


def some(seed: int = 1, many: int = 50) -> dict[bytes, Shown]:
    chance = random.Random(seed)
    return {
        chance.randbytes(SIZE): Shown(
            chance.randrange(99),
            tuple(chance.randbytes(SIZE) for _ in range(chance.randrange(4))),
            chance.random() < 0.5,
        )
        for _ in range(many)
    }


def kept_of(cache: Path) -> Path:
    return cache / "bellcrank" / "proofs" / "shown.sqlite"


def told(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> dict[str, int]:
    assert main(arguments) == 0
    moving: dict[str, int] = json.loads(capsys.readouterr().out)["moving"]
    return moving


def test_the_second_check_says_how_many_answers_were_kept(
    cache: Path, layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first = told(["check", str(layout), "--json"], capsys)
    second = told(["check", str(layout), "--json"], capsys)
    assert first["kept"] == 0 < second["kept"] <= second["obligations"]
    assert main(["check", str(layout)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "obligations were kept from earlier proofs" in said


def test_a_check_afresh_asks_the_solver_everything(
    cache: Path, layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told(["check", str(layout), "--json"], capsys)
    assert told(["check", str(layout), "--json", "--afresh"], capsys)["kept"] == 0
    assert told(["check", str(layout), "--json", "--recheck"], capsys)["kept"] == 0


def test_whoever_wants_nothing_kept_says_so_in_the_environment(
    cache: Path,
    layout: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("BELLCRANK_KEPT", "no")
    assert [told(["check", str(layout), "--json"], capsys)["kept"] for _ in range(2)] == [0, 0]
    assert not kept_of(cache).exists()


def test_what_is_built_is_proved_anew(
    cache: Path, layout: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told(["check", str(layout), "--json"], capsys)
    out = tmp_path / "out"
    assert main(["build", str(layout), "--target", "json", "--out", str(out)]) == 0
    assert json.loads((out / "layout.json").read_text("utf-8"))["moving"]["kept"] == 0


def test_what_was_kept_is_found_again_as_it_was(tmp_path: Path) -> None:
    kept = some()
    OnDisk(tmp_path).keep(kept.items())
    assert OnDisk(tmp_path).known([*kept, *some(seed=2)]) == kept


def test_no_answer_of_which_a_byte_is_wrong_is_known(tmp_path: Path) -> None:
    ((key, shown),) = some(many=1).items()
    kept = OnDisk(tmp_path)
    kept.keep([(key, shown)])
    with sqlite3.connect(kept.path) as database:
        (said,) = database.execute("SELECT said FROM shown").fetchone()
    for at in range(len(said)):
        wrong = said[:at] + bytes([said[at] ^ 1]) + said[at + 1 :]
        with sqlite3.connect(kept.path) as database:
            database.execute("UPDATE shown SET said = ?", [wrong])
        assert not kept.known([key])


def test_a_file_that_is_damaged_or_of_something_else_is_begun_anew(tmp_path: Path) -> None:
    kept, chance = OnDisk(tmp_path), random.Random(7)
    for _ in range(20):
        kept.keep(some().items())
        data = bytearray(kept.path.read_bytes())
        for _ in range(40):
            data[chance.randrange(len(data))] = chance.randrange(256)
        kept.path.write_bytes(data)
        found = kept.known(some())
        assert found.items() <= some().items()
        kept.path.unlink()
    kept.path.write_bytes(b"the diary of somebody else" * 100)
    assert not kept.known(some())
    for _ in range(2):
        kept.keep(some().items())
    assert kept.known(some()) == some()


@pytest.mark.skipif(os.name != "posix", reason="modes of files")
def test_a_folder_that_others_may_write_to_is_not_used(cache: Path) -> None:
    assert kept_on_this_machine() is not None
    folder = kept_of(cache).parent
    assert folder.stat().st_mode & 0o777 == 0o700
    for place in (folder, folder.parent):
        mode = place.stat().st_mode
        place.chmod(0o777)
        assert kept_on_this_machine() is None
        place.chmod(mode)
    assert kept_on_this_machine() is not None


def test_where_no_folder_can_be_made_nothing_is_kept(
    cache: Path, layout: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cache.write_text("a file", "utf-8")
    assert [told(["check", str(layout), "--json"], capsys)["kept"] for _ in range(2)] == [0, 0]


def test_it_does_not_grow_for_ever_and_keeps_what_was_asked_for_last(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(on_disk, "MOST_BYTES", 200_000)
    kept = OnDisk(tmp_path)
    now = iter(range(100))
    monkeypatch.setattr(on_disk.time, "time", lambda: float(on_disk.DAY * next(now)))
    first = some(seed=0)
    kept.keep(first.items())
    for seed in range(1, 30):
        kept.keep(some(seed, many=200).items())
        assert kept.known(first) == first
    assert kept.path.stat().st_size < 400_000
    assert not kept.known(some(1, many=200))


def test_many_may_keep_and_ask_at_once(tmp_path: Path) -> None:
    wrong: list[object] = []

    def work(seed: int) -> None:
        kept = OnDisk(tmp_path)
        for round_ in range(5):
            own = some(seed * 100 + round_)
            kept.keep(own.items())
            found = kept.known([*own, *some(seed * 100)])
            if not found.items() <= {**own, **some(seed * 100)}.items():
                wrong.append(found)

    threads = [threading.Thread(target=work, args=(seed,)) for seed in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not wrong


def test_another_program_that_writes_is_not_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(on_disk, "WAIT", 0.01)
    kept = OnDisk(tmp_path)
    kept.keep(some().items())
    with held(kept.path):
        kept.keep(some(seed=2).items())
        assert not kept.known(some())
    assert kept.known(some()) == some()


@contextmanager
def held(path: Path) -> Iterator[None]:
    """The file, locked by somebody else."""
    with closing(sqlite3.connect(path)) as database:
        database.execute("BEGIN EXCLUSIVE")
        yield
        database.rollback()
