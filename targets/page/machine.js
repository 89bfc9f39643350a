"use strict";
// The machine as the compiler packed it, and what executes it. Nothing here knows a rule:
// look up a value in a set, look up what it becomes. A state is an array with the number
// of a value for every variable.

// Numbers that were counted back from the first that was not named yet.
function forward(rows) {
  let upcoming = 0;
  return rows.map((row) => row.map((back) => {
    const number = upcoming - back;
    if (number >= upcoming) upcoming = number + 1;
    return number;
  }));
}

// Rows of which each says only what it has more than the one before, place by place.
function summed(rows) {
  let before = [];
  return rows.map((row) => {
    before = row.map((more, k) => more + (before[k] ?? 0));
    return before;
  });
}

function unpacked(data) {
  const { words, forms } = data.phrases;
  const phrases = summed(data.phrases.phrases);
  const known = new Array(phrases.length);
  // The text of a phrase: its form with the words in the gaps.
  const text = (number) => {
    if (number === null) return null;
    if (known[number] === undefined) {
      const [form, ...left] = phrases[number];
      let k = 0;
      known[number] = forms[form].replace(/%/g, () => words[left[k++]]);
    }
    return known[number];
  };
  const packed = data.machine;
  const variables = packed.variables.map(([name, kind, of, values, initial], number) => ({
    number, name: text(name), kind: text(kind), of: text(of), values, initial,
  }));
  const literals = packed.literals.map(([variable, ...listed]) => {
    const wrong = variable < 0;
    const of = wrong ? -1 - variable : variable;
    const right = new Uint8Array(variables[of].values.length).fill(wrong ? 1 : 0);
    for (const value of listed) right[value] = wrong ? 0 : 1;
    return { variable: of, right };
  });
  const clauses = forward(packed.clauses).map((clause) => clause.map((k) => literals[k]));
  const texts = forward(packed.texts);
  const guards = forward(packed.guards).map((guard) => guard.map((k) => clauses[k]));
  const updates = forward(packed.updates).map((each) => each.map((k) => packed.changes[k]));
  const events = packed.events.map(([kind, actor, of, route], number) => ({
    number, kind: text(kind), actor: text(actor), of: text(of), route,
    guard: guards[number], changes: updates[number], turn: data.turns[number],
    get name() { return text(texts[number][0]); },
    get text() { return text(texts[number][1]); },
  }));
  const invariants = packed.invariants.map((of, k) => ({
    of: text(of), clause: guards[events.length + k][0],
    get sentence() { return text(texts[events.length + k][0]); },
  }));
  return { text, variables, events, invariants, ...indexed(variables, events, invariants) };
}

// Few events can happen in a state: each is looked at only where its narrowest condition
// on one variable is met.
function indexed(variables, events, invariants) {
  const byValue = variables.map((v) => v.values.map(() => []));
  const always = [];
  const size = (literal) => literal.right.reduce((sum, one) => sum + one, 0);
  for (const event of events) {
    const units = event.guard.filter((clause) => clause.length === 1).map((clause) => clause[0]);
    if (!units.length) {
      always.push(event.number);
      continue;
    }
    const narrow = units.reduce((a, b) => (size(b) < size(a) ? b : a));
    narrow.right.forEach((one, value) => {
      if (one) byValue[narrow.variable][value].push(event.number);
    });
  }
  const statedOf = variables.map(() => []);
  for (const invariant of invariants) {
    for (const variable of new Set(invariant.clause.map((literal) => literal.variable))) {
      statedOf[variable].push(invariant);
    }
  }
  return { byValue, always, statedOf };
}

const atStart = (machine) => machine.variables.map((v) => v.initial[0]);

const holds = (clause, state) => clause.some((literal) => literal.right[state[literal.variable]]);

const isPossible = (event, state) => event.guard.every((clause) => holds(clause, state));

function allPossible(machine, state) {
  const numbers = [...machine.always];
  state.forEach((value, variable) => numbers.push(...machine.byValue[variable][value]));
  numbers.sort((a, b) => a - b);
  return numbers.map((k) => machine.events[k]).filter((event) => isPossible(event, state));
}

function stateAfter(event, state) {
  const following = [...state];
  for (const [variable, ...pairs] of event.changes) {
    for (let k = 0; k < pairs.length; k += 2) {
      if (pairs[k] === state[variable]) following[variable] = pairs[k + 1];
    }
  }
  return following;
}

// What must always hold and has become false from one state to the next.
function newlyBroken(machine, state, following) {
  const touched = new Set();
  following.forEach((value, variable) => {
    if (value !== state[variable]) machine.statedOf[variable].forEach((i) => touched.add(i));
  });
  return [...touched].filter((i) => !holds(i.clause, following) && holds(i.clause, state));
}
