"""What messages.json says of reports, buttons and devices, read here by a reader of its own."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache
from typing import Any

import pytest
from mqtt_railway import HALT
from msgspec.structs import replace
from sound_layouts import undecided

from bellcrank import Checked
from bellcrank.document.build_document import build_document
from bellcrank.document.controller_data import controller_data
from bellcrank.document.detector_types import DriveReport
from bellcrank.document.document_types import Document
from bellcrank.emit.description import TargetError
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target

ADDRESSED = """
layout "Halt"
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
detector kind octo { inputs 8 }
detector B1 octo at 11
drive P detected
report A = B1.1
button W = B1.2
button B = B1.3
button S to WEST = "panel/s"
button to cancel S to WEST = B1.4
section YARD = C without detection
"""


@cache
def compiled(text: str) -> Checked:
    return undecided(text)


@cache
def document(text: str) -> Document:
    return build_document(compiled(text), without=("controller", "vectors"))


def messages(text: str, **options: str) -> dict[str, Any]:
    return written(document(text), **options)


def written(data: Document, **options: str) -> dict[str, Any]:
    made = render_target(load_target("mqtt"), data, options)
    told: dict[str, Any] = json.loads(made["messages.json"])
    return told


def renamed(name: str) -> Document:
    """The halt with another name for the input of B."""
    data = document(HALT)
    reports = [
        replace(r, input_name=name) if r.input_name == "yard/b" else r
        for r in data.hardware.reports
    ]
    return replace(data, hardware=replace(data.hardware, reports=reports))


def topics(told: Mapping[str, Any]) -> list[str]:
    """Every topic but those of boards, whose names nobody knows here."""
    of_devices = [d[field] for d in told["devices"] for field in ("topic", "answer")]
    rows = [row["topic"] for part in ("reports", "buttons", "states") for row in told[part]]
    return [*told["topics"].values(), *of_devices, *rows]


def test_a_report_is_heard_under_the_name_that_the_layout_gives_it() -> None:
    found = {r["topic"]: r["states"] for r in messages(HALT)["reports"]}
    assert set(found) == {
        "yard/a", "yard/points", "yard/b", "yard/c", "yard/straight", "yard/diverging",
    }  # fmt: skip
    assert found["yard/a"] == [
        {"state": "occupied", "input": {"kind": "occupied", "of": "A", "value": None}},
        {"state": "clear", "input": {"kind": "clear", "of": "A", "value": None}},
    ]
    assert found["yard/diverging"] == [
        {"state": "on", "input": {"kind": "lies", "of": "P", "value": "diverging"}},
        {"state": "off", "input": None},
    ]


@pytest.mark.parametrize("other", [None, "p"])
def test_with_one_contact_off_means_the_other_position(other: str | None) -> None:
    """Whatever contacts a drive has that is called the same in small letters."""
    data = document(HALT)
    one = [r for r in data.hardware.reports if r.input_name != "yard/diverging"]
    if other:
        one += [replace(r, drive=other) for r in one if isinstance(r, DriveReport)]
    told = written(replace(data, hardware=replace(data.hardware, reports=one)))
    [contact] = [r for r in told["reports"] if r["device"] == "drive"]
    assert [(s["state"], s["input"]["value"]) for s in contact["states"]] == [
        ("on", "straight"),
        ("off", "diverging"),
    ]


def test_a_contact_that_opens_tells_where_the_drive_lies_when_it_is_off() -> None:
    text = HALT.replace('"yard/straight"', '"yard/straight" opens')
    found = {r["topic"]: r["states"] for r in messages(text)["reports"]}
    assert found["yard/straight"] == [
        {"state": "off", "input": {"kind": "lies", "of": "P", "value": "straight"}},
        {"state": "on", "input": None},
    ]


def test_what_has_no_name_is_heard_under_topics_of_the_target() -> None:
    told = messages(ADDRESSED, prefix="club")
    assert [r["topic"] for r in told["reports"]] == [
        "club/section/P", "club/section/A", "club/section/B", "club/drive/P/lies",
    ]  # fmt: skip
    assert told["reports"][-1]["states"] == [
        {"state": "straight", "input": {"kind": "lies", "of": "P", "value": "straight"}},
        {"state": "diverging", "input": {"kind": "lies", "of": "P", "value": "diverging"}},
        {"state": None, "input": None},
    ]
    assert [b["topic"] for b in told["buttons"]] == [
        "club/button/12", "club/button/13", "panel/s", "club/button/14",
    ]  # fmt: skip


def test_buttons_ask_for_what_the_panel_says() -> None:
    first, second, alone, cancels = messages(ADDRESSED)["buttons"]
    request = {"kind": "request", "of": "W to B", "value": None}
    assert (first["alone"], first["after"]) == ([], [])
    assert (second["alone"], second["after"]) == ([], [{"topic": first["topic"], "input": request}])
    assert alone["alone"] == [{"kind": "request", "of": "S to WEST", "value": None}]
    assert cancels["alone"] == [{"kind": "cancel", "of": "S to WEST", "value": None}]
    [to_cancel] = [b for b in messages(HALT)["buttons"] if b["topic"] == "panel/cancel"]
    assert [i["of"] for i in to_cancel["alone"]] == ["W to B", "W to C"]


def test_every_report_means_an_input_that_the_controller_has() -> None:
    c = compiled(HALT)
    inputs = controller_data(c.controller, c.layout, c.table).inputs
    there = {(i.kind, i.of, i.value) for i in inputs}
    told = messages(HALT)
    states = [s["input"] for r in told["reports"] for s in r["states"] if s["input"]]
    pressed = [i for b in told["buttons"] for i in b["alone"]]
    pressed += [a["input"] for b in told["buttons"] for a in b["after"]]
    found = {(i["kind"], i["of"], i["value"]) for i in [*states, *pressed]}
    assert found <= there
    reported = {i for i in there if i[0] in ("occupied", "clear", "lies")}
    assert reported <= found


@pytest.mark.parametrize("text", [HALT, ADDRESSED])
def test_a_device_has_the_payload_of_each_command_of_the_lists(text: str) -> None:
    told = messages(text)
    payloads = {(d["topic"], c["state"]): c for d in told["devices"] for c in d["commands"]}
    for listed in (m for each in told["lists"] for m in each["messages"]):
        payload = json.loads(listed["payload"])
        assert payloads[listed["topic"], payload["state"]] == payload
    stops = {d["name"]: d["stop"] for d in told["devices"]}
    assert stops == {"P": None, "W": "stop", "S": "stop", "D": "stop"}
    assert {d["by_hand"] for d in told["devices"]} == {text == ADDRESSED}


@pytest.mark.parametrize("text", [HALT, ADDRESSED])
def test_no_two_things_have_one_topic(text: str) -> None:
    found = topics(messages(text))
    assert len(set(found)) == len(found)


@pytest.mark.parametrize("name", ["a+b", "#", "$SYS/a"])
def test_an_input_whose_name_is_no_topic_is_told(name: str) -> None:
    """MQTT 3.1.1, section 4.7."""
    with pytest.raises(TargetError, match="is to be a topic, which holds no"):
        written(renamed(name))


@pytest.mark.parametrize("name", ["yard/drive/P", "yard/controller", "yard/state/signal/W"])
def test_an_input_may_not_have_a_topic_under_which_something_else_is_said(name: str) -> None:
    with pytest.raises(TargetError, match="under which something else is said"):
        written(renamed(name), prefix="yard")
    assert name in topics(written(renamed(name)))
