"use strict";
// The machine as the compiler packed it, and what executes it. Nothing here knows a rule:
// look up a value in a set, look up what it becomes. A state is an array with the number
// of a value for every variable. A large station has a hundred thousand conditions, so they
// stay numbers in rows and are made into objects only where somebody asks for one.

// Rows of numbers, end to end.
class Rows {
  constructor(lengths, numbers) {
    this.numbers = numbers;
    this.from = new Int32Array(lengths.length + 1);
    lengths.forEach((length, k) => { this.from[k + 1] = this.from[k] + length; });
  }
  get count() { return this.from.length - 1; }
  row(k) { return this.numbers.subarray(this.from[k], this.from[k + 1]); }
}

const asTheyAre = ({ lengths, numbers }) => new Rows(lengths, Int32Array.from(numbers));

// Numbers that were counted back from the first that was not named yet.
function forward({ lengths, numbers }) {
  let upcoming = 0;
  return new Rows(lengths, Int32Array.from(numbers, (back) => {
    const number = upcoming - back;
    if (number >= upcoming) upcoming = number + 1;
    return number;
  }));
}

// Rows of which each says only what it has more than the one before, place by place.
function summed(flat) {
  const rows = asTheyAre(flat);
  const { from, numbers } = rows;
  for (let k = 1; k < rows.count; k += 1) {
    const both = Math.min(from[k] - from[k - 1], from[k + 1] - from[k]);
    for (let n = 0; n < both; n += 1) numbers[from[k] + n] += numbers[from[k - 1] + n];
  }
  return rows;
}

// Gives the text of a phrase by its number: its form with the words in the gaps.
function phraseBook({ words, forms, phrases }) {
  const rows = summed(phrases);
  const known = new Array(rows.count);
  return (number) => {
    if (number === null) return null;
    if (known[number] === undefined) {
      const [form, ...left] = rows.row(number);
      let k = 0;
      known[number] = forms[form].replace(/%/g, () => words[left[k++]]);
    }
    return known[number];
  };
}

// Literals as two lists, of their variables and of where the values begin that are right:
// `right` has a 1 or 0 for each value of the variable.
function literalsOf(packed, variables) {
  const rows = asTheyAre(packed);
  const variable = new Int32Array(rows.count);
  const lengths = new Int32Array(rows.count);
  for (let k = 0; k < rows.count; k += 1) {
    const first = rows.numbers[rows.from[k]];
    variable[k] = first < 0 ? -1 - first : first;
    lengths[k] = variables[variable[k]].values.length;
  }
  const { from, numbers: right } = new Rows(lengths, new Uint8Array(lengths.reduce((a, b) => a + b, 0)));
  for (let k = 0; k < rows.count; k += 1) {
    const wrong = rows.numbers[rows.from[k]] < 0;
    if (wrong) right.fill(1, from[k], from[k + 1]);
    for (let n = rows.from[k] + 1; n < rows.from[k + 1]; n += 1) {
      right[from[k] + rows.numbers[n]] = wrong ? 0 : 1;
    }
  }
  return { variable, from, right };
}

class MachineEvent {
  constructor(machine, number) {
    this.machine = machine;
    this.number = number;
    this.turn = machine.turns[number];
  }
  get kind() { return this.machine.text(this.machine.named.kind[this.number]); }
  get actor() { return this.machine.text(this.machine.named.actor[this.number]); }
  get of() { return this.machine.text(this.machine.named.of[this.number]); }
  get route() { return this.machine.named.route[this.number]; }
  get name() { return this.machine.text(this.machine.texts.row(this.number)[0]); }
  get text() { return this.machine.text(this.machine.texts.row(this.number)[1]); }
  // The conditions: each a list of a variable and which of its values are right.
  get guard() { return this.asked(); }
  asked(from = 0, to = undefined) {
    const { literals, clauses, guards } = this.machine;
    return [...guards.row(this.number).slice(from, to)].map((clause) => [...clauses.row(clause)].map((k) => ({
      variable: literals.variable[k], right: literals.right.subarray(literals.from[k], literals.from[k + 1]),
    })));
  }
}

// What stands in a file: the machine, and under `together` that of the railway with its
// controller, or null. The two have rows and the first variables in common.
function unpacked(data) {
  const { machine: packed } = data;
  const text = phraseBook(data.phrases);
  const every = packed.variables.map(([name, kind, of, values, initial], number) => ({
    number, name: text(name), kind: text(kind), of: text(of), values, initial,
  }));
  const shared = {
    text,
    literals: literalsOf(packed.literals, every),
    clauses: forward(packed.clauses),
    changes: asTheyAre(packed.changes),
  };
  const texts = forward(packed.texts);
  const guards = forward(packed.guards);
  const updates = forward(packed.updates);
  const count = packed.events.kind.length;
  // Rows of guards and texts: first those of the events, then those of what must always hold.
  const stated = packed.invariants.length;
  Object.assign(shared, {
    invariant: (k) => ({ of: text(packed.invariants[k]), sentence: text(texts.row(count + k)[0]) }),
    clauseOf: (k) => guards.numbers[guards.from[count + k]],
  });
  shared.statedOf = statedOf({ ...shared, variables: every }, stated);
  const machine = executable({
    ...shared, variables: every.slice(0, packed.together?.variables), named: packed.events,
    texts, guards, updates, turns: data.turns, passes: data.passes,
  });
  machine.together = null;
  if (packed.together) {
    const { base, events } = packed.together;
    const from = count + stated;
    const named = Object.fromEntries(Object.entries(events).map(([field, own]) => {
      let next = 0;
      return [field, base.map((number) => (number === null ? own[next++] : packed.events[field][number]))];
    }));
    machine.together = executable({
      ...shared, variables: every, named,
      texts: continued(texts, base, from),
      guards: continued(guards, base, from),
      updates: continued(updates, base, from - stated),
      turns: data.controlled.turns, passes: data.controlled.passes,
    });
  }
  return machine;
}

