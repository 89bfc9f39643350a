// A field that finds a route, signal, drive or section by a few letters of its name: the combobox of
// the ARIA Authoring Practices, "Editable Combobox With List Autocomplete".

function makeFinding(data, { route, place }) {
  const field = document.getElementById("find");
  const list = document.getElementById("found");
  const MOST = 5; // of each kind
  const named = (kind, names) => names.map((name) => ({ kind, name, act: () => place(kind, name) }));
  const all = [
    ...data.routes.map(({ name }, number) => ({ kind: "route", name, act: () => route(number) })),
    ...named("signal", Object.keys(data.aspects)),
    ...named("drive", Object.keys(data.drives)),
    ...named("section", data.sections.map(([name]) => name)),
  ].map((each) => ({ ...each, words: `${each.kind} ${each.name}`.toLowerCase() }));
  let found = [];
  let at = -1;

  // Names that begin with what is typed come first, then those in which each word stands somewhere.
  function matching(typed) {
    const words = typed.toLowerCase().split(/\s+/).filter(Boolean);
    if (!words.length) return [];
    const whole = typed.trim().toLowerCase();
    const rank = ({ name }) => (name.toLowerCase() === whole ? 0 : name.toLowerCase().startsWith(whole) ? 1 : 2);
    const fits = all.filter((each) => words.every((word) => each.words.includes(word)));
    fits.sort((a, b) => rank(a) - rank(b)); // keeps the order of the text among equals
    const shown = new Map();
    return fits.filter(({ kind }) => {
      shown.set(kind, (shown.get(kind) ?? 0) + 1);
      return shown.get(kind) <= MOST;
    });
  }

  function show() {
    list.hidden = !found.length;
    field.setAttribute("aria-expanded", String(found.length > 0));
    if (at >= 0) field.setAttribute("aria-activedescendant", `found-${at}`);
    else field.removeAttribute("aria-activedescendant");
    list.replaceChildren(...found.map(({ kind, name, act }, k) => {
      const row = make("li", { id: `found-${k}`, role: "option", "aria-selected": String(k === at) },
        make("span", { class: "open" }, kind), " ", name);
      row.addEventListener("pointerdown", (event) => {
        event.preventDefault(); // the field keeps the keyboard
        take(act);
      });
      return row;
    }));
    list.children[at]?.scrollIntoView({ block: "nearest" });
  }

  function close() {
    found = [];
    at = -1;
    show();
  }

  function take(act) {
    field.value = "";
    close();
    act();
  }

  field.addEventListener("input", () => {
    found = matching(field.value);
    at = found.length ? 0 : -1;
    show();
  });
  field.addEventListener("blur", close);
  field.addEventListener("keydown", (event) => {
    const to = { ArrowDown: at + 1, ArrowUp: at - 1 }[event.key];
    if (to !== undefined && found.length) {
      at = (to + found.length) % found.length;
      show();
    } else if (event.key === "Enter" && at >= 0) take(found[at].act);
    else if (event.key === "Escape") close();
    else return;
    event.preventDefault();
  });
}
