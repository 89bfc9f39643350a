"""The machine in few bytes is the machine: read back it is the same, to the last value."""

from __future__ import annotations

import base64
import json
import re
import zlib
from pathlib import Path
from typing import Any

import pytest
from random_layouts import random_layout

from bellcrank.compilation import Sound, compile_file, compile_text
from bellcrank.controller.composition import compose
from bellcrank.document.machine_data import machine_data
from bellcrank.document.plain import plain
from bellcrank.machine.machine_model import Machine
from bellcrank.page.packing import Phrases, packed
from bellcrank.page.page import squeezed

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))


def rows_of(flat: dict[str, list[int]]) -> list[list[int]]:
    """Rows that stand end to end."""
    left = iter(flat["numbers"])
    rows = [[next(left) for _ in range(length)] for length in flat["lengths"]]
    assert not list(left)
    return rows


def texts_of(phrases: dict[str, Any]) -> list[str]:
    """All texts, by their numbers."""
    texts, before = [], []
    for row in rows_of(phrases["phrases"]):
        for k in range(len(row)):
            row[k] += before[k] if k < len(before) else 0
        before = row
        left = iter(row[1:])
        form = phrases["forms"][row[0]]
        texts.append(re.sub("%", lambda _: phrases["words"][next(left)], form))  # noqa: B023
    return texts


def unpacked(data: dict[str, Any], phrases: dict[str, Any]) -> dict[str, Any]:
    """A reader written after the description alone; gives what the JSON document has."""

    told = texts_of(phrases)
    text = told.__getitem__
    variables = []
    for name, kind, of, values, initial in data["variables"]:
        domain = [text(v) for v in values]
        variables.append(
            {
                "name": text(name),
                "kind": text(kind),
                "of": text(of),
                "domain": domain,
                "initial": [domain[k] for k in initial],
            }
        )

    literals, changes = rows_of(data["literals"]), rows_of(data["changes"])

    def literal(number: int) -> dict[str, Any]:
        of, *listed = literals[number]
        wrong = of < 0
        variable = variables[-1 - of if wrong else of]
        return {
            "variable": variable["name"],
            "one_of": [v for k, v in enumerate(variable["domain"]) if (k in listed) != wrong],
        }

    def forward(flat: dict[str, list[int]]) -> list[list[int]]:
        highest = -1
        found: list[list[int]] = []
        for row in rows_of(flat):
            found.append([])
            for back in row:
                found[-1].append(highest + 1 - back)
                highest = max(highest, found[-1][-1])
        return found

    clauses, texts = forward(data["clauses"]), forward(data["texts"])
    guards, updates = forward(data["guards"]), forward(data["updates"])

    def clause(number: int) -> list[dict[str, Any]]:
        return [literal(k) for k in clauses[number]]

    def change(number: int) -> tuple[str, dict[str, str]]:
        of, *pairs = changes[number]
        domain = variables[of]["domain"]
        becomes = {
            domain[before]: domain[to] for before, to in zip(pairs[::2], pairs[1::2], strict=True)
        }
        return variables[of]["name"], becomes

    def fields(named: dict[str, Any]) -> list[tuple[Any, ...]]:
        return list(zip(named["kind"], named["actor"], named["of"], named["route"], strict=True))

    events = fields(data["events"])
    together = {}
    if "together" in data:
        # Rows of its events after all others; of those with a base what they have more.
        bases = data["together"]["base"]
        own = iter(fields(data["together"]["events"]))
        rows = [
            (
                texts[k] if base is None else texts[base],
                guards[k] if base is None else guards[base] + guards[k],
                updates[u] if base is None else updates[base] + updates[u],
                next(own) if base is None else events[base],
            )
            for base, k, u in zip(
                bases,
                range(len(texts) - len(bases), len(texts)),
                range(len(updates) - len(bases), len(updates)),
                strict=True,
            )
        ]
        together["together"] = [
            {
                "name": text(said[0]),
                "kind": text(kind),
                "actor": text(actor),
                "of": text(of),
                "route": None if route is None else text(route),
                "text": text(said[1]),
                "guard": [clause(n) for n in guard],
                "updates": [change(n) for n in update],
            }
            for said, guard, update, (kind, actor, of, route) in rows
        ]
        del texts[-len(bases) :], guards[-len(bases) :]
    return together | {
        "variables": variables,
        "events": [
            {
                "name": text(texts[k][0]),
                "kind": text(kind),
                "actor": text(actor),
                "of": text(of),
                "route": None if route is None else text(route),
                "text": text(texts[k][1]),
                "guard": [clause(n) for n in guards[k]],
                "updates": [change(n) for n in updates[k]],
            }
            for k, (kind, actor, of, route) in enumerate(events)
        ],
        "invariants": [
            {"of": text(of), "clause": clause(guard[0]), "sentence": text(said[0])}
            for of, guard, said in zip(
                data["invariants"],
                guards[len(events) :],
                texts[len(events) :],
                strict=True,
            )
        ],
    }


