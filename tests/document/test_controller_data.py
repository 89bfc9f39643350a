"""The controller in the document: every name that it uses exists, and every variable is said to
mean something."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import pytest
from sound_layouts import compiled, compiled_file

from bellcrank.document.controller_data import controller_data
from bellcrank.document.plain import plain

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

HALT = """
layout "Reedham Halt" on two rails
points P, Q
run edge WEST - A - >W - P.toe
run P.straight - <S - B - >E - Q.straight
run P.diverging - <D - C - >F - Q.diverging
run Q.toe - <X - Z - edge EAST
drive P detected
overlap E = Q, Z
section THROAT = A without detection
signal W shows stop, slow, clear
route W to B shows slow
time of approach locking 40 s at W
time of overlap 8 s
time of drive 4 s for Q
"""


@cache
def controller_of(text: str) -> dict[str, Any]:
    c = compiled(text)
    return plain(controller_data(c.controller, c.layout, c.table))


def named(what: str, **fields: str) -> dict[str, Any]:
    """The one of a list of the controller of Reedham Halt that has these fields."""
    found = controller_of(HALT)[what]
    [one] = [x for x in found if all(x[name] == value for name, value in fields.items())]
    assert isinstance(one, dict)
    return one


def test_a_lamp_says_which_aspect_its_signal_shows_for_each_value() -> None:
    lamp = named("lamps", signal="W")
    assert [(s["aspect"], s["off"]) for s in lamp["shows"]] == [
        *[("stop", False)] * 2, ("slow", True), ("clear", True)
    ]  # fmt: skip


def test_a_drive_says_where_it_lies_or_is_thrown_to_for_each_value() -> None:
    drive = named("throws", drive="P")
    assert drive["reports"] is True and named("throws", drive="Q")["reports"] is False
    assert [(m["lies"], m["thrown_to"]) for m in drive["meanings"]] == [
        (None, None), ("straight", None), ("diverging", None), (None, "straight"),
        (None, "diverging"),
    ]  # fmt: skip


def test_a_section_without_detection_has_no_report() -> None:
    sections = {r["section"] for r in controller_of(HALT)["reports"]}
    assert "THROAT" not in sections and {"B", "C", "Z"} <= sections
    assert not {i["of"] for i in controller_of(HALT)["inputs"]} & {"THROAT"}


def test_a_drive_with_contacts_has_inputs_for_them_and_another_has_none() -> None:
    lies = [(i["of"], i["value"]) for i in controller_of(HALT)["inputs"] if i["kind"] == "lies"]
    assert lies == [("P", "straight"), ("P", "diverging")]


def test_each_kind_of_timer_has_its_time() -> None:
    timers = {(t["kind"], t["of"]): t["milliseconds"] for t in controller_of(HALT)["timers"]}
    assert timers["approach locking", "W"] == 40_000
    assert timers["approach locking", "S"] == 30_000
    assert timers["overlap", "E"] == 8_000
    assert timers["drive", "P"] == 5_000 and timers["drive", "Q"] == 4_000


def test_the_end_of_the_time_of_a_drive_with_contacts_is_the_alarm() -> None:
    ends = [i for i in controller_of(HALT)["inputs"] if i["kind"] == "time over"]
    of = {(i["of"], i["value"]): i["reactions"] for i in ends}
    drives = {t["drive"]: t for t in controller_of(HALT)["throws"]}
    for name, waits in (("P", False), ("Q", True)):
        for meaning in drives[name]["meanings"]:
            if meaning["thrown_to"]:
                assert bool(of[drives[name]["variable"], meaning["value"]]) is waits


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_every_name_that_the_controller_uses_exists(path: Path) -> None:
    c = compiled_file(path)
    controller = plain(controller_data(c.controller, c.layout, c.table))
    domains = {v["name"]: v["domain"] for v in controller["variables"]}
    assert len(domains) == len(controller["variables"])
    for variable in controller["variables"]:
        assert variable["initial"] in variable["domain"]
    inputs = [(i["kind"], i["of"], i["value"]) for i in controller["inputs"]]
    assert len(set(inputs)) == len(inputs)
    of = {
        "occupied": c.layout.sections, "clear": c.layout.sections, "lies": c.layout.drives,
        "time over": domains,
    }  # fmt: skip
    for kind, about, value in inputs:
        assert about in of.get(kind, c.table.routes)
        if kind == "lies":
            assert value in c.layout.drives[about].positions
        elif kind == "time over":
            assert value in domains[about]
        else:
            assert value is None
    every = [r for i in controller["inputs"] for r in i["reactions"]] + controller["steps"]
    assert len({r["name"] for r in every}) == len(every)
    for reaction in every:
        assert reaction["route"] is None or reaction["route"] in c.table.routes
        for literal in (x for clause in reaction["guard"] for x in clause):
            places = [domains[literal["variable"]].index(v) for v in literal["one_of"]]
            assert places == sorted(set(places))
        for update in reaction["updates"]:
            for change in update["becomes"]:
                assert {change["to"], *change["from"]} <= set(domains[update["variable"]])
    for timer in controller["timers"]:
        assert ("time over", timer["variable"], timer["value"]) in inputs


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_every_variable_of_the_controller_is_said_to_mean_something(path: Path) -> None:
    c = compiled_file(path)
    controller = plain(controller_data(c.controller, c.layout, c.table))
    variables = {v["name"]: v for v in controller["variables"]}
    kinds = {"reports": "report", "lamps": "lamp", "throws": "lying", "progress": "progress",
             "held": "held"}  # fmt: skip
    meant = [(m["variable"], kind) for name, kind in kinds.items() for m in controller[name]]
    assert sorted(meant) == sorted((v["name"], v["kind"]) for v in variables.values())
    for report in controller["reports"]:
        values = [report["when_clear"], report["when_occupied"]]
        assert values == variables[report["variable"]]["domain"]
    for lamp in controller["lamps"]:
        assert [s["value"] for s in lamp["shows"]] == variables[lamp["variable"]]["domain"]
        aspects = [a.name for a in c.layout.signals[lamp["signal"]].aspects]
        for shown in lamp["shows"]:
            assert (aspects.index(shown["aspect"]) > 0) is shown["off"]
    for throw in controller["throws"]:
        assert [m["value"] for m in throw["meanings"]] == variables[throw["variable"]]["domain"]
        positions = c.layout.drives[throw["drive"]].positions
        for told in ("lies", "thrown_to"):
            assert [m[told] for m in throw["meanings"] if m[told]] == [*positions]
    for progress in controller["progress"]:
        assert progress["route"] in c.table.routes
        assert progress["idle"] == variables[progress["variable"]]["initial"]
    for held in controller["held"]:
        domain = variables[held["variable"]]["domain"]
        assert held["free"] in domain and held["section"] in c.layout.sections
        assert {*domain} - {held["free"]} <= set(c.table.routes)
