// How things stand, in words: trains, routes, signals and drives; with a controller, of each
// section what is so and what is reported.

function makeStanding(data, machine, reasons, does) {
  const holder = (id) => document.getElementById(id);
  const routeNamed = new Map(data.routes.map((route) => [route.name, route]));

  // Which aspect, where it is not plainly the other one.
  function shows(route) {
    const aspect = routeNamed.get(route)?.aspect;
    return aspect && aspect !== "proceed" ? `, showing ${aspect}` : "";
  }

  function facts(run, { state, trains }, told) {
    const found = { track: [], route: [], signal: [], moving: [], lies: [], held: [] };
    const shown = { track: "track", edge: "track", [run.route]: "route", held: "held" };
    shown[told ? "lamp" : "signal"] = "signal";
    const taken = new Set((told?.signals ?? []).filter((signal) => signal.taken).map(({ name }) => name));
    for (const v of run.machine.variables) {
      const value = machine.text(v.values[state[v.number]]);
      if (v.kind === "drive") {
        const still = v.initial.includes(state[v.number]);
        found[still ? "lies" : "moving"].push(still ? `${v.of} ${value}` : reasons.plainly(v, state));
      } else if (shown[v.kind] && state[v.number] !== v.initial[0]) {
        const signal = shown[v.kind] === "signal";
        const name = trains.named.get(v.number)?.name;
        found[shown[v.kind]].push((name ? `${name}: ` : "") + reasons.plainly(v, state) + (signal ? shows(value) : "") +
          (signal && taken.has(v.of) ? " (the next driver takes it to be at stop: a train has just passed)" : ""));
      }
    }
    return found;
  }

  // Drives of which the controller does not know where they lie, or not yet.
  function unsure({ state }, told) {
    const isUnknown = (v) => v.values[state[v.number]] === data.words["not known"];
    const unknown = told.unsure.filter(isUnknown).map(({ of }) => of);
    return [
      ...(unknown.length ? [`where ${reasons.listed(unknown)} lie${unknown.length > 1 ? "" : "s"} is not known`] : []),
      ...told.unsure.filter((v) => !isUnknown(v)).map((v) => reasons.plainly(v, state)),
    ];
  }

  function showSections(told) {
    holder("sections-told").hidden = !told;
    if (!told) return;
    const rows = told.sections.filter(({ so, said }) => so || said).map(({ name, so, said, late, failing }) => [
      name, so ? "occupied" : "clear",
      said === null ? "no detector"
        : late ? make("strong", null, so ? "not yet" : "occupied still")
          : failing ? [make("strong", null, `falsely ${said ? "occupied" : "clear"}`), " ", make("button", {
            type: "button", "data-event": `mend ${name}`, onclick: () => does.mend(name),
          }, `Mend ${name}`)] : said ? "occupied" : "clear",
    ]);
    holder("sections-told").replaceChildren(rows.length
      ? tableOf("Sections: what is so and what is reported", ["Section", "It is", "It is reported"], rows)
      : make("p", null, "Every section is clear, and reported so."));
  }

  function showFailing(run, moment) {
    const offered = run.falseReports?.(moment) ?? [];
    const select = holder("fail-section");
    const kept = select.value;
    select.replaceChildren(...offered.map(({ name, text }) =>
      make("option", { value: name }, text)));
    select.value = offered.some(({ name }) => name === kept) ? kept : offered[0]?.name ?? "";
    holder("failing").hidden = !offered.length;
  }

  function show(run, moment, told) {
    const found = facts(run, moment, told);
    const row = (head, list, none) =>
      [make("dt", null, head), make("dd", null, list.length ? list.join("; ") : none)];
    holder("standing").replaceChildren(
      ...row("Trains", found.track, "none"), ...row("Routes", found.route, "none is set"),
      ...row("Signals", found.signal, "all at stop"), ...row("Drives moving", found.moving, "none"),
      ...row("Drives lie", found.lies, "no drive"),
      ...(told?.unsure.length ? row("For the controller", unsure(moment, told), "") : []), ...row("Held", found.held, "no section"));
    const set = data.routes.map((_, k) => k).filter((k) => !does.isIdle(k));
    holder("set-routes").replaceChildren(...set.map((k) => make("li", null,
      `${reasons.plainly(does.stageOf(k), moment.state)} `,
      make("button", { type: "button", "data-event": `cancel ${k}`, "aria-label": `Cancel ${data.routes[k].name}`,
        onclick: () => does.cancel(k) }, "Cancel"))));
    holder("none-set").hidden = set.length > 0;
    showSections(told);
    showFailing(run, moment);
  }

  holder("fail").addEventListener("click", () => does.fail(holder("fail-section").value));
  return { show };
}
