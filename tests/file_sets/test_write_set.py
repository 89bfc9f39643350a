"""A set of files is written as one; what is out of date goes, what is the user's stays."""

from __future__ import annotations

import errno
import json
import os
import re
import resource
import stat
import subprocess
import sys
import tempfile
import textwrap
from collections.abc import Callable, Mapping
from pathlib import Path

import pytest
from killed import NEW, OLD, built, ended, leftovers, needs_fork, origin, started, tree

from bellcrank.file_sets import exchange
from bellcrank.file_sets.journal import UNFINISHED
from bellcrank.file_sets.manifest import MANIFEST, digest
from bellcrank.file_sets.not_written import NotWrittenError
from bellcrank.file_sets.write_set import write_set


def refused(folder: Path, files: Mapping[str, bytes], source: str = "new") -> str:
    """Why a set is not written. What lies in the folder and beside it must be as it was."""
    before = tree(folder.parent)
    with pytest.raises(NotWrittenError) as told:
        write_set(folder, files, origin(source))
    assert tree(folder.parent) == before
    assert leftovers(folder) == [] if folder.is_dir() else True
    return str(told.value)


@pytest.fixture(params=["exchanged", "file by file"])
def bench(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    """A folder with an old set. A folder of the user's own in it keeps the whole from
    being exchanged."""
    folder = tmp_path / "bench"
    write_set(folder, OLD, origin("old"))
    if request.param == "file by file":
        (folder / "mine").mkdir()
    return folder


# ------------------------------------------------------------------ what is written


def test_the_files_hold_what_was_given_and_a_manifest_tells_them(bench: Path) -> None:
    written = write_set(bench, NEW, origin("new"))
    assert written.paths == tuple(bench / name for name in [*NEW, MANIFEST])
    assert built(bench) == NEW
    assert json.loads((bench / MANIFEST).read_bytes()) == {
        "notice": "A notice.",
        "status": "proved",
        "compiler": "bellcrank 0",
        "sha256": "new",
        "files": {name: digest(data) for name, data in sorted(NEW.items())},
    }
    assert leftovers(bench) == []


def test_no_files_write_nothing(tmp_path: Path) -> None:
    assert write_set(tmp_path / "out", {}, origin("new")).paths == ()
    assert list(tmp_path.iterdir()) == []


def test_the_folders_above_are_made(tmp_path: Path) -> None:
    write_set(tmp_path / "one" / "two", {"a": b"1"}, origin("new"))
    assert built(tmp_path / "one" / "two") == {"a": b"1"}


def test_the_same_set_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("one", "two"):
        write_set(tmp_path / name, NEW, origin("new"))
    assert tree(tmp_path / "one") == tree(tmp_path / "two")


def test_a_link_to_the_folder_stays_a_link(bench: Path) -> None:
    link = bench.parent / "link"
    link.symlink_to("bench")
    write_set(link, NEW, origin("new"))
    assert link.is_symlink()
    assert built(bench) == NEW


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX")
def test_the_folder_keeps_its_permissions_and_files_follow_the_umask(bench: Path) -> None:
    bench.chmod(0o2750)
    mask = os.umask(0o027)
    try:
        write_set(bench, NEW, origin("new"))
    finally:
        os.umask(mask)
    assert stat.S_IMODE(bench.stat().st_mode) == 0o2750
    assert stat.S_IMODE((bench / "a.csv").stat().st_mode) == 0o640


def test_a_file_may_take_the_place_of_a_folder_of_the_old_set(bench: Path) -> None:
    write_set(bench, {"a.csv/b": b"below"}, origin("new"))
    assert built(bench) == {"a.csv/b": b"below"}
    assert not (bench / "deep").exists()


# ------------------------------------------------------------ what becomes of the rest


def test_files_of_another_source_go_and_are_told(bench: Path) -> None:
    written = write_set(bench, {"a.csv": b"new a"}, origin("new"))
    assert set(written.removed) == {bench / "b.json", bench / "deep/er/c.txt"}
    assert built(bench) == {"a.csv": b"new a"}
    assert not (bench / "deep").exists()


def test_files_of_an_unproved_build_go_when_the_same_source_is_proved(tmp_path: Path) -> None:
    write_set(tmp_path / "bench", OLD, origin("same", "UNPROVED"))
    assert len(write_set(tmp_path / "bench", {"x": b"1"}, origin("same")).removed) == len(OLD)
    assert built(tmp_path / "bench") == {"x": b"1"}


def test_files_of_the_same_source_stay_beside_those_of_another_target(bench: Path) -> None:
    written = write_set(bench, {"sheets.html": b"sheets"}, origin("old"))
    assert written.removed == ()
    assert built(bench) == OLD | {"sheets.html": b"sheets"}
    assert set(json.loads((bench / MANIFEST).read_bytes())["files"]) == {*OLD, "sheets.html"}


def test_files_of_the_users_own_stay_as_they_are(bench: Path) -> None:
    (bench / "notes.txt").write_bytes(b"mine")
    (bench / "link").symlink_to("notes.txt")
    there = (bench / "notes.txt").stat()
    for source, files in [("new", NEW), ("old", OLD)]:
        write_set(bench, files, origin(source))
        assert (bench / "link").readlink() == Path("notes.txt")
        assert (bench / "notes.txt").stat().st_ino == there.st_ino
        assert (bench / "notes.txt").stat().st_mtime_ns == there.st_mtime_ns
        assert built(bench, {"notes.txt": b"mine", "link": b"mine"}) == files
    assert (bench / "notes.txt").stat().st_nlink == 1


def test_a_file_that_was_changed_since_is_not_overwritten(bench: Path) -> None:
    (bench / "a.csv").write_bytes(b"corrected by hand")
    said = refused(bench, NEW)
    assert said == (
        f"{bench / 'a.csv'} cannot be written: something is in the way, and it was changed "
        "since it was built; move it away, or write into another folder"
    )


def test_a_file_that_was_changed_since_is_not_removed_and_is_told(bench: Path) -> None:
    (bench / "b.json").write_bytes(b"corrected by hand")
    written = write_set(bench, {"a.csv": b"new a"}, origin("new"))
    assert written.left == (bench / "b.json",)
    assert built(bench) == {"a.csv": b"new a", "b.json": b"corrected by hand"}
    assert write_set(bench, {"a.csv": b"newer"}, origin("newer")).left == ()


def test_a_file_that_no_build_wrote_is_not_overwritten(bench: Path) -> None:
    (bench / "f.txt").write_bytes(b"mine")
    assert "f.txt cannot be written: something is in the way, and no build wrote it" in refused(
        bench, NEW
    )


def test_a_file_with_the_very_bytes_is_taken_over(bench: Path) -> None:
    (bench / "f.txt").write_bytes(NEW["f.txt"])
    write_set(bench, NEW, origin("new"))
    assert built(bench) == NEW


def test_without_its_manifest_a_set_is_the_users_own(bench: Path) -> None:
    (bench / MANIFEST).unlink()
    assert "no build wrote it" in refused(bench, NEW)


@pytest.mark.parametrize(
    "text",
    ["mine", "[]", "{}", '{"files": 5}', "[" * 100_000, '{"files": {}, "status": 1}', "\ud800"],
)
def test_a_manifest_that_no_build_wrote_is_not_overwritten(bench: Path, text: str) -> None:
    (bench / MANIFEST).write_bytes(text.encode("utf-8", "surrogatepass"))
    assert "no build wrote it" in refused(bench, {"new.txt": b"1"})


@pytest.mark.parametrize("name", ["../victim", "/victim", "deep/../../victim", "a\\b", ""])
def test_a_manifest_from_elsewhere_leads_to_nothing_outside_the_folder(
    bench: Path, name: str
) -> None:
    victim = bench.parent / "victim"
    victim.write_bytes(b"mine")
    said = json.loads((bench / MANIFEST).read_bytes())
    absolute = str(victim) if name == "/victim" else name
    said["files"][absolute] = digest(b"mine")
    (bench / MANIFEST).write_text(json.dumps(said))
    write_set(bench, NEW, origin("new"))
    assert victim.read_bytes() == b"mine"


def test_nothing_is_written_under_the_name_of_the_manifest(bench: Path) -> None:
    assert MANIFEST in refused(bench, {MANIFEST: b"{}"})


# ------------------------------------------------------------------------- links


@pytest.mark.parametrize("name", ["cards/one.txt", "cards/left/one.txt"])
def test_nothing_is_written_through_a_link(bench: Path, name: str) -> None:
    outside = bench.parent / "outside"
    (outside / "left").mkdir(parents=True)
    (bench / "cards").symlink_to(outside)
    assert "cards is a link" in refused(bench, {name: b"1"})
    assert tree(outside) == {}


def test_a_link_in_place_of_a_file_is_not_overwritten(bench: Path) -> None:
    outside = bench.parent / "outside.txt"
    outside.write_bytes(b"mine")
    (bench / "f.txt").symlink_to(outside)
    assert "f.txt cannot be written" in refused(bench, NEW)
    assert outside.read_bytes() == b"mine"


def test_nothing_is_removed_through_a_link(bench: Path) -> None:
    """The folder in which a file lay has become a link to another with the same file."""
    outside = bench.parent / "outside"
    (bench / "deep").rename(outside)
    (bench / "deep").symlink_to(outside)
    write_set(bench, {"a.csv": b"new"}, origin("new"))
    assert tree(outside) == {"er/c.txt": b"old c"}
    assert (bench / "deep").is_symlink()


# --------------------------------------------------------------- places that refuse


def test_a_file_where_the_folder_should_be_is_told(tmp_path: Path) -> None:
    (tmp_path / "out").write_bytes(b"mine")
    assert (
        refused(tmp_path / "out", NEW)
        == f"{tmp_path / 'out'} cannot be written: it is not a folder"
    )
    said = refused(tmp_path / "out" / "below", NEW)
    assert said.endswith(f"below cannot be written: {tmp_path / 'out'} is not a folder")


def test_a_file_where_a_folder_of_the_set_should_be_is_told(bench: Path) -> None:
    (bench / "cards").write_bytes(b"mine")
    said = refused(bench, {"cards/one.txt": b"1"})
    assert "cards is a file, not a folder" in said


def test_a_folder_where_a_file_of_the_set_should_be_is_told(bench: Path) -> None:
    (bench / "f.txt").mkdir()
    assert "f.txt cannot be written: something is in the way, and it is a folder" in refused(
        bench, NEW
    )


def test_a_file_that_another_needs_as_a_folder_is_told(bench: Path) -> None:
    said = refused(bench, {"x": b"1", "x/y": b"2"})
    assert said.startswith(f"{bench / 'x/y'} cannot be written: ")


def test_folders_made_for_a_set_that_fails_go_again(tmp_path: Path) -> None:
    with pytest.raises(NotWrittenError):
        write_set(tmp_path / "one" / "two", {"x": b"1", "x/y": b"2"}, origin("new"))
    assert list(tmp_path.iterdir()) == []


@needs_fork
def test_a_file_too_large_for_the_system_is_told_and_leaves_the_old_set(bench: Path) -> None:
    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (10_000, 10_000))
        said = refused(bench, NEW | {"large": b"x" * 20_000})
        assert said == f"{bench / 'large'} cannot be written: File too large"

    assert ended(started(limited)) == 0
    assert built(bench) == OLD


