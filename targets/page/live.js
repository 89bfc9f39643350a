// The page of the running railway: follows what the server tells, and asks it for what people want.
// Nothing is decided here.

const STAGES = {
  set: "set", cancelled: "cancelled; the time of approach locking runs", "under way": "its train is under way",
  arrived: "its train has arrived", "kept for its overlap": "kept for its overlap",
};

// The words of a route under way as names in messages and buttons.
const byId = (id) => document.getElementById(id);

class Server {
  constructor(key) {
    this.key = key;
    this.name = localStorage.getItem("bellcrank name") ?? "";
  }

  headers(more = {}) {
    const named = this.name ? { "Bellcrank-Name": encodeURIComponent(this.name) } : {};
    return { Authorization: `Bearer ${this.key}`, ...named, ...more };
  }

  async get(path) {
    const answer = await fetch(path, { headers: this.headers(), cache: "no-store" });
    if (!answer.ok) throw Object.assign(new Error((await answer.json()).error), { status: answer.status });
    return answer.json();
  }

  // What became of something asked: { outcome, told }.
  async ask(what, body = {}) {
    const answer = await fetch(`/api/${what}`, {
      method: "POST", headers: this.headers({ "Content-Type": "application/json" }), body: JSON.stringify(body),
    });
    const told = await answer.json();
    return answer.ok ? told : { outcome: "refused", told: [told.error] };
  }

  // Server-sent events, read by hand: EventSource cannot show a key.
  async follow(act) {
    const answer = await fetch("/api/follow", { headers: this.headers(), cache: "no-store" });
    if (!answer.ok) throw Object.assign(new Error((await answer.json()).error), { status: answer.status });
    const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
    let rest = "";
    for (;;) {
      const { done, value } = await reader.read();
      if (done) return;
      const parts = (rest + value).split("\n\n");
      rest = parts.pop();
      for (const part of parts) {
        const event = /^event: (.*)$/m.exec(part)?.[1];
        const data = /^data: (.*)$/m.exec(part)?.[1];
        if (event && data) act(event, JSON.parse(data));
      }
    }
  }
}

function merged(state, changes) {
  const now = { ...state };
  for (const [name, value] of Object.entries(changes)) {
    const plain = value !== null && typeof value === "object" && !Array.isArray(value);
    now[name] = plain ? { ...state[name], ...value } : value;
  }
  return now;
}

// A list of which the nodes that stay are kept, so that neither focus nor place is lost.
function keepList(list, rows, key, build, update) {
  const old = new Map([...list.children].map((node) => [node.dataset.key, node]));
  const nodes = rows.map((row) => {
    const node = old.get(key(row)) ?? Object.assign(build(row), {});
    node.dataset.key = key(row);
    update?.(node, row);
    return node;
  });
  const focused = document.activeElement;
  const held = focused && list.contains(focused) ? focused.closest("[data-key]") : null;
  nodes.forEach((node, k) => {
    if (list.children[k] !== node) list.insertBefore(node, list.children[k] ?? null);
  });
  while (list.children.length > nodes.length) list.lastChild.remove();
  if (held && !list.contains(held)) (list.querySelector("button") ?? byId("main")).focus();
}

const setText = (node, text) => {
  if (node.textContent !== text) node.textContent = text;
};