def plainly(machine: Machine) -> dict[str, Any]:
    """What the JSON document has of a machine, with each change by itself."""
    data = plain(machine_data(machine))
    for event in data["events"]:
        event["updates"] = [
            (u["variable"], {v: b["to"] for b in u["becomes"] for v in b["from"]})
            for u in event["updates"]
        ]
    return {key: data[key] for key in ("variables", "events", "invariants")}


def there_and_back(machine: Machine, names: list[str]) -> dict[str, Any]:
    phrases = Phrases(names)
    data = json.loads(json.dumps(packed(machine, phrases)))
    return unpacked(data, json.loads(json.dumps(phrases.data())))


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_machine_of_every_example_comes_back(path: Path) -> None:
    c = compile_file(path)
    assert isinstance(c, Sound)
    machine = c.machine
    names = [v.of for v in machine.variables.values()]
    assert there_and_back(machine, names) == plainly(machine)


@pytest.mark.parametrize(
    "seeds", [range(15), pytest.param(range(15, 60), marks=pytest.mark.campaign)]
)
def test_machines_of_random_layouts_come_back(seeds: range) -> None:
    tried = 0
    for seed in seeds:
        c = compile_text(random_layout(seed).text)
        if isinstance(c, Sound):
            machine = c.machine
            names = [v.of for v in machine.variables.values()]
            assert there_and_back(machine, names) == plainly(machine)
            tried += 1
    assert tried > len(seeds) // 2


@pytest.mark.parametrize(
    "text", ["", "W1 clears", "W1 and T1, T1 and W1", "100 % of W1", "W1.toe to W10", "é W1"]
)
def test_a_phrase_gives_its_text_again(text: str) -> None:
    phrases = Phrases(["W1", "T1"])
    number = phrases(text)
    assert texts_of(phrases.data())[number] == text


def test_texts_that_differ_in_names_share_a_form() -> None:
    phrases = Phrases(["W1", "W2", "T1"])
    phrases("W1 clears for T1")
    phrases("W2 clears for T1")
    assert phrases.data()["forms"] == ["% clears for %"]


def test_squeezed_data_hold_nothing_that_html_would_take_for_its_own() -> None:
    data = {"title": "</script>\u2028<!-- é", "n": [1, None]}
    text = squeezed(data)
    assert re.fullmatch("[A-Za-z0-9+/=]*", text)
    assert json.loads(zlib.decompress(base64.b64decode(text), -15)) == data


def test_the_machine_with_its_controller_comes_back_beside_the_other() -> None:
    c = compile_file(next(path for path in EXAMPLES if path.stem == "harbour-terminus"))
    assert isinstance(c, Sound)
    together = compose(c.control, c.machine)
    phrases = Phrases([v.of for v in c.machine.variables.values()])
    data = json.loads(json.dumps(packed(c.machine, phrases, together)))
    found = unpacked(data, json.loads(json.dumps(phrases.data())))
    assert found["together"] == plainly(together)["events"]
    assert found["variables"] == plainly(together)["variables"]
    assert found["variables"][: data["together"]["variables"]] == plainly(c.machine)["variables"]
    assert found["events"] == plainly(c.machine)["events"]
    assert found["invariants"] == plainly(c.machine)["invariants"]
    of_trains = sum(event.actor == "train" for event in together.events)
    assert sum(base is not None for base in data["together"]["base"]) > of_trains > 50
