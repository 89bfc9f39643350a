"""What an editor asks about a text: each answer by a real client over pipes."""

from __future__ import annotations

import re
from pathlib import Path
from shutil import copy
from typing import Any

import pytest
from language_client import Editor, at_an_editor
from lsprotocol import types as lsp
from pygls.exceptions import JsonRpcException

from bellcrank.compilation import Sound, compile_text
from bellcrank.editing.colouring import TYPES
from bellcrank.editing.texts import Text
from bellcrank.syntax.formatter import format_source
from bellcrank.syntax.parse import parse

ROOT = Path(__file__).parents[2]
TERMINUS = ROOT / "examples" / "harbour-terminus.crank"
FORGETFUL = ROOT / "examples" / "harbour-terminus-forgetful.crank"
STATION = ROOT / "examples" / "four-track-station.crank"


def this(uri: str) -> lsp.TextDocumentIdentifier:
    return lsp.TextDocumentIdentifier(uri)


async def hover(editor: Editor, uri: str, before: str, after: str = "") -> str:
    at = lsp.HoverParams(this(uri), editor.at(uri, before, after))
    told = await editor.client.text_document_hover_async(at)
    if told is None:
        return ""
    assert isinstance(told.contents, lsp.MarkupContent)
    return told.contents.value


async def offered(editor: Editor, uri: str) -> list[str]:
    """What is offered at the end of the text, the first first."""
    end = editor.texts[uri][1].whole.end
    at = lsp.CompletionParams(this(uri), end)
    items = await editor.client.text_document_completion_async(at)
    assert isinstance(items, list)
    return [item.label for item in sorted(items, key=lambda i: i.sort_text or "")]


def after_changes(editor: Editor, edit: lsp.WorkspaceEdit | None) -> dict[str, str]:
    """The texts after an edit, by address."""
    assert edit is not None and edit.changes is not None
    return {uri: edited(editor.texts[uri][1], changes) for uri, changes in edit.changes.items()}


def edited(text: Text, changes: Any) -> str:
    for change in sorted(changes, key=lambda c: text.offset(c.range.start), reverse=True):
        start, end = text.offset(change.range.start), text.offset(change.range.end)
        text = Text(text.text[:start] + change.new_text + text.text[end:])
    return text.text


# ------------------------------------------------------------------------- hover