function makeLive(server, data) {
  let state = null;
  let offered = []; // routes of which somebody has to choose one
  let lastHappened = 0; // of what has happened on the simulated railway, the number of the last
  const routes = data.routes;
  const frame = byId("picture");
  frame.innerHTML = data.picture;
  const picture = makePicture(frame, data, null);

  const say = (text) => setText(byId("said"), text);
  const watches = () => data.works !== null && data.works.length === 0;
  const mayWork = (route) => data.works === null || data.works.includes(route.from);

  // ------------------------------------------------------------------- asking

  async function ask(what, body, done) {
    try {
      const { outcome, told } = await server.ask(what, body);
      const words = told.length ? `: ${told.join("; ")}` : "";
      if (outcome === "refused") say(`Refused${words}.`);
      else if (told.length && outcome !== "stopped") say(sentence(told.join("; ")));
      else say(done);
    } catch {
      say("The server does not answer. Nothing was asked.");
    }
  }

  let choosing = () => {};
  const ends = makeEnds(data, say, {
    found: (there) => {
      if (there.length === 1) return askFor(there[0]);
      say(`${there.length} routes lead there: choose one in the list.`);
      offered = there;
      return show();
    },
    changed: () => {
      choosing(ends.told());
      offered = [];
      show();
    },
  });

  const askFor = (route) => {
    ends.drop();
    offered = [];
    byId("find").value = "";
    ask("request", { route: route.name }, `${route.name} was asked for.`);
    show();
  };

  const stopAll = () => ask("stop", {}, "All is stopped.");

  // ------------------------------------------------------------- finding a route

  function matching() {
    if (offered.length) return offered;
    const words = byId("find").value.trim().toLowerCase().split(/\s+/).filter(Boolean);
    const there = routes.filter((route) => ends.start === null || route.from === ends.start);
    if (!words.length) return ends.start === null ? [] : there;
    return there.filter(({ name }) => words.every((word) => name.toLowerCase().includes(word))).slice(0, 40);
  }

  function showFound() {
    const rows = matching();
    keepList(byId("found"), rows, (route) => route.name,
      (route) => make("li", null, make("button", { type: "button", onclick: () => askFor(route) }, route.name)),
      (node, route) => {
        const button = node.firstChild;
        const able = mayWork(route) && state.routes[route.name] === "idle" && state.running;
        button.setAttribute("aria-disabled", String(!able));
        const looks = data.looked_at[route.name] ?? [];
        button.title = looks.length ? `look first that nothing stands in ${looks.join(", ")}: no report tells` : "";
      });
  }

  // ------------------------------------------------------------------ showing

  function showPicture() {
    const lies = new Map();
    const moving = new Set();
    for (const [name, drive] of Object.entries(state.drives)) {
      if (drive.goes_to !== null) moving.add(name);
      // Where nobody knows how points lie, none of their ways is marked.
      if (drive.goes_to !== null || drive.lies !== null) lies.set(name, drive.goes_to === null ? drive.lies : null);
    }
    picture.paint((marks) => {
      for (const [name, section] of Object.entries(state.sections)) {
        if (section.said === "occupied") marks.section(name, "reported");
        if (section.held !== null) {
          marks.section(name, "held");
          picture.heldWays(marks, name, section.held);
        }
      }
      for (const [name, signal] of Object.entries(state.signals)) {
        if (signal.off_for !== null) marks.off(name, signal.shows);
      }
      marks.positions(lies, "lies", "away");
      marks.drives(moving, "moving");
      ends.mark(marks);
      for (const train of state.trains ?? []) for (const way of train.ways) {
        marks.way(way, "train");
        if (train.accident !== null) marks.way(way, "meets");
      }
    }, {
      sections: Object.entries(state.sections).map(([name, section]) => (
        { name, said: section.said === "occupied", late: false, failing: false })),
      signals: [],
    });
  }

  function showStopped() {
    byId("stopped").hidden = state.running;
    const because = data.only_watched
      ? `Not watching: ${state.because}.`
      : `Stopped: ${state.because}. All signals are at stop and nothing is thrown.`;
    setText(byId("because"), state.because ? because : "");
    byId("left").hidden = !state.left.length;
    keepList(byId("left"), state.left, (text) => text, (text) => make("li", null, text));
    const missing = state.missing;
    byId("missing").hidden = !missing.length;
    const named = missing.length > 12 ? `${missing.slice(0, 12).join(", ")} and ${missing.length - 12} more` : missing.join(", ");
    setText(byId("missing"), `Not reported yet: ${named}.`);
    byId("start").disabled = missing.length > 0 || data.works !== null;
    const down = Object.entries(state.links).filter(([, link]) => !link.up);
    byId("trouble").hidden = !down.length;
    setText(byId("trouble"), down.map(([name, link]) => `${name}: ${link.trouble}.`).join(" "));
    const status = byId("status");
    const words = data.only_watched ? ["✓ watching", "✗ not watching"] : ["✓ running", "✗ stopped"];
    setText(status, words[state.running ? 0 : 1]);
    status.className = `status ${state.running ? "good" : "bad"}`;
  }

  function showSet() {
    const set = routes.filter((route) => state.routes[route.name] !== "idle");
    byId("none-set").hidden = set.length > 0;
    const buttons = (route) => [
      ...(["set"].includes(state.routes[route.name]) ? [["Cancel", "cancel", { route: route.name }]] : []),
      ...(state.can_confirm[route.name] ?? []).map((what) => [
        what === "passed" ? `Its train has passed ${route.from}` : "Its train has arrived whole",
        "confirm", { what, route: route.name },
      ]),
    ];
    keepList(byId("set-routes"), set, (route) => route.name,
      (route) => make("li", null, make("span", { class: "what" }), make("span", { class: "row" })),
      (node, route) => {
        const [what, row] = node.children;
        setText(what, `${route.name}: ${STAGES[state.routes[route.name]]}`);
        keepList(row, mayWork(route) ? buttons(route) : [], ([label]) => label,
          ([label, asked, body]) => make("button", {
            type: "button", "aria-label": `${label}: ${route.name}`, onclick: () => ask(asked, body, label),
          }, label));
      });
    const wanted = Object.entries(state.drives).filter(([, drive]) => drive.by_hand && drive.goes_to !== null);
    byId("by-hand").hidden = !wanted.length;
    keepList(byId("by-hand-list"), wanted, ([name]) => name,
      ([name]) => make("li", null, make("span", { class: "what" }), make("button", {
        type: "button", onclick: () => ask("thrown", { drive: name }, `${name} was thrown.`),
      }, "It is thrown")),
      (node, [name, drive]) => setText(node.firstChild, `${name} to ${drive.goes_to}`));
  }

  function showSimulated() {
    if (state.trains === null || state.trains === undefined) return;
    // Beside its train a button needs not to name it, but for those who only hear of it.
    const acts = (list, node, named = false) => keepList(node, watches() ? [] : list, (act) => act.key,
      (act) => {
        const full = act.train === null ? act.text : `${act.text}: train ${act.train}`;
        return make("button", {
          type: "button", "aria-label": full, onclick: () => ask("simulated", { key: act.key }, ""),
        }, named ? full : act.text);
      });
    const of = (number, seldom) => state.may.filter((act) => act.train === number && act.seldom === seldom);
    byId("no-trains").hidden = state.trains.length > 0;
    keepList(byId("trains"), state.trains, (train) => String(train.number),
      (train) => make("li", null, make("span", { class: "what" }), make("span", { class: "row" }),
        make("details", null, make("summary", { "aria-label": `More: train ${train.number}` }, "More"),
          make("span", { class: "row" }))),
      (node, train) => {
        const [what, row, more] = node.children;
        const broken = train.accident !== null;
        node.classList.toggle("is-accident", broken);
        setText(what, train.told);
        acts(of(train.number, false), row);
        const seldom = of(train.number, true);
        more.hidden = !seldom.length || watches();
        acts(seldom, more.lastChild);
      });
    acts(of(null, false), byId("may"));
    const puts = of(null, true);
    byId("put-box").hidden = !puts.length || watches();
    acts(puts, byId("put"));
    acts(state.faults, byId("faults"), true);
    showAccident();
  }

  function showAccident() {
    const broken = state.trains.filter((train) => train.accident !== null);
    byId("accident").hidden = !broken.length;
    const told = [...new Set(broken.map((train) => train.accident))];
    // It stays in view beside the picture, however far the page is scrolled.
    setText(byId("accident-told"), broken.length
      ? `Accident: ${told.join("; ")}. Stop all, and take off the track what is concerned.` : "");
  }

  function showStanding() {
    const occupied = Object.entries(state.sections).filter(([, s]) => s.said === "occupied").map(([name]) => name);
    const moving = Object.entries(state.drives).filter(([, d]) => d.goes_to !== null)
      .map(([name, d]) => `${name} to ${d.goes_to}${d.waits ? ", waiting for its supply" : ""}`);
    const off = Object.entries(state.signals).filter(([, s]) => s.off_for !== null).map(([name, s]) => `${name} ${s.shows}`);
    const facts = [
      ["Reported occupied", occupied.join(", ") || "nothing"],
      data.only_watched ? ["Signals", "not known: it only watches"] : ["Signals off", off.join(", ") || "none"],
      ["On their way", moving.join(", ") || "no points"],
      ...Object.entries(state.links).map(([name, link]) => [name, link.up ? "is there" : "is not there"]),
    ];
    keepList(byId("standing"), facts.flatMap(([name, text]) => [["dt", name, name], ["dd", name, text]]),
      ([tag, name]) => `${tag} ${name}`, ([tag]) => make(tag), (node, [, , text]) => setText(node, text));
  }

  function addLog(entries) {
    for (const entry of entries) {
      const who = entry.who && entry.outcome === "refused" ? `${entry.who}: ` : "";
      const asked = entry.outcome === "refused" ? `${entry.kind} ${entry.of} refused: ` : "";
      const text = `${who}${asked}${entry.told.join("; ")}`;
      if (!entry.told.length) continue;
      addLine(entry.wall, entry.outcome, text);
    }
  }

  // The latest stands first; what comes from the signal box and from the railway in one order.
  function addLine(wall, kind, text) {
    const log = byId("log");
    let place = log.firstChild;
    while (place && place.firstChild.dateTime > wall) place = place.nextSibling;
    log.insertBefore(make("li", { class: `line is-${kind}` },
      make("time", { datetime: wall }, wall.slice(11, 19)), ` ${text}`), place);
    while (log.children.length > 300) log.lastChild.remove();
  }

  function addHappened(happened, all) {
    if (all && (happened.at(-1)?.number ?? 0) < lastHappened) lastHappened = 0; // it was started anew
    for (const each of happened) {
      if (each.number <= lastHappened) continue;
      lastHappened = each.number;
      const lead = { train: "", accident: "Accident: ", fault: "Fault: " }[each.kind];
      addLine(each.wall, each.kind, `${lead}${each.text}`);
    }
  }

  function show() {
    if (state === null) return;
    showStopped();
    showPicture();
    showFound();
    showSet();
    showSimulated();
    showStanding();
  }

  // ------------------------------------------------------------------- hearing

  function hear(event, told) {
    const { log, happened, ...rest } = told;
    state = event === "state" ? rest : merged(state, rest);
    document.body.toggleAttribute("data-simulated", Array.isArray(state.trains));
    byId("simulated").hidden = !Array.isArray(state.trains);
    if (log) addLog(log);
    if (happened) addHappened(happened, event === "state");
    show();
    document.body.dataset.ready = "yes";
  }

  if (!data.only_watched) choosing = picture.onChoice(ends.choose, ends.drop);
  byId("find").addEventListener("input", show);
  byId("find").addEventListener("keydown", (event) => {
    const rows = matching();
    if (event.key === "Enter" && rows.length) {
      event.preventDefault();
      const exact = rows.find((r) => r.name.toLowerCase() === byId("find").value.trim().toLowerCase());
      if (exact || rows.length === 1) askFor(exact ?? rows[0]);
      else byId("found").querySelector("button").focus();
    }
  });
  byId("start").addEventListener("click", () => ask("start", {}, "It runs."));
  byId("stop").addEventListener("click", stopAll);
  document.addEventListener("keydown", (event) => {
    if (event.key === "F8") {
      event.preventDefault();
      stopAll();
    }
  });
  byId("closer").addEventListener("click", () => picture.zoom(1.25));
  byId("wider").addEventListener("click", () => picture.zoom(0.8));
  byId("whole").addEventListener("click", () => picture.zoom(null));
  byId("name").value = server.name;
  byId("name").disabled = data.person !== "";
  if (data.person) byId("name").value = data.person;
  byId("name").addEventListener("change", () => {
    server.name = byId("name").value.trim();
    localStorage.setItem("bellcrank name", server.name);
  });
  byId("watching").hidden = !watches();
  byId("faults-box").hidden = watches();
  byId("stop").disabled = watches();
  return { hear, say, lost: () => {
    setText(byId("status"), "✗ not connected");
    byId("status").className = "status bad";
  }, addLog };
}

