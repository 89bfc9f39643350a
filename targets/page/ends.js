// A route by its ends: where it begins, then where it ends.

// found(routes): what leads from the one to the other; there may be several ways.
// changed(): another start was chosen, or none.
function makeEnds(data, say, { found, changed }) {
  const sectionOf = new Map(data.sections.flatMap(([name, members]) => members.map((e) => [e, name])));
  const begin = new Set(data.routes.map((route) => route.from));
  let start = null;

  // The signals at which trains stand there before a route.
  function startsAt({ kind, name }) {
    if (kind === "signal") return begin.has(name) ? [name] : [];
    const here = kind === "element" ? sectionOf.get(name) : name;
    const stands = ([what, where]) => what === kind && (what === "element" ? sectionOf.get(where) : where) === here;
    return Object.entries(data.before).filter(([signal, place]) => begin.has(signal) && stands(place))
      .map(([signal]) => signal);
  }

  function endsAt(route, { kind, name }) {
    if (kind === "element") return route.sections.at(-1) === sectionOf.get(name);
    return route.ends === kind && route.to === name;
  }

  function take(signal) {
    start = signal;
    changed();
    if (start !== null) say(`From ${start}: choose where the route ends.`);
  }

  function choose(target) {
    if (start !== null) {
      const there = data.routes.filter((route) => route.from === start && endsAt(route, target));
      if (there.length) {
        take(null);
        found(there);
        return;
      }
    }
    const from = startsAt(target);
    if (from.length === 1 && from[0] !== start) take(from[0]);
    else if (from.length === 1) {
      take(null);
      say("Choose where a route begins.");
    } else if (from.length > 1) say(`Routes begin there at ${from.join(" and at ")}: choose one of these signals.`);
    else if (start !== null) say(`No route leads from ${start} to ${target.name}, and none begins there.`);
    else say(`No route begins at ${target.name}.`);
  }

  // Where routes from the start end, in the picture.
  function mark(marks) {
    if (start === null) return;
    marks.signal(start, "chosen");
    for (const route of data.routes) {
      if (route.from !== start) continue;
      marks.way(route.ways.at(-1), "ends");
      if (route.ends === "signal") marks.signal(route.to, "asked");
    }
  }

  return { choose, mark, drop: () => start !== null && take(null), get start() { return start; } };
}
