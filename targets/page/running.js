// What runs the railway in the rehearsal: the interlocking alone, which knows where trains
// are, or the controller, to which reports tell it. Both take a moment and give the next one;
// what may happen is a list of moves. A moment has at least a `state`.

// When something happens that nobody asks for; see compiler/page/controlled.py.
const TURN = {
  asked: 0, itself: 1, time: 2, tail: 3, front: 4, report: 5, driveTime: 6, confirmation: 7, step: 8,
};

const FOR_THE_CONTROLLER = [TURN.report, TURN.driveTime, TURN.confirmation];

class Move {
  // input: what it gives to the controller, if anything. about: what else it is about.
  constructor(key, turn, group, tell, { event = null, input = null, about = null } = {}) {
    Object.assign(this, { key, turn, group, tell, event, input, about });
  }
  get text() { return this.tell(); }
}

const GROUPS = {
  train: "Trains go on", report: "Reports", confirmation: "Somebody confirms", appears: "Trains appear",
  hand: "Vehicles that stand", itself: "Drives, signals and releases", drive: "Drives",
  time: "When a time is over",
};

function moveOf(data, event, itself) {
  const group = event.turn === TURN.itself ? itself
    : event.turn === TURN.time ? GROUPS.time
      : event.actor === "train" ? GROUPS.train
        : data["by hand"].includes(event.kind) ? GROUPS.hand : GROUPS.appears;
  return new Move(`e${event.number}`, event.turn, group, () => event.text, { event });
}

// Something that happened, for the log and to be said. text: without its full stop.
const done = (text) => ({ sort: "done", text: sentence(text), plain: text });

// What must always hold and does not any more, as lines of what was said.
function tellBroken(data, machine, before, after, said) {
  for (const invariant of newlyBroken(machine, before, after)) {
    const accident = data.accidents.includes(invariant.of);
    said.push({
      sort: accident ? "accident" : "breach",
      text: `${accident ? "Accident" : "Unsafe"}: ${sentence(invariant.sentence)}`,
    });
  }
}

function runAlone(data, machine, reasons) {
  const putBack = data.words["put back"];

  function possible({ state }, turns = null) {
    const asked = (e) => e.actor !== "operator" && (turns === null || turns.includes(e.turn));
    return allPossible(machine, state, asked).map((e) => moveOf(data, e, GROUPS.itself));
  }

  function perform({ state }, { event }, said) {
    const following = stateAfter(event, state);
    said.push(done(event.text));
    tellBroken(data, machine, state, following, said);
    return { state: following };
  }

  // What somebody asks for: a move, or why it is not possible.
  function ask(kind, route, { state }) {
    const events = machine.events.filter((e) => e.kind === kind && e.of === route);
    const able = events.find((event) => isPossible(event, state));
    if (able) return { move: moveOf(data, able, GROUPS.itself) };
    const nearest = events.reduce((a, b) => (unmet(b, state) < unmet(a, state) ? b : a));
    return { why: reasons.whyNot(nearest, state) };
  }

  // A train that could not stop any more need not pass: whether it does is for somebody to say.
  function overruns({ event }, { state }) {
    const signal = event && machine.passes[event.number];
    return signal !== null && signal !== undefined
      && machine.variables[signal].values[state[signal]] === putBack;
  }

  return {
    machine, possible, perform, ask, overruns, route: "route",
    events: machine.events, isAble: (event, { state }) => isPossible(event, state),
    moveOf: (event) => moveOf(data, event, GROUPS.itself),
    begin: () => ({ state: atStart(machine) }),
    told: () => null,
  };
}

