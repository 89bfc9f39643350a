// What can be chosen in the picture: signals, edges, elements, and their names. By pointer and by
// finger: what is thin is met by a wide line that nobody sees. By key: Tab reaches one of them, arrows
// lead to the nearest in their direction, Page Down and Page Up to the next and the one before, from left to
// right, so that all are reached, Home and End to the first and the last.

// act({ kind, name }): kind is "signal", "edge" or "element". drop(): Escape was pressed.
// Gives what tells of a route that is being chosen, by its start and its possible ends.
function makeTargets(svg, act, drop) {
  if (!svg) return () => [];
  const SPACE = "http://www.w3.org/2000/svg";
  const KINDS = { signal: "[data-signal]", edge: "[data-edge]", element: "[data-element]" };
  const all = []; // { kind, name, node, x, y }

  const wide = (group, d) => {
    const path = document.createElementNS(SPACE, "path");
    path.setAttribute("d", d);
    path.setAttribute("class", "wide-way");
    group.append(path);
  };

  // In the middle of the longest of its lines, not of the box around them.
  function middleOf(group) {
    const lines = [...group.querySelectorAll("path")].map((path) => [path.getTotalLength(), path]);
    const [length, longest] = lines.sort((a, b) => b[0] - a[0])[0] ?? [0, null];
    if (longest) return longest.getPointAtLength(length / 2);
    const box = group.getBBox();
    return { x: box.x + box.width / 2, y: box.y + box.height / 2 };
  }

  // How far a place of the screen is from the lines of a group, by points along them.
  function awayFrom(group, x, y) {
    const far = (line) => {
      const at = new DOMPoint(x, y).matrixTransform(line.getScreenCTM().inverse());
      const length = line.getTotalLength();
      const points = Math.min(100, Math.ceil(length));
      const along = Array.from({ length: points + 1 }, (_, k) => line.getPointAtLength((k * length) / points));
      return Math.min(...along.map((point) => Math.hypot(point.x - at.x, point.y - at.y)));
    };
    return Math.min(...[...group.querySelectorAll("path:not(.wide-way), circle")].map(far));
  }

  // Where wide lines lie over one another, what is nearest is meant.
  function meant({ clientX, clientY, detail }, target) {
    if (!detail) return target; // no pointer
    const under = new Set(document.elementsFromPoint(clientX, clientY)
      .filter((node) => node.matches(".wide-way")).map((node) => node.parentNode));
    const found = groups.filter(([group]) => under.has(group))
      .map(([group, of]) => [awayFrom(group, clientX, clientY), of]).sort((a, b) => a[0] - b[0]);
    return found.length > 1 ? found[0][1] : target;
  }

  const groups = []; // with what each stands for
  for (const [kind, selector] of Object.entries(KINDS)) {
    for (const group of svg.querySelectorAll(selector)) {
      const name = group.dataset[kind];
      const { x, y } = middleOf(group);
      const target = { kind, name, node: group, x, y };
      const choose = (event) => {
        const { kind, name } = event ? meant(event, target) : target;
        reachable(all.find((other) => other.kind === kind && other.name === name));
        act({ kind, name });
      };
      groups.push([group, target]);
      // What a cut leads through is seen in two rows, and is one thing all the same.
      const again = group.matches(".goes-on");
      for (const path of group.querySelectorAll("path.way, path.post, .edge > path")) {
        wide(group, path.getAttribute("d"));
      }
      for (const lamp of group.querySelectorAll("circle.lamp")) {
        wide(group, `M${lamp.getAttribute("cx")} ${lamp.getAttribute("cy")}h.01`);
      }
      group.addEventListener("click", choose);
      if (again) {
        group.setAttribute("aria-hidden", "true");
        continue;
      }
      group.setAttribute("role", "button");
      group.tabIndex = -1;
      if (kind === "edge") group.setAttribute("aria-label", `edge ${name}`);
      else if (group.classList.contains("piece")) group.setAttribute("aria-label", `track ${name}`);
      group.addEventListener("keydown", (event) => pressed(event, target, choose));
      all.push(target);
      const of = kind === "signal" ? ".signal" : kind === "edge" ? ".edge" : ":not(.signal, .edge)";
      for (const text of svg.querySelectorAll(`text.name${of}[data-of="${CSS.escape(name)}"]`)) {
        text.classList.add("choosable");
        text.addEventListener("click", () => choose());
      }
    }
  }
  // What lies above takes the pointer: signals, then edges, then track.
  for (const node of svg.querySelectorAll(".edge, .signal")) node.parentNode.append(node);
  const inOrder = [...all].sort((a, b) => Math.round(a.x / 44) - Math.round(b.x / 44) || a.y - b.y || a.x - b.x);

  let reached = null;
  function reachable(target) {
    if (reached) reached.node.tabIndex = -1;
    reached = target;
    target.node.tabIndex = 0;
  }

  // The nearest in a direction, what lies aside counting for twice as far.
  function beyond(from, dx, dy) {
    let best = null;
    for (const to of all) {
      const along = (to.x - from.x) * dx + (to.y - from.y) * dy;
      const aside = Math.abs((to.x - from.x) * dy) + Math.abs((to.y - from.y) * dx);
      if (along < 1 || aside > 3 * along) continue;
      const far = along + 2 * aside;
      if (!best || far < best.far) best = { to, far };
    }
    return best?.to;
  }

  function pressed(event, target, choose) {
    const go = {
      ArrowRight: () => beyond(target, 1, 0), ArrowLeft: () => beyond(target, -1, 0),
      ArrowDown: () => beyond(target, 0, 1), ArrowUp: () => beyond(target, 0, -1),
      PageDown: () => inOrder[inOrder.indexOf(target) + 1], PageUp: () => inOrder[inOrder.indexOf(target) - 1],
      Home: () => inOrder[0], End: () => inOrder.at(-1),
    }[event.key];
    if (go) {
      const next = go();
      if (next) {
        reachable(next);
        next.node.focus();
      }
    } else if (event.key === "Enter" || event.key === " ") choose();
    else if (event.key === "Escape") drop();
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  // The start is pressed, and each end says that it is one.
  let told = [];
  function choosing({ start, ends }) {
    for (const { node } of told) for (const each of ["aria-pressed", "aria-description"]) node.removeAttribute(each);
    const begin = all.filter(({ kind, name }) => kind === "signal" && name === start);
    const end = all.filter((target) => ends.some(({ kind, name }) => target.kind === kind && target.name === name));
    for (const { node } of begin) node.setAttribute("aria-pressed", "true");
    for (const { node } of end) node.setAttribute("aria-description", `a route from ${start} ends here`);
    told = [...begin, ...end];
    return told.map(({ node }) => node);
  }

  svg.setAttribute("role", "group");
  svg.setAttribute("aria-description", "Arrows lead to what lies beside, Page Down to the next, Page Up to the one " +
    "before, Home and End to the first and the last. Enter chooses, Escape gives up.");
  // Names stand beside what bears them, and are read out with it.
  for (const names of svg.querySelectorAll(".names")) names.setAttribute("aria-hidden", "true");
  if (inOrder.length) reachable(inOrder.find(({ kind }) => kind === "signal") ?? inOrder[0]);
  return choosing;
}
