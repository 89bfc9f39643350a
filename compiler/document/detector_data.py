"""Detectors, reports, the panel and times, for the document."""

from __future__ import annotations

from typing import TypedDict

from bellcrank.document import detector_types as d
from bellcrank.document.switch_data import printed, rotary_bank, switch_bank, switches_on
from bellcrank.layout.detectors import Detector, DetectorInput, Input, Reports
from bellcrank.layout.layout_model import Layout
from bellcrank.routes.panel_model import (
    Button,
    CancelButton,
    PlaceButton,
    RouteButton,
)
from bellcrank.routes.route_model import RouteTable


def detectors_data(layout: Layout) -> list[d.Detector]:
    """Every detector with its switches."""
    return [_detector(detector) for detector in layout.reports.detectors.values()]


def _detector(detector: Detector) -> d.Detector:
    kind = detector.kind
    return d.Detector(
        name=detector.name,
        kind=kind.name,
        address=detector.address,
        assigned=detector.assigned,
        inputs=kind.inputs,
        switches=0 if kind.rotary else kind.switches,
        inverted=kind.inverted,
        switches_on=switches_on(kind, detector.address),
        switch_bank=switch_bank(kind, detector.address),
        rotary_bank=rotary_bank(kind, detector.address),
        terminals=[
            d.InputTerminals(
                input=number,
                terminal=printed(kind.terminals, "input", number),
                common=printed(kind.terminals, "common", number),
            )
            for number in range(1, kind.inputs + 1)
        ],
    )


class _Heard(TypedDict):
    """The fields of an input."""

    detector: str | None
    input: int | None
    number: int | None
    input_name: str | None


def _heard(input_: Input, reports: Reports) -> _Heard:
    if isinstance(input_, DetectorInput):
        number = reports.number_of(input_)
        return _Heard(detector=input_.detector, input=input_.number, number=number, input_name=None)
    return _Heard(detector=None, input=None, number=None, input_name=input_.name)


def reports_data(layout: Layout) -> list[d.Report]:
    """What each input reports: sections, and then the contacts of drives."""
    reports = layout.reports
    sections: list[d.Report] = [
        d.SectionReport(section=s.section, opens=s.opens, **_heard(s.input, reports))
        for s in reports.sections.values()
    ]
    return sections + [
        d.DriveReport(drive=c.drive, position=c.position, opens=c.opens, **_heard(c.input, reports))
        for contacts in reports.contacts.values()
        for c in contacts
    ]


def buttons_data(layout: Layout, table: RouteTable) -> list[d.Button]:
    """The buttons of the panel."""
    return [_button(button, layout.reports) for button in table.panel.buttons]


def _button(button: Button, reports: Reports) -> d.Button:
    heard = _heard(button.input, reports)
    match button:
        case RouteButton():
            return d.RouteButton(route=button.route, cancels=button.cancels, **heard)
        case PlaceButton():
            return d.PlaceButton(place=button.place, kind=button.kind, **heard)
        case CancelButton():
            return d.CancelButton(signal=button.signal, **heard)


def button_pairs_data(table: RouteTable) -> list[d.ButtonPair]:
    """Which route two buttons at places ask for."""
    return [
        d.ButtonPair(first=first, second=second, route=route)
        for (first, second), route in table.panel.asked.items()
    ]


def lamps_data(layout: Layout, table: RouteTable) -> list[d.RouteLamp]:
    """The lamps of the panel."""
    return [
        d.RouteLamp(
            route=lamp.route,
            decoder=lamp.output.decoder,
            output=lamp.output.number,
            number=layout.hardware.number_of(lamp.output),
            side=lamp.side,
        )
        for lamp in table.panel.lamps
    ]


def times_data(layout: Layout, table: RouteTable) -> d.Times:
    """Every time that a controller of the layout may have to wait."""
    times = layout.times
    routes = table.routes.values()
    starts = {route.start for route in routes}
    overlaps = {route.overlap.signal for route in routes if route.overlap is not None}
    detected = [drive.name for drive in layout.drives.values() if drive.detected]
    return d.Times(
        approach_locking=[
            d.SignalTime(signal=name, milliseconds=times.approach_locking.of(name))
            for name in layout.signals
            if name in starts
        ],
        overlaps=[
            d.SignalTime(signal=name, milliseconds=times.overlap.of(name))
            for name in layout.signals
            if name in overlaps
        ],
        drives=[d.DriveTime(drive=name, milliseconds=times.drive.of(name)) for name in detected],
        section_reports=[
            d.SectionTime(section=s.name, milliseconds=times.section_report.of(s.name))
            for s in layout.sections.values()
            if s.detected
        ],
        drive_reports=[
            d.DriveTime(drive=name, milliseconds=times.drive_report.of(name)) for name in detected
        ],
    )
