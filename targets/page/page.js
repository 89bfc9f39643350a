// Brings it all together: reads the data, opens panels, the theme.

async function dataOfPage() {
  const text = document.getElementById("data").textContent.trim();
  const letters = atob(text);
  const bytes = new Uint8Array(letters.length);
  for (let k = 0; k < letters.length; k += 1) bytes[k] = letters.charCodeAt(k);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate-raw"));
  return JSON.parse(await new Response(stream).text());
}

function makeTabs(opened) {
  const tabs = [...document.querySelectorAll('[role="tab"]')];
  const panelOf = (tab) => document.getElementById(tab.getAttribute("aria-controls"));

  function open(tab, focus = false) {
    for (const each of tabs) {
      const chosen = each === tab;
      each.setAttribute("aria-selected", String(chosen));
      each.tabIndex = chosen ? 0 : -1;
      panelOf(each).hidden = !chosen;
    }
    if (focus) tab.focus();
    opened(panelOf(tab).id);
  }

  tabs.forEach((tab, k) => {
    tab.addEventListener("click", () => open(tab));
    tab.addEventListener("keydown", (event) => {
      const to = { ArrowRight: k + 1, ArrowLeft: k - 1, Home: 0, End: tabs.length - 1 }[event.key];
      if (to === undefined) return;
      event.preventDefault();
      open(tabs[(to + tabs.length) % tabs.length], true);
    });
  });
  return (panel) => open(tabs.find((tab) => tab.getAttribute("aria-controls") === panel));
}

// What the symbols of the plan are: for whoever opens it.
function showSymbols(symbols) {
  document.getElementById("symbols").hidden = !symbols.length;
  document.getElementById("symbols-shown").replaceChildren(...symbols.map(([said, sample]) => {
    const row = make("li", null);
    row.innerHTML = `<svg class="plan" viewBox="-2 -12 44 24" aria-hidden="true">${sample}</svg>`;
    row.append(said);
    return row;
  }));
}

async function start() {
  makeTheme();
  const data = await dataOfPage();
  const machine = unpacked(data);
  const reasons = makeReasons(data, machine.together ?? machine);
  const frame = document.getElementById("picture");
  let current = "";
  let shows = {};
  const picture = makePictures(frame, data, machine, () => shows[current]?.());
  showSymbols(data.symbols);
  const said = document.getElementById("said");
  const say = (text) => {
    said.textContent = text;
    // What has to be scrolled has to be reached by keyboard.
    afterwards(() => {
      if (said.scrollHeight > said.clientHeight) said.tabIndex = 0;
      else said.removeAttribute("tabindex");
    });
  };

  let tell = () => {}; // what is shown, to the address
  const routes = makeRoutes(data, machine, reasons, picture, say, () => tell());
  const tables = makeTables(data, machine, routes);
  const rehearsal = makeRehearsal(data, machine, reasons, routes, picture, say);
  let openPanel = () => {};
  // A story goes on without waiting for a report: one that has not come does not come in it.
  const toldOf = (state) => {
    const told = rehearsal.runs.controlled.told({ state, failing: new Set() });
    return { ...told, sections: told.sections.map((section) => ({ ...section, late: false, lost: section.late })) };
  };
  const stories = makeStories(data, machine, reasons, picture, say, async (start, events) => {
    if (!await rehearsal.takeOver(start, events)) return;
    openPanel("rehearsal");
    say("The rehearsal goes on from here.");
    document.getElementById("happen-head").focus();
  }, () => tell(), toldOf);
  shows = {
    routes: routes.update,
    rehearsal: rehearsal.show,
    stories: stories.show,
    tables: () => {
      tables.show();
      routes.update();
    },
    verdict: routes.update,
  };
  openPanel = makeTabs((panel) => {
    current = panel;
    document.body.dataset.panel = panel;
    say("");
    stories.halt();
    shows[panel]();
    tell();
  });
  openPanel("routes");
  tables.onOpen((first, second) => {
    openPanel("routes");
    routes.choose(first, second);
    document.getElementById("conflict-told").focus();
  });
  const numbers = (found) => found.map((route) => data.routes.indexOf(route));
  const ends = makeEnds(data, say, {
    found: (there) => (current === "rehearsal" ? rehearsal.pick(numbers(there)) : routes.choose(numbers(there)[0], null)),
    changed: () => {
      choosing(ends.told());
      if (current === "rehearsal") rehearsal.show();
      else if (ends.start === null) routes.update();
      else routes.begin(ends.start);
    },
  });
  picture.also(ends.mark);
  const choosing = picture.onChoice((target) => {
    if (!["routes", "rehearsal"].includes(current)) openPanel("routes");
    ends.choose(target);
  }, ends.drop);
  makeFinding(data, {
    route: (number) => {
      if (current !== "rehearsal") openPanel("routes");
      if (current === "rehearsal") rehearsal.choose(number);
      else routes.choose(number, null);
    },
    place: (kind, name) => {
      picture.point(kind, name);
      say(`Here is ${kind} ${name}.`);
    },
  });
  document.getElementById("closer").addEventListener("click", () => picture.zoom(1.25));
  document.getElementById("wider").addEventListener("click", () => picture.zoom(0.8));
  document.getElementById("whole").addEventListener("click", () => picture.zoom(null));
  const address = makeAddress(Object.keys(shows), () => {
    const [route, other] = routes.shown;
    if (current === "routes" && route) return other ? { route, with: other } : { route };
    return (current === "stories" && stories.shown) || { panel: current };
  }, {
    panel: (name) => openPanel(name),
    routes: (first, second) => (openPanel("routes"), routes.open(first, second)),
    story: (number, step) => (openPanel("stories"), stories.open(number, step) ? null : `There is no story ${number} here`),
  }, say);
  tell = address.tell;
  address.go();
  // For whoever wants to try the machine from the browser's console.
  window.bellcrank = {
    data, machine, reasons, rehearsal, Controller, atStart, isPossible, stateAfter, allPossible,
  };
  document.body.dataset.ready = "yes";
}

start().catch((error) => {
  document.getElementById("said").textContent = `This page cannot be shown by this browser: ${error.message}`;
  throw error;
});
