"""A page without a controller says why, and only such a page does."""

from __future__ import annotations

from msgspec.structs import replace
from opened import quickly

from bellcrank.document.build_document import build_document
from bellcrank.page.controlled import why_uncontrolled


def test_only_a_controller_that_was_proved_runs_the_rehearsal() -> None:
    document = build_document(quickly("run edge WEST - >W - A - stop\n"), ("controller", "vectors"))
    assert "only of a locking that is proved" in (why_uncontrolled(document) or "")
    document = replace(document, status="proved", controlled=None)
    assert "without a proof of it" in (why_uncontrolled(document) or "")
    for outcome in ("refuted", "undecided"):
        failed = replace(document, controlled=replace(document.moving, outcome=outcome))
        assert f"came out as {outcome}" in (why_uncontrolled(failed) or "")
    proved = replace(document, controlled=replace(document.moving, outcome="proved"))
    assert why_uncontrolled(proved) is None
