// The part of the picture that is in view: its size, dragging, two fingers, and an overview of a
// picture that is longer than its frame.

function makeView(frame, svg) {
  const { width, height } = svg ? svg.viewBox.baseVal : { width: 1, height: 1 };
  const SMALLEST = 0.1;
  const LARGEST = 4;
  // Small layouts are drawn larger than they are, large ones as large as can be read: names are
  // eleven units high.
  const ENLARGED = 1.8;
  const READABLE = 0.9;
  const wide = () => (frame.clientWidth - 8) / width;
  const high = () => ((parseFloat(getComputedStyle(frame).maxHeight) || Infinity) - 16) / height;
  const whole = () => Math.min(wide(), high(), ENLARGED);
  // All of it is in view at first, or all of its width, if that can be read.
  let scale = wide() < 0.7 ? READABLE : whole() < 0.7 ? Math.min(wide(), ENLARGED) : whole();

  const ended = new AbortController(); // when another picture is shown
  const on = (target, what, act, options = {}) => target.addEventListener(what, act, { ...options, signal: ended.signal });
  const watch = (act, ...nodes) => {
    const watching = new ResizeObserver(act);
    for (const node of nodes) watching.observe(node);
    ended.signal.addEventListener("abort", () => watching.disconnect());
  };
  // Rows are read one after another.
  const overview = svg && !svg.querySelector("svg.row") ? makeOverview() : null;

  function size() {
    svg?.setAttribute("width", width * scale);
    svg?.setAttribute("height", height * scale);
  }

  // by: null shows the whole. at: a point of the screen that stays where it is; else the middle.
  function zoom(by, at = null) {
    if (!svg) return;
    const around = frame.getBoundingClientRect();
    const { x, y } = at ?? { x: around.left + around.width / 2, y: around.top + around.height / 2 };
    const before = svg.getBoundingClientRect();
    const [u, v] = [(x - before.left) / scale, (y - before.top) / scale];
    scale = by === null ? whole() : Math.min(LARGEST, Math.max(SMALLEST, scale * by));
    size();
    const now = svg.getBoundingClientRect();
    frame.scrollLeft += now.left + u * scale - x;
    frame.scrollTop += now.top + v * scale - y;
    overview?.update();
  }

  // Where a node of the picture is on the screen: its lines without their width, for which browsers
  // allow more or less.
  function boxOf(node) {
    const { x, y, width, height } = node.getBBox();
    const on = node.getScreenCTM();
    const [a, b] = [new DOMPoint(x, y), new DOMPoint(x + width, y + height)].map((each) => each.matrixTransform(on));
    return { left: a.x, top: a.y, right: b.x, bottom: b.y };
  }

  // What of the screen the picture may be seen in: the frame without its scroll bars.
  function frameBox() {
    const { left, top } = frame.getBoundingClientRect();
    return { left, top, right: left + frame.clientWidth, bottom: top + frame.clientHeight };
  }

  // Bring a node into view, if it is not.
  function seek(node) {
    if (!node) return;
    const box = boxOf(node);
    const around = frameBox();
    if (box.left < around.left || box.right > around.right) {
      frame.scrollLeft += (box.left + box.right) / 2 - (around.left + around.right) / 2;
    }
    if (box.top < around.top || box.bottom > around.bottom) {
      frame.scrollTop += (box.top + box.bottom) / 2 - (around.top + around.bottom) / 2;
    }
  }

  // Bring as many nodes into view as there is room for, the first one before all others.
  function gather(nodes) {
    if (!nodes.length) return;
    const around = frameBox();
    const boxes = nodes.map(boxOf);
    // How far to scroll: no more than the first one allows.
    const by = (low, high) => {
      const [from, to] = [around[low], around[high]];
      const least = Math.min(...boxes.map((box) => box[low]));
      const most = Math.max(...boxes.map((box) => box[high]));
      if (most > to) return Math.max(0, Math.min(most - to, boxes[0][low] - from));
      if (least < from) return Math.min(0, Math.max(least - from, boxes[0][high] - to));
      return 0;
    };
    frame.scrollLeft += by("left", "right");
    frame.scrollTop += by("top", "bottom");
  }

  // The picture stays while the rest is scrolled: what gets the keyboard must not lie behind it.
  const plan = frame.closest("#plan");
  const covers = () => document.documentElement.style.setProperty("--covered",
    `${getComputedStyle(plan).position === "sticky" ? plan.offsetHeight : 0}px`);
  if (plan) watch(covers, plan);

  // ------------------------------------------------------- wheel, dragging, fingers

  on(frame, "wheel", (event) => {
    if (!event.ctrlKey) return; // without the key it scrolls, as anywhere
    event.preventDefault();
    zoom(Math.exp(-event.deltaY / 100), { x: event.clientX, y: event.clientY });
  }, { passive: false });

  const NEAR = 5; // pixels by which a hand may tremble
  let drag = null;
  on(frame, "pointerdown", (event) => {
    if (event.pointerType !== "mouse" || event.button !== 0) return;
    drag = { x: event.clientX, y: event.clientY, left: frame.scrollLeft, top: frame.scrollTop, moved: false };
  });
  on(window, "pointermove", (event) => {
    if (!drag) return;
    const [dx, dy] = [event.clientX - drag.x, event.clientY - drag.y];
    drag.moved ||= Math.hypot(dx, dy) > NEAR;
    if (!drag.moved) return;
    frame.classList.add("dragged");
    frame.scrollLeft = drag.left - dx;
    frame.scrollTop = drag.top - dy;
  });
  on(window, "pointerup", () => {
    if (drag?.moved) {
      // What it was dragged by is not chosen by that.
      const stop = (event) => event.stopPropagation();
      frame.addEventListener("click", stop, { capture: true, once: true });
      setTimeout(() => frame.removeEventListener("click", stop, { capture: true }));
    }
    drag = null;
    frame.classList.remove("dragged");
  });

  let fingers = null; // how far apart two fingers are
  const apart = ([a, b]) => Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
  on(frame, "touchstart", ({ touches }) => {
    fingers = touches.length === 2 ? apart(touches) : null;
  }, { passive: true });
  on(frame, "touchmove", (event) => {
    if (fingers === null || event.touches.length !== 2) return;
    event.preventDefault();
    const [a, b] = event.touches;
    const now = apart(event.touches);
    zoom(now / fingers, { x: (a.clientX + b.clientX) / 2, y: (a.clientY + b.clientY) / 2 });
    fingers = now;
  }, { passive: false });

  // ------------------------------------------------------------------- overview

  function makeOverview() {
    const SPACE = "http://www.w3.org/2000/svg";
    const made = (tag, attributes) => {
      const node = document.createElementNS(SPACE, tag);
      for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
      return node;
    };
    const { x, y } = svg.viewBox.baseVal;
    const whole = made("svg", { class: "overview", viewBox: `${x} ${y} ${width} ${height}`, "aria-hidden": "true" });
    const tracks = made("g", {});
    const way = made("path", { d: [...svg.querySelectorAll("path.way")].map((w) => w.getAttribute("d")).join("") });
    const part = made("rect", { class: "part" });
    tracks.append(way);
    whole.append(tracks, part);
    whole.style.display = "none";
    frame.after(whole);

    function update() {
      const longer = frame.scrollWidth > frame.clientWidth + 1 || frame.scrollHeight > frame.clientHeight + 1;
      whole.style.display = longer ? "" : "none";
      if (!longer) return;
      const around = frame.getBoundingClientRect();
      const box = svg.getBoundingClientRect();
      const left = Math.max(0, (around.left - box.left) / scale);
      const top = Math.max(0, (around.top - box.top) / scale);
      part.setAttribute("x", x + left);
      part.setAttribute("y", y + top);
      part.setAttribute("width", Math.min(width - left, frame.clientWidth / scale));
      part.setAttribute("height", Math.min(height - top, frame.clientHeight / scale));
    }

    // Where it is pressed comes into the middle.
    function go(event) {
      if (event.buttons !== 1) return;
      const box = whole.getBoundingClientRect();
      const by = Math.min(box.width / width, box.height / height);
      const u = (event.clientX - box.left - (box.width - width * by) / 2) / by;
      const v = (event.clientY - box.top - (box.height - height * by) / 2) / by;
      frame.scrollLeft = u * scale - frame.clientWidth / 2;
      frame.scrollTop = v * scale - frame.clientHeight / 2;
    }
    whole.addEventListener("pointerdown", go);
    whole.addEventListener("pointermove", go);
    on(frame, "scroll", update, { passive: true });
    watch(update, frame);
    ended.signal.addEventListener("abort", () => whole.remove());
    return { update };
  }

  size();
  overview?.update();
  return { zoom, seek, gather, end: () => ended.abort() };
}
