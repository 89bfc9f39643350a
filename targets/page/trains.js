// Trains have names here, of which the machine knows nothing: it does not tell one train from
// another. A name goes with the front of a train, from one state to the next, and stays with it while
// it stands without an engine. Names belong to what is seen of a moment, and change nothing in it.
// Each train gets one when it appears; whoever sits at the page may give it another.

const LONGEST_NAME = 24; // letters: it stands in the picture
const IS_NAMED = " is named ";

class Train {
  // number: how many there were when it appeared. chosen: whether somebody has named it.
  constructor(number, name, chosen = false) {
    Object.assign(this, { number, name, chosen });
  }
}

class Trains {
  // named: each train by the number of the track's variable. last: how many there were so far.
  constructor(named = new Map(), last = 0) {
    this.named = named;
    this.last = last;
  }
}

function makeTrains(data, machine) {
  const tracks = machine.variables.filter((v) => v.kind === "track");
  const fronts = new Map(tracks.map((v, k) => [v.number, new Set(data.track[k][2])]));
  const isFront = (number, state) => fronts.get(number).has(state[number]);
  const stands = ({ number, values }, state) => values[state[number]] === data.words.standing;

  // The names after something has happened. What was in one place and is now in another is one
  // train; what was nowhere gets a new name, if its front is there.
  function after({ named, last }, state) {
    const found = new Map();
    const gone = [];
    for (const [number, train] of named) {
      const v = machine.variables[number];
      if (isFront(number, state) || stands(v, state)) found.set(number, train);
      else gone.push(train);
    }
    let count = last;
    const isTaken = (name) => [...named.values(), ...found.values()].some((train) => train.name === name);
    const next = () => {
      do count += 1; while (isTaken(`Train ${count}`));
      return new Train(count, `Train ${count}`);
    };
    for (const { number } of tracks) {
      if (found.has(number) || !isFront(number, state)) continue;
      found.set(number, gone.shift() ?? next());
    }
    return new Trains(found, count);
  }

  // The variable of the train that an event is about: the one whose front it takes on, or that it
  // turns back, couples or takes off; null if it is about none that has a name.
  function of(event, { state, trains }) {
    let about = null;
    for (const change of event.machine.updates.row(event.number)) {
      const [number, ...pairs] = event.machine.changes.row(change);
      if (!trains.named.has(number)) continue;
      const k = pairs.findIndex((value, n) => n % 2 === 0 && value === state[number]);
      if (k < 0) continue;
      if (!fronts.get(number).has(pairs[k + 1])) return number;
      about ??= number;
    }
    return about;
  }

  // What runs the railway, with names for the trains in each of its moments.
  function withNames(run) {
    const first = (moment) => ({ ...moment, trains: after(new Trains(), moment.state) });
    const next = (before, moment) => ({ ...moment, trains: after(before.trains, moment.state) });
    const named = { ...run, begin: () => first(run.begin()) };
    for (const act of ["fail", "mended", "startAnew"]) {
      if (run[act]) named[act] = (moment, ...rest) => next(moment, run[act](moment, ...rest));
    }
    // What a train does that somebody has named is told with its name.
    named.perform = (moment, move, said) => {
      const first = said.length;
      const following = next(moment, run.perform(moment, move, said));
      const train = move.event ? moment.trains.named.get(of(move.event, moment)) : null;
      if (train?.chosen) said[first] = done(`${train.name}: ${move.event.text}`);
      return following;
    };
    return named;
  }

  // What is wrong with a name for the train at a place, as a sentence; null if nothing is.
  function wrongName(name, number, { trains: { named } }) {
    if (!name) return "A train needs a name.";
    if (name.length > LONGEST_NAME) return `A name has ${LONGEST_NAME} letters at most.`;
    if (` ${name} `.includes(IS_NAMED)) return "A name cannot have “is named” in it.";
    const taken = [...named].some(([other, train]) => other !== number && train.name === name);
    return taken ? `Another train is named ${name}.` : null;
  }

  // The moment in which the train at a place has another name.
  function renamed(moment, number, name) {
    const { named, last } = moment.trains;
    const train = new Train(named.get(number).number, name, true);
    return { ...moment, trains: new Trains(new Map(named).set(number, train), last) };
  }

  const naming = (train, name) => `${train.name}${IS_NAMED}${name}`;

  // The moment after what a comment of a script tells of a train's name; null if it tells of none.
  function namedBy(text, moment) {
    for (const [number, train] of moment.trains.named) {
      const name = text.startsWith(naming(train, "")) ? text.slice(naming(train, "").length) : null;
      if (name !== null && !wrongName(name, number, moment)) return renamed(moment, number, name);
    }
    return null;
  }

  return {
    of, withNames, wrongName, renamed, naming, namedBy, place: (number) => machine.variables[number].of,
  };
}
