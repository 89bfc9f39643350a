// The panel of routes: what one needs, and why two cannot stand together.

function makeRoutes(data, machine, reasons, picture, say, tell) {
  const one = document.getElementById("route");
  const two = document.getElementById("second");
  const swap = document.getElementById("swap");
  const told = document.getElementById("route-told");
  const conflict = document.getElementById("conflict-told");
  const { routes } = data;

  // For each route the routes it conflicts with, and the number of the pair.
  const against = routes.map(() => new Map());
  const pairs = summed(data.conflicts.pairs);
  for (let k = 0; k < pairs.count; k += 1) {
    const [first, second] = pairs.row(k);
    against[first].set(second, k);
    against[second].set(first, k);
  }
  const allReasons = summed(data.conflicts.reasons);
  function reasonsOf(first, second) {
    const pair = against[first].get(second);
    if (pair === undefined) return [];
    return [...pairs.row(pair).subarray(2)].map((number) => {
      const [kind, said, ...where] = allReasons.row(number);
      return {
        kind: data.kinds[kind],
        get where() { return where.map(machine.text); },
        get sentence() { return machine.text(said); },
      };
    });
  }

  const number = (select) => (select.value === "" ? null : Number(select.value));

  const chips = (numbers, act, chosen = null) => make("ul", { class: "chips" }, numbers.map((k) => make("li", null,
    make("button", { type: "button", "aria-pressed": k === chosen ? "true" : null, onclick: () => act(k) }, routes[k].name))));

  // From the same signal to the same end.
  const sameEnds = (a, b) => a.from === b.from && a.ends === b.ends && a.to === b.to;
  const otherWays = (index) => routes.map((_, k) => k)
    .filter((k) => k !== index && sameEnds(routes[k], routes[index]));

  function describe(route, index, second) {
    const row = (head, ...what) => [make("dt", null, head), make("dd", null, ...what)];
    const ends = { signal: "signal", edge: "the edge", stop: "the stop in" }[route.ends];
    const others = [...against[index].keys()];
    return make("dl", { class: "facts" },
      row("From – to", `signal ${route.from} to ${ends} ${route.to}`),
      row("Aspect", `${route.from} shows ${route.aspect}${route.calling ? ", to join a train that stands there" : ""}`),
      row("Sections clear", route.clear.join(", ") || "none"),
      row("Drives", pairText(route.positions) || "no drive"),
      row("Overlap", route.overlap === null ? "none"
        : [route.overlap.join(", "), pairText(route.overlap_positions)].filter(Boolean).join(" with ")),
      row("Flank", pairText(route.flank) || "none"),
      ...(otherWays(index).length ? [row("Other ways there", chips(otherWays(index), (k) => choose(k, null)))] : []),
      row("Conflicting routes", others.length
        ? chips(others, (k) => choose(index, k), second)
        : "stands together with any other route"),
    );
  }

  function update() {
    const first = number(one);
    const second = number(two);
    swap.disabled = first === null || second === null;
    tell();
    if (first === null) {
      fill(told, make("p", null, "Choose a route to see its way, and what it needs: here, or in the picture " +
        "the signal where it begins, and then where it ends."));
      conflict.replaceChildren();
      picture.showRoute(null);
      say("");
      return;
    }
    const route = routes[first];
    told.replaceChildren(make("h3", null, route.name), describe(route, first, second));
    if (second === null || second === first) {
      conflict.replaceChildren(make("p", null, "Choose a second route to see whether both can stand at once."));
      picture.showRoute(route);
      say(`${route.name}: sections ${route.sections.join(", ")}; ${pairText(route.positions) || "no drive"}`);
      return;
    }
    const other = routes[second];
    const found = reasonsOf(first, second);
    const both = `${route.name} and ${other.name}`;
    fill(conflict,
      make("h3", null, both),
      found.length
        ? make("p", null, make("strong", null, "Not together:"), " ", "they conflict.")
        : make("p", null, make("strong", null, "Together:"), " ", "they do not conflict."),
      found.length ? make("ul", { class: "reasons" },
        found.map((r) => make("li", null, sentence(r.sentence)))) : null,
    );
    picture.showTwo(route, other, [...new Set(found.flatMap((r) => r.where))]);
    say(found.length ? `${both} conflict: ${found.map((r) => r.sentence).join("; ")}`
      : `${both} can stand together`);
  }

  function choose(first, second) {
    one.value = String(first);
    two.value = second === null ? "" : String(second);
    update();
  }

  // A route is being chosen in the picture; so far it is known where it begins.
  function begin(start) {
    one.value = "";
    two.value = "";
    const from = routes.map((_, k) => k).filter((k) => routes[k].from === start);
    swap.disabled = true;
    fill(told, make("h3", null, `From ${start}`), chips(from, (k) => choose(k, null)));
    conflict.replaceChildren();
    picture.showRoute(null);
  }

  fillRoutes(one, routes, "choose a route");
  fillRoutes(two, routes, "no second route");
  one.addEventListener("change", update);
  two.addEventListener("change", update);
  swap.addEventListener("click", () => {
    const first = number(one);
    const second = number(two);
    if (second !== null) choose(second, first);
  });

  // Routes by their names; what is wrong with these, if anything is.
  function open(first, second) {
    const named = (name) => routes.findIndex((route) => route.name === name);
    const missing = [first, second].find((name) => name !== null && named(name) < 0);
    if (missing !== undefined) return `There is no route ${missing} here`;
    choose(named(first), second === null ? null : named(second));
    return null;
  }

  return {
    update, choose, begin, open, against, reasonsOf,
    get shown() { return [number(one), number(two)].filter((k) => k !== null).map((k) => routes[k].name); },
  };
}
