// Small parts that all panels are made of.

function make(tag, attributes, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (name === "onclick") node.addEventListener("click", value);
    else if (value === true) node.setAttribute(name, "");
    else if (value !== null && value !== false) node.setAttribute(name, value);
  }
  node.append(...children.flat(2).filter((child) => child !== null && child !== undefined));
  return node;
}

// What a part holds, nothing left out of a list standing in it as a word.
const fill = (node, ...children) =>
  node.replaceChildren(...children.flat(2).filter((child) => child !== null && child !== undefined));

// When what there is now is on the screen.
const afterwards = (act) => requestAnimationFrame(() => setTimeout(act));

const sentence = (text) => `${text.charAt(0).toUpperCase()}${text.slice(1)}.`;

const pairText = (pairs) => pairs.map(([drive, position]) => `${drive} ${position}`).join(", ");

// A table in a frame that scrolls by itself and can be reached by keyboard.
function tableOf(caption, heads, rows, { id = null, first = true } = {}) {
  const body = rows.map((row) => make("tr", null, row.map((cell, k) =>
    first && k === 0 ? make("th", { scope: "row" }, cell) : make("td", null, cell))));
  return make("div", { class: "wide", tabindex: "0", role: "region", "aria-label": caption },
    make("table", { id },
      make("caption", null, caption),
      make("thead", null, make("tr", null, heads.map((h) => make("th", { scope: "col" }, h)))),
      make("tbody", null, body)));
}

// Routes to choose from, those of a signal together. The value is the route's number.
function fillRoutes(select, routes, none, allowed = () => true) {
  const groups = new Map();
  routes.forEach((route, number) => {
    if (!allowed(number)) return;
    if (!groups.has(route.from)) groups.set(route.from, make("optgroup", { label: `from ${route.from}` }));
    groups.get(route.from).append(make("option", { value: number }, route.name));
  });
  const kept = select.value;
  select.replaceChildren(...(none === null ? [] : [make("option", { value: "" }, none)]), ...groups.values());
  select.value = kept;
  if (select.selectedIndex < 0) select.selectedIndex = 0;
}

// The light of the system, until somebody chooses another.
function makeTheme() {
  const button = document.getElementById("theme");
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const root = document.documentElement;
  const isDark = () => (root.dataset.theme ? root.dataset.theme === "dark" : dark.matches);
  const show = () => button.setAttribute("aria-pressed", String(isDark()));
  button.addEventListener("click", () => {
    root.dataset.theme = isDark() ? "light" : "dark";
    show();
  });
  dark.addEventListener("change", show);
  show();
}
