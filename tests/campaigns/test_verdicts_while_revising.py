"""Changes by somebody who revises at random: 100, or as many as BELLCRANK_REVISING says.

`BELLCRANK_REVISING=10000 pytest -m campaign -s tests/campaigns/test_verdicts_while_revising.py`
makes the 10,000 changes that are aimed for. Every diagnostic that is published must be what `check`
says of the text of that version, every verdict that of a proof from nothing.
"""

from __future__ import annotations

import os
import random
import time
from functools import cache
from pathlib import Path
from shutil import copy

import pytest
from language_client import Editor, at_an_editor
from lsprotocol import types as lsp
from random_revising import Reviser
from random_typing import place_for_editor, said_by_check, said_to_editor

from bellcrank.compilation import Sound, compile_file, prove
from bellcrank.editing.findings import findings

pytestmark = pytest.mark.campaign

STATION = Path(__file__).parents[2] / "examples" / "four-track-station.crank"

EDITS = int(os.environ.get("BELLCRANK_REVISING", "100"))

AWAITED = 0.1
"""The share of changes after which somebody waits for the verdict."""

OUTCOMES = {"proved", "refuted", "undecided", "no routes"}

SEVERITIES = {
    "error": lsp.DiagnosticSeverity.Error,
    "warning": lsp.DiagnosticSeverity.Warning,
    "information": lsp.DiagnosticSeverity.Information,
}

Told = tuple[str, list[tuple[str, lsp.DiagnosticSeverity, int, int]]]
"""The sentence of a verdict, and of all that is told with it the outcome, gravity and place."""


def verdict_of(said: list[lsp.Diagnostic]) -> Told | None:
    """The verdict that an editor was told, if it was by now."""
    of_proof = [d for d in said if str(d.code)[:1] not in "EW"]
    if not of_proof:
        return None
    places = {
        (str(d.code), d.severity, d.range.start.line, d.range.start.character)
        for d in of_proof
        if d.severity is not None
    }
    first = next(d for d in of_proof if d.code in OUTCOMES and " by " in d.message)
    return first.message, sorted(places)


class Check:
    """`check` of texts, each from nothing. path: of the file that they are written to."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.verdict = cache(self._verdict)
        self.can_be_proved = cache(self._can_be_proved)
        self.diagnostics = cache(self._diagnostics)

    def _verdict(self, text: str) -> Told | None:
        self._write(text)
        sound = compile_file(self.path)
        if not isinstance(sound, Sound):
            return None
        told = findings(prove(sound))
        places = {
            (f.outcome, SEVERITIES[f.gravity], *place_for_editor(text, f.at))
            for f in told
            if f.at.file == self.path.name
        }
        return told[0].sentence, sorted(places)

    def _can_be_proved(self, text: str) -> bool:
        self._write(text)
        return isinstance(compile_file(self.path), Sound)

    def _diagnostics(self, text: str) -> set[tuple[str, int, int, str]]:
        return said_by_check(text, self.path)

    def _write(self, text: str) -> None:
        self.path.write_bytes(text.encode("utf-8"))


def test_each_verdict_of_many_is_that_of_a_full_check(tmp_path: Path) -> None:
    path, checked = tmp_path / "typed" / STATION.name, tmp_path / "checked" / STATION.name
    for each in (path, checked):
        each.parent.mkdir()
        copy(STATION, each)
    first, check, waits = STATION.read_text("utf-8"), Check(checked), [0.0]

    async def work(editor: Editor) -> tuple[Reviser, Editor]:
        reviser = Reviser(editor, editor.open(path.name, first), first, random.Random(7))
        for _ in range(EDITS):
            reviser.revise()
            if reviser.chance.random() < AWAITED:
                reviser.take_back()
                begun = time.perf_counter()
                await editor.diagnostics(reviser.uri)
                waits.append(time.perf_counter() - begun)
                if check.can_be_proved(editor.text(reviser.uri)):
                    await editor.diagnostics(reviser.uri, lambda said: verdict_of(said) is not None)
            else:
                await reviser.pause()
        await editor.diagnostics(reviser.uri)
        return reviser, editor

    reviser, editor = at_an_editor(path.parent, work)
    said = [p for p in editor.published if p.uri == reviser.uri and p.version]
    versions = [each.version for each in said if each.version is not None]
    assert versions == sorted(versions)
    verdicts = 0
    for each in said:
        assert each.version is not None
        text = reviser.texts[each.version]
        assert said_to_editor(each.diagnostics) == check.diagnostics(text)
        verdict = verdict_of(list(each.diagnostics))
        if verdict is not None:
            verdicts += 1
            assert verdict == check.verdict(text), text
    assert verdicts > EDITS * AWAITED / 2
    # What waits does not grow: after each version diagnostics and a verdict are said, no more.
    assert max(versions.count(v) for v in set(versions)) <= 3
    print(
        f"\n{EDITS} changes: {len(said)} times something was published, {verdicts} verdicts of "
        f"{check.verdict.cache_info().currsize} texts, each that of a full check; "
        f"diagnostics after at most {max(waits):.2f} s"
    )
