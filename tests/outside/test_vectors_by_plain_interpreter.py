"""The test vectors of layout.json, executed by a reader that shares no code with the
compiler; and that they tell a machine that was changed in one place from the right one.
"""

from __future__ import annotations

import ast
import copy
import json
import random
from functools import cache
from pathlib import Path
from typing import Any

import plain_interpreter
import pytest
from in_campaigns import in_campaigns
from plain_interpreter import Machine, disagreeing, disagreements
from random_layouts import compiled, shown
from sound_layouts import NO_TIME, checked_file

import bellcrank
from bellcrank.document.build_document import build_document
from bellcrank.document.machine_data import machine_data
from bellcrank.document.plain import plain
from bellcrank.document.vector_data import vectors_data
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target
from bellcrank.rehearsal.vectors import make_vectors

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

LONG = ("four-track-station", "harbour-terminus", "harbour-terminus-forgetful")
"""What takes longest, and what has the track of another."""

Data = dict[str, Any]


@cache
def layout_json(path: Path) -> str:
    compilation = checked_file(path, NO_TIME)
    return render_target(load_target("json"), build_document(compilation))["layout.json"].decode()


@cache
def random_document(seed: int) -> Data | None:
    """The machine and its vectors, as far as a reader needs them, for a random layout."""
    c = compiled(seed)[1]
    if isinstance(c, bellcrank.Broken):
        return None
    return {
        "machine": plain(machine_data(c.machine)),
        "vectors": plain(vectors_data(make_vectors(c.machine), None)),
    }


def test_the_interpreter_uses_nothing_of_the_compiler() -> None:
    tree = ast.parse(Path(plain_interpreter.__file__).read_text("utf-8"))
    imported = {
        name.name if isinstance(node, ast.Import) else str(node.module)
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for name in node.names
    }
    assert imported == {"__future__", "collections.abc", "json", "typing"}


@pytest.mark.parametrize(
    "path", in_campaigns(EXAMPLES, lambda path: path.stem in LONG), ids=lambda p: p.stem
)
def test_another_reader_agrees_on_every_step_of_every_example(path: Path) -> None:
    text = layout_json(path)
    assert disagreements(text) == []
    vectors = json.loads(text)["vectors"]
    assert sum(len(run["steps"]) for run in vectors["runs"]) > 300
    assert sum(len(case["tries"]) for case in vectors["cases"]) > 300


@pytest.mark.parametrize(
    "seeds", [range(5), pytest.param(range(5, 25), marks=pytest.mark.campaign)]
)
def test_another_reader_agrees_on_random_layouts(seeds: range) -> None:
    seen = 0
    for seed in seeds:
        data = random_document(seed)
        if data is None:
            continue
        with shown(compiled(seed)[0]):
            assert disagreements(json.dumps(data)) == []
        seen += 1
    assert seen >= 0.75 * len(seeds)


# -------------------------------------------------------------- changed machines


def without_a_clause(machine: Data, rng: random.Random) -> None:
    event = rng.choice([e for e in machine["events"] if e["guard"]])
    del event["guard"][rng.randrange(len(event["guard"]))]


def with_a_narrower_literal(machine: Data, rng: random.Random) -> None:
    event = rng.choice([e for e in machine["events"] if e["guard"]])
    literal = rng.choice(rng.choice(event["guard"]))
    literal["one_of"].remove(rng.choice(literal["one_of"]))


def without_an_update(machine: Data, rng: random.Random) -> None:
    event = rng.choice(machine["events"])
    del event["updates"][rng.randrange(len(event["updates"]))]


def with_another_value_after(machine: Data, rng: random.Random) -> None:
    domains = {v["name"]: v["domain"] for v in machine["variables"]}
    event = rng.choice(machine["events"])
    update = rng.choice(event["updates"])
    becomes = rng.choice(update["becomes"])
    becomes["to"] = rng.choice([v for v in domains[update["variable"]] if v != becomes["to"]])


CHANGES = {
    without_a_clause: 0.97,
    with_a_narrower_literal: 0.75,
    without_an_update: 0.97,
    with_another_value_after: 0.97,
}
"""Ways to change a machine, and the least share of changed ones that must be noticed.

What is not noticed makes no difference in any state, or one that vectors do not look for:
a clause of several literals is tried as a whole.
"""


@pytest.mark.parametrize("change", CHANGES, ids=lambda c: c.__name__)
def test_most_changed_machines_disagree_with_the_vectors(change: Any) -> None:
    layouts, each = 6, 5
    rng = random.Random(4)
    noticed = tries = 0
    documents = [d for seed in range(layouts) if (d := random_document(seed)) is not None]
    for data in documents:
        for _ in range(each):
            machine = copy.deepcopy(data["machine"])
            change(machine, rng)
            noticed += any(disagreeing(Machine(machine), data["vectors"]))
            tries += 1
    assert tries >= 0.7 * layouts * each
    assert noticed >= CHANGES[change] * tries, f"{noticed} of {tries}"
