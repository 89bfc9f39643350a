// Trains have names here, of which the machine knows nothing: it does not tell one train from
// another. A name goes with the front of a train, from one state to the next, and stays with it while
// it stands without an engine. Names belong to what is seen of a moment, and change nothing in it.

class Trains {
  // named: names by the number of the track's variable. last: how many names were given so far.
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
    for (const [number, name] of named) {
      const v = machine.variables[number];
      if (isFront(number, state) || stands(v, state)) found.set(number, name);
      else gone.push(name);
    }
    let count = last;
    for (const { number } of tracks) {
      if (found.has(number) || !isFront(number, state)) continue;
      found.set(number, gone.shift() ?? `Train ${count += 1}`);
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
    for (const act of ["perform", "fail", "mended", "startAnew"]) {
      if (run[act]) named[act] = (moment, ...rest) => next(moment, run[act](moment, ...rest));
    }
    return named;
  }

  return { of, withNames, place: (number) => machine.variables[number].of, number: (name) => Number(name.split(" ")[1]) };
}
