"""Changes by somebody who revises at random: 100, or as many as BELLCRANK_REVISING says.

`BELLCRANK_REVISING=10000 pytest -m campaign -s tests/campaigns/test_verdicts_while_revising.py`
makes the 10,000 changes that are aimed for, with BELLCRANK_SEED=8 others. Every diagnostic that is
published must be what `check` says of the text of that version, every verdict that of a proof from
nothing.
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

SEED = int(os.environ.get("BELLCRANK_SEED", "7"))

AWAITED = 0.1
"""The share of changes after which somebody waits for the verdict."""

PATIENCE = 1_200.0
"""Seconds for a verdict, on a machine that has next to no time for this."""

OUTCOMES = {"proved", "unmet", "refuted", "undecided", "no routes"}

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


class Watcher:
    """Holds all that is published of a text against `check`, as it comes."""

    def __init__(self, editor: Editor, reviser: Reviser, check: Check) -> None:
        self.editor = editor
        self.reviser = reviser
        self.check = check
        self.seen = self.said = self.verdicts = self.version = self.of_version = 0
        self.waits = [0.0]

    def look(self) -> None:
        """Look at what has been published since."""
        published = self.editor.published
        for each in published[self.seen :]:
            if each.uri == self.reviser.uri and each.version:
                self._of(each.version, list(each.diagnostics))
        self.seen = len(published)

    def _of(self, version: int, diagnostics: list[lsp.Diagnostic]) -> None:
        assert version >= self.version
        self.of_version = self.of_version + 1 if version == self.version else 1
        self.version = version
        # Nothing waits: of each version diagnostics, the verdict, the rules that it lacks.
        assert self.of_version <= 3
        text = self.reviser.texts[version]
        assert said_to_editor(diagnostics) == self.check.diagnostics(text), text
        self.said += 1
        verdict = verdict_of(diagnostics)
        if verdict is not None:
            self.verdicts += 1
            assert verdict == self.check.verdict(text), text

    async def wait(self) -> None:
        """Wait for diagnostics, and for the verdict of a text that can be proved."""
        uri = self.reviser.uri
        begun = time.perf_counter()
        await self.editor.diagnostics(uri, patience=PATIENCE)
        self.waits.append(time.perf_counter() - begun)
        if self.check.can_be_proved(self.editor.text(uri)):
            await self.editor.diagnostics(
                uri, lambda said: verdict_of(said) is not None, patience=PATIENCE
            )
        self.look()

    def told(self) -> str:
        """How it went so far."""
        texts = self.check.verdict.cache_info().currsize
        return (
            f"{self.version} changes: {self.said} times something was published, {self.verdicts} "
            f"verdicts of {texts} texts, each that of a full check; diagnostics after at most "
            f"{max(self.waits):.2f} s"
        )


def test_each_verdict_of_many_is_that_of_a_full_check(tmp_path: Path) -> None:
    path, checked = tmp_path / "typed" / STATION.name, tmp_path / "checked" / STATION.name
    for each in (path, checked):
        each.parent.mkdir()
        copy(STATION, each)
    first = STATION.read_text("utf-8")

    async def work(editor: Editor) -> Watcher:
        reviser = Reviser(editor, editor.open(path.name, first), first, random.Random(SEED))
        watcher = Watcher(editor, reviser, Check(checked))
        for number in range(1, EDITS + 1):
            reviser.revise()
            if reviser.chance.random() < AWAITED:
                reviser.take_back()
                await watcher.wait()
            else:
                await reviser.pause()
            if number % 500 == 0:
                print(watcher.told(), flush=True)
        reviser.take_back()
        await watcher.wait()
        print(f"\n{watcher.told()}")
        return watcher

    watcher = at_an_editor(path.parent, work)
    assert watcher.verdicts > EDITS * AWAITED / 2
