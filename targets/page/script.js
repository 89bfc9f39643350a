// A session as a script: one line for each thing that happened, which does that and nothing else.
// What `save` writes at the prompt of `bellcrank rehearse` is read here, and what is written here is
// played there, but for sessions with the controller, whose reports only this page knows. The names of
// trains, which only this page has, stand in comments: `# Train 1 is named Mail`.

const BY_CONTROLLER = "run by the controller";
const STARTED = "the controller is started again";
const SEEN_TOO_LATE = "signals that have gone to stop are seen by all";
const LONG = { "trains are long": true, "trains are short": false };

// What comes in to a controller, said so that no two inputs are said alike.
const INPUT_LINES = {
  occupied: ({ of }) => `${of} is reported occupied`,
  clear: ({ of }) => `${of} is reported clear`,
  lies: ({ of, value }) => `${of} is reported to lie ${value}`,
  "time over": ({ of, value }) => `the time of ${of} at ${value} is over`,
  request: ({ of }) => `request ${of}`,
  cancel: ({ of }) => `cancel ${of}`,
  "confirm passed": ({ of }) => `it is confirmed that the train of ${of} has passed its signal`,
  "confirm arrived": ({ of }) => `it is confirmed that the train of ${of} has arrived whole`,
};

const failing = (section) => `the detector of ${section} fails`;
const mended = (section) => `the detector of ${section} tells the truth again`;

// What is wrong with a script, as a sentence that names the line.
class ScriptError extends Error {}