// The key comes behind the # of the address, which no browser sends to a server; it is kept for this
// tab alone.
function keyOfPage() {
  const [, key] = /^#key=(.+)$/.exec(location.hash) ?? [];
  if (key) {
    sessionStorage.setItem("bellcrank key", decodeURIComponent(key));
    history.replaceState(null, "", location.pathname);
  }
  return sessionStorage.getItem("bellcrank key");
}

const waitFor = (milliseconds) => new Promise((go) => { setTimeout(go, milliseconds); });

async function run(key) {
  const server = new Server(key);
  const data = await server.get("/api/layout");
  byId("enter").hidden = true;
  byId("all").hidden = false;
  setText(byId("title"), data.title);
  byId("find").placeholder = data.routes[0]?.name ?? "";
  byId("put-box").open = !data.edges.length; // there no train comes by itself
  document.title = `${data.title} – ${data.only_watched ? "watched" : "running"}`;
  if (data.only_watched) document.body.dataset.watched = "";
  setText(byId("sub"), `${data.routes.length} routes; the layout is ${data.status}`);
  const live = makeLive(server, data);
  live.addLog((await server.get("/api/log")).entries);
  for (let pause = 200; ; pause = Math.min(3000, pause * 2)) {
    const begun = Date.now();
    try {
      await server.follow(live.hear);
    } catch (error) {
      if (error.status === 401) return askForKey(error.message);
    }
    live.lost();
    live.say("The connection is lost; it is tried again.");
    if (Date.now() - begun > 5000) pause = 200;
    await waitFor(pause);
  }
}

function askForKey(wrong = "") {
  byId("enter").hidden = false;
  byId("all").hidden = true;
  setText(byId("enter-wrong"), wrong);
}

function begin(key) {
  run(key).catch((error) => {
    if (error.status === 401) askForKey(error.message);
    else {
      byId("all").hidden = false;
      setText(byId("said"), `This page cannot be shown: ${error.message}`);
      throw error;
    }
  });
}

makeTheme();
byId("enter").addEventListener("submit", (event) => {
  event.preventDefault();
  sessionStorage.setItem("bellcrank key", byId("key").value);
  begin(byId("key").value);
});
const known = keyOfPage();
if (known) begin(known);
else askForKey();
