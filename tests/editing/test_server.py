"""Diagnostics while a layout is being written, told to a real client over pipes."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from event_loops import in_a_loop
from language_client import PATIENCE, Editor, at_an_editor, editor
from lsprotocol import types as lsp

from bellcrank.compilation import compile_file

OVAL = """layout "Pin Mill" on three rails
run edge WEST - A - >W1 - B - edge EAST
"""


def test_a_sound_layout_has_no_errors(tmp_path: Path) -> None:
    async def work(editor: Editor) -> list[lsp.Diagnostic]:
        return await editor.diagnostics(editor.open("pin.crank", OVAL))

    assert [d for d in at_an_editor(tmp_path, work) if d.severity != 3] == []


def test_an_error_has_its_place_its_code_its_page_and_what_to_try(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("pin.crank", OVAL.replace("W1", "WEIR") + "signal WIER shunt\n")
        (said,) = await editor.diagnostics(uri)
        assert said.code == "E201"
        assert said.range == lsp.Range(lsp.Position(2, 7), lsp.Position(2, 11))
        assert said.severity == lsp.DiagnosticSeverity.Error
        assert "expected: a signal: WEIR" in said.message
        assert "try: did you mean `WEIR`?" in said.message
        assert said.code_description is not None
        page = Path(said.code_description.href.removeprefix("file://"))
        assert page.read_text("utf-8").startswith("E201: ")

    at_an_editor(tmp_path, work)


def test_another_place_that_belongs_to_an_error_is_beside_it(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("pin.crank", OVAL + "section W1 = A\n")
        (said,) = await editor.diagnostics(uri)
        assert said.code == "E203"
        (other,) = said.related_information or []
        assert other.location.uri == uri
        assert other.location.range.start == lsp.Position(1, 21)

    at_an_editor(tmp_path, work)


def test_an_error_that_is_mended_goes_and_comes_again(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("pin.crank", OVAL)
        for _ in range(3):
            editor.replace(uri, "- B -", "B -")
            assert [d.code for d in await editor.diagnostics(uri)] == ["E101"]
            editor.replace(uri, ">W1 B", ">W1 - B")
            assert [d.code for d in await editor.diagnostics(uri) if d.severity != 3] == []

    at_an_editor(tmp_path, work)


def test_signs_of_two_code_units_before_a_place_are_counted(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("pin.crank", 'layout "𝄞𝄞" on 4 rails\n')
        said = next(d for d in await editor.diagnostics(uri) if d.code == "E608")
        assert said.range == lsp.Range(lsp.Position(0, 17), lsp.Position(0, 18))

    at_an_editor(tmp_path, work)


def test_line_ends_of_all_three_sorts_are_counted(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        text = OVAL.replace("\n", "\r\n") + "# \r# a\r\n# bc\r# d\n"
        said = await editor.diagnostics(editor.open("pin.crank", text))
        assert [(d.code, d.range.start) for d in said if d.code == "E108"] == [
            ("E108", lsp.Position(2, 2)),
            ("E108", lsp.Position(4, 4)),
        ]

    at_an_editor(tmp_path, work)


def test_a_text_in_no_file_is_compiled_by_itself(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("untitled:Untitled-1", OVAL + 'use "more.crank"\n')
        assert [d.code for d in await editor.diagnostics(uri)] == ["E704"]

    at_an_editor(tmp_path, work)


def test_a_file_that_is_used_is_compiled_with_the_layout_that_uses_it(tmp_path: Path) -> None:
    (tmp_path / "main.crank").write_text('layout "Pin Mill"\nuse "signals.crank"\n' + OVAL[33:])
    (tmp_path / "signals.crank").write_text("signal W1 shunt\n")

    async def work(editor: Editor) -> None:
        used = editor.open("signals.crank", "signal W1 shunt\n")
        assert [d.code for d in await editor.diagnostics(used) if d.severity != 3] == []
        editor.replace(used, "W1", "W2")
        assert [d.code for d in await editor.diagnostics(used)] == ["E201"]
        editor.replace(used, "W2", "W1")
        main = editor.open("main.crank", (tmp_path / "main.crank").read_text())
        editor.replace(main, ">W1", ">W3")
        await editor.diagnostics(used, lambda said: "E201" in [d.code for d in said])
        editor.close(main)
        await editor.diagnostics(used, lambda said: "E201" not in [d.code for d in said])

    at_an_editor(tmp_path, work)


def test_errors_in_a_file_that_is_not_open_are_told_and_taken_back(tmp_path: Path) -> None:
    (tmp_path / "signals.crank").write_text("signal W9 shunt\n")

    async def work(editor: Editor) -> None:
        main = editor.open("main.crank", OVAL + 'use "signals.crank"\n')
        other = editor.uri("signals.crank")
        assert [d.code for d in await editor.diagnostics(other)] == ["E201"]
        editor.replace(main, 'use "signals.crank"\n', "")
        assert await editor.diagnostics(other, lambda said: not said) == []

    at_an_editor(tmp_path, work)


def test_what_is_closed_has_no_diagnostics(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("pin.crank", OVAL + "signal X1\n")
        await editor.diagnostics(uri)
        editor.close(uri)
        assert await editor.diagnostics(uri) == []

    at_an_editor(tmp_path, work)


def test_a_page_of_hasty_typing_ends_with_the_diagnostics_of_its_last_letter(
    tmp_path: Path,
) -> None:
    (tmp_path / "pin.crank").write_text(OVAL + "signal W1 shunt\n")

    async def work(editor: Editor) -> None:
        uri = editor.open("pin.crank", "")
        for letter in OVAL + "signal W1 shunt\n":
            end = len(editor.text(uri))
            editor.type(uri, end, end, letter)
        said = await editor.diagnostics(uri)
        alike = compile_file(tmp_path / "pin.crank").diagnostics
        assert sorted(d.code for d in said if d.severity != 3) == sorted(d.code for d in alike)
        versions = [p.version for p in editor.published if p.uri == uri]
        assert versions == sorted(versions)

    at_an_editor(tmp_path, work)


def test_a_file_in_a_folder_below_is_compiled_with_the_layout_above(tmp_path: Path) -> None:
    (tmp_path / "parts").mkdir()
    (tmp_path / "main.crank").write_text(OVAL + 'use "parts/signals.crank"\n')
    (tmp_path / "parts" / "signals.crank").write_text("signal W1 shunt\n")

    async def run() -> None:
        async with editor(tmp_path) as own:
            # Alone it would have no signal W1.
            assert await own.diagnostics(own.open("parts/signals.crank", "signal W1\n")) == []

    in_a_loop(run())


def test_a_layout_that_another_uses_is_judged_by_itself(tmp_path: Path) -> None:
    (tmp_path / "other.crank").write_text('use "pin.crank"\nsignal W7 shunt\nrun edge EAST - C\n')
    (tmp_path / "pin.crank").write_text(OVAL)

    async def work(editor: Editor) -> None:
        uri = editor.open("pin.crank", OVAL)
        assert [d.code for d in await editor.diagnostics(uri) if d.severity == 1] == []
        editor.open("other.crank", (tmp_path / "other.crank").read_text())
        editor.replace(uri, "Pin Mill", "Pin  Mill")
        said = await editor.diagnostics(editor.uri("other.crank"))
        assert {d.code for d in said} >= {"E201"}

    at_an_editor(tmp_path, work)


def test_the_server_ends_when_its_editor_has_gone() -> None:
    words = [sys.executable, "-m", "bellcrank", "editor"]
    done = subprocess.run(words, input=b"", capture_output=True, timeout=PATIENCE)
    assert done.returncode == 1
    assert done.stdout == b"" and done.stderr == b""
