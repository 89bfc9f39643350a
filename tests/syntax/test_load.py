"""Reading a layout that is split over files by `use`."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from sound_layouts import checked_file

from bellcrank.compilation import compile_file
from bellcrank.diagnostics import Diagnostic
from bellcrank.syntax.load import Program, load_file, load_text
from bellcrank.syntax.reading import LARGEST_FILE

TRACK = "run edge WEST - A - >H - B - edge EAST\n"


def written(folder: Path, files: dict[str, str]) -> Path:
    """The folder with these files in it; returns the path of the layout."""
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode("utf-8"))
    return folder / "main.crank"


def loaded(folder: Path, files: dict[str, str]) -> Program:
    program, said = load_file(written(folder, files))
    assert said == ()
    return program


def the_fault(folder: Path, files: dict[str, str]) -> Diagnostic:
    _, said = load_file(written(folder, files))
    (found,) = said
    return found


def test_a_used_file_counts_as_if_it_stood_in_the_layout(tmp_path: Path):
    files = {"main.crank": 'use "track.crank"\nsignal H shunt\n', "track.crank": TRACK}
    result = checked_file(written(tmp_path, files))
    assert result.diagnostics == ()
    assert result.proved
    assert result.layout.signals["H"].shunt


def test_used_files_come_before_those_that_use_them(tmp_path: Path):
    program = loaded(
        tmp_path,
        {"main.crank": 'use "a.crank"\n', "a.crank": 'use "b.crank"\n' + TRACK, "b.crank": "\n"},
    )
    assert [file.name for file in program.files] == ["b.crank", "a.crank", "main.crank"]
    assert set(program.texts) == {"main.crank", "a.crank", "b.crank"}


def test_a_file_used_by_two_others_is_read_once(tmp_path: Path):
    files = {
        "main.crank": 'use "a.crank"\nuse "b.crank"\nuse "./sub/../c.crank"\n',
        "a.crank": 'use "c.crank"\n',
        "b.crank": 'use "c.crank"\n',
        "c.crank": TRACK,
        "sub/unused.crank": "",
    }
    program = loaded(tmp_path, files)
    assert [file.name for file in program.files] == ["c.crank", "a.crank", "b.crank", "main.crank"]
    assert compile_file(tmp_path / "main.crank").diagnostics == ()


def test_names_count_from_the_folder_of_the_layout_in_every_file(tmp_path: Path):
    program = loaded(
        tmp_path,
        {
            "main.crank": 'use "parts/a.crank"\n',
            "parts/a.crank": 'use "parts/b.crank"\n',
            "parts/b.crank": TRACK,
        },
    )
    assert [file.name for file in program.files] == ["parts/b.crank", "parts/a.crank", "main.crank"]


def test_a_mistake_in_a_used_file_is_reported_by_its_name(tmp_path: Path):
    found = the_fault(
        tmp_path, {"main.crank": 'use "parts/a.crank"\n', "parts/a.crank": "\nrun edge W - A B\n"}
    )
    assert str(found.span) == "parts/a.crank:2:16"


@pytest.mark.parametrize("path", ["../outside.crank", "sub/../../outside.crank", "{0}"])
def test_a_file_outside_the_folder_is_refused_before_it_is_looked_at(path: str, tmp_path: Path):
    outside = tmp_path / "outside.crank"
    outside.write_text("no layout at all", "utf-8")
    found = the_fault(
        tmp_path / "layout", {"main.crank": f'use "{path.format(outside)}"\n', "sub/x": ""}
    )
    assert found.code == "E701"
    missing = the_fault(
        tmp_path / "layout", {"main.crank": 'use "../there-is-no-such-file.crank"\n'}
    )
    assert missing.code == "E701"


def test_a_link_that_leads_out_of_the_folder_is_refused(tmp_path: Path):
    (tmp_path / "outside.crank").write_text(TRACK, "utf-8")
    main = written(tmp_path / "layout", {"main.crank": 'use "link.crank"\n'})
    try:
        (tmp_path / "layout" / "link.crank").symlink_to(tmp_path / "outside.crank")
    except OSError:
        pytest.skip("no links can be made here")
    _, (found,) = load_file(main)
    assert found.code == "E701"


def test_a_folder_whose_name_only_begins_alike_is_outside(tmp_path: Path):
    written(tmp_path / "layout2", {"a.crank": TRACK})
    found = the_fault(tmp_path / "layout", {"main.crank": 'use "../layout2/a.crank"\n'})
    assert found.code == "E701"


@pytest.mark.parametrize(
    "path",
    ["missing.crank", "sub/missing.crank", "", ".", "x" * 5_000, "loop", "a.crank/b"],
)
def test_what_is_no_file_is_missing_whatever_it_is_called(path: str, tmp_path: Path):
    files = {"main.crank": f'use "{path}"\n', "a.crank": ""}
    written(tmp_path, files)
    if path == "loop":
        try:
            (tmp_path / "loop").symlink_to("loop")
        except OSError:
            pytest.skip("no links can be made here")
    found = the_fault(tmp_path, files)
    assert found.code in ("E701", "E702")
    assert found.span.line == 1


def test_a_missing_file_is_named_with_the_nearest_that_is_there(tmp_path: Path):
    found = the_fault(
        tmp_path, {"main.crank": 'use "parts/signal.crank"\n', "parts/signals.crank": ""}
    )
    assert (found.code, found.hint) == ("E702", "did you mean `signals.crank`?")


def test_a_missing_layout_is_named_with_the_nearest_that_is_there(tmp_path: Path):
    written(tmp_path, {"main.crank": TRACK})
    program, (found,) = load_file(tmp_path / "mian.crank")
    assert (found.code, found.hint) == ("E702", "did you mean `main.crank`?")
    assert program.files == ()


@pytest.mark.parametrize("text", ['use "main.crank"\n', 'use "./main.crank"\n', 'use "a.crank"\n'])
def test_files_that_use_each_other_in_a_ring_are_refused(text: str, tmp_path: Path):
    found = the_fault(
        tmp_path,
        {"main.crank": text + TRACK, "a.crank": 'use "b.crank"', "b.crank": 'use "a.crank"'},
    )
    assert found.code == "E703"


def test_a_long_chain_of_files_is_read_or_refused_but_never_breaks_off(tmp_path: Path):
    count = sys.getrecursionlimit()
    files = {f"f{n}.crank": f'use "f{n + 1}.crank"\n' for n in range(count)}
    files["main.crank"] = 'use "f0.crank"\n'
    files[f"f{count}.crank"] = TRACK
    program, said = load_file(written(tmp_path, files))
    assert len(program.files) == count + 2 or [d.code for d in said]


def test_a_text_from_no_folder_uses_nothing():
    program, (found,) = load_text('use "a.crank"\n' + TRACK, "typed in")
    assert (found.code, found.span.file) == ("E704", "typed in")
    assert [file.name for file in program.files] == ["typed in"]


def test_used_files_are_left_alone_where_they_are_not_asked_for(tmp_path: Path):
    main = written(tmp_path, {"main.crank": 'use "missing.crank"\n' + TRACK})
    program, said = load_file(main, follow=False)
    assert said == ()
    assert [file.name for file in program.files] == ["main.crank"]


# ------------------------------------------------------------------- encodings


@pytest.mark.parametrize(
    ("data", "place", "byte"),
    [
        (b"\xff", "main.crank:1:1", "byte 1 (0xFF)"),
        (b"# ok\n# \xe4\n", "main.crank:2:3", "byte 8 (0xE4)"),
        ("# ü\n# ".encode() + b"\xe4", "main.crank:2:3", "byte 8 (0xE4)"),
        (b"# \xed\xa0\x80\n", "main.crank:1:3", "byte 3 (0xED)"),  # half of a surrogate pair
        (b"# \xe2\x82", "main.crank:1:3", "byte 3 (0xE2)"),  # a character cut short
        ("layout".encode("utf-16"), "main.crank:1:1", "byte 1 (0xFF)"),
    ],
)
def test_a_file_that_is_not_utf_8_is_refused_at_its_first_wrong_byte(
    data: bytes, place: str, byte: str, tmp_path: Path
):
    (tmp_path / "main.crank").write_bytes(data)
    _, (found,) = load_file(tmp_path / "main.crank")
    assert (found.code, str(found.span)) == ("E102", place)
    assert byte in found.message


def test_a_used_file_that_is_not_utf_8_is_named(tmp_path: Path):
    main = written(tmp_path, {"main.crank": 'use "a.crank"\n'})
    (tmp_path / "a.crank").write_bytes(b"# \xe4")
    _, (found,) = load_file(main)
    assert (found.code, str(found.span)) == ("E102", "a.crank:1:3")


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
def test_a_byte_order_mark_and_the_line_ends_do_not_count(mark: bytes, end: bytes, tmp_path: Path):
    lines = [b'layout "Halt"', b"run edge WEST - A -", b"  >H - B - stop", b"signal H shunt"]
    (tmp_path / "main.crank").write_bytes(mark + end.join(lines) + end)
    program, said = load_file(tmp_path / "main.crank")
    assert said == ()
    assert program.texts["main.crank"] == (b"\n".join(lines) + b"\n").decode()
    assert len(program.files[0].statements) == 3


def test_a_byte_order_mark_in_a_used_file_does_not_count(tmp_path: Path):
    main = written(tmp_path, {"main.crank": 'use "a.crank"\n', "a.crank": "\ufeff" + TRACK})
    assert load_file(main)[1] == ()


def test_the_hash_of_a_layout_is_that_of_all_its_files(tmp_path: Path):
    files = {"main.crank": 'use "a.crank"\n', "a.crank": TRACK}
    first = compile_file(written(tmp_path / "1", files)).source_hash
    assert first == compile_file(written(tmp_path / "2", files)).source_hash
    files["a.crank"] += "# one comment more\n"
    assert first != compile_file(written(tmp_path / "3", files)).source_hash


# ------------------------------------------------------------------------ sizes


def test_a_huge_file_is_refused_unread(tmp_path: Path):
    path = tmp_path / "main.crank"
    with path.open("wb") as stream:
        stream.truncate(LARGEST_FILE + 1)
    _, (found,) = load_file(path)
    assert found.code == "E103"


def test_a_folder_is_no_layout(tmp_path: Path):
    _, (found,) = load_file(tmp_path)
    assert found.code == "E702"


def test_an_empty_file_is_a_layout_with_nothing_in_it(tmp_path: Path):
    program = loaded(tmp_path, {"main.crank": ""})
    assert program.files[0].statements == ()


def test_a_link_that_leads_to_itself_is_no_file(tmp_path: Path):
    link = tmp_path / "loop.crank"
    try:
        link.symlink_to("loop.crank")
    except OSError:
        pytest.skip("no links can be made here")
    program, found = load_file(link)
    assert program.files == ()
    assert [d.code for d in found] == ["E702"]
