"""However somebody types, the server lives, and says of each text what `check` says of it."""

from __future__ import annotations

from pathlib import Path
from shutil import copy

import pytest
from language_client import Editor, at_an_editor
from random_typing import Typist, said_by_check, said_to_editor, type_at_random

STATION = Path(__file__).parents[2] / "examples" / "four-track-station.crank"


@pytest.mark.parametrize("seed", [1, 2])
def test_what_is_said_of_each_text_is_what_check_says_of_it(tmp_path: Path, seed: int) -> None:
    path, checked = tmp_path / "typed" / STATION.name, tmp_path / "checked" / STATION.name
    for each in (path, checked):
        each.parent.mkdir()
        copy(STATION, each)

    async def work(editor: Editor) -> tuple[Typist, Editor]:
        return await type_at_random(editor, path, 60, seed), editor

    typist, editor = at_an_editor(path.parent, work)
    said = [p for p in editor.published if p.uri == typist.uri and p.version]
    assert len(said) > 5
    assert len({d.code for each in said for d in each.diagnostics}) > 5
    for each in said:
        assert each.version is not None
        text = typist.texts[each.version]
        assert said_to_editor(each.diagnostics) == said_by_check(text, checked)