@needs_fork
@pytest.mark.parametrize("closed", ["bench", "."])
def test_a_folder_that_may_not_be_written_is_told(closed: str) -> None:
    """Where only the folder above may not be written, it is written file by file."""
    with tempfile.TemporaryDirectory() as name:
        anybody = os.geteuid() or 65534
        os.chown(name, anybody, -1)
        bench = Path(name) / "bench"

        def as_anybody() -> None:
            os.setuid(anybody)
            write_set(bench, OLD, origin("old"))
            there = bench.stat().st_ino
            (Path(name) / closed).chmod(0o555)
            try:
                if closed == "bench":
                    assert refused(bench, NEW) == f"{bench} cannot be written: Permission denied"
                else:
                    write_set(bench, NEW, origin("new"))
                    assert built(bench) == NEW
                    assert bench.stat().st_ino == there
            finally:
                (Path(name) / closed).chmod(0o755)

        assert ended(started(as_anybody)) == 0


def test_a_folder_in_which_somebody_stands_stays_the_same_folder(
    bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(bench)
    for folder in (Path(), Path(".."), bench):
        there = bench.stat().st_ino
        if folder == Path(".."):
            write_set(Path("../bench"), OLD, origin("old"))
        else:
            write_set(folder, NEW, origin("new"))
        assert bench.stat().st_ino == there


# ------------------------------------------------ where a folder cannot be exchanged


@pytest.mark.parametrize("number", [errno.EXDEV, errno.EINVAL, errno.ENOSYS, errno.EBUSY])
@pytest.mark.parametrize("step", ["_exchange", "_make_alike"])
def test_what_a_system_cannot_do_is_done_file_by_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, step: str
) -> None:
    folder = tmp_path / "bench"
    write_set(folder, OLD, origin("old"))
    there = folder.stat().st_ino

    def cannot(*_: object) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(exchange, step, cannot)
    write_set(folder, NEW, origin("new"))
    assert built(folder) == NEW
    assert folder.stat().st_ino == there
    assert leftovers(folder) == []