function executable(machine) {
  machine.events = machine.named.kind.map((_, number) => new MachineEvent(machine, number));
  machine.waiting = waiting(machine);
  return machine;
}

// Rows that go on where others leave off. base: of each the number of the row it continues,
// or null. from: the first of what they have more.
function continued(rows, base, from) {
  const before = base.map((number) => (number === null ? [] : rows.row(number)));
  const found = new Rows(before.map((row, k) => row.length + rows.row(from + k).length), null);
  found.numbers = new Int32Array(found.from[base.length]);
  before.forEach((row, k) => {
    found.numbers.set(row, found.from[k]);
    found.numbers.set(rows.row(from + k), found.from[k] + row.length);
  });
  return found;
}

// So many rows, filled from pairs of a row and a number. each: hands every pair to what it
// is given, and is called twice.
function filed(count, each) {
  const lengths = new Int32Array(count);
  each((row) => { lengths[row] += 1; });
  const rows = new Rows(lengths, new Int32Array(lengths.reduce((a, b) => a + b, 0)));
  const next = rows.from.slice();
  each((row, number) => { rows.numbers[next[row]++] = number; });
  return rows;
}

// For each variable what must always hold and speaks of it.
const statedOf = ({ literals, clauses, variables, clauseOf }, count) => filed(variables.length, (file) => {
  for (let k = 0; k < count; k += 1) {
    const clause = clauseOf(k);
    for (let n = clauses.from[clause]; n < clauses.from[clause + 1]; n += 1) {
      file(literals.variable[clauses.numbers[n]], k);
    }
  }
});

// Few events can happen in a state: each is looked at only where its narrowest condition on
// one variable is met. rows: the events of each value of each variable, of[variable] being
// the row of its first value. always: events without such a condition.
function waiting({ literals, clauses, guards, variables, events }) {
  const of = new Rows(variables.map((v) => v.values.length), null).from;
  const widths = literals.variable.map((_, k) => {
    let width = 0;
    for (let n = literals.from[k]; n < literals.from[k + 1]; n += 1) width += literals.right[n];
    return width;
  });
  const always = [];
  const narrowest = events.map(({ number }) => {
    let found = -1;
    for (let n = guards.from[number]; n < guards.from[number + 1]; n += 1) {
      const first = clauses.from[guards.numbers[n]];
      if (clauses.from[guards.numbers[n] + 1] !== first + 1) continue;
      const k = clauses.numbers[first];
      if (found < 0 || widths[k] < widths[found]) found = k;
    }
    if (found < 0) always.push(number);
    return found;
  });
  const rows = filed(of[variables.length], (file) => narrowest.forEach((k, number) => {
    if (k < 0) return;
    for (let n = literals.from[k]; n < literals.from[k + 1]; n += 1) {
      if (literals.right[n]) file(of[literals.variable[k]] + n - literals.from[k], number);
    }
  }));
  return { rows, of, always };
}

const atStart = (machine) => machine.variables.map((v) => v.initial[0]);

// Whether a clause, by its number, is true: if one of its literals is.
function holds({ literals, clauses }, clause, state) {
  for (let n = clauses.from[clause]; n < clauses.from[clause + 1]; n += 1) {
    const k = clauses.numbers[n];
    if (literals.right[literals.from[k] + state[literals.variable[k]]]) return true;
  }
  return false;
}

function isPossible({ machine, number }, state) {
  const { from, numbers } = machine.guards;
  for (let n = from[number]; n < from[number + 1]; n += 1) {
    if (!holds(machine, numbers[n], state)) return false;
  }
  return true;
}

// The events that may happen, in their order. asked: which are asked about.
function allPossible({ events, waiting }, state, asked = () => true) {
  const { rows, of, always } = waiting;
  const isAble = (event) => asked(event) && isPossible(event, state);
  const able = always.filter((number) => isAble(events[number]));
  for (let variable = 0; variable < state.length; variable += 1) {
    const row = of[variable] + state[variable];
    for (let n = rows.from[row]; n < rows.from[row + 1]; n += 1) {
      if (isAble(events[rows.numbers[n]])) able.push(rows.numbers[n]);
    }
  }
  return able.sort((a, b) => a - b).map((number) => events[number]);
}

// How many conditions of an event are not met. to: how many are looked at.
const unmet = ({ machine, number }, state, to = undefined) =>
  machine.guards.row(number).slice(0, to).reduce((sum, clause) => sum + !holds(machine, clause, state), 0);

function stateAfter({ machine, number }, state) {
  const following = [...state];
  for (const change of machine.updates.row(number)) {
    const [variable, ...pairs] = machine.changes.row(change);
    for (let k = 0; k < pairs.length; k += 2) {
      if (pairs[k] === state[variable]) following[variable] = pairs[k + 1];
    }
  }
  return following;
}

// What must always hold and has become false from one state to the next.
function newlyBroken(machine, state, following) {
  const broken = new Set();
  following.forEach((value, variable) => {
    if (value === state[variable]) return;
    for (const k of machine.statedOf.row(variable)) {
      const clause = machine.clauseOf(k);
      if (!holds(machine, clause, following) && holds(machine, clause, state)) broken.add(k);
    }
  });
  return [...broken].map(machine.invariant);
}
