// What is reported, in the picture: ticks across the track of a section that is reported
// occupied, and a note in words where the report is not what is so.

// homeOf(place): the picture that shows it, of several in rows.
function makeNotes(svg, elements, signals, sectionElements, homeOf) {
  const SPACE = "http://www.w3.org/2000/svg";
  // How high letters are, at least: in pixels on the screen, and in units of the picture.
  const LETTERS = { screen: 11, picture: 7.5 };
  const layers = [];

  // Where notes of a kind stand: above all else of the picture that shows the place.
  function layerAt(place, kind) {
    const home = homeOf(place);
    const known = layers.find((layer) => layer.parentNode === home && layer.matches(`.${kind}`));
    if (known) return known;
    layers.push(home.appendChild(made("g", { class: kind, "aria-hidden": "true" })));
    return layers.at(-1);
  }
  const ticked = new Set();

  function made(tag, attributes) {
    const node = document.createElementNS(SPACE, tag);
    for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
    return node;
  }

  // Under the ways of a section, once it is first reported occupied.
  function addTicks(section) {
    if (ticked.has(section)) return;
    ticked.add(section);
    for (const name of sectionElements.get(section) ?? []) {
      for (const group of elements.get(name) ?? []) {
        const ways = [...group.querySelectorAll("path.way")];
        for (const way of ways) {
          const ticks = made("path", { d: way.getAttribute("d"), class: "ticks" });
          ways[0].parentNode.insertBefore(ticks, group.querySelector("path.way, path.ticks"));
        }
      }
    }
  }

  // The middle of the longest way of a section, where a train is if one is there.
  const middleOf = (section) => middleOver(sectionElements.get(section) ?? []);

  function middleOver(members) {
    const ways = members.flatMap((name) => elements.get(name) ?? [])
      .flatMap((group) => [...group.querySelectorAll("path.way")]);
    const taken = ways.filter((way) => way.matches(".train"));
    const [longest] = (taken.length ? taken : ways).map((way) => [way.getTotalLength(), way]).sort((a, b) => b[0] - a[0]);
    return longest ? longest[1].getPointAtLength(longest[0] / 2) : null;
  }

  function middleOfSignal(name) {
    const [group] = signals.get(name) ?? [];
    const box = group?.getBBox();
    return box ? { x: box.x + box.width / 2, y: box.y + box.height / 2 } : null;
  }

  // What a note had better not hide: names and signals least of all, then lines.
  let kept = null;
  const known = () => (kept ??= [
    ...[...svg.querySelectorAll("text"), ...[...signals.values()].flat()].map((node) => [node.getBBox(), 4]),
    ...[...svg.querySelectorAll("path.way")].map((way) => {
      const { x, y, width, height } = way.getBBox();
      // Of the box of a line that runs aslant most is empty.
      return [{ x: x - 1, y: y - 1, width: width + 2, height: height + 2 }, Math.min(width, height) > 4 ? 0.1 : 1];
    }),
  ]);

  const overlap = (a, b) => Math.max(0, Math.min(a.x + a.width, b.x + b.width) - Math.max(a.x, b.x))
    * Math.max(0, Math.min(a.y + a.height, b.y + b.height) - Math.max(a.y, b.y));

  // Beside what it is about, where it hides least; joined to it by a line.
  function note(text, about, taken, kind) {
    const layer = layerAt(about, kind);
    const whole = layer.parentNode.viewBox.baseVal;
    const unit = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
    const letters = Math.max(LETTERS.screen / unit, LETTERS.picture);
    const hid = known();
    const words = made("text", { "text-anchor": "middle", style: `font-size: ${letters}px` });
    words.textContent = text;
    layer.append(words);
    const width = words.getBBox().width + 6;
    const height = 1.4 * letters;
    const places = [18, 34, 50, 66].flatMap((far) => [-far, far].flatMap((down) => [0, -0.4, 0.4, -0.8, 0.8, -1.4, 1.4].map((aside) => ({
      x: Math.min(Math.max(about.x + (aside - 0.5) * width, whole.x + 1), whole.x + whole.width - width - 1),
      y: Math.min(Math.max(about.y + down - height / 2, whole.y + 1), whole.y + whole.height - height - 1),
      width, height,
    }))));
    const hidden = (box) => hid.reduce((sum, [other, weight]) => sum + weight * overlap(box, other), 0)
      + taken.reduce((sum, other) => sum + 8 * overlap(box, other), 0);
    const costs = places.map(hidden);
    const box = places[costs.indexOf(Math.min(...costs))];
    const middle = box.x + width / 2;
    const below = box.y > about.y;
    const line = made("line", { x1: about.x, y1: about.y, x2: middle, y2: below ? box.y : box.y + height });
    words.before(line, made("rect", { ...box }));
    words.setAttribute("x", middle);
    words.setAttribute("y", box.y + letters);
    return box;
  }

  // trains: with their names and the elements where their fronts are.
  function show(told, trains = []) {
    for (const layer of layers) layer.replaceChildren();
    const taken = [];
    for (const { name, members } of svg ? trains : []) {
      const about = middleOver(members);
      if (about) taken.push(note(name, about, taken, "trains"));
    }
    if (!told || !svg) return;
    for (const { name, so, said, late, failing, lost } of told.sections) {
      if (said) addTicks(name);
      if (!late && !failing && !lost) continue;
      const about = middleOf(name);
      const words = failing ? `falsely reported ${said ? "occupied" : "clear"}`
        : lost && so ? "not reported" : so ? "not reported yet" : "still reported occupied";
      if (about) taken.push(note(`${name} ${words}`, about, taken, "reports"));
    }
    for (const signal of told.signals) {
      const about = signal.taken ? middleOfSignal(signal.name) : null;
      if (about) taken.push(note(`${signal.name} taken to be at stop`, about, taken, "reports"));
    }
  }

  return { show };
}