def fails_at(count: int, real: Callable[..., object]) -> Callable[..., object]:
    calls = 0

    def call(*arguments: object) -> object:
        nonlocal calls
        calls += 1
        if calls == count:
            raise OSError(errno.EIO, "Input/output error")
        return real(*arguments)

    return call


@pytest.mark.parametrize("count", range(1, 6))
def test_an_error_between_two_files_puts_the_old_ones_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, count: int
) -> None:
    folder = tmp_path / "bench"
    write_set(folder, OLD, origin("old"))
    (folder / "mine").mkdir()
    monkeypatch.setattr(Path, "replace", fails_at(count, Path.replace))
    assert refused(folder, NEW) == f"{folder} cannot be written: Input/output error"


def test_what_was_changed_after_a_kill_is_not_overwritten(tmp_path: Path) -> None:
    folder = tmp_path / "bench"
    write_set(folder, OLD, origin("old"))
    (folder / "mine").mkdir()

    def killed() -> None:
        Path.replace = fails_forever  # type: ignore[method-assign,assignment]
        write_set(folder, NEW, origin("new"))

    def fails_forever(*_: object) -> None:
        os._exit(0)

    assert ended(started(killed)) == 0
    assert (folder / UNFINISHED).is_dir()
    (folder / "a.csv").write_bytes(b"corrected by hand")
    with pytest.raises(NotWrittenError, match=r"a\.csv cannot be written: a build was stopped"):
        write_set(folder, NEW, origin("new"))
    assert (folder / "a.csv").read_bytes() == b"corrected by hand"
    (folder / "a.csv").unlink()
    write_set(folder, NEW, origin("new"))
    assert built(folder) == NEW
    assert leftovers(folder) == []


