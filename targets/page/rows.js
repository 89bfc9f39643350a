// The picture in rows, one under another, with match letters where lines go on: cut as on paper. Each
// row is a picture of its own, in which everything has the place that it has in the long one; what a
// cut leads through stands in both rows.

const BESIDE_ROW = 30; // room for the letters at either end of a row
const MATCH_RADIUS = 8;

// What is moved as a whole, or stands in two rows as a whole.
const isGroup = (node) => node.tagName === "g" && !node.matches(".element, .signal, .edge, .stop");
const isDrawn = (node) => !["title", "desc", "style", "defs"].includes(node.tagName);

// How much room each thing takes in the long picture, while that is on the screen.
function boxesOf(strip) {
  const boxes = new Map();
  const measure = (node) => (isGroup(node) ? [...node.children].forEach(measure) : boxes.set(node, node.getBBox()));
  [...strip.children].filter(isDrawn).forEach(measure);
  return boxes;
}

// strip: the long picture. boxes: as above. rows: as the data have them.
function inRows(strip, boxes, rows) {
  const SPACE = "http://www.w3.org/2000/svg";
  const made = (tag, attributes, text = "") => {
    const node = document.createElementNS(SPACE, tag);
    for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
    node.textContent = text;
    return node;
  };
  const whole = strip.cloneNode(false);
  const drawn = [...strip.children].filter(isDrawn);
  whole.append(...[...strip.children].filter((node) => !isDrawn(node)).map((node) => node.cloneNode(true)));

  // Of a node what stands in a row; null if nothing does.
  function partIn(node, [left, top, right, bottom]) {
    if (isGroup(node)) {
      const inside = [...node.children].map((each) => partIn(each, [left, top, right, bottom])).filter(Boolean);
      if (!inside.length) return null;
      const group = node.cloneNode(false);
      group.append(...inside);
      return group;
    }
    const { x, y, width, height } = boxes.get(node);
    const stands = x < right && x + width >= left && y < bottom && y + height >= top;
    if (!stands) return null;
    const part = node.cloneNode(true);
    // It is where its middle is; in the other row it goes on.
    const middle = x + width / 2;
    if (middle < left || middle >= right) part.classList.add("goes-on");
    return part;
  }

  let down = 0;
  let widest = 0;
  for (const [box, begins, ends] of rows) {
    const [left, top, right, bottom] = box;
    const [width, height] = [right - left, bottom - top];
    const row = made("svg", {
      class: "row", x: BESIDE_ROW, y: down, width, height, viewBox: `${left} ${top} ${width} ${height}`,
    });
    row.append(...drawn.map((node) => partIn(node, box)).filter(Boolean));
    whole.append(row);
    const letters = (matches, x) => matches.map(([letter, y]) => {
      const match = made("g", { class: "match", "aria-hidden": "true" });
      match.append(made("circle", { cx: x, cy: y - top + down, r: MATCH_RADIUS }),
        made("text", { x, y: y - top + down + 3.85 }, letter));
      return match;
    });
    whole.append(...letters(begins, BESIDE_ROW - MATCH_RADIUS - 2), ...letters(ends, BESIDE_ROW + width + MATCH_RADIUS + 2));
    down += height;
    widest = Math.max(widest, width);
  }
  whole.setAttribute("viewBox", `0 0 ${widest + 2 * BESIDE_ROW} ${down}`);
  return whole;
}

// The picture in one line or in rows, as somebody has chosen; kept from one loading of the page to the
// next. What is said to it goes to the one that is shown. relaid(): it was laid anew, with nothing marked.
function makePictures(frame, data, machine, relaid) {
  const READABLE = 0.9;
  const ON_PAPER = 900; // narrower rows would be larger than they need be
  const HIGHEST = 0.9; // on paper, compared with how wide it is: more does not fit below what stands above it
  const strip = frame.querySelector("svg");
  const boxes = data.rows.length ? boxesOf(strip) : null;
  const button = document.getElementById("in-rows");
  const key = `bellcrank rows ${data.source}`;
  const kept = (act) => {
    try {
      return act();
    } catch {
      return null; // a browser may forbid it
    }
  };
  let wanted = kept(() => localStorage.getItem(key)) === "rows";
  let laid = null; // the width for which it is in rows
  let onPaper = false;
  let picture = null;
  let fill = () => {};
  let chosen = null;
  let tellChoice = () => {};
  let told = null;

  // The rows for the room there is; null if all of it fits in one.
  function fitting(room) {
    const cut = data.rows.filter(([width], k) => k === 0 || width * READABLE <= room);
    const wide = strip.viewBox.baseVal.width * READABLE > room;
    return wide && cut.length ? cut.at(-1) : null;
  }

  function lay(rows) {
    picture?.end();
    if (strip) frame.replaceChildren(rows ? inRows(strip, boxes, rows[1]) : strip.cloneNode(true));
    laid = rows?.[0] ?? null;
    picture = makePicture(frame, data, machine);
    picture.also(fill);
    if (chosen) tellChoice = picture.onChoice(...chosen);
    if (told) tellChoice(told);
  }

  function fit() {
    if (onPaper) return;
    const rows = strip ? fitting(frame.clientWidth - 8) : null;
    button.hidden = rows === null;
    button.setAttribute("aria-pressed", String(wanted));
    const use = wanted ? rows : null;
    if (picture && (use?.[0] ?? null) === laid) return;
    const again = picture !== null;
    lay(use);
    if (again) relaid();
  }

  button.addEventListener("click", () => {
    wanted = !wanted;
    kept(() => localStorage.setItem(key, wanted ? "rows" : "line"));
    fit();
  });
  fit();
  new ResizeObserver(fit).observe(frame);
  // Paper cannot be dragged.
  window.addEventListener("beforeprint", () => {
    const high = (rows) => rows.reduce((sum, [[, top, , bottom]]) => sum + bottom - top, 0);
    const rows = data.rows.find(([width, cut]) => width >= ON_PAPER && high(cut) <= HIGHEST * width);
    if (!rows) return;
    onPaper = true;
    lay(rows);
    relaid();
  });
  window.addEventListener("afterprint", () => {
    onPaper = false;
    fit();
  });

  const passed = ["showRoute", "showTwo", "showState", "paint", "heldWays", "point", "zoom"];
  return {
    ...Object.fromEntries(passed.map((name) => [name, (...given) => picture[name](...given)])),
    also(marking) {
      fill = marking;
      picture.also(fill);
    },
    onChoice(...acts) {
      chosen = acts;
      tellChoice = picture.onChoice(...chosen);
      return (now) => {
        told = now;
        tellChoice(now);
      };
    },
  };
}