// Beside the state, a moment has: alarm, a sentence or null; failing, the sections whose
// detectors say what is not so; broken, whether one has since the start.
function runControlled(data, machine, reasons) {
  const { words } = data;
  const controller = new Controller(data, machine);
  const { own } = data.controlled;
  const variable = new Map(machine.variables.map((v) => [`${v.kind} ${v.of}`, v]));
  const valueOf = (v, state) => v.values[state[v.number]];
  const valueIn = (v, value) => v.values.indexOf(value);

  const sectionOf = new Map(data.sections.flatMap(([name, members]) => members.map((e) => [e, name])));
  const tracks = machine.variables.filter((v) => v.kind === "track");
  const sections = data.sections.map(([name]) => ({
    name, report: variable.get(`report ${name}`) ?? null,
    tracks: tracks.filter((_, k) => sectionOf.get(data.track[k][0][0]) === name),
  }));
  const detected = sections.filter((section) => section.report !== null);
  const signals = machine.variables.filter((v) => v.kind === "signal")
    .map((v) => ({ name: v.of, truth: v, lamp: variable.get(`lamp ${v.of}`) }));
  const drives = machine.variables.filter((v) => v.kind === "drive")
    .map((v) => ({ name: v.of, truth: v, lying: variable.get(`lying ${v.of}`) }));
  const reporting = new Set(controller.inputs.filter((i) => i.kind === "lies").map((i) => i.of));

  const timesAndConfirmations = controller.inputs.filter(({ kind, reactions }) =>
    ["time over", "confirm passed", "confirm arrived"].includes(kind) && reactions.length);
  const arrivals = machine.events.filter((e) => e.kind === "drive arrives" && own[e.number] === null);

  const isOccupied = (section, state) => section.tracks.some((v) => valueOf(v, state) !== words.clear);
  const isSaid = (section, state) => valueOf(section.report, state) === words["reported occupied"];
  const isOff = (v, state) => ![words["at stop"], words["put back"]].includes(valueOf(v, state));
  const liesStill = ({ truth }, state) => truth.initial.includes(state[truth.number]);

  function reportedAsIs(state, but = () => false) {
    const following = [...state];
    for (const section of detected) {
      if (but(section)) continue;
      const value = words[isOccupied(section, state) ? "reported occupied" : "reported clear"];
      following[section.report.number] = valueIn(section.report, value);
    }
    return following;
  }

  // ------------------------------------------------------------ what may happen

  function plainly({ kind, of, value }) {
    if (kind === "lies") return `${of} is reported to lie ${value}`;
    return kind === "time over" ? `a time is over: ${of}` : `${of} is reported ${kind}`;
  }

  // What detectors and contacts have to tell.
  function reports({ state, failing }) {
    const found = [];
    const due = (input) => found.push(new Move(`i${input.number}`, TURN.report, GROUPS.report,
      () => controller.reaction(input, state)?.text ?? plainly(input), { input }));
    for (const section of detected) {
      const so = isOccupied(section, state);
      if (so !== isSaid(section, state) && !failing.has(section.name)) {
        due(controller.input(so ? "occupied" : "clear", section.name));
      }
    }
    for (const drive of drives) {
      if (!reporting.has(drive.name) || !liesStill(drive, state)) continue;
      const position = valueOf(drive.truth, state);
      if (valueOf(drive.lying, state) !== position) {
        due(controller.input("lies", drive.name, machine.text(position)));
      }
    }
    return found;
  }

  // Times that are over and people who confirm: as is assumed, or, if that is broken already,
  // a time runs out whatever is so.
  function timesAndPeople({ state, broken }, asked) {
    const found = [];
    for (const input of timesAndConfirmations) {
      if (!asked(input.reactions[0]) || !controller.isNew(input, state)) continue;
      const event = controller.reaction(input, state);
      if (event === null) continue;
      if (!isPossible(event, state) && !(broken && input.kind === "time over")) continue;
      const group = event.turn === TURN.confirmation ? GROUPS.confirmation : GROUPS.time;
      found.push(new Move(`i${input.number}`, event.turn, group, () => event.text, { input }));
    }
    return found;
  }

  // Signals that have gone to stop without the controller's time of approach locking.
  const tooLate = ({ state, broken }) => (broken ? signals.filter(({ truth, lamp }) =>
    valueOf(truth, state) === words["put back"] && valueOf(lamp, state) !== words["put back"]) : []);

  const passedBy = (late) => "whatever could not stop any more has passed " +
    `${reasons.listed(late.map(({ name }) => name))} by now`;

  // Trains go no further than is assumed while a report is late, but do if it never comes.
  function judged({ state, failing, alarm }) {
    if (alarm === null && !failing.size) return state;
    return reportedAsIs(state, ({ name }) => alarm === null && !failing.has(name));
  }

  function possible(moment, turns = null) {
    const asked = (event) => turns === null || turns.includes(event.turn);
    const found = turns?.every((turn) => FOR_THE_CONTROLLER.includes(turn)) ? []
      : allPossible(machine, judged(moment), (e) => own[e.number] === null && asked(e))
        .map((e) => moveOf(data, e, GROUPS.drive));
    const late = asked({ turn: TURN.time }) ? tooLate(moment) : [];
    if (late.length) {
      found.push(new Move("late", TURN.time, GROUPS.time, () => passedBy(late), { about: late }));
    }
    if (moment.alarm !== null) return found;
    if (asked({ turn: TURN.report })) found.unshift(...reports(moment));
    return [...found, ...timesAndPeople(moment, asked)];
  }

  // ---------------------------------------------------------------- what happens

  function give(moment, input, said) {
    const { outcome, state, done: happened } = controller.react(input, moment.state);
    if (outcome === "alarm") return raised(moment, input, said);
    said.push(...happened.map((event) => done(event.text)));
    return { ...moment, state };
  }

  // All signals to stop, nothing thrown, nothing taken in until the next start.
  function raised(moment, input, said) {
    const state = [...moment.state];
    if (controller.says[input.kind] !== undefined) {
      const { report } = detected.find(({ name }) => name === input.of);
      state[report.number] = valueIn(report, controller.says[input.kind]);
    }
    for (const { truth, lamp } of signals) {
      if (isOff(truth, state)) state[truth.number] = valueIn(truth, words["put back"]);
      state[lamp.number] = valueIn(lamp, words["at stop"]);
    }
    const why = controller.whyNot(input, moment.state, reasons);
    const spoken = `Alarm: ${plainly(input)}, and nothing explains that${why.length ? `: ${why.join("; ")}` : ""}.`;
    const alarm = `${spoken} All signals go to stop and nothing is thrown. Look at the railway, then start the `
      + "controller again.";
    said.push({ sort: "alarm", text: alarm, spoken });
    return { ...moment, state, alarm, broken: true };
  }

  function moved(moment, event, said) {
    const state = stateAfter(event, moment.state);
    said.push(done(event.text));
    let following = { ...moment, state };
    // What is reported at once comes to the controller as any other report does.
    const atOnce = detected.filter(({ report }) => state[report.number] !== moment.state[report.number]);
    for (const section of atOnce) state[section.report.number] = moment.state[section.report.number];
    if (moment.alarm !== null) return following;
    for (const section of atOnce) {
      if (following.alarm !== null || moment.failing.has(section.name)) continue;
      following = give(following, controller.input("occupied", section.name), said);
    }
    return following;
  }

  function seenTooLate(moment, late, said) {
    const state = [...moment.state];
    for (const { truth } of late) state[truth.number] = valueIn(truth, words["at stop"]);
    said.push(done(passedBy(late)));
    return { ...moment, state };
  }

  // After any move: what detectors say in an alarm, what fails no more, what drivers see.
  function settled(moment) {
    let { state } = moment;
    if (moment.alarm !== null) state = reportedAsIs(state, ({ name }) => moment.failing.has(name));
    const failing = new Set(detected.filter((section) =>
      moment.failing.has(section.name) && isOccupied(section, state) !== isSaid(section, state)).map(({ name }) => name));
    if (moment.broken) {
      state = [...state];
      for (const { truth, lamp } of signals) {
        if (isOff(truth, state) && valueOf(lamp, state) !== valueOf(truth, state)) {
          state[truth.number] = valueIn(truth, words["put back"]);
        }
      }
    }
    return { ...moment, state, failing };
  }

  function perform(moment, move, said) {
    const following = settled(move.input ? give(moment, move.input, said)
      : move.event ? moved(moment, move.event, said) : seenTooLate(moment, move.about, said));
    tellBroken(data, machine, moment.state, following.state, said);
    return following;
  }

  function ask(kind, route, moment) {
    const { state, alarm } = moment;
    if (alarm !== null) return { why: ["the alarm is raised, and nothing is taken in before a start"] };
    const input = controller.input(kind, route);
    const event = controller.reaction(input, state);
    if (event === null) return { why: controller.whyNot(input, state, reasons) };
    // Where no report tells, a person looks before asking.
    if (!isPossible(event, state)) {
      const seen = reasons.whyNot(event, state, event.asked(own[event.number]));
      return { why: [`whoever asks has to look first, as no report tells: ${reasons.listed(seen)}`] };
    }
    return { move: new Move(`i${input.number}`, TURN.asked, null, () => event.text, { input }) };
  }

  // ----------------------------------------------------------- a detector that fails

  // What each detector could say that is not so.
  function falseReports({ state, failing, alarm }) {
    if (alarm !== null) return [];
    return detected.filter(({ name }) => !failing.has(name)).map((section) => {
      const so = isOccupied(section, state);
      const late = so !== isSaid(section, state);
      const what = so ? `${late ? "not reported at all" : "reported clear"}, though it is occupied`
        : `${late ? "stays reported" : "reported"} occupied, though it is clear`;
      return { name: section.name, text: `${section.name} ${what}` };
    });
  }

  function fail(moment, name, said) {
    const section = detected.find((each) => each.name === name);
    const so = isOccupied(section, moment.state);
    const failing = new Set([...moment.failing, name]);
    said.push({ sort: "note", text: `The detector of ${name} fails: it says ${so ? "clear" : "occupied"}.` });
    const broken = { ...moment, failing, broken: true };
    if (so !== isSaid(section, moment.state)) return settled(broken);
    const following = settled(give(broken, controller.input(so ? "clear" : "occupied", name), said));
    tellBroken(data, machine, moment.state, following.state, said);
    return following;
  }

  function mended(moment, name, said) {
    said.push({ sort: "note", text: `The detector of ${name} tells the truth again.` });
    return settled({ ...moment, failing: new Set([...moment.failing].filter((each) => each !== name)) });
  }

  // At power-up, and after an alarm: all that is reported occupied is taken for vehicles that
  // stand, and drives lie where they are reported.
  function started(state) {
    const occupied = detected.filter((section) => isSaid(section, state)).map(({ name }) => name);
    const lies = drives.filter((drive) => reporting.has(drive.name) && liesStill(drive, state))
      .map(({ name, truth }) => [name, machine.text(valueOf(truth, state))]);
    const fresh = controller.start(occupied, lies);
    for (const v of machine.variables) {
      if (v.kind === "track" || v.kind === "drive") fresh[v.number] = state[v.number];
    }
    return { state: fresh, alarm: null, failing: new Set(), broken: false };
  }

  // Somebody has looked, put right what was wrong, and says that no train is moving.
  function startAnew({ state }, said) {
    const rest = [...state];
    for (const v of tracks) {
      if (valueOf(v, state) !== words.clear) rest[v.number] = valueIn(v, words.standing);
    }
    let still = rest;
    for (const event of arrivals) if (isPossible(event, still)) still = stateAfter(event, still);
    const moment = started(reportedAsIs(still));
    const held = detected.filter((section) => isSaid(section, moment.state)).map(({ name }) => name);
    said.push({ sort: "done", text: "Somebody has looked, has put right what was reported wrongly, and says that no "
      + `train is moving. The controller starts: no route is set, and ${held.length
        ? `vehicles stand in ${reasons.listed(held)}` : "no section is occupied"}.` });
    return moment;
  }

  // -------------------------------------------------------------------- what is told

  // What reports tell beside what is so.
  function told({ state, failing }) {
    const rows = sections.map((section) => {
      const so = isOccupied(section, state);
      const said = section.report === null ? null : isSaid(section, state);
      return {
        name: section.name, so, said, failing: failing.has(section.name),
        late: said !== null && said !== so && !failing.has(section.name),
      };
    });
    const shown = signals.map(({ name, truth, lamp }) => ({
      name, route: isOff(lamp, state) ? machine.text(valueOf(lamp, state)) : null,
      taken: isOff(lamp, state) && valueOf(truth, state) !== valueOf(lamp, state),
    }));
    const unsure = drives.filter(({ truth, lying }) => valueOf(truth, state) !== valueOf(lying, state))
      .map(({ lying }) => lying);
    return { sections: rows, signals: shown, unsure };
  }

  return {
    machine, possible, perform, ask, told, falseReports, fail, mended, startAnew, controller,
    route: "progress",
    events: machine.events.filter((e) => own[e.number] === null),
    isAble: (event, moment) => isPossible(event, judged(moment)),
    moveOf: (event) => moveOf(data, event, GROUPS.drive),
    overruns: runAlone(data, machine, reasons).overruns,
    begin: () => started(atStart(machine)),
  };
}
