"""The page's interpreter does what the machine does, and gives the same reasons."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from in_campaigns import in_campaigns
from opened import EXAMPLES, opened, page_of, quickly_from
from playwright.sync_api import Browser

from bellcrank.document.plain import plain
from bellcrank.document.vector_data import vectors_data
from bellcrank.machine.machine_model import Machine, possible
from bellcrank.rehearsal.vectors import make_vectors
from bellcrank.running.reasons import why_not
from bellcrank.running.simulator import Simulator

NAMES = sorted(path.stem for path in EXAMPLES.glob("*.crank"))

LONG = ("four-track-station", "harbour-terminus-forgetful")
"""What takes longest, and what has the track of another."""

VECTORS = """vectors => {
  const { machine, atStart, isPossible, stateAfter } = window.bellcrank;
  const variable = new Map(machine.variables.map((v) => [v.name, v]));
  const event = new Map(machine.events.map((e) => [e.name, e]));
  const valueOf = (v, value) => v.values.findIndex((each) => machine.text(each) === value);
  const given = (of) => {
    const state = atStart(machine);
    for (const [name, value] of Object.entries(of)) {
      state[variable.get(name).number] = valueOf(variable.get(name), value);
    }
    return state;
  };
  const wrong = [];
  let tried = 0;
  const attempt = (step, state) => {
    tried += 1;
    const able = isPossible(event.get(step.event), state);
    const after = able ? stateAfter(event.get(step.event), state) : state;
    const changes = machine.variables
      .filter((v) => after[v.number] !== state[v.number])
      .map((v) => `${v.name}=${machine.text(v.values[after[v.number]])}`).sort();
    const wanted = Object.entries(step.changes).map(([name, value]) => `${name}=${value}`).sort();
    if (able !== step.possible || changes.join() !== wanted.join()) wrong.push(step.event);
    return after;
  };
  for (const run of vectors.runs) {
    let state = given(run.start);
    for (const step of run.steps) state = attempt(step, state);
  }
  for (const one of vectors.cases) {
    for (const step of one.tries) attempt(step, given(one.given));
  }
  return { tried, wrong };
}"""

WALK = """walk => {
  const { machine, reasons, atStart, stateAfter, allPossible } = window.bellcrank;
  let state = atStart(machine);
  return walk.map((number) => {
    const able = allPossible(machine, state).map((e) => e.number);
    const why = machine.events.filter((e) => e.kind === "request" || e.kind === "signal clears")
      .map((e) => reasons.whyNot(e, state));
    state = stateAfter(machine.events[number], state);
    return { able, why };
  });
}"""


@pytest.mark.parametrize("name", in_campaigns(NAMES, lambda name: name in LONG))
def test_vectors_come_out_in_the_browser_as_in_the_document(
    browser: Browser, tmp_path: Path, name: str
) -> None:
    compilation = quickly_from(EXAMPLES / f"{name}.crank")
    path = tmp_path / "page.html"
    path.write_bytes(page_of(compilation))
    vectors = plain(vectors_data(make_vectors(compilation.machine), None))
    with opened(browser, path) as page:
        found = page.evaluate(VECTORS, vectors)
    assert found["wrong"] == []
    steps = sum(len(run["steps"]) for run in vectors["runs"])
    assert found["tried"] == steps + sum(len(case["tries"]) for case in vectors["cases"]) > 100


@pytest.mark.parametrize("name", NAMES)
def test_what_may_happen_and_why_not_is_the_same_on_a_walk(
    browser: Browser, tmp_path: Path, name: str
) -> None:
    compilation = quickly_from(EXAMPLES / f"{name}.crank")
    path = tmp_path / "page.html"
    path.write_bytes(page_of(compilation))
    walk, told = walked(compilation.machine, 120)
    with opened(browser, path) as page:
        found = page.evaluate(WALK, walk)
    assert found == told
    refused = sum(len(reasons) > 1 for step in told for reasons in step["why"])
    assert refused > 20, "the walk comes to states with something to give reasons for"


def walked(machine: Machine, steps: int) -> tuple[list[int], list[dict[str, object]]]:
    """A walk by chance, and in each state the possible events and the reasons against
    each request and each clearing."""
    chance = random.Random(7)
    simulator = Simulator(machine)
    number = {event.name: k for k, event in enumerate(machine.events)}
    asked = [e for e in machine.events if e.kind in ("request", "signal clears")]
    state = machine.start()
    walk, told = [], []
    for _ in range(steps):
        able = simulator.possible(state)
        # Cancelled less often, so that routes stay and trains get about.
        likely = [e for e in able if e.kind not in ("cancel", "meets", "derails")] or able
        event = chance.choice(likely)
        assert possible(event, state)
        why = [list(why_not(e, state, machine.variables)) for e in asked]
        told.append({"able": [number[e.name] for e in able], "why": why})
        walk.append(number[event.name])
        state = dict(simulator.do(event, state).state)
    return walk, told
