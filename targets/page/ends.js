// A route by its ends: where it begins, then where it ends.

// found(routes): what leads from the one to the other; there may be several ways.
// changed(): another start was chosen, or none.
function makeEnds(data, say, { found, changed }) {
  const sections = new Map(data.sections);
  const sectionOf = new Map(data.sections.flatMap(([name, members]) => members.map((e) => [e, name])));
  const begin = new Set(data.routes.map((route) => route.from));
  const MOST = 8; // ends that are named
  let start = null;
  const from = () => data.routes.filter((route) => route.from === start);
  const reached = () => [...new Set(from().map((route) => route.to))];

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
    if (start === null) return;
    const there = reached();
    const [named, last] = there.length > MOST ? [there.slice(0, MOST), `${there.length - MOST} more`]
      : [there.slice(0, -1), there.at(-1)];
    say(`From ${start}: choose where the route ends: ${[named.join(", "), last].filter(Boolean).join(" or ")}.`);
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
    for (const route of from()) {
      marks.way(route.ways.at(-1), "ends");
      if (route.ends === "signal") marks.signal(route.to, "asked");
    }
  }

  // The same for whoever hears it: the start, and all by which an end can be chosen.
  const told = () => ({
    start,
    ends: start === null ? [] : from().flatMap((route) => [
      ...(sections.get(route.sections.at(-1)) ?? []).map((name) => ({ kind: "element", name })),
      { kind: route.ends, name: route.to },
    ]),
  });

  return { choose, mark, told, drop: () => start !== null && take(null), get start() { return start; } };
}
