"""What commands print as JSON has types, as the document has."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec
import pytest
from sound_layouts import NO_TIME, checked_file

from bellcrank.commands.reports import report
from bellcrank.compilation import Broken, compile_text
from bellcrank.document.blocked_data import BlockedTold
from bellcrank.document.commission_data import Commissioned
from bellcrank.document.part import Part
from bellcrank.document.plain import plain
from bellcrank.document.rehearsal_data import Rehearsal
from bellcrank.document.report_types import PairExplained, Report, Tables, TimetableTold
from bellcrank.document.rules_data import RulesTold
from bellcrank.document.schema import definitions_of
from bellcrank.document.sending_data import Attempt, Plan, Sending

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))


@pytest.mark.parametrize(
    "part",
    [
        *(Attempt, BlockedTold, Commissioned, PairExplained, Plan, Rehearsal, Report, RulesTold),
        *(Sending, Tables, TimetableTold),
    ],
)
def test_every_field_that_a_command_prints_is_described(part: type[Part]) -> None:
    definitions: dict[str, Any] = definitions_of(part)
    assert part.__name__ in definitions
    for node in definitions.values():
        for name, field in node.get("properties", {}).items():
            assert "$ref" in field or field["description"].endswith("."), name


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_a_report_is_of_the_types_of_its_fields(path: Path) -> None:
    told = report(checked_file(path, NO_TIME))
    assert msgspec.convert(plain(told), Report) == told


def test_a_report_of_a_faulty_layout_has_diagnostics_and_no_verdict() -> None:
    c = compile_text("points P\nrun A - P.toee\n")
    assert isinstance(c, Broken)
    told = report(c)
    assert msgspec.convert(plain(told), Report) == told
    assert (told.status, told.verdict, told.moving) == ("error", None, None)
    assert {d.severity for d in told.diagnostics} == {"error"}
