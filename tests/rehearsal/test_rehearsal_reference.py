"""Every script in the language reference comes true, and no form is left unexplained."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import bellcrank
from bellcrank.rehearsal.acts import run_script
from bellcrank.rehearsal.forms import FORMS
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import read_script

ROOT = Path(__file__).parents[2]
REFERENCE = (ROOT / "grammar" / "README.md").read_text("utf-8")
BLOCKS = re.findall(r"^```rehearsal\n(.*?)^```", REFERENCE, re.DOTALL | re.MULTILINE)

SECTION = REFERENCE.partition("## Rehearsals")[2].partition("\n## ")[0]
"""The part of the reference that explains scripts."""


def railway(example: str) -> Railway:
    text = (ROOT / "examples" / f"{example}.crank").read_text("utf-8")
    c = bellcrank.compile(text)
    return Railway(c.machine, c.layout, c.table)


def test_the_reference_has_scripts() -> None:
    assert len(BLOCKS) >= 4


@pytest.mark.parametrize("block", BLOCKS)
def test_a_script_in_the_reference_comes_true(block: str) -> None:
    of = railway("harbour-terminus")
    lines, found = read_script(block, "README.md", of)
    assert not found
    assert all(outcome.good for outcome in run_script(of, lines))


def test_every_form_of_line_is_explained() -> None:
    """In a table by an example, or in a script."""
    written = re.findall(r"`([^`\n]+)`", SECTION) + [
        line for block in BLOCKS for line in block.splitlines()
    ]
    # The harbour has no overlap; the line on it speaks of the four-track station.
    railways = [railway("harbour-terminus"), railway("four-track-station")]
    used = {
        line.key
        for of in railways
        for text in written
        for line in read_script(text, "README.md", of)[0]
    }
    assert {form.key for form in FORMS} - used == set()
