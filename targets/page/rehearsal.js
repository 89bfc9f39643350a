// The rehearsal: what somebody does at the page, and what follows from it. What may happen is
// for the machine to say (running.js), what happens for whoever sits at the page.

function makeRehearsal(data, machine, reasons, routes, picture, say) {
  const holder = (id) => document.getElementById(id);
  const routeSelect = holder("ask-route");
  const log = holder("log");
  const MANY = 8;      // more events of a sort than this are put into a list to choose from
  const LONGEST = 500; // events that follow one another without anybody asking
  const runs = { alone: runAlone(data, machine, reasons) };
  if (machine.together) runs.controlled = runControlled(data, machine.together, reasons);
  let run = runs.controlled ?? runs.alone;
  let moment = run.begin();
  let history = [];
  let lines = [];

  // ------------------------------------------------------------- what happens

  const isWrong = ({ sort }) => ["accident", "breach", "alarm"].includes(sort);

  function happen(move, said) {
    const before = moment.state;
    moment = run.perform(moment, move, said);
    return moment.state.map((v, k) => (v === before[k] ? -1 : k)).filter((k) => k >= 0);
  }

  // Let one move after another happen, of the sort that comes first, until none is left,
  // something goes wrong, or it goes round and round.
  function follow(said, ...turns) {
    const seen = new Set();
    let changed = [];
    for (let k = 0; k < LONGEST; k += 1) {
      let move;
      for (const turn of turns) {
        move = run.possible(moment, [turn]).find((each) =>
          !(turn === TURN.front && run.overruns(each, moment)));
        if (move) break;
      }
      if (!move) return changed;
      const key = moment.state.join();
      if (seen.has(key)) {
        said.push({ sort: "note", text: "And so on, round and round." });
        return changed;
      }
      seen.add(key);
      changed = happen(move, said);
      if (said.some(isWrong)) return changed;
    }
    said.push({ sort: "note", text: "And so on." });
    return changed;
  }

  const isChecked = (id) => holder(id).checked;
  const reports = [TURN.report, TURN.driveTime];
  const atOnce = () => (isChecked("reports") ? reports : []);
  const late = () => (isChecked("reports") ? [] : reports);

  // Something that somebody does, and what follows from it.
  function act(doing) {
    const before = { moment, count: lines.length };
    const said = [];
    let changed = doing(said) ?? [];
    if (!said.some((line) => isWrong(line) || line.sort === "refused")) {
      const turns = [...atOnce()];
      if (isChecked("by-itself")) turns.push(TURN.itself);
      if (isChecked("tails")) turns.push(TURN.tail);
      if (turns.length) changed = [...changed, ...follow(said, ...turns)];
    }
    if (!said.length) said.push({ sort: "note", text: "Nothing is left to do." });
    history.push(before);
    lines.push(...said);
    show(changed);
    say(said.map(({ text, spoken }) => spoken ?? text).join(" "));
  }

  const doMove = (move) => act((said) => happen(move, said));

  function ask(kind, route) {
    act((said) => {
      const { name } = data.routes[route];
      const { move, why } = run.ask(kind, name, moment);
      if (move) return happen(move, said);
      const told = kind === "cancel" && isIdle(route) && !moment.alarm ? [`${name} is not set`] : why;
      const what = kind === "cancel" ? "cannot be cancelled" : "is refused";
      said.push({ sort: "refused", text: `${name} ${what}: ${told.join("; ")}.` });
      if (kind === "request" && !moment.alarm) said.push(...conflictsNow(route));
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

  const stages = new Map((machine.together ?? machine).variables
    .filter((v) => v.kind === "route" || v.kind === "progress").map((v) => [`${v.kind} ${v.of}`, v]));
  const stageOf = (route) => stages.get(`${run.route} ${data.routes[route].name}`);
  const isIdle = (route) => stageOf(route).values[moment.state[stageOf(route).number]] === data.words.idle;

  // --------------------------------------------------------------- what is shown

  const button = (move) => make("button", {
    type: "button", "data-event": move.key, onclick: () => doMove(move),
  }, sentence(move.text).slice(0, -1));

  function showPossible(told) {
    const moves = run.possible(moment);
    const parts = [];
    for (const name of Object.values(GROUPS)) {
      const group = moves.filter((move) => move.group === name);
      if (!group.length) continue;
      const id = `happen-${parts.length}`;
      const inside = group.length > MANY ? [chooser(name, group)]
        : group.map((move) => make("li", null, button(move)));
      parts.push(make("h4", { id }, name),
        group.length > MANY ? make("div", null, inside)
          : make("ul", { class: "events", "aria-labelledby": id }, inside));
    }
    if (told?.sections.some((section) => section.late)) {
      parts.push(make("p", { class: "open" }, "While a report is late, a train goes no further than is assumed of " +
        "detectors (reports in time), unless the detector fails."));
    }
    if (!parts.length) parts.push(make("p", null, "Nothing until somebody asks for a route."));
    holder("happen").replaceChildren(...parts);
  }

  const choosers = new Map();

  // Made anew only if there is something else to choose from.
  function chooser(name, group) {
    const key = group.map((move) => (move.input ? `${move.key} ${move.text}` : move.key)).join();
    if (choosers.get(name)?.key !== key) choosers.set(name, { key, node: madeChooser(name, group) });
    return choosers.get(name).node;
  }

  function madeChooser(name, group) {
    const select = make("select", { "aria-label": name }, group.map((move, k) =>
      make("option", { value: k }, sentence(move.text).slice(0, -1))));
    return make("div", { class: "row" }, select, make("button", {
      type: "button", "data-event": `choose ${name}`, onclick: () => doMove(group[Number(select.value)]),
    }, "Let it happen"));
  }

  function showLog() {
    const WORDS = { refused: "refused", accident: "accident", breach: "unsafe", alarm: "alarm", note: "note" };
    log.replaceChildren(...lines.slice(-200).map(({ sort, text }) =>
      make("li", { class: `line is-${sort}` }, WORDS[sort] ? make("span", { class: "tag" }, WORDS[sort]) : null,
        WORDS[sort] ? " " : null, text)));
    afterwards(() => { log.scrollTop = log.scrollHeight; });
    holder("undo").disabled = !history.length;
    const wrong = [...lines].reverse().find(({ sort }) => sort === "accident");
    holder("accident").hidden = !wrong;
    holder("accident").textContent = wrong ? wrong.text : "";
    holder("alarm").hidden = !moment.alarm;
    holder("alarm-told").textContent = moment.alarm ?? "";
  }

  // Buttons are made anew; the keyboard stays where it was.
  function show(changed = []) {
    const active = document.activeElement;
    const key = active?.dataset?.event;
    const inside = ["happen", "set-routes", "failing", "alarm"].some((id) => holder(id).contains(active));
    const told = run.told(moment);
    showPossible(told);
    standing.show(run, moment, told);
    showLog();
    picture.showState(moment.state, changed, told);
    if (inside && (document.activeElement !== active || active.closest("[hidden]"))) {
      const again = document.querySelector(`#rehearsal [data-event="${CSS.escape(key ?? "")}"]`);
      const next = moment.alarm ? holder("anew") : holder("happen").querySelector("button");
      (again ?? next ?? holder("happen-head")).focus();
    } else if (active?.disabled) holder("happen-head").focus();
  }

  function undo() {
    const before = history.pop();
    if (!before) return;
    moment = before.moment;
    lines = lines.slice(0, before.count);
    show();
    say("Taken back.");
  }

  function begin(from = run.begin(), told = []) {
    moment = from;
    history = [];
    lines = told.map((text) => ({ sort: "done", text }));
    show();
  }

  // --------------------------------------------------------------- what runs it

  function choose(name) {
    run = runs[name];
    document.body.dataset.runs = name;
    holder(`runs-${name}`).checked = true;
  }

  holder("runs").hidden = !runs.controlled;
  holder("uncontrolled").hidden = Boolean(runs.controlled);
  holder("uncontrolled").textContent = data.uncontrolled ?? "";
  for (const name of Object.keys(runs)) {
    holder(`runs-${name}`).addEventListener("change", () => {
      choose(name);
      begin();
      say("All begins again.");
    });
  }
  const standing = makeStanding(data, machine, reasons, {
    cancel: (route) => ask("cancel", route),
    fail: (section) => act((said) => { moment = run.fail(moment, section, said); }),
    mend: (section) => act((said) => { moment = run.mended(moment, section, said); }),
    stageOf, isIdle: (route) => isIdle(route),
  });
  choose(runs.controlled ? "controlled" : "alone");

  fillRoutes(routeSelect, data.routes, null);
  holder("ask").addEventListener("click", () => ask("request", Number(routeSelect.value)));
  holder("cancel").addEventListener("click", () => ask("cancel", Number(routeSelect.value)));
  holder("time").addEventListener("click", () => act((said) =>
    follow(said, ...atOnce(), TURN.itself, TURN.driveTime, TURN.time)));
  holder("go-on").addEventListener("click", () => act((said) =>
    follow(said, ...atOnce(), TURN.itself, TURN.tail, TURN.front, ...late(), TURN.time)));
  holder("undo").addEventListener("click", undo);
  holder("anew").addEventListener("click", () => act((said) => { moment = run.startAnew(moment, said); }));
  holder("restart").addEventListener("click", () => {
    begin();
    say("All begins again: no train, no route set, signals at stop.");
  });
  // Chosen in the picture: one is asked for, of several somebody has to choose.
  const pick = (found) => {
    routeSelect.value = String(found[0]);
    if (found.length === 1) ask("request", found[0]);
    else {
      say(`${found.length} routes lead there: ${found.map((k) => data.routes[k].name).join(", ")}. Choose one and ask for it.`);
      routeSelect.focus();
    }
  };
  // From a state of the machine alone, as a story has it.
  const takeOver = (state, told) => {
    choose("alone");
    begin(run.from(state), told);
  };
  const chooseRoute = (number) => {
    routeSelect.value = String(number);
    say(`${data.routes[number].name} is chosen. Ask for it?`);
    holder("ask").focus();
  };
  return { takeOver, pick, choose: chooseRoute, show: () => show(), runs, get state() { return moment.state; } };
}
