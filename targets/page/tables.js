// The tables: control table, conflict matrix, command lists. On paper, where rows of names would be long
// and nothing can be pointed at, other routes stand as numbers, and a list tells what each is.

function makeTables(data, machine, routesPanel) {
  const { routes } = data;
  const holder = (id) => document.getElementById(id);
  const BLOCK = 30; // routes in a table at a time
  let made = false;
  let onPaper = false;

  function controlTable(from) {
    const shown = routes.slice(from, from + BLOCK);
    const rows = shown.map((route, k) => [
      numbered(from + k), route.aspect, pairText(route.positions) || "–", route.clear.join(", ") || "–",
      route.overlap === null ? "–" : [route.overlap.join(", "), pairText(route.overlap_positions)].filter(Boolean).join("; "),
      pairText(route.flank) || "–",
      others([...routesPanel.against[from + k].keys()]) || "–",
    ]);
    holder("control-table").replaceChildren(tableOf("Control table",
      ["route", "aspect", "drives", "sections clear", "overlap", "flank", "conflicting routes"], rows));
  }

  const numbered = (n) => (onPaper ? `${n + 1}. ${routes[n].name}` : routes[n].name);

  // Routes by name, or by number, those that follow one another from the first to the last.
  function others(found) {
    if (!onPaper) return found.map((n) => routes[n].name).join(", ");
    const runs = [];
    for (const n of found.sort((a, b) => a - b)) {
      if (runs.length && runs.at(-1)[1] === n - 1) runs.at(-1)[1] = n;
      else runs.push([n, n]);
    }
    return runs.map(([a, b]) => (a === b ? a + 1 : `${a + 1}${b === a + 1 ? ", " : "–"}${b + 1}`)).join(", ");
  }

  function matrix(fromRow, fromColumn) {
    const columns = routes.slice(fromColumn, fromColumn + BLOCK);
    const rows = routes.slice(fromRow, fromRow + BLOCK).map((route, k) => [
      numbered(fromRow + k),
      ...columns.map((other, n) => {
        const [first, second] = [fromRow + k, fromColumn + n];
        if (first === second) return make("span", { class: "same" }, "–");
        const found = routesPanel.reasonsOf(first, second);
        if (!found.length) return "";
        const letters = found.map((r) => r.kind[1]).join("");
        return make("button", {
          type: "button", "data-first": first, "data-second": second,
          "aria-label": `${letters}: ${route.name} and ${other.name}, ${found.map((r) => r.kind[0]).join(", ")}`,
        }, letters);
      }),
    ]);
    const heads = ["", ...columns.map((route, n) => (onPaper ? String(fromColumn + n + 1)
      : make("span", { class: "upright" }, route.name)))];
    const table = tableOf("Conflict matrix", heads, rows);
    table.classList.add("matrix");
    table.querySelector("thead th").replaceWith(make("td"));
    holder("matrix").replaceChildren(table);
  }

  const KINDS = { "set": "Set", "cancel": "Cancel", "start up": "Start up" };

  function commandList(number) {
    const [what, route, total, sent, waits] = data.lists.lists[number];
    const timed = total !== null;
    const rows = [];
    const span = timed ? (after) => after.map((w) => machine.text(w)).join("; ") : null;
    sent.forEach(([row, at, until, after], k) => {
      const [phase, device, name, state, how, decoder, side, also, output, wired, ms, ...only] = data.lists.rows[row];
      const said = (phrase) => (phrase === null ? "" : machine.text(phrase));
      const hand = decoder === null;
      rows.push([
        String(k + 1),
        ...(timed ? [at === null ? "by hand" : at === until ? `${at} ms` : `${at}–${until} ms`] : []),
        said(phase), `${said(device)} ${said(name)}`.trim(), said(state), said(how),
        hand ? "–" : `${said(decoder)}.${output}`, hand || wired === null ? "–" : String(wired), said(side) || "–",
        ms === null ? "–" : `${ms} ms`,
        [also === null ? "" : `also ${said(also)}`, only.length ? `only while ${only.map((n) => routes[n].name).join(" or ")} is set` : "",
          span ? span(after) : ""].filter(Boolean).join("; ") || "",
      ]);
    });
    const heads = ["step", ...(timed ? ["time"] : []), "phase", "what", "to", "how", "output", "number", "side", "lasts", "remarks"];
    const name = route === null ? KINDS[what] : `${KINDS[what]} ${routes[route].name}`;
    const parts = [tableOf(`${name}${timed ? `, ${total} ms in all` : ""}`, heads, rows)];
    if (waits.length) parts.push(make("p", null, `At the end: ${waits.map((w) => machine.text(w)).join("; ")}.`));
    holder("command-list").replaceChildren(...parts);
  }

  function blocks(select, act) {
    if (routes.length <= BLOCK) {
      select.closest("label").hidden = true;
      return;
    }
    for (let from = 0; from < routes.length; from += BLOCK) {
      const last = Math.min(from + BLOCK, routes.length) - 1;
      select.append(make("option", { value: from }, `${routes[from].name} … ${routes[last].name}`));
    }
    select.addEventListener("change", act);
  }

  // Which routes are shown, where not all are; and what the numbers of the others mean.
  function print(begun) {
    onPaper = begun;
    if (!made) return;
    controlTable(Number(table.value));
    both();
    const [first, last] = [Number(table.value) + 1, Math.min(Number(table.value) + BLOCK, routes.length)];
    holder("table-part").textContent = onPaper && routes.length > BLOCK ? ` of routes ${first} to ${last}` : "";
    const elsewhere = onPaper && routes.length > BLOCK ? routes : [];
    holder("numbers").replaceChildren(...elsewhere.map((route) => make("li", null, route.name)));
    holder("numbers-head").hidden = !elsewhere.length;
  }

  const [table, row, column] = ["table-block", "matrix-rows", "matrix-columns"].map(holder);
  const both = () => matrix(Number(row.value), Number(column.value));

  function show() {
    if (made) return;
    made = true;
    blocks(table, () => controlTable(Number(table.value)));
    blocks(row, both);
    blocks(column, both);
    controlTable(0);
    // The others come when the first is on the screen, so that the panel opens at once.
    afterwards(() => {
      matrix(0, 0);
      afterwards(commands);
    });
    holder("letters").replaceChildren(...data.kinds.map(([, letter, meaning]) =>
      make("div", null, make("dt", null, letter), " ", make("dd", null, meaning))));
    holder("matrix").addEventListener("click", (event) => {
      const button = event.target.closest("button[data-first]");
      if (button) openRoutes(Number(button.dataset.first), Number(button.dataset.second));
    });
  }

  function commands() {
    const list = holder("list");
    if (!data.lists.lists.length) {
      list.closest("label").hidden = true;
      holder("command-list").replaceChildren(make("p", null, "There is nothing to send."));
      return;
    }
    data.lists.lists.forEach(([what, route], k) => list.append(
      make("option", { value: k }, route === null ? KINDS[what] : `${KINDS[what]} ${routes[route].name}`)));
    list.addEventListener("change", () => commandList(Number(list.value)));
    commandList(0);
  }

  window.addEventListener("beforeprint", () => print(true));
  window.addEventListener("afterprint", () => print(false));
  let openRoutes = () => {};
  return { show, onOpen(act) { openRoutes = act; } };
}
