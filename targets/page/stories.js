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

  // steps: what happens in each, in words, and who does it. against: what stands below the railway.
  function set(steps, against) {
    const mark = (number, text, side) => make("button", {
      type: "button", title: text, "aria-label": `Step ${number}: ${text}`, class: side,
      style: `grid-column: ${number + 2}`, onclick: () => go(number),
    }, String(number));
    buttons = [mark(0, "at rest", "both"), ...steps.map(({ text, actor, breaks }, k) =>
      mark(k + 1, breaks ? `${text} (this breaks what was assumed)` : text,
        `${ON_RAILWAY.includes(actor) ? "railway" : "locking"}${breaks ? " breaks" : ""}`))];
    holder.replaceChildren(make("span", { class: "railway", "aria-hidden": "true" }, "Railway"),
      make("span", { class: "locking", "aria-hidden": "true" }, against), ...buttons);
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

// A story is what it is of, who is against the railway in it, its steps, and its states, which are made
// when somebody chooses it. sides: of what each list tells, by the kinds of variables.

// How what was refuted happens: events of the machine.
function refutedStory(told, machine) {
  const events = told.events.map((number) => machine.events[number]);
  return {
    group: null, name: `${told.of}: ${told.ending}`, of: `Not so: ${told.sentence}.`, ending: `so ${told.ending}`,
    against: "Interlocking", machine, start: told.start,
    sides: { "so-of-railway": ["track", "edge", "drive"], "so-of-locking": ["route", "held", "signal"] },
    steps: told.events.map((_, k) => ({
      get text() { return events[k].text; }, get actor() { return events[k].actor; }, place: told.places[k], breaks: false,
    })),
    states() {
      const start = atStart(machine);
      for (const [drive, position] of told.start) {
        const v = machine.variables.find((each) => each.kind === "drive" && each.of === drive);
        start[v.number] = v.values.findIndex((value) => machine.text(value) === position);
      }
      return events.reduce((states, event) => [...states, stateAfter(event, states.at(-1))], [start]);
    },
    events: told.events, told: () => null,
  };
}

// What comes of an assumption that is broken: each step brings what it changes. toldOf(state): what is
// reported, and what signals are shown.
function brokenStory(kind, told, machine, toldOf) {
  const changed = (state, changes) => {
    const after = [...state];
    for (const [variable, value] of changes) after[variable] = value;
    return after;
  };
  return {
    group: sentence(kind.sentence).slice(0, -1), name: told.what, of: `If, once, ${kind.sentence}: ${told.what}.`,
    ending: told.alarm ? `so ${told.ending}` : `so ${told.ending}, and no alarm has been raised`,
    against: "Controller", machine, start: told.start,
    sides: {
      "so-of-railway": ["track", "edge", "drive"], "so-of-reports": ["report"],
      "so-of-controller": ["progress", "held", "lamp", "lying"],
    },
    steps: told.steps.map(([text, actor, place, breaks]) => ({ get text() { return machine.text(text); }, actor, place, breaks })),
    states: () => told.steps.reduce((states, step) => [...states, changed(states.at(-1), step.at(-1))],
      [changed(atStart(machine), told.first)]),
    events: null, told: toldOf, alarm: told.alarm,
  };
}

// The table of what is noticed; a story is chosen in it.
function brokenTable(kinds, stories, choose) {
  const rows = kinds.map((kind, k) => [
    kind.sentence, kind.alarm, kind.before,
    make("ul", { class: "chips" }, stories[k].map((story) => make("li", null,
      make("button", { type: "button", "aria-label": `Story: ${story.name}, if ${kind.sentence}`, onclick: () => choose(story) },
        sentence(story.name).slice(0, -1))))),
  ]);
  return tableOf("What the railway notices", ["if, once,", "alarm", "until then", "stories"], rows, { id: "noticed" });
}

// The stories, step by step in the picture: how what was refuted happens, and what comes of an assumption
// that is broken.

// toldOf(state): as above; null where there is no controller.
function makeStories(data, machine, reasons, picture, say, takeOver, tell, toldOf) {
  const holder = (id) => document.getElementById(id);
  const refuted = data.stories.map((told) => refutedStory(told, machine));
  const kinds = data.broken ?? [];
  const ofKinds = kinds.map((kind) => kind.stories.map((told) => brokenStory(kind, told, machine.together, toldOf)));
  const stories = [...refuted, ...ofKinds.flat()];
  let story = null;
  let states = [];
  let at = 0;
  const PACE = 1500; // milliseconds a step while it plays
  let playing = null;
  const SIDES = { "so-of-locking": "locking-side", "so-of-reports": "reported-side", "so-of-controller": "controller-side" };
  const marks = makeMarks(holder("marks"), (number) => {
    halt();
    go(number);
  });

  function choose(number) {
    story = stories[number];
    states = story.states();
    at = 0;
    holder("story-choice").value = String(number);
    marks.set(story.steps, story.against);
    holder("story-of").textContent = story.of;
    const lies = story.start.length ? `: ${pairText(story.start)}` : "";
    const step = (number, text, place, breaks = false) => make("li", null,
      make("button", { type: "button", "data-step": number, onclick: () => go(number) }, text),
      breaks ? [" ", make("span", { class: "tag" }, "assumption broken")] : null,
      place ? make("span", { class: "place" }, ` ${place}`) : null);
    holder("steps").replaceChildren(
      step(0, `At rest${lies}`, null),
      ...story.steps.map(({ text, place, breaks }, k) => step(k + 1, sentence(text), place, breaks)));
    holder("ending").classList.toggle("raised", Boolean(story.alarm));
    for (const [list, side] of Object.entries(SIDES)) holder(side).hidden = !story.sides[list];
    holder("story-over").hidden = story.events === null;
    holder("story").hidden = false;
    show();
  }

  function go(number) {
    at = Math.max(0, Math.min(story.steps.length, number));
    show();
    const told = at === 0 ? "At rest." : sentence(story.steps[at - 1].text);
    say(at === story.steps.length ? `${told} ${sentence(story.ending)}` : told);
  }

  function play() {
    if (playing) {
      halt();
      return;
    }
    if (at === story.steps.length) go(0);
    playing = setInterval(() => {
      go(at + 1);
      if (at === story.steps.length) halt();
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
      tell();
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
    const last = at === story.steps.length;
    holder("ending").hidden = !last;
    holder("ending").textContent = last ? sentence(story.ending) : "";
    holder("story-count").textContent = `step ${at} of ${story.steps.length}`;
    holder("story-back").disabled = at === 0;
    for (const id of ["story-next", "story-end"]) holder(id).disabled = last;
    if (active === document.body || active.disabled) holder(last ? "story-back" : "story-next").focus();
    const changed = at ? states[at].map((v, k) => (v === states[at - 1][k] ? -1 : k)).filter((k) => k >= 0) : [];
    for (const [id, kinds] of Object.entries(story.sides)) stand(holder(id), kinds, changed);
    picture.showState(states[at], changed, story.told(states[at]));
  }

  // What is otherwise than at rest, of one side; what this step has changed stands out.
  function stand(list, kinds, changed) {
    const found = story.machine.variables.filter((v) => kinds.includes(v.kind) && states[at][v.number] !== states[0][v.number]);
    list.replaceChildren(...found.map((v) => make("li", null,
      make(changed.includes(v.number) ? "strong" : "span", null, reasons.plainly(v, states[at])))));
    if (!found.length) list.append(make("li", { class: "open" }, "all is at rest"));
  }

  const take = (number) => {
    halt();
    choose(number);
  };

  holder("no-story").hidden = refuted.length > 0;
  holder("story").hidden = !refuted.length;
  holder("broken").hidden = !kinds.length;
  holder("broken-unasked").hidden = !machine.together || data.broken !== null;
  if (kinds.length) {
    holder("broken-table").replaceChildren(brokenTable(kinds, ofKinds, (chosen) => {
      take(stories.indexOf(chosen));
      say(chosen.of);
      holder("story").focus();
    }));
  }
  if (stories.length) {
    const select = holder("story-choice");
    const groups = new Map();
    stories.forEach(({ group, name }, k) => {
      const option = make("option", { value: k }, name);
      if (group === null) select.append(option);
      else {
        if (!groups.has(group)) groups.set(group, select.appendChild(make("optgroup", { label: group })));
        groups.get(group).append(option);
      }
    });
    const by = (id, act) => holder(id).addEventListener("click", () => {
      halt();
      act();
    });
    select.addEventListener("change", () => take(Number(select.value)));
    by("story-back", () => go(at - 1));
    by("story-next", () => go(at + 1));
    by("story-end", () => go(story.steps.length));
    by("story-over", () => takeOver(story.start, story.events.slice(0, at)));
    holder("story-play").addEventListener("click", play);
  }
  return {
    halt,
    get shown() { return story ? { story: stories.indexOf(story) + 1, step: at } : null; },
    // The number of a story, from 1, and of a step of it.
    open(number, step) {
      if (!stories[number - 1]) return false;
      take(number - 1);
      go(step);
      return true;
    },
    show() {
      if (!story && refuted.length) choose(0);
      else show();
    },
  };
}