def test_a_route_tells_what_it_needs_and_what_conflicts_with_it_and_why(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("quay.crank", TERMINUS.read_text("utf-8"))
        told = await hover(editor, uri, "expect W1 to T1 nev")
        assert told == ""
        told = await hover(editor, uri, "expect W1 to T", "1 never")
        assert "over A" not in told  # the signal stands at its end
        assert "drives: P1 straight, S1 straight" in told
        assert "with **G1 to T2**: conflict: they cross in S1" in told
        assert "conflicts with D1 to WEST: they meet head-on" in told

    at_an_editor(tmp_path, work)


def test_a_route_is_told_of_while_some_line_cannot_be_read(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("quay.crank", TERMINUS.read_text("utf-8"))
        await editor.diagnostics(uri)
        editor.replace(uri, "numbering from", "numbering fro")
        told = await hover(editor, uri, "expect W1 to T", "1 never")
        assert "drives: P1 straight, S1 straight" in told
        assert "of the last text whose routes could be found" in told

    at_an_editor(tmp_path, work)


def test_an_output_tells_what_is_on_it_and_its_packets(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("quay.crank", TERMINUS.read_text("utf-8"))
        told = await hover(editor, uri, "drive P3 = K", "2.2")
        assert "output 22" in told
        assert "green: P3 straight" in told and "red: P3 diverging" in told
        assert "green on: `86 FB 7D`" in told and "red on: `86 FA 7C`" in told
        told = await hover(editor, uri, "drive S", "1 = K1.1")
        assert "S1 straight: K1.1 (output 16) red" in told  # its wires are swapped

    at_an_editor(tmp_path, work)


SHED = """\
layout "Shed"
fitting table {
  legs lead, one, two
  drive first, second
  way lead - one when first
  way lead - two when second
  drawn as turntable
}
table TT
run edge WEST - A - >H - TT.lead
run TT.one - <S1 - R1 - stop
run TT.two - <S2 - R2 - stop
"""


def test_a_fitting_tells_its_legs_and_ways(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("quay.crank", TERMINUS.read_text("utf-8"))
        told = await hover(editor, uri, "run P1.straight - S", "1.a1")
        assert "double slip with one drive" in told
        assert "b2: leads to T2.left" in told
        assert "way a1 - b2 when diverging" in told
        told = await hover(editor, uri, "doub", "le slip S1")
        assert "legs, in order round it: a1, b2, a2, b1" in told
        assert "drawn as" not in told
        shed = editor.open("shed.crank", SHED)
        assert "drawn as a turntable" in await hover(editor, shed, "tab", "le TT")

    at_an_editor(tmp_path, work)


def test_an_error_tells_its_page(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("quay.crank", TERMINUS.read_text("utf-8") + "signal XX\n")
        assert (await hover(editor, uri, "signal X", "X")).startswith("**E201: ")

    at_an_editor(tmp_path, work)


# ------------------------------------------------------------------ where names are


def test_a_name_leads_to_where_it_is_declared(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("quay.crank", TERMINUS.read_text("utf-8"))
        at = lsp.DefinitionParams(this(uri), editor.at(uri, "signal G", "2 = K3.4"))
        found = await editor.client.text_document_definition_async(at)
        assert isinstance(found, list) and isinstance(found[0], lsp.Location)
        assert found[0].range.start == editor.at(uri, "run P1.diverging - <", "G2")

    at_an_editor(tmp_path, work)


def test_a_leg_of_a_standard_fitting_leads_to_the_file_of_standard_fittings(
    tmp_path: Path,
) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("quay.crank", TERMINUS.read_text("utf-8"))
        at = lsp.DefinitionParams(this(uri), editor.at(uri, "run P1.str", "aight"))
        found = await editor.client.text_document_definition_async(at)
        assert isinstance(found, list) and isinstance(found[0], lsp.Location)
        assert found[0].uri.endswith("/fittings.crank")

    at_an_editor(tmp_path, work)


def test_a_name_that_a_used_file_declares_is_found_there_and_all_its_uses_in_both(
    tmp_path: Path,
) -> None:
    copy(TERMINUS, tmp_path)

    async def work(editor: Editor) -> None:
        uri = editor.open("forgetful.crank", FORGETFUL.read_text("utf-8"))
        at = editor.at(uri, "W1 to G", "1 locks")
        found = await editor.client.text_document_definition_async(
            lsp.DefinitionParams(this(uri), at)
        )
        assert isinstance(found, list) and isinstance(found[0], lsp.Location)
        assert found[0].uri == editor.uri(TERMINUS.name)
        uses = await editor.client.text_document_references_async(
            lsp.ReferenceParams(lsp.ReferenceContext(True), this(uri), at)
        )
        assert uses is not None
        assert {use.uri for use in uses} == {uri, editor.uri(TERMINUS.name)}
        both = FORGETFUL.read_text("utf-8") + TERMINUS.read_text("utf-8")
        code = "".join(line.split("#")[0] for line in both.splitlines(keepends=True))
        assert len(uses) == code.count("G1")

    at_an_editor(tmp_path, work)


# ----------------------------------------------------------------------- renaming


@pytest.mark.parametrize(
    ("path", "before", "after", "old"),
    [
        (TERMINUS, "- >W", "1 - P1", "W1"),
        (TERMINUS, "points P", "1, P3", "P1"),
        (TERMINUS, "decoder K", "2 quad", "K2"),
        (STATION, "double slip S", " with", "S"),
        (STATION, "route SLO", "W = ", "SLOW"),
        (STATION, "P12.straight - <D1 - T", "1 - stop", "T1"),
    ],
    ids=["signal", "points", "decoder", "slip", "route", "piece"],
)
def test_a_new_name_stands_in_every_place_and_nothing_else_changes(
    tmp_path: Path, path: Path, before: str, after: str, old: str
) -> None:
    async def work(editor: Editor) -> str:
        uri = editor.open("own.crank", path.read_text("utf-8"))
        asked = lsp.RenameParams(this(uri), editor.at(uri, before, after), "NEW9")
        edit = await editor.client.text_document_rename_async(asked)
        return after_changes(editor, edit)[uri]

    one = compile_text(path.read_text("utf-8"))
    other = compile_text(at_an_editor(tmp_path, work))
    assert isinstance(one, Sound) and isinstance(other, Sound)

    def same(name: str) -> str:
        return " ".join("NEW9" if word == old else word for word in name.split(" "))

    assert [same(name) for name in one.table.routes] == list(other.table.routes)
    assert {(same(a), same(b)) for a, b in one.table.conflicts} == set(other.table.conflicts)
    assert [d.code for d in one.diagnostics] == [d.code for d in other.diagnostics]


@pytest.mark.parametrize(
    ("new", "why"),
    [
        ("D1", "is the name of something else"),
        ("run", "is a word of the language"),
        ("a b", "cannot be a name"),
    ],
)
def test_a_name_that_cannot_be_is_refused(tmp_path: Path, new: str, why: str) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("own.crank", TERMINUS.read_text("utf-8"))
        asked = lsp.RenameParams(this(uri), editor.at(uri, "- >W", "1 - P1"), new)
        with pytest.raises(JsonRpcException, match=why):
            await editor.client.text_document_rename_async(asked)

    at_an_editor(tmp_path, work)


def test_nothing_is_renamed_while_a_line_cannot_be_read(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("own.crank", TERMINUS.read_text("utf-8") + "route W1 to\n")
        at = editor.at(uri, "- >W", "1 - P1")
        with pytest.raises(JsonRpcException, match="cannot be read"):
            await editor.client.text_document_prepare_rename_async(
                lsp.PrepareRenameParams(this(uri), at)
            )

    at_an_editor(tmp_path, work)


# --------------------------------------------------------------------- completion


@pytest.mark.parametrize(
    ("line", "first", "others"),
    [
        ("signal G1 = K3.", "4", []),
        ("signal G1 = ", "K3.4", ["quad", "onboard"]),
        ("expect W1 to ", "G1", ["T1", "T2"]),
        ("expect W1 to T1 ne", "never", ["with"]),
        ("flank W1 to T1 = S1 ", "diverging", ["straight"]),
        ("section N = A, ", "G", ["P1", "S1"]),
        ("locking written {\n  nonsense\n  W1 to T1 l", "locks", ["needs", "via"]),
        ("locking written {\n  ", "D1", ["every", "only"]),
        ("lo", "locking", ["points", "run"]),
        ("double ", "slip", []),
    ],
)
def test_what_may_stand_there_is_offered(
    tmp_path: Path, line: str, first: str, others: list[str]
) -> None:
    text = TERMINUS.read_text("utf-8").replace("signal G2 = K3.4\n", "")

    async def work(editor: Editor) -> None:
        uri = editor.open("quay.crank", text)
        await editor.diagnostics(uri)
        editor.type(uri, len(text), len(text), line)
        await editor.diagnostics(uri)  # by now the text has an error
        found = await offered(editor, uri)
        begun = re.split(r"\W", line)[-1]
        assert next(word for word in found if word.startswith(begun)) == first
        assert set(others) <= set(found)

    at_an_editor(tmp_path, work)


def test_a_leg_that_leads_nowhere_yet_is_offered_before_those_that_do(tmp_path: Path) -> None:
    text = 'layout "X"\npoints P1\nrun edge E - >H - P1.toe\nrun P1.straight - A - stop\n'

    async def work(editor: Editor) -> None:
        uri = editor.open("quay.crank", text)
        await editor.diagnostics(uri)
        editor.type(uri, len(text), len(text), "run ")
        assert (await offered(editor, uri))[0] == "P1.diverging"
        editor.type(uri, len(text) + 4, len(text) + 4, "P1.")
        assert await offered(editor, uri) == ["diverging", "straight", "toe"]

    at_an_editor(tmp_path, work)


# ------------------------------------------------- outline, colours, hints, form


def test_the_outline_names_all_that_is_declared(tmp_path: Path) -> None:
    async def work(editor: Editor) -> None:
        uri = editor.open("quay.crank", TERMINUS.read_text("utf-8"))
        params = lsp.DocumentSymbolParams(this(uri))
        found = await editor.client.text_document_document_symbol_async(params)
        assert found is not None
        names = [symbol.name for symbol in found]
        assert names[:4] == ["Saltmarsh Quay", "P1", "P3", "S1"]
        assert "NECK" in names and "drive P3" in names and "BENCH" in names
        run = next(s for s in found if s.name.startswith("run edge WEST"))
        assert isinstance(run, lsp.DocumentSymbol)
        assert [s.name for s in run.children or []] == ["WEST", "A", "W1"]

    at_an_editor(tmp_path, work)


def test_blocks_and_comments_can_be_folded(tmp_path: Path) -> None:
    copy(TERMINUS, tmp_path)

    async def work(editor: Editor) -> None:
        uri = editor.open("forgetful.crank", FORGETFUL.read_text("utf-8"))
        params = lsp.FoldingRangeParams(this(uri))
        found = await editor.client.text_document_folding_range_async(params)
        rows = FORGETFUL.read_text("utf-8").split("\n")
        assert found is not None
        assert [rows[f.start_line][:7] for f in found] == ["locking", "# The h"]

    at_an_editor(tmp_path, work)


def test_each_word_has_the_colour_of_what_it_is(tmp_path: Path) -> None:
    text = (
        'layout "X" # of mine\npoints P1\nrun edge E - >H1 - P1.toe\n'
        "drive P1 = K.2  coil 200 ms\nrun (\n"
    )

    async def work(editor: Editor) -> None:
        uri = editor.open("quay.crank", text)
        params = lsp.SemanticTokensParams(this(uri))
        found = await editor.client.text_document_semantic_tokens_full_async(params)
        assert found is not None
        row = column = 0
        said = []
        for at in range(0, len(found.data), 5):
            lines, columns, length, kind, _ = found.data[at : at + 5]
            row, column = row + lines, columns if lines else column + columns
            said.append((text.split("\n")[row][column : column + length], TYPES[kind]))
        assert said == [
            ("layout", "keyword"),
            ('"X"', "string"),
            ("# of mine", "comment"),
            ("points", "type"),
            ("P1", "class"),
            ("run", "keyword"),
            ("edge", "keyword"),
            ("E", "namespace"),
            ("H1", "event"),
            ("P1", "class"),
            ("toe", "property"),
            ("drive", "keyword"),
            ("P1", "class"),
            ("K", "variable"),
            ("2", "number"),
            ("coil", "enumMember"),
            ("200 ms", "number"),
            ("run", "keyword"),
        ]

    at_an_editor(tmp_path, work)


def test_numbers_that_were_chosen_and_routes_that_are_meant_stand_in_the_line(
    tmp_path: Path,
) -> None:
    text = TERMINUS.read_text("utf-8").replace("drive P1 = K2.1", "drive P1 = quad")
    text = text.replace("decoder K3 quad at 25", "decoder K3 quad")
    text += "route MAIN = W1 to T1\nexpect W1 to T1 with Y1 to G2\n"

    async def work(editor: Editor) -> None:
        uri = editor.open("quay.crank", text)
        whole = editor.texts[uri][1].whole
        found = await editor.client.text_document_inlay_hint_async(
            lsp.InlayHintParams(this(uri), whole)
        )
        assert found is not None
        rows = text.split("\n")
        said = {(rows[h.position.line][: h.position.character], h.label) for h in found}
        assert ("drive P1 = quad", "K2.1") in said
        assert ("decoder K3 quad", "at 1") in said
        assert ("expect W1 to T1", "(MAIN)") in said

    at_an_editor(tmp_path, work)


def test_a_text_is_brought_into_the_usual_form_with_its_own_line_ends(tmp_path: Path) -> None:
    usual = format_source(parse(TERMINUS.read_text("utf-8"), "a")[0])
    untidy = usual.replace(" = ", "   =  ").replace("\n", "\r\n")
    broken = usual + "run (\n"

    async def work(editor: Editor) -> None:
        options = lsp.FormattingOptions(2, True)
        uri = editor.open("quay.crank", untidy)
        asked = lsp.DocumentFormattingParams(this(uri), options)
        edits = await editor.client.text_document_formatting_async(asked)
        assert edited(editor.texts[uri][1], edits) == usual.replace("\n", "\r\n")
        other = editor.open("broken.crank", broken)
        asked = lsp.DocumentFormattingParams(this(other), options)
        assert await editor.client.text_document_formatting_async(asked) is None

    at_an_editor(tmp_path, work)


# -------------------------------------------------------------------- quick fixes


@pytest.mark.parametrize(
    ("line", "wrong", "right"),
    [
        ("expcet W1 to T1 with G1 to YARD", "expcet", "expect"),
        ("signal G1 shows stop, cleer at K3.4 gren", "gren", "green"),
        ("overlap G1 = P3\nflank W1 to T1 = S1 diverjing", "diverjing", "diverging"),
        ("supply MOLE { feeds K33 }", "K33", "K3"),
        ("decoder K9 quod at 99", "quod", "quad"),
        ("expect W1 to T11 with Y1 to G2", "T11", "T1"),
        ("expect D1  to  G2 with\u202e G1 to T2", "\u202e", ""),
    ],
)
def test_a_misspelt_word_is_put_right_by_a_quick_fix(
    tmp_path: Path, line: str, wrong: str, right: str
) -> None:
    text = TERMINUS.read_text("utf-8").replace("signal G1 = K2.4\n", "") + line + "\n"

    async def work(editor: Editor) -> None:
        uri = editor.open("quay.crank", text)
        said = await editor.diagnostics(uri)
        at = editor.texts[uri][1].range(text.rindex(wrong), text.rindex(wrong) + len(wrong))
        about = [d for d in said if d.range.start.line == at.start.line]
        context = lsp.CodeActionContext(about)
        found = await editor.client.text_document_code_action_async(
            lsp.CodeActionParams(this(uri), at, context)
        )
        fixes = [f for f in found or [] if isinstance(f, lsp.CodeAction)]
        assert [fix.title for fix in fixes] == [f"write `{right}`" if right else "take it out"]
        after = after_changes(editor, fixes[0].edit)[uri]
        assert after == right.join(text.rsplit(wrong, 1))

    at_an_editor(tmp_path, work)


def test_missing_rules_are_written_by_a_quick_fix_that_mends_the_layout(tmp_path: Path) -> None:
    copy(TERMINUS, tmp_path)

    async def work(editor: Editor) -> None:
        uri = editor.open("forgetful.crank", FORGETFUL.read_text("utf-8"))
        await editor.diagnostics(uri, lambda said: "refuted" in [d.code for d in said])
        at = lsp.Range(editor.at(uri, "", 'use "'), editor.at(uri, "", 'use "'))
        asked = lsp.CodeActionParams(this(uri), at, lsp.CodeActionContext([]))
        fixes: list[Any] = []
        while not fixes:  # it is looked for after the verdict
            fixes = list(await editor.client.text_document_code_action_async(asked) or [])
        assert fixes[0].title == "write the missing rule: W1 to T1 locks G1 to T2"
        (after,) = after_changes(editor, fixes[0].edit).values()
        editor.type(uri, 0, len(editor.text(uri)), after)
        await editor.diagnostics(uri, lambda said: "proved" in [d.code for d in said])

    at_an_editor(tmp_path, work)
