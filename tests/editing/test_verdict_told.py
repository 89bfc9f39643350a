"""The verdict while a layout is being written: on the `layout` line, and never of another text."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path
from shutil import copy

import pytest
from event_loops import in_a_loop
from language_client import PATIENCE, Editor, at_an_editor, editor
from lsprotocol import types as lsp

from bellcrank.compilation import Sound, compile_text, prove

ROOT = Path(__file__).parents[2]
TERMINUS = ROOT / "examples" / "harbour-terminus.crank"
FORGETFUL = (ROOT / "examples" / "harbour-terminus-forgetful.crank").read_text("utf-8")

OVAL = """layout "Pin Mill" on three rails
run edge WEST - A - >W1 - B - edge EAST
"""


def proved(said: list[lsp.Diagnostic]) -> bool:
    return "proved" in [d.code for d in said]


def refuted(said: list[lsp.Diagnostic]) -> bool:
    return "refuted" in [d.code for d in said]


def unmet(said: list[lsp.Diagnostic]) -> bool:
    return "unmet" in [d.code for d in said]


def test_a_proved_layout_says_so_on_its_layout_line(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        (said,) = await editor.diagnostics(editor.open("pin.crank", OVAL), proved)
        assert said.severity == lsp.DiagnosticSeverity.Information
        assert said.range.start == lsp.Position(0, 0)
        assert said.message.startswith("proved by z3")
        assert "1 routes" not in said.message

    at_an_editor(tmp_path, work)


def test_a_refuted_layout_tells_its_stories_at_the_places_where_they_happen(
    tmp_path: Path,
) -> None:
    async def work(editor: Editor) -> None:
        copy(TERMINUS, tmp_path)
        uri = editor.open("forgetful.crank", FORGETFUL)
        said = await editor.diagnostics(uri, refuted)
        line = FORGETFUL[: FORGETFUL.index('use "')].count("\n")
        assert {d.range.start.line for d in said if d.code == "refuted"} == {line}
        told = [d for d in said if "After" in d.message]
        assert told
        for story in told:
            steps = story.related_information or []
            assert [s.message.split(".")[0] for s in steps] == [
                str(n) for n in range(1, len(steps) + 1)
            ]
            assert len({(s.location.uri, s.location.range.start.line) for s in steps}) > 1

    at_an_editor(tmp_path, work)


def test_an_expectation_that_does_not_hold_says_so_where_it_stands(tmp_path: Path) -> None:
    text = TERMINUS.read_text("utf-8").replace(
        "expect W1 to T1 never with G1 to T2", "expect W1 to T1 with G1 to T2"
    )

    async def work(editor: Editor) -> None:
        said = await editor.diagnostics(editor.open("quay.crank", text), unmet)
        line = text[: text.index("expect W1 to T1")].count("\n")
        assert [d.severity for d in said if d.range.start.line == line] == [1]
        (whole,) = [d for d in said if d.message.startswith("unmet (an expectation is not met,")]
        assert whole.severity == lsp.DiagnosticSeverity.Warning

    at_an_editor(tmp_path, work)


def test_a_verdict_goes_with_the_text_that_it_was_of(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("pin.crank", OVAL)
        await editor.diagnostics(uri, proved)
        editor.replace(uri, "- B -", "B -")
        assert [d.code for d in await editor.diagnostics(uri)] == ["E101"]
        editor.replace(uri, ">W1 B", ">W1 - B")
        await editor.diagnostics(uri, proved)

    at_an_editor(tmp_path, work)


def test_a_proof_that_is_under_way_is_given_up_when_the_text_changes(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        copy(TERMINUS, tmp_path)
        uri = editor.open("forgetful.crank", FORGETFUL)
        await editor.diagnostics(uri, refuted)
        for _ in range(3):
            editor.replace(uri, "locking written {", "locking written  {")
            await editor.diagnostics(uri)
            editor.replace(uri, "locking written  {", "locking written {")
        await editor.diagnostics(uri, refuted)

    at_an_editor(tmp_path, work)


@pytest.mark.campaign
def test_the_server_ends_at_once_with_a_proof_under_way(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        copy(TERMINUS, tmp_path)
        uri = editor.open("forgetful.crank", FORGETFUL)
        await editor.diagnostics(uri, refuted)
        editor.replace(uri, "locking written {", "locking written  {")
        await editor.diagnostics(uri)
        await asyncio.sleep(0.5)

    async def run() -> float:
        async with editor(tmp_path) as own:
            await work(own)
            begun = time.monotonic()
        return time.monotonic() - begun

    assert in_a_loop(run()) < PATIENCE / 2


def test_of_two_layouts_that_are_open_both_have_their_verdict(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        copy(TERMINUS, tmp_path)
        one, other = editor.open("pin.crank", OVAL), editor.open("forgetful.crank", FORGETFUL)
        await editor.diagnostics(one, proved)
        await editor.diagnostics(other, refuted)

    at_an_editor(tmp_path, work)


def test_routes_that_can_never_be_set_and_trains_that_block_each_other_are_told(
    tmp_path: Path,
) -> None:
    text = (
        "points P\nrun edge EAST - E - >H - P.toe\nrun P.straight - B - stop\n"
        "run P.diverging - <R - C - stop\n"
        "locking derive {\n  H to B needs H to C set\n}\n"
    )

    async def work(editor: Editor) -> None:
        uri = editor.open("x.crank", text)
        never = await editor.diagnostics(uri, lambda s: "never set" in [d.code for d in s])
        (said,) = [d for d in never if d.code == "never set"]
        assert said.range.start == editor.at(uri, "- >", "H - P")
        other = editor.open("quay.crank", QUAY)
        blocked = await editor.diagnostics(other, lambda s: "blocked" in [d.code for d in s])
        assert any("would wait for each other" in d.message for d in blocked)

    at_an_editor(tmp_path, work)


QUAY = TERMINUS.read_text("utf-8")

HALT = """layout "Marsh Halt" on two rails
points P
run edge WEST - A - >H - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
"""


def any_verdict(said: list[lsp.Diagnostic]) -> bool:
    return proved(said) or refuted(said) or unmet(said)


TEXTS = [
    HALT,
    HALT + "expect H to B with H to C\n",
    HALT + "locking written {\n  every route needs its positions\n}\n",
]


def test_the_verdict_on_each_of_several_texts_is_that_of_a_proof_by_itself(tmp_path: Path) -> None:
    async def work(editor: Editor) -> list[str]:
        uri = editor.open("quay.crank", "")
        told = []
        for text in TEXTS:
            editor.type(uri, 0, len(editor.text(uri)), text)
            said = await editor.diagnostics(uri, any_verdict)
            (first, *_) = [d for d in said if d.message.startswith(("proved", "refuted", "unmet"))]
            told.append(str(first.code))
        return told

    alone = []
    for text in TEXTS:
        c = compile_text(text)
        assert isinstance(c, Sound)
        alone.append(prove(c).outcome)
    assert set(alone) == {"proved", "refuted", "unmet"}
    assert at_an_editor(tmp_path, work) == alone


def test_a_proof_that_takes_long_is_shown_while_it_is_under_way(tmp_path: Path) -> None:
    told: list[str] = []
    copy(TERMINUS, tmp_path)

    async def run() -> None:
        window = lsp.WindowClientCapabilities(work_done_progress=True)
        async with editor(tmp_path, lsp.ClientCapabilities(window=window)) as own:

            @own.client.feature(lsp.WINDOW_WORK_DONE_PROGRESS_CREATE)
            def _create(_: lsp.WorkDoneProgressCreateParams) -> None:
                told.append("create")

            @own.client.feature(lsp.PROGRESS)
            def _progress(params: lsp.ProgressParams) -> None:
                told.append(params.value["kind"])
                own.news.set()

            # What it lacks is looked for after the verdict, which takes a while.
            own.open("forgetful.crank", FORGETFUL)
            async with asyncio.timeout(PATIENCE):
                while "end" not in told:
                    own.news.clear()
                    await own.news.wait()

    in_a_loop(run())
    assert told == ["create", "begin", "end"]
