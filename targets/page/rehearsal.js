// The rehearsal: what somebody does at the page, and what follows from it. What may happen is
// for the machine to say (running.js), what happens for whoever sits at the page.

function makeRehearsal(data, machine, reasons, routes, picture, say) {
  const holder = (id) => document.getElementById(id);
  const routeSelect = holder("ask-route");
  const log = holder("log");
  const narrow = matchMedia("(max-width: 40rem)");
  // More events of a sort than this are put into a list to choose from; a phone shows few lines.
  const many = () => (narrow.matches ? 3 : 8);
  const LONGEST = 500; // events that follow one another without anybody asking
  const trains = makeTrains(data, machine);
  const runs = { alone: trains.withNames(runAlone(data, machine, reasons)) };
  if (machine.together) {
    runs.controlled = trains.withNames(runControlled(data, machine.together, reasons));
  }
  let run = runs.controlled ?? runs.alone;
  let moment = run.begin();
  // What has happened so far; an act is what somebody did and what followed from it.
  const script = makeScript(data, runs, reasons, trains);
  const keeping = makeKeeping(data);
  let session = { first: [], acts: [] };
  let lines = [];
  let deed = []; // lines of the act that is being done

  // ------------------------------------------------------------- what happens

  const isWrong = ({ sort }) => ["accident", "breach", "alarm"].includes(sort);

  function happen(move, said) {
    const before = moment.state;
    deed.push(script.lineOf(run, move, moment));
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

  // Something that somebody does, and what follows from it. label: what, in words.
  function act(label, doing) {
    const before = moment;
    const said = [];
    deed = [];
    let changed = doing(said) ?? [];
    if (!said.some((line) => isWrong(line) || line.sort === "refused")) {
      const turns = [...atOnce()];
      if (isChecked("by-itself")) turns.push(TURN.itself);
      if (isChecked("tails")) turns.push(TURN.tail);
      if (turns.length) changed = [...changed, ...follow(said, ...turns)];
    }
    if (!said.length) said.push({ sort: "note", text: "Nothing is left to do." });
    if (deed.length) session.acts.push({ label, before, lines: deed, count: lines.length });
    lines.push(...said);
    keep();
    show(changed);
    say(inShort(said));
  }

  // One sentence for what came of an act, and the log has the rest: what went wrong, or why it was
  // refused, or the first thing that happened and the last.
  function inShort(said) {
    if (said.some((line) => isWrong(line) || line.sort === "refused")) {
      return said.filter(({ sort }) => sort !== "done").map(({ text, spoken }) => spoken ?? text).join(" ");
    }
    const plain = said.map((line) => line.plain ?? line.text.slice(0, -1));
    const between = plain.length > 2 ? "; in the end " : ", then ";
    return sentence([plain[0], ...plain.slice(1).slice(-1)].join(between));
  }

  const doMove = (move) => act(move.text, (said) => happen(move, said));

  function ask(kind, route) {
    act(`${kind} ${data.routes[route].name}`, (said) => {
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
    const parts = [];
    for (const [name, group, otherwise, train] of grouped(run.possible(moment))) {
      const id = `happen-${parts.length}`;
      const inside = group.length > many() ? [chooser(name, group)]
        : group.map((move) => make("li", null, button(move)));
      const head = make("h4", { id }, name);
      parts.push(train === undefined ? head : make("div", { class: "train-head" }, head, namer(train)),
        !group.length ? make("p", { class: "open" }, otherwise) : group.length > many() ? make("div", null, inside)
          : make("ul", { class: "events", "aria-labelledby": id }, inside));
    }
    if (told?.sections.some((section) => section.late)) {
      parts.push(make("p", { class: "open" }, "While a report is late, a train goes no further than is assumed of " +
        "detectors (reports in time), unless the detector fails."));
    }
    if (!parts.length) parts.push(make("p", null, "Nothing until somebody asks for a route."));
    holder("happen").replaceChildren(...parts);
  }

  // Moves by what they are of: first each train's own, by its name, so that they keep their place.
  function grouped(moves) {
    const found = new Map([...moment.trains.named].sort((a, b) => a[1].number - b[1].number)
      .map(([place, { name }]) => [place, [`${name}, in ${trains.place(place)}`, [], "It can do nothing now.", place]]));
    for (const name of Object.values(GROUPS)) found.set(name, [name, []]);
    for (const move of moves) {
      const of = [GROUPS.train, GROUPS.hand].includes(move.group) ? trains.of(move.event, moment) : null;
      found.get(of ?? move.group)[1].push(move);
    }
    return [...found.values()].filter(([, group, otherwise]) => group.length || otherwise);
  }

  // ------------------------------------------------------------ names of trains

  function namer(place) {
    const { number, name } = moment.trains.named.get(place);
    return make("button", {
      type: "button", class: "rename", "data-event": `name ${number}`, "aria-label": `Rename ${name}`, onclick: () => askName(place, name),
    }, "Rename");
  }

  async function askName(place, old) {
    const name = await askText(`New name of ${old}`, old, (text) => trains.wrongName(text, place, moment));
    if (name === null || name === old) return;
    const label = trains.naming(moment.trains.named.get(place), name);
    session.acts.push({ label, before: moment, lines: [], count: lines.length });
    moment = trains.renamed(moment, place, name);
    lines.push(done(label));
    keep();
    show();
    say(sentence(label));
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
    for (const id of ["undo", "restart", "save"]) holder(id).disabled = !session.acts.length;
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
    picture.showState(moment.state, changed, told, moment.trains.named);
    if (inside && (document.activeElement !== active || active.closest("[hidden]"))) {
      const again = document.querySelector(`#rehearsal [data-event="${CSS.escape(key ?? "")}"]`);
      const next = moment.alarm ? holder("anew") : holder("happen").querySelector("button:not(.rename)");
      (again ?? next ?? holder("happen-head")).focus();
    } else if (active?.disabled) holder("happen-head").focus();
  }

  function undo() {
    const last = session.acts.pop();
    if (!last) return;
    moment = last.before;
    lines = lines.slice(0, last.count);
    keep();
    show();
    say(`Taken back: ${last.label}.`);
  }

  function begin() {
    moment = run.begin();
    session = { first: [], acts: [] };
    lines = [];
    keep();
    show();
  }

  // What would be lost is asked for first.
  const mayLose = async (what) => !session.acts.length
    || askFirst(`${what}? What has happened here (${session.acts.length} ${session.acts.length > 1 ? "acts" : "act"}) is lost, unless it is saved.`, what);

  // ------------------------------------------------------------ saved and loaded

  const text = () => script.written({ ...session, name: run === runs.alone ? "alone" : "controlled", long: !isChecked("tails") });

  const CHOICES = ["reports", "by-itself"];
  const keep = () => keeping.remember({ script: text(), choices: CHOICES.map(isChecked) });

  // A session that was read.
  function takeUp({ name, first, acts, long, moment: reached, skipped }) {
    choose(name);
    moment = reached;
    lines = [];
    session = { first, acts: [] };
    for (const { said, ...rest } of acts) {
      session.acts.push({ ...rest, count: lines.length });
      lines.push(...said);
    }
    if (skipped) lines.push({ sort: "note", text: `${skipped} lines beginning with expect were left out: this page looks at none.` });
    holder("tails").checked = !long;
    keep();
    show();
  }

  async function load(file) {
    let read;
    try {
      read = script.play(await file.text());
    } catch (error) {
      if (!(error instanceof ScriptError)) throw error;
      return say(`${file.name} is not loaded. ${error.message}`);
    }
    if (!await mayLose("Load it")) return;
    takeUp(read);
    say(`${file.name} is loaded.`);
  }

  // After a reload all is as it was.
  function restore() {
    const kept = keeping.remembered();
    if (!kept) return;
    try {
      const read = script.play(kept.script);
      CHOICES.forEach((id, k) => { holder(id).checked = kept.choices[k]; });
      takeUp(read);
    } catch (error) {
      keeping.forget();
      lines.push({ sort: "note", text: `What was done here before cannot be done again. ${error.message}` });
    }
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
    holder(`runs-${name}`).addEventListener("change", async () => {
      if (await mayLose("Begin again")) {
        choose(name);
        begin();
        say("All begins again.");
      } else choose(name === "alone" ? "controlled" : "alone");
    });
  }
  const byHand = (line, doing) => act(line, (said) => {
    deed.push(line);
    moment = doing(said);
  });
  const standing = makeStanding(data, machine, reasons, {
    cancel: (route) => ask("cancel", route),
    fail: (section) => byHand(failing(section), (said) => run.fail(moment, section, said)),
    mend: (section) => byHand(mended(section), (said) => run.mended(moment, section, said)),
    stageOf, isIdle: (route) => isIdle(route),
  });
  choose(runs.controlled ? "controlled" : "alone");
  narrow.addEventListener("change", () => document.body.dataset.panel === "rehearsal" && show());

  fillRoutes(routeSelect, data.routes, null);
  holder("ask").addEventListener("click", () => ask("request", Number(routeSelect.value)));
  holder("cancel").addEventListener("click", () => ask("cancel", Number(routeSelect.value)));
  holder("time").addEventListener("click", () => act("let time pass", (said) =>
    follow(said, ...atOnce(), TURN.itself, TURN.driveTime, TURN.time)));
  holder("go-on").addEventListener("click", () => act("let all go on", (said) =>
    follow(said, ...atOnce(), TURN.itself, TURN.tail, TURN.front, ...late(), TURN.time)));
  holder("undo").addEventListener("click", undo);
  holder("anew").addEventListener("click", () => byHand(STARTED, (said) => run.startAnew(moment, said)));
  holder("save").addEventListener("click", () => say(`Saved as ${keeping.save(text())}.`));
  holder("load").addEventListener("click", () => holder("load-file").click());
  holder("load-file").addEventListener("change", async ({ target }) => {
    const [file] = target.files;
    if (file) await load(file);
    target.value = ""; // so that the same file can be chosen again
  });
  for (const id of [...CHOICES, "tails"]) holder(id).addEventListener("change", () => keep());
  holder("restart").addEventListener("click", async () => {
    if (!await mayLose("Begin again")) return;
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
  // What a story tells, up to a step. start: drives and where they lie at first.
  const takeOver = async (start, events) => {
    if (!await mayLose("Rehearse the story")) return false;
    const lies = start.map(([drive, position]) => `at first ${drive} lies ${position}\n`);
    const happened = events.map((number) => machine.events[number])
      .map((event) => `\n# ${event.text}\nevent ${event.name}\n`);
    takeUp(script.play([...lies, ...happened].join("")));
    return true;
  };
  const chooseRoute = (number) => {
    routeSelect.value = String(number);
    say(`${data.routes[number].name} is chosen. Ask for it?`);
    holder("ask").focus();
  };
  restore();
  return { takeOver, pick, choose: chooseRoute, show: () => show(), runs, get state() { return moment.state; } };
}