def test_a_folder_of_the_users_own_with_the_name_of_the_sign_is_left(bench: Path) -> None:
    (bench / UNFINISHED).mkdir()
    (bench / UNFINISHED / "mine").write_bytes(b"mine")
    before = tree(bench)
    with pytest.raises(NotWrittenError, match=f"{UNFINISHED} is in the way"):
        write_set(bench, NEW, origin("new"))
    assert tree(bench) == before


# --------------------------------------------------------------- real file systems


def on_a_file_system_of_its_own(folder: Path, kilobytes: int, work: str) -> str:
    """Run some Python on a folder that is a small file system in memory; returns what it
    prints."""
    program = textwrap.dedent(
        f"""\
        import sys
        from pathlib import Path
        sys.path.insert(0, {str(Path(__file__).parents[1])!r})
        from killed import *
        from bellcrank.file_sets.write_set import *
        bench = Path({str(folder)!r})
        """
    ) + textwrap.dedent(work)
    folder.mkdir()
    mount = f'mount -t tmpfs -o size={kilobytes}k none "$1" && exec "$2" -c "$3"'
    done = subprocess.run(
        ["unshare", "--mount", "sh", "-c", mount, "sh", str(folder), sys.executable, program],
        capture_output=True,
        text=True,
        timeout=60,
    )
    if re.search("unshare|mount:", done.stderr):
        pytest.skip("this user may not mount a file system")
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.mark.skipif(sys.platform != "linux", reason="namespaces of Linux")
def test_a_mount_point_is_written_file_by_file(tmp_path: Path) -> None:
    work = """
        write_set(bench, OLD, origin("old"))
        there = bench.stat().st_ino
        write_set(bench, NEW, origin("new"))
        assert built(bench) == NEW and bench.stat().st_ino == there
        assert leftovers(bench) == []
        print("done")
    """
    assert on_a_file_system_of_its_own(tmp_path / "bench", 1000, work) == "done\n"


@pytest.mark.skipif(sys.platform != "linux", reason="namespaces of Linux")
@pytest.mark.parametrize("below", [".", "bench"])
def test_a_full_disk_is_told_and_leaves_the_old_set(tmp_path: Path, below: str) -> None:
    work = f"""
        bench = bench / {below!r}
        write_set(bench, OLD, origin("old"))
        try:
            write_set(bench, NEW | {{"large": b"x" * 400_000}}, origin("new"))
        except NotWrittenError as error:
            print(error)
        assert built(bench) == OLD
        assert leftovers(bench) == []
        write_set(bench, NEW, origin("new"))
        assert built(bench) == NEW
    """
    said = on_a_file_system_of_its_own(tmp_path / "disk", 200, work)
    large = tmp_path / "disk" / below / "large"
    assert said == f"{large} cannot be written: No space left on device\n"


@pytest.mark.skipif(sys.platform != "linux", reason="namespaces of Linux")
def test_a_file_system_that_is_read_only_is_told(tmp_path: Path) -> None:
    work = """
        import subprocess
        write_set(bench / "bench", OLD, origin("old"))
        subprocess.run(["mount", "-o", "remount,ro", str(bench)], check=True)
        try:
            write_set(bench / "bench", NEW, origin("new"))
        except NotWrittenError as error:
            print(error)
        assert built(bench / "bench") == OLD
    """
    said = on_a_file_system_of_its_own(tmp_path / "disk", 200, work)
    assert re.search(r"cannot be written: (Read-only file system|Permission denied)", said)
