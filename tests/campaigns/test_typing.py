"""Changes by somebody who types at random: 3,000, or as many as BELLCRANK_TYPING says."""

from __future__ import annotations

import os
from pathlib import Path
from shutil import copy

import pytest
from language_client import Editor, at_an_editor
from random_typing import Typist, said_by_check, said_to_editor, type_at_random

pytestmark = pytest.mark.campaign

STATION = Path(__file__).parents[2] / "examples" / "four-track-station.crank"

EDITS = int(os.environ.get("BELLCRANK_TYPING", "1500"))

SEEDS = range(4)


@pytest.mark.parametrize("seed", SEEDS)
def test_each_text_of_many_has_its_own_diagnostics(tmp_path: Path, seed: int) -> None:
    path, checked = tmp_path / "typed" / STATION.name, tmp_path / "checked" / STATION.name
    for each in (path, checked):
        each.parent.mkdir()
        copy(STATION, each)

    async def work(editor: Editor) -> tuple[Typist, Editor]:
        return await type_at_random(editor, path, EDITS // len(SEEDS), seed), editor

    typist, editor = at_an_editor(path.parent, work)
    said = [p for p in editor.published if p.uri == typist.uri and p.version]
    versions = [each.version for each in said]
    assert versions == sorted(versions)
    for each in said:
        assert each.version is not None
        text = typist.texts[each.version]
        assert said_to_editor(each.diagnostics) == said_by_check(text, checked)
