// The marks of a story's steps, in a row each for the two sides: above the railway, below the operator
// and the interlocking. One is reached by Tab, the others by arrows.

function makeMarks(holder, go) {
  const ON_RAILWAY = ["train", "surroundings"];
  let buttons = [];

  holder.addEventListener("keydown", (event) => {
    const from = buttons.indexOf(document.activeElement);
    const to = {
      ArrowRight: from + 1, ArrowLeft: from - 1, Home: 0, End: buttons.length - 1,
    }[event.key];
    if (from < 0 || !buttons[to]) return;
    event.preventDefault();
    buttons[to].focus();
    go(to);
  });

  function set(events) {
    const mark = (number, text, side) => make("button", {
      type: "button", title: text, "aria-label": `Step ${number}: ${text}`, class: side,
      style: `grid-column: ${number + 2}`, onclick: () => go(number),
    }, String(number));
    buttons = [mark(0, "at rest", "both"), ...events.map((event, k) =>
      mark(k + 1, event.text, ON_RAILWAY.includes(event.actor) ? "railway" : "locking"))];
    holder.replaceChildren(make("span", { class: "railway", "aria-hidden": "true" }, "Railway"),
      make("span", { class: "locking", "aria-hidden": "true" }, "Interlocking"), ...buttons);
  }

  function show(at) {
    buttons.forEach((button, number) => {
      button.tabIndex = number === at ? 0 : -1;
      button.classList.toggle("past", number < at);
      if (number === at) button.setAttribute("aria-current", "step");
      else button.removeAttribute("aria-current");
    });
    // In view, if the row is longer than its frame.
    const { left, right } = buttons[at].getBoundingClientRect();
    const around = holder.getBoundingClientRect();
    if (left < around.left || right > around.right) holder.scrollLeft += (left + right - around.left - around.right) / 2;
  }

  return { set, show };
}

// The stories: how what was refuted happens, step by step in the picture.

function makeStories(data, machine, reasons, picture, say, takeOver, tell) {
  const holder = (id) => document.getElementById(id);
  const { stories } = data;
  let story = null;
  let states = [];
  let at = 0;
  const PACE = 1500; // milliseconds a step while it plays
  let playing = null;
  // What is so, and what the interlocking has in force.
  const SIDES = { "so-of-railway": ["track", "edge", "drive"], "so-of-locking": ["route", "held", "signal"] };
  const marks = makeMarks(holder("marks"), (number) => {
    halt();
    go(number);
  });

  function choose(number) {
    story = stories[number];
    const start = atStart(machine);
    for (const [drive, position] of story.start) {
      const v = machine.variables.find((each) => each.kind === "drive" && each.of === drive);
      start[v.number] = v.values.findIndex((value) => machine.text(value) === position);
    }
    states = [start];
    for (const event of story.events) {
      states.push(stateAfter(machine.events[event], states[states.length - 1]));
    }
    at = 0;
    marks.set(story.events.map((event) => machine.events[event]));
    holder("story-of").textContent = `Not so: ${story.sentence}.`;
    const lies = story.start.length ? `: ${pairText(story.start)}` : "";
    const step = (number, text, place) => make("li", null,
      make("button", { type: "button", "data-step": number, onclick: () => go(number) }, text),
      place ? make("span", { class: "place" }, ` ${place}`) : null);
    holder("steps").replaceChildren(
      step(0, `At rest${lies}`, null),
      ...story.events.map((event, k) =>
        step(k + 1, sentence(machine.events[event].text), story.places[k])));
    show();
  }

  function go(number) {
    at = Math.max(0, Math.min(story.events.length, number));
    show();
    const told = at === 0 ? "At rest." : sentence(machine.events[story.events[at - 1]].text);
    say(at === story.events.length ? `${told} So ${story.ending}.` : told);
  }

  function play() {
    if (playing) {
      halt();
      return;
    }
    if (at === story.events.length) go(0);
    playing = setInterval(() => {
      go(at + 1);
      if (at === story.events.length) halt();
    }, PACE);
    holder("story-play").textContent = "Halt";
  }

  function halt() {
    clearInterval(playing);
    playing = null;
    holder("story-play").textContent = "Play";
  }

  function show() {
    if (!story) {
      picture.showState(atStart(machine));
      return;
    }
    tell();
    const active = document.activeElement;
    for (const button of holder("steps").querySelectorAll("button")) {
      const here = Number(button.dataset.step) === at;
      if (here) button.setAttribute("aria-current", "step");
      else button.removeAttribute("aria-current");
      button.classList.toggle("past", Number(button.dataset.step) < at);
    }
    marks.show(at);
    const last = at === story.events.length;
    holder("ending").hidden = !last;
    holder("ending").textContent = last ? sentence(`so ${story.ending}`) : "";
    holder("story-count").textContent = `step ${at} of ${story.events.length}`;
    holder("story-back").disabled = at === 0;
    for (const id of ["story-next", "story-end"]) holder(id).disabled = last;
    if (active === document.body || active.disabled) holder(last ? "story-back" : "story-next").focus();
    const changed = at ? states[at].map((v, k) => (v === states[at - 1][k] ? -1 : k)).filter((k) => k >= 0) : [];
    for (const [id, kinds] of Object.entries(SIDES)) stand(holder(id), kinds, changed);
    picture.showState(states[at], changed);
  }

  // What is otherwise than at rest, of one side; what this step has changed stands out.
  function stand(list, kinds, changed) {
    const found = machine.variables.filter((v) => kinds.includes(v.kind) && states[at][v.number] !== states[0][v.number]);
    list.replaceChildren(...found.map((v) => make("li", null,
      make(changed.includes(v.number) ? "strong" : "span", null, reasons.plainly(v, states[at])))));
    if (!found.length) list.append(make("li", { class: "open" }, "all is at rest"));
  }

  holder("no-story").hidden = stories.length > 0;
  holder("story").hidden = stories.length === 0;
  if (stories.length) {
    const select = holder("story-choice");
    stories.forEach((each, k) => select.append(make("option", { value: k },
      `${each.of}: ${each.ending}`)));
    const by = (id, act) => holder(id).addEventListener("click", () => {
      halt();
      act();
    });
    select.addEventListener("change", () => {
      halt();
      choose(Number(select.value));
    });
    by("story-back", () => go(at - 1));
    by("story-next", () => go(at + 1));
    by("story-end", () => go(story.events.length));
    by("story-over", () => takeOver(story.start, story.events.slice(0, at)));
    holder("story-play").addEventListener("click", play);
  }
  return {
    halt,
    get shown() { return { story: stories.indexOf(story) + 1, step: at }; },
    // The number of a story, from 1, and of a step of it.
    open(number, step) {
      if (!stories[number - 1]) return false;
      holder("story-choice").value = String(number - 1);
      choose(number - 1);
      go(step);
      return true;
    },
    show() {
      if (!story && stories.length) choose(0);
      else show();
    },
  };
}