function makeScript(data, runs, reasons, trains) {
  const told = new Map(); // of each run its events by sentence and by name

  function eventsOf(run) {
    if (!told.has(run)) {
      const bySentence = new Map();
      const byName = new Map();
      for (const event of run.events) {
        if (!bySentence.has(event.text)) bySentence.set(event.text, []);
        bySentence.get(event.text).push(event);
        byName.set(event.name, event);
      }
      told.set(run, { bySentence, byName });
    }
    return told.get(run);
  }

  // The line that does a move at a moment, and no other.
  function lineOf(run, { event, input, about }, moment) {
    if (input) return INPUT_LINES[input.kind](input);
    if (about) return SEEN_TOO_LATE;
    if (["request", "cancel"].includes(event.kind)) return `${event.kind} ${event.of}`;
    const alike = eventsOf(run).bySentence.get(event.text).filter((each) => run.isAble(each, moment));
    return alike.length === 1 ? event.text : `event ${event.name}`;
  }

  // ---------------------------------------------------------------- reading

  // What a line does: a function that takes a moment and what was said, and gives the next moment.
  function doing(run, line, moment) {
    const asked = /^(request|cancel) (.*)$/.exec(line);
    if (asked) {
      if (!data.routes.some(({ name }) => name === asked[2])) throw new ScriptError(`there is no route \`${asked[2]}\``);
      const { move, why } = run.ask(asked[1], asked[2], moment);
      if (!move) throw new ScriptError(why.join("; "));
      return (said) => run.perform(moment, move, said);
    }
    if (run.controller) {
      const hand = byHand(run, line, moment);
      if (hand) return hand;
    }
    const { bySentence, byName } = eventsOf(run);
    const named = /^event (.*)$/.exec(line);
    const events = named ? [byName.get(named[1])].filter(Boolean) : bySentence.get(line) ?? [];
    if (!events.length) {
      throw new ScriptError(`\`${line}\` is no single event, and this page plays nothing else. In \`bellcrank rehearse\`, `
        + "`load` a script and `save` it, and it is written event by event");
    }
    const able = events.filter((event) => run.isAble(event, moment));
    if (!able.length) throw new ScriptError(`that cannot happen then: ${reasons.whyNot(events[0], moment.state).join("; ")}`);
    const after = able.map((event) => stateAfter(event, moment.state).join());
    if (after.some((each) => each !== after[0])) throw new ScriptError("more than one thing may happen; `event` and its name say which");
    return (said) => run.perform(moment, run.moveOf(able[0]), said);
  }

  // What only a session with a controller has: reports, detectors that fail, starts.
  function byHand(run, line, moment) {
    if (line === STARTED && moment.alarm !== null) return (said) => run.startAnew(moment, said);
    for (const { name } of run.falseReports(moment)) {
      if (line === failing(name)) return (said) => run.fail(moment, name, said);
    }
    for (const name of moment.failing) {
      if (line === mended(name)) return (said) => run.mended(moment, name, said);
    }
    const given = run.possible(moment, [TURN.report, TURN.driveTime, TURN.time, TURN.confirmation])
      .find((move) => !move.event && lineOf(run, move, moment) === line);
    return given ? (said) => run.perform(moment, given, said) : null;
  }

  function atFirst(run, line, moment) {
    const [, drive, position] = /^at first (\S+) lies (\S+)$/.exec(line) ?? [];
    const v = run.machine.variables.find((each) => each.kind === "drive" && each.of === drive);
    const value = v?.values.findIndex((each) => run.machine.text(each) === position) ?? -1;
    if (!v?.initial.includes(value)) throw new ScriptError(`\`${line}\` names no drive and position to begin with`);
    const state = [...moment.state];
    state[v.number] = value;
    return { ...moment, state };
  }

  // Plays a script from the start. Lines that stand together are one act; what stands before them
  // as a comment tells which.
  function play(text) {
    let name = "alone";
    let moment = null;
    let long = false;
    let apart = true;
    let label = null;
    const session = { acts: [], first: [], skipped: 0 };
    const rows = text.replace(/^\ufeff/, "").split(/\r?\n/);
    rows.forEach((row, k) => {
      const line = row.replace(/#.*/, "").trim().replace(/\s+/g, " ");
      if (!line) {
        apart = true;
        label = /^\s*#\s*(.*\S)/.exec(row)?.[1] ?? null;
        const named = label && moment ? trains.namedBy(label, moment) : null;
        if (!named) return;
        session.acts.push({ label, before: moment, lines: [], said: [done(label)] });
        moment = named;
        label = null;
        return;
      }
      try {
        if (line === BY_CONTROLLER) {
          if (moment) throw new ScriptError("this belongs before all else");
          if (!runs.controlled) throw new ScriptError("this page has no controller");
          name = "controlled";
          return;
        }
        const run = runs[name];
        moment ??= run.begin();
        if (line.startsWith("expect ")) session.skipped += 1;
        else if (LONG[line] !== undefined) long = LONG[line];
        else if (line.startsWith("at first ")) {
          if (session.acts.length || run.controller) throw new ScriptError("this belongs before all else, in a session without a controller");
          session.first.push(line);
          moment = atFirst(run, line, moment);
        } else {
          const said = [];
          const before = moment;
          moment = doing(run, line, moment)(said);
          if (apart || !session.acts.length) session.acts.push({ label: label ?? line, before, lines: [], said: [] });
          const act = session.acts[session.acts.length - 1];
          act.lines.push(line);
          act.said.push(...said);
          apart = false;
          label = null;
        }
      } catch (error) {
        if (error instanceof ScriptError) error.message = `Line ${k + 1}: ${error.message}.`;
        throw error;
      }
    });
    return { ...session, name, long, moment: moment ?? runs[name].begin() };
  }

  // ---------------------------------------------------------------- writing

  function written({ name, first, acts, long }) {
    const rows = [`# ${data.title}: a session`];
    if (name === "controlled") rows.push(BY_CONTROLLER);
    rows.push(...first);
    for (const { label, lines } of acts) {
      rows.push("");
      if (lines.length > 1 || lines[0] !== label) rows.push(`# ${label}`);
      rows.push(...lines);
    }
    if (long) rows.push("", "trains are long");
    return `${rows.join("\n")}\n`;
  }

  return { lineOf, play, written };
}
