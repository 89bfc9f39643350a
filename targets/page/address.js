// What is shown stands behind the # of the address, so that it can be kept and sent to somebody: a
// panel, a route or two, a step of a story.

// panels: their names. shown(): what is shown now, as pairs. open: for each key how it is shown.
function makeAddress(panels, shown, { panel, routes, story }, say) {
  let told = null; // no news of what was told here

  function tell() {
    const now = `#${new URLSearchParams(shown())}`;
    if (now === told) return;
    told = now;
    history.replaceState(null, "", now);
  }

  function go() {
    if (location.hash === told || location.hash.length < 2) return;
    const asked = new URLSearchParams(location.hash.slice(1));
    const wrong = asked.has("route") ? routes(asked.get("route"), asked.get("with"))
      : asked.has("story") ? story(Number(asked.get("story")), Number(asked.get("step") ?? 0))
        : panels.includes(asked.get("panel")) ? panel(asked.get("panel"))
          : "The address names nothing that this page shows";
    if (wrong) say(`${wrong}.`);
  }

  window.addEventListener("hashchange", go);
  return { tell, go };
}
