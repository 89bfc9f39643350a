"""Frogs, for the document."""

from __future__ import annotations

from bellcrank.document import frog_types
from bellcrank.document.part import DrivePosition
from bellcrank.layout.frog_model import Frog
from bellcrank.layout.frogs import cases_of, deciding_drive
from bellcrank.layout.layout_model import Layout, Work


def frog_data(frog: Frog, layout: Layout) -> frog_types.Frog:
    """A frog, with what feeds it and what it needs when."""
    element = layout.elements[frog.part.element]
    drive_of = {d: layout.drive_of[Work(element.name, d)] for d in element.kind.drives}
    decides = deciding_drive(element.kind, frog.kind)
    one, other = frog.kind.between
    return frog_types.Frog(
        name=str(frog.part),
        element=element.name,
        between=[one, other],
        feed=frog.feed,
        drive=frog.drive,
        contact=drive_of[decides[0]] if decides else None,
        alike=frog.alike,
        cases=[
            frog_types.FrogCase(
                when=[DrivePosition(drive=drive_of[d], position=p) for d, p in case.when],
                way=list(case.way) if case.way else None,
                from_leg=case.leg,
                facing=other if case.leg == one else one,
            )
            for case in cases_of(element.kind, frog.kind)
        ],
    )
