// The rehearsal: the emitted machine, executed. What may happen, the machine says; what
// happens, whoever sits at the page.

function makeRehearsal(data, machine, reasons, routes, picture, say) {
  const holder = (id) => document.getElementById(id);
  const routeSelect = holder("ask-route");
  const log = holder("log");
  const MANY = 8;      // more events of a sort than this are put into a list to choose from
  const LONGEST = 500; // events that follow one another without anybody asking
  let state = atStart(machine);
  let history = [];
  let lines = [];

  const byKind = (kind, route) =>
    machine.events.filter((e) => e.kind === kind && e.of === data.routes[route].name);

  // ------------------------------------------------------------- what happens

  function happen(event, said) {
    const following = stateAfter(event, state);
    const broken = newlyBroken(machine, state, following);
    const before = state;
    state = following;
    said.push({ sort: "done", text: sentence(event.text) });
    for (const invariant of broken) {
      const accident = data.accidents.includes(invariant.of);
      said.push({
        sort: accident ? "accident" : "breach",
        text: `${accident ? "Accident" : "Unsafe"}: ${sentence(invariant.sentence)}`,
      });
    }
    return { broken, changed: following.map((v, k) => (v === before[k] ? -1 : k)).filter((k) => k >= 0) };
  }

  const TURN = { itself: 1, time: 2, tail: 3, front: 4 };
  const putBack = data.words["put back"];
  const overruns = (event) => {
    const signal = data.passes[event.number];
    return signal !== undefined && machine.variables[signal].values[state[signal]] === putBack;
  };

  // Let one event after another happen, of the sort that comes first, until none is left,
  // something goes wrong, or it goes round and round.
  function follow(said, ...turns) {
    const seen = new Set();
    let changed = [];
    for (let k = 0; k < LONGEST; k += 1) {
      const able = allPossible(machine, state, (e) => turns.includes(e.turn));
      const event = turns.map((turn) =>
        able.find((e) => e.turn === turn && !(turn === TURN.front && overruns(e)))).find(Boolean);
      if (!event) return changed;
      const key = state.join();
      if (seen.has(key)) {
        said.push({ sort: "note", text: "And so on, round and round." });
        return changed;
      }
      seen.add(key);
      const step = happen(event, said);
      changed = step.changed;
      if (step.broken.length) return changed;
    }
    said.push({ sort: "note", text: "And so on." });
    return changed;
  }

  // Something that somebody does, and what follows from it.
  function act(doing) {
    const before = { state, count: lines.length };
    const said = [];
    let changed = doing(said) ?? [];
    const wrong = said.some(({ sort }) => sort === "accident" || sort === "breach");
    const refused = said.some(({ sort }) => sort === "refused");
    if (!wrong && !refused) {
      const turns = [];
      if (holder("by-itself").checked) turns.push(TURN.itself);
      if (holder("tails").checked) turns.push(TURN.tail);
      if (turns.length) changed = [...changed, ...follow(said, ...turns)];
    }
    if (!said.length) said.push({ sort: "note", text: "Nothing is left to do." });
    history.push(before);
    lines.push(...said);
    show(changed);
    say(said.map(({ text }) => text).join(" "));
  }

  const doEvent = (event) => act((said) => happen(event, said).changed);

  function ask(kind, route) {
    act((said) => {
      const events = byKind(kind, route);
      const able = events.find((event) => isPossible(event, state));
      if (able) return happen(able, said).changed;
      const nearest = events.reduce((a, b) => (unmet(b, state) < unmet(a, state) ? b : a));
      const why = kind === "cancel" && isIdle(route)
        ? [`${data.routes[route].name} is not set`] : reasons.whyNot(nearest, state);
      const what = kind === "cancel" ? "cannot be cancelled" : "is refused";
      said.push({ sort: "refused", text: `${data.routes[route].name} ${what}: ${why.join("; ")}.` });
      if (kind === "request") said.push(...conflictsNow(route));
      return [];
    });
  }

  // Of routes that are not idle, why the track does not let them stand with another.
  function conflictsNow(route) {
    return [...routes.against[route].keys()].filter((other) => !isIdle(other)).slice(0, 3)
      .map((other) => ({
        sort: "note",
        text: `${data.routes[route].name} and ${data.routes[other].name} conflict: ` +
          `${routes.reasonsOf(route, other).map((r) => r.sentence).join("; ")}.`,
      }));
  }

  const routeNamed = new Map(data.routes.map((route) => [route.name, route]));
  const routeVariable = new Map(machine.variables.filter((v) => v.kind === "route").map((v) => [v.of, v]));
  const stageOf = (route) => {
    const variable = routeVariable.get(data.routes[route].name);
    return variable.values[state[variable.number]];
  };
  const isIdle = (route) => stageOf(route) === data.words.idle;

  // --------------------------------------------------------------- what is shown

  const button = (event) => make("button", {
    type: "button", "data-event": event.number, onclick: () => doEvent(event),
  }, sentence(event.text).slice(0, -1));

  function sorted(events) {
    const groups = [
      ["Trains go on", (e) => e.actor === "train"],
      ["Trains appear",
        (e) => e.actor === "surroundings" && e.turn === 0 && !data["by hand"].includes(e.kind)],
      ["Vehicles that stand", (e) => data["by hand"].includes(e.kind)],
      ["Drives, signals and releases", (e) => e.turn === TURN.itself],
      ["When a time is over", (e) => e.turn === TURN.time],
    ];
    return groups.map(([name, test]) => [name, events.filter(test)]);
  }

  function showPossible() {
    const events = allPossible(machine, state, (e) => e.actor !== "operator");
    const parts = [];
    for (const [name, group] of sorted(events)) {
      if (!group.length) continue;
      const id = `happen-${parts.length}`;
      const inside = group.length > MANY ? [chooser(name, group)]
        : group.map((event) => make("li", null, button(event)));
      parts.push(make("h4", { id }, name),
        group.length > MANY ? make("div", null, inside)
          : make("ul", { class: "events", "aria-labelledby": id }, inside));
    }
    if (!parts.length) parts.push(make("p", null, "Nothing until somebody asks for a route."));
    holder("happen").replaceChildren(...parts);
  }

  const choosers = new Map();

  // Made anew only if there is something else to choose from.
  function chooser(name, group) {
    const key = group.map((event) => event.number).join();
    if (choosers.get(name)?.key !== key) choosers.set(name, { key, node: madeChooser(name, group) });
    return choosers.get(name).node;
  }

  function madeChooser(name, group) {
    const select = make("select", { "aria-label": name }, group.map((event) =>
      make("option", { value: event.number }, sentence(event.text).slice(0, -1))));
    return make("div", { class: "row" }, select, make("button", {
      type: "button", "data-event": `choose ${name}`,
      onclick: () => doEvent(machine.events[Number(select.value)]),
    }, "Let it happen"));
  }

  // Which aspect, where it is not plainly the other one.
  function shows(variable) {
    const aspect = variable.kind === "signal" && routeNamed.get(machine.text(variable.values[state[variable.number]]))?.aspect;
    return aspect && aspect !== "proceed" ? `, showing ${aspect}` : "";
  }

  function showStanding() {
    const told = { track: [], route: [], signal: [], drive: [], held: [] };
    for (const v of machine.variables) {
      const first = state[v.number] === v.initial[0];
      const still = v.kind === "drive" && v.initial.includes(state[v.number]);
      if (v.kind === "drive" ? !still : !first) (told[v.kind] ?? told.track).push(reasons.plainly(v, state) + shows(v));
    }
    const lies = machine.variables
      .filter((v) => v.kind === "drive" && v.initial.includes(state[v.number]))
      .map((v) => `${v.of} ${machine.text(v.values[state[v.number]])}`);
    const row = (head, list, none) =>
      [make("dt", null, head), make("dd", null, list.length ? list.join("; ") : none)];
    holder("standing").replaceChildren(
      ...row("Trains", told.track, "none"), ...row("Routes", told.route, "none is set"),
      ...row("Signals", told.signal, "all at stop"), ...row("Drives moving", told.drive, "none"),
      ...row("Drives lie", lies, "no drive"), ...row("Held", told.held, "no section"));
    const set = data.routes.map((_, k) => k).filter((k) => !isIdle(k));
    holder("set-routes").replaceChildren(...set.map((k) => make("li", null,
      `${reasons.plainly(routeVariable.get(data.routes[k].name), state)} `,
      make("button", { type: "button", "data-event": `cancel ${k}`, "aria-label": `Cancel ${data.routes[k].name}`,
        onclick: () => ask("cancel", k) }, "Cancel"))));
    holder("none-set").hidden = set.length > 0;
  }

  function showLog() {
    const WORDS = { refused: "refused", accident: "accident", breach: "unsafe", note: "note" };
    log.replaceChildren(...lines.slice(-200).map(({ sort, text }) =>
      make("li", { class: `line is-${sort}` }, WORDS[sort] ? make("span", { class: "tag" }, WORDS[sort]) : null,
        WORDS[sort] ? " " : null, text)));
    log.scrollTop = log.scrollHeight;
    holder("undo").disabled = !history.length;
    const wrong = [...lines].reverse().find(({ sort }) => sort === "accident");
    holder("accident").hidden = !wrong;
    holder("accident").textContent = wrong ? wrong.text : "";
  }

  // Buttons are made anew; the keyboard stays where it was.
  function show(changed = []) {
    const active = document.activeElement;
    const key = active?.dataset?.event;
    const inside = holder("happen").contains(active) || holder("set-routes").contains(active);
    showPossible();
    showStanding();
    showLog();
    picture.showState(state, changed);
    if (inside) {
      const again = document.querySelector(`#rehearsal [data-event="${CSS.escape(key ?? "")}"]`);
      (again ?? holder("happen").querySelector("button") ?? holder("happen-head")).focus();
    } else if (active?.disabled) holder("happen-head").focus();
  }

  function undo() {
    const before = history.pop();
    if (!before) return;
    state = before.state;
    lines = lines.slice(0, before.count);
    show();
    say("Taken back.");
  }

  function begin(from = atStart(machine), told = []) {
    state = from;
    history = [];
    lines = told.map((text) => ({ sort: "done", text }));
    show();
  }

  fillRoutes(routeSelect, data.routes, null);
  holder("ask").addEventListener("click", () => ask("request", Number(routeSelect.value)));
  holder("cancel").addEventListener("click", () => ask("cancel", Number(routeSelect.value)));
  holder("time").addEventListener("click", () => act((said) => follow(said, TURN.itself, TURN.time)));
  holder("go-on").addEventListener("click", () =>
    act((said) => follow(said, TURN.itself, TURN.tail, TURN.front, TURN.time)));
  holder("undo").addEventListener("click", undo);
  holder("restart").addEventListener("click", () => {
    begin();
    say("All begins again: no train, no route set, signals at stop.");
  });
  const pick = (signal) => {
    const from = data.routes.map((_, k) => k).filter((k) => data.routes[k].from === signal);
    if (!from.length) return;
    routeSelect.value = String(from[(from.indexOf(Number(routeSelect.value)) + 1) % from.length]);
    say(`${data.routes[Number(routeSelect.value)].name} is chosen. Ask for it?`);
  };
  return { begin, pick, show: () => show(), get state() { return state; } };
}
