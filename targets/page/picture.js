// The picture: marks on elements, ways and signals. What is shown is always said in words
// beside it; the picture only shows where.

function makePicture(frame, data, machine) {
  const svg = frame.querySelector("svg");
  const elements = new Map();
  const ways = new Map();
  const firstWays = new Map(); // of each element, before any is drawn above the others
  const signals = new Map();
  const lamps = new Map();
  const drives = [];
  const conditions = [];
  const ABOVE = "path.way:is(.set, .second, .train, .meets)"; // over the other ways of its fitting
  let worn = new Map();
  let shown = new Map();

  const keyOf = ([element, ...legs]) => [element, ...legs.sort()].join(" ");
  const add = (map, key, node) => (map.get(key) ?? map.set(key, []).get(key)).push(node);
  const shownAs = (selector) => [...svg?.querySelectorAll(selector) ?? []];
  for (const group of [...shownAs("[data-element]:not(.goes-on)"), ...shownAs("[data-element].goes-on")]) {
    const name = group.dataset.element;
    add(elements, name, group);
    if (!firstWays.has(name)) firstWays.set(name, group.querySelector("path.way"));
    for (const way of group.querySelectorAll("path.way")) {
      add(ways, keyOf([name, way.dataset.from, way.dataset.to]), way);
    }
  }
  for (const [key, wanted] of data.conditions) {
    for (const way of ways.get(keyOf(key)) ?? []) conditions.push([way, wanted]);
  }
  for (const group of svg?.querySelectorAll("[data-signal]") ?? []) {
    const name = group.dataset.signal;
    add(signals, name, group);
    for (const aspect of data.aspects[name]) {
      const lit = group.querySelectorAll(`.lamp[data-lights~="${CSS.escape(aspect)}"]`);
      lamps.set(`${name} ${aspect}`, [...(lamps.get(`${name} ${aspect}`) ?? []), ...lit]);
    }
  }
  for (const mark of svg?.querySelectorAll("[data-drive]") ?? []) drives.push(mark);

  // What is to be marked, collected before anything is changed.
  class Marks {
    constructor() {
      this.of = new Map();
      this.shown = new Map(); // what signals show that are off
      this.rings = new Set(); // the elements at which something meets
      this.taken = new Set(); // those that a driver takes to be at stop all the same
    }
    on(nodes, mark) {
      for (const node of nodes ?? []) {
        if (!this.of.has(node)) this.of.set(node, new Set());
        this.of.get(node).add(mark);
      }
    }
    element(name, mark) { this.on(elements.get(name), mark); }
    way(way, mark) { this.on(ways.get(keyOf(way)), mark); }
    signal(name, mark) { this.on(signals.get(name), mark); }
    off(name, aspect) {
      if (this.shown.has(name)) return; // it shows one aspect, that of the first route
      this.shown.set(name, aspect);
      this.signal(name, "off");
      this.on(lamps.get(`${name} ${aspect}`), "lit");
    }
    section(name, mark) {
      for (const element of sectionElements.get(name) ?? []) this.element(element, mark);
    }
    // Ways of points by where drives lie.
    positions(lies, mark, away, only) {
      for (const [way, wanted] of conditions) {
        if (only && !wanted.some(([drive]) => only.has(drive))) continue;
        const known = wanted.filter(([drive]) => lies.has(drive));
        if (!known.length) continue;
        const right = wanted.every(([drive, position]) => lies.get(drive) === position);
        if (right) this.on([way], mark);
        else if (away) this.on([way], away);
      }
    }
    drives(names, mark) {
      this.on(drives.filter((node) => names.has(node.dataset.drive)), mark);
    }
  }
  const sectionElements = new Map(data.sections);

  function entitle(signal, shows) {
    for (const group of signals.get(signal) ?? []) group.querySelector("title").textContent = `signal ${signal}${shows}`;
  }
  for (const name of signals.keys()) entitle(name, "");

  // The key has what is to be seen, in its own ink.
  const key = data.key.map(([, said, sample, at]) => {
    const node = make("span", { class: "key", hidden: true });
    node.innerHTML = sample;
    node.append(said);
    return { at, node };
  });
  document.getElementById("keys").replaceChildren(...key.map(({ node }) => node));

  // What shows a place of the plan: the row that has it, or all.
  const rows = [...svg?.querySelectorAll("svg.row") ?? []];
  const homeOf = ({ x, y }) => rows.find(({ viewBox: { baseVal: box } }) =>
    x >= box.x && x < box.x + box.width && y >= box.y && y < box.y + box.height) ?? svg;
  const notes = makeNotes(svg, elements, signals, sectionElements, homeOf);
  let rings = [];

  const isPiece = (name) => elements.get(name)?.[0].classList.contains("piece");

  // Where an element's lines cross, or the middle of its first way.
  function middleOf(name) {
    const way = firstWays.get(name);
    const crossing = elements.get(name)[0].dataset.middle;
    if (crossing === undefined) return way.getPointAtLength(way.getTotalLength() / 2);
    const [x, y] = crossing.split(" ").map(Number);
    return { x, y };
  }

  // Two rings about the middle of an element.
  function ringed(name) {
    const { x, y } = middleOf(name);
    return [17, 13].map((radius) => {
      const ring = document.createElementNS(svg.namespaceURI, "circle");
      const attributes = { class: "ring", cx: x, cy: y, r: radius, "aria-hidden": "true" };
      for (const [key, value] of Object.entries(attributes)) ring.setAttribute(key, value);
      homeOf({ x, y }).append(ring);
      return ring;
    });
  }

  let besides = () => {};

  function show(marks) {
    besides(marks);
    for (const [node, old] of worn) {
      const now = marks.of.get(node);
      for (const mark of old) if (!now?.has(mark)) node.classList.remove(mark);
    }
    for (const [node, now] of marks.of) {
      const old = worn.get(node);
      for (const mark of now) if (!old?.has(mark)) node.classList.add(mark);
      if (node.matches(ABOVE)) [...node.parentNode.querySelectorAll("path.way")].pop().after(node);
    }
    for (const name of new Set([...shown.keys(), ...marks.shown.keys()])) {
      entitle(name, marks.shown.has(name) ? ` shows ${marks.shown.get(name)}${marks.taken.has(name)
        ? ", but the next driver takes it to be at stop" : ""}` : "");
    }
    worn = marks.of;
    shown = marks.shown;
    for (const ring of rings) ring.remove();
    rings = svg ? [...marks.rings].flatMap(ringed) : [];
    for (const { at, node } of key) node.hidden = !svg?.querySelector(at);
  }

  function markRoute(marks, route, mark) {
    for (const way of route.ways) marks.way(way, mark);
    for (const section of route.sections) marks.section(section, "held");
    marks.off(route.from, route.aspect);
    marks.signal(route.from, "asked");
    if (route.ends === "signal") marks.signal(route.to, "asked");
    for (const section of route.overlap ?? []) marks.section(section, "overlap");
    const flank = new Map([...route.flank, ...route.overlap_positions]);
    if (flank.size) {
      marks.positions(flank, "lies", null, flank);
      for (const [drive] of route.flank) {
        for (const element of data.drives[drive]) marks.element(element, "flank");
      }
      marks.drives(flank, "lies");
    }
  }

  function showRoute(route) {
    const marks = new Marks();
    notes.show(null);
    if (route) markRoute(marks, route, "set");
    show(marks);
    if (route) seek(route.ways.map(([element]) => element));
  }

  // Two routes, and the ways by which they meet: those over elements that the reasons name
  // and that both lead over; if none, those of either.
  function showTwo(one, other, named) {
    const marks = new Marks();
    notes.show(null);
    markRoute(marks, one, "set");
    markRoute(marks, other, "second");
    const meeting = new Set(named.flatMap((name) => [
      ...(sectionElements.get(name) ?? [name]),
      ...(data.drives[name] ?? []),
    ]));
    const over = [one, other].map((route) => new Map(route.ways.map((way) => [way[0], way])));
    const both = [...meeting].filter((name) => over.every((ways) => ways.has(name)));
    for (const name of both.length ? both : meeting) {
      marks.rings.add(name);
      for (const ways of over) if (ways.has(name)) marks.way(ways.get(name), "meets");
      if (!over.some((ways) => ways.has(name))) marks.element(name, "meets");
    }
    show(marks);
    seek([...(both.length ? both : meeting), ...over[0].keys()]);
  }

  // told: what a controller knows beside what is so, or null. named: trains, by the numbers of
  // the variables of the track where their fronts are.
  function showState(state, changed = [], told = null, named = new Map()) {
    const marks = new Marks();
    const lies = new Map();
    const moving = new Set();
    const places = [];
    const trains = [];
    let track = 0;
    for (const variable of (told ? machine.together : machine).variables) {
      const value = variable.values[state[variable.number]];
      if (variable.kind === "track") {
        const [members, byValue] = data.track[track++];
        if (changed.includes(variable.number)) places.push(members[0]);
        if (value === data.words.clear) continue;
        if (named.has(variable.number)) trains.push({ name: named.get(variable.number).name, members });
        const ways = byValue[state[variable.number]];
        for (const way of ways) marks.way(way, "train");
        if (!ways.length) for (const element of members) marks.element(element, "occupied");
        if (value === data.words.meeting || value === data.words.derailed) {
          for (const element of members) marks.element(element, "meets");
          marks.rings.add(members.filter((element) => !isPiece(element)).at(-1) ?? members.at(-1));
        }
      } else if (variable.kind === "report" && changed.includes(variable.number)) {
        places.push(...sectionElements.get(variable.of).slice(0, 1));
      } else if (variable.kind === "held" && value !== data.words.free) {
        marks.section(variable.of, "held");
        heldWays(marks, variable.of, machine.text(value));
      } else if (variable.kind === "signal" && !told) {
        const off = value !== data.words["at stop"] && value !== data.words["put back"];
        if (off) marks.off(variable.of, routeOf.get(machine.text(value)).aspect);
      } else if (variable.kind === "drive") {
        if (variable.initial.includes(state[variable.number])) {
          lies.set(variable.of, machine.text(value));
        } else {
          moving.add(variable.of);
          lies.set(variable.of, null);
        }
      }
    }
    marks.positions(lies, "lies", "away");
    marks.drives(moving, "moving");
    for (const { name, route, taken } of told?.signals ?? []) {
      if (route !== null) marks.off(name, routeOf.get(route).aspect);
      if (taken) marks.taken.add(name);
    }
    for (const { name, said } of told?.sections ?? []) if (said) marks.section(name, "reported");
    show(marks);
    notes.show(told, trains);
    if (places.length) seek(places);
  }

  const routeOf = new Map(data.routes.map((route) => [route.name, route]));
  const inSection = new Map();
  for (const [name, members] of data.sections) for (const e of members) inSection.set(e, name);

  function heldWays(marks, section, name) {
    for (const way of routeOf.get(name)?.ways ?? []) {
      if (inSection.get(way[0]) === section) marks.way(way, "set");
    }
  }

  const view = makeView(frame, svg);
  const nodeOf = (name) => (elements.get(name) ?? elements.get(sectionElements.get(name)?.[0]) ?? [])[0];
  const seek = (names) => view.seek(nodeOf(names[0]));

  // Gives what shows a route that is being chosen: its start and its possible ends come into view.
  function onChoice(act, drop) {
    const tell = makeTargets(svg, act, drop);
    return (told) => view.gather(tell(told));
  }

  // Whatever somebody marks. told: what is reported, for the notes.
  function paint(fill, told) {
    const marks = new Marks();
    fill(marks);
    show(marks);
    notes.show(told);
  }

  // Somebody looks for something: it comes into view and is marked until all is shown anew.
  function point(kind, name) {
    const found = {
      signal: signals.get(name), section: (sectionElements.get(name) ?? []).flatMap((e) => elements.get(e) ?? []),
      drive: (data.drives[name] ?? []).flatMap((e) => elements.get(e) ?? []),
    }[kind] ?? [];
    paint((marks) => marks.on(found, "sought"), null);
    view.seek(found[0]);
  }

  return {
    showRoute, showTwo, showState, paint, heldWays, point, onChoice, zoom: view.zoom,
    also: (fill) => { besides = fill; },
    end: view.end,
  };
}
