"""Gaps and feeds for paper: joints as people find them, and the input each feed goes through."""

from __future__ import annotations

from dataclasses import dataclass

from bellcrank.document.detector_types import SectionReport
from bellcrank.document.document_types import Document
from bellcrank.document.layout_types import EdgeEnd, Feed, LegEnd, RailGap

PLAIN = "plain piece"


@dataclass(frozen=True, slots=True)
class GapRow:
    """A joint to cut. one, other: what lies on its sides, as a person names it."""

    gap: RailGap
    one: str
    other: str


@dataclass(frozen=True, slots=True)
class FeedRow:
    """A feed. towards: what lies beyond the leg along which its rails are told apart.

    input: of the detector it goes through; None where the layout does not say.
    """

    feed: Feed
    towards: str
    input: str | None


def gap_rows(document: Document) -> list[GapRow]:
    """Every joint to cut, in the order of the document."""
    plain = _plain_pieces(document)
    return [
        GapRow(gap, _side(gap.one, plain), _side(gap.other, plain)) for gap in document.layout.gaps
    ]


def feed_rows(document: Document) -> list[FeedRow]:
    """Every feed, in the order of the document."""
    plain = _plain_pieces(document)
    beyond = {(e.name, leg): end for e in document.layout.elements for leg, end in e.legs.items()}
    inputs = {
        report.section: report.input_name or f"{report.detector}.{report.input}"
        for report in document.hardware.reports
        if isinstance(report, SectionReport)
    }
    rows = []
    for feed in document.layout.feeds:
        match beyond[feed.at.element, feed.at.leg]:
            case LegEnd() as end:
                towards = _side(end, plain)
            case EdgeEnd(name=name):
                towards = f"edge {name}"
            case _:
                towards = "the stop"
        rows.append(FeedRow(feed, towards, inputs.get(feed.sections[0]) if feed.detected else None))
    return rows


def _plain_pieces(document: Document) -> frozenset[str]:
    return frozenset(e.name for e in document.layout.elements if e.kind == PLAIN)


def _side(end: LegEnd, plain: frozenset[str]) -> str:
    """A plain piece has two ends and a joint has one of them; a fitting is named with its leg."""
    return end.element if end.element in plain else f"{end.element}.{end.leg}"
