"""The page's controller does what the document's vectors of inputs say, and what the compiler's
own machine of controller and railway does."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from in_campaigns import in_campaigns
from opened import opened
from playwright.sync_api import Browser
from proved_pages import controlled

from bellcrank.controller.composition import compose
from bellcrank.document.controller_data import controller_data
from bellcrank.document.plain import plain
from bellcrank.document.vector_data import controller_vectors_data
from bellcrank.machine.machine_model import changes
from bellcrank.rehearsal.input_vectors import make_input_vectors
from bellcrank.running.reasons import why_not
from bellcrank.running.simulator import Simulator

NAMES = ["turning-loop", "hand-worked-branch", "harbour-terminus", "four-track-station"]
"""Every example whose locking is proved."""

SHORT = "turning-loop"

PLAY = """([vectors, spoilt]) => {
  const { data, machine, reasons, Controller } = window.bellcrank;
  const { together } = machine;
  const controller = new Controller(data, together);
  const text = (v, state) => together.text(v.values[state[v.number]]);
  const own = together.variables.filter((v) =>
    ["report", "lying", "lamp", "progress", "held"].includes(v.kind));
  const of = (kind) => own.filter((v) => v.kind === kind);
  const aspects = new Map(data.routes.map((route) => [route.name, route.aspect]));
  const aspect = (lamp, state) => aspects.get(text(lamp, state)) ?? data.aspects[lamp.of][0];
  const known = (state) => of("lying").map((v) => reasons.plainly(v, state));
  const sorted = (rows) => rows.map((row) => row.join("=")).sort().join();

  function replay(before) {
    const wrong = [];
    let tried = 0;
    for (const run of vectors.runs) {
      let state = controller.start(run.occupied, run.lies.map((l) => [l.drive, l.position]));
      const alarms = (after) => run.alarms.filter((alarm) => alarm.after === after);
      const unexplained = (alarm) => {
        tried += 1;
        const input = controller.input(alarm.kind, alarm.of, alarm.value);
        const { outcome } = controller.react(input, state);
        const off = of("lamp").filter((v) => aspects.has(text(v, state)))
          .map((v) => [v.of, data.aspects[v.of][0]]);
        const told = alarm.signals.map((s) => [s.signal, s.aspect]);
        if (outcome !== "alarm" || sorted(off) !== sorted(told)) wrong.push(alarm);
      };
      run.inputs.forEach((given, place) => {
        alarms(place).forEach(unexplained);
        tried += 1;
        const before = state;
        const answer = controller.react(controller.input(given.kind, given.of, given.value), state);
        state = answer.state;
        const changed = own.filter((v) => state[v.number] !== before[v.number]);
        const shown = of("lamp").filter((v) => aspect(v, state) !== aspect(v, before));
        const thrown = known(state).filter((fact, k) =>
          fact.includes("is on its way to") && fact !== known(before)[k]);
        const right = answer.outcome === (given.granted ? "done" : "refused")
          && sorted(changed.map((v) => [v.name, text(v, state)]))
            === sorted(Object.entries(given.changes))
          && sorted(shown.map((v) => [v.of, aspect(v, state)]))
            === sorted(given.signals.map((s) => [s.signal, s.aspect]))
          && sorted(thrown.map((fact) => [fact]))
            === sorted(given.throws.map((t) => [`${t.drive} is on its way to ${t.position}`]));
        if (!right) wrong.push(given);
      });
      alarms(run.inputs.length).forEach(unexplained);
      if (spoilt && wrong.length) break;
    }
    return { tried, wrong };
  }

  if (!spoilt) return replay();
  // Of each reaction to an input each clause once left out: another of the same guard stands in
  // its place. A step without a clause would be done for ever.
  const { guards, events } = together;
  const doing = controller.inputs.flatMap((input) => input.reactions);
  const found = [];
  for (const { number, kind } of doing) {
    for (let n = 0; n < controller.own[number] && controller.own[number] > 1; n += 1) {
      const place = guards.from[number] + n;
      const clause = guards.numbers[place];
      guards.numbers[place] = guards.numbers[guards.from[number] + (n ? 0 : 1)];
      found.push([kind, replay().wrong.length > 0]);
      guards.numbers[place] = clause;
    }
  }
  return { found, whole: replay().wrong };
}"""

WALK = """walk => {
  const { data, machine: { together }, reasons, Controller } = window.bellcrank;
  const { atStart, stateAfter, allPossible } = window.bellcrank;
  const { own } = new Controller(data, together);
  const requests = together.events.filter((e) => e.kind === "request");
  let state = atStart(together);
  return walk.map((number) => {
    const able = allPossible(together, state).map((e) => e.name);
    const after = stateAfter(together.events[number], state);
    const changed = together.variables.filter((v) => after[v.number] !== state[v.number])
      .map((v) => [v.name, together.text(v.values[after[v.number]])]);
    const why = requests.map((e) => reasons.whyNot(e, state, e.asked(0, own[e.number])));
    state = after;
    return [able, Object.fromEntries(changed), why];
  });
}"""


Built = Callable[[str], Path]


@cache
def vectors_of(name: str) -> dict[str, Any]:
    """The vectors of inputs of an example, as the document has them."""
    c = controlled(name)
    told = controller_data(c.controller, c.layout, c.table)
    return plain(
        controller_vectors_data(make_input_vectors(c.controller, lambda: c.composed), told)
    )


@pytest.mark.parametrize("name", in_campaigns(NAMES, lambda name: name != SHORT))
def test_the_page_agrees_on_every_vector_of_inputs(
    browser: Browser, run_by_controller: Built, name: str
) -> None:
    vectors = vectors_of(name)
    with opened(browser, run_by_controller(name)) as page:
        found = page.evaluate(PLAY, [vectors, False])
    assert found["wrong"] == []
    assert found["tried"] == sum(len(r["inputs"]) + len(r["alarms"]) for r in vectors["runs"]) > 50


@pytest.mark.campaign
def test_a_page_whose_controller_lacks_a_clause_of_a_guard_disagrees(
    browser: Browser, run_by_controller: Built
) -> None:
    vectors = vectors_of(SHORT)
    with opened(browser, run_by_controller(SHORT)) as page:
        told = page.evaluate(PLAY, [vectors, True])
    assert told["whole"] == [], "what was left out is back"
    found = [kind for kind, disagrees in told["found"] if disagrees]
    # The others follow from what else their guards ask, or no vector comes to them.
    assert len(found) > len(told["found"]) / 3 > 40
    assert set(found) == {"request", "cancel", "reported occupied", "reported clear"}


@pytest.mark.campaign
@pytest.mark.parametrize("name", NAMES)
def test_controller_and_railway_are_the_machine_that_was_proved(
    browser: Browser, run_by_controller: Built, name: str
) -> None:
    """On a walk by chance: what may happen in each state, what it changes, and why requests are
    refused."""
    c = controlled(name)
    control = c.control
    machine = compose(control, c.machine)
    own = {pair.reaction.name: pair.reaction.guard for pair in control.paired}
    requests = [replace(e, guard=own[e.name]) for e in machine.events if e.kind == "request"]
    number = {event.name: k for k, event in enumerate(machine.events)}
    simulator, chance = Simulator(machine), random.Random(11)
    state, walk, told = machine.start(), [], []
    for _ in range(150):
        able = simulator.possible(state)
        likely = [e for e in able if e.kind not in ("cancel", "taken off") and changes(e, state)]
        event = chance.choice(likely or able)
        walk.append(number[event.name])
        why = [list(why_not(e, state, machine.variables)) for e in requests]
        told.append([[e.name for e in able], changes(event, state), why])
        state |= changes(event, state)
    assert len(set(walk)) > 20
    assert sum(len(reasons) > 1 for *_, why in told for reasons in why) > 10
    with opened(browser, run_by_controller(name)) as page:
        assert page.evaluate(WALK, walk) == told
