// The controller, executed: an input in, the next state and what was done at it out. Its
// reactions are events of controller and railway together; what it reads of their guards is
// the beginning. Nothing here knows a rule.

class Controller {
  constructor({ controlled }, machine) {
    const { text } = machine;
    this.machine = machine;
    this.own = controlled.own;
    this.byPeople = new Set(controlled["by people"]);
    this.says = controlled.says;
    this.place = new Map(controlled.steps.map((number, place) => [number, place]));
    this.named = new Map(machine.variables.map((v) => [v.name, v]));
    this.reported = new Map(machine.variables.filter((v) => v.kind === "report").map((v) => [v.of, v]));
    this.lying = new Map(machine.variables.filter((v) => v.kind === "lying").map((v) => [v.of, v]));
    this.inputs = controlled.inputs.map(([kind, of, value, reactions], number) => ({
      number, kind, of: text(of), value: value === null ? null : text(value),
      reactions: reactions.map((each) => machine.events[each]),
      runsFor: kind === "time over" ? { variable: this.named.get(text(of)), value } : null,
    }));
    this.keyed = new Map(this.inputs.map((input) => [this.key(input.kind, input.of, input.value), input]));
  }

  key = (kind, of, value) => JSON.stringify([kind, of, value]);

  input(kind, of, value = null) { return this.keyed.get(this.key(kind, of, value)); }

  // The value of a variable that is called so, by its number.
  valueOf(variable, called) {
    return variable.values.findIndex((value) => this.machine.text(value) === called);
  }

  // The state after the start. occupied: the sections that are reported so. lies: pairs of a
  // drive and the position it is reported in.
  start(occupied = [], lies = []) {
    const state = atStart(this.machine);
    for (const section of occupied) {
      const variable = this.reported.get(section);
      state[variable.number] = variable.values.indexOf(this.says.occupied);
    }
    for (const [drive, position] of lies) {
      const variable = this.lying.get(drive);
      state[variable.number] = this.valueOf(variable, position);
    }
    return state;
  }

  // Whether an input tells something that the state does not say already.
  isNew({ kind, of, runsFor }, state) {
    if (this.says[kind] !== undefined) {
      const variable = this.reported.get(of);
      return variable.values[state[variable.number]] !== this.says[kind];
    }
    return runsFor === null || runsFor.variable.values[state[runsFor.variable.number]] === runsFor.value;
  }

  // Whether the controller may do something, for all it knows.
  isAble(event, state) {
    const { guards } = this.machine;
    const from = guards.from[event.number];
    for (let n = from; n < from + this.own[event.number]; n += 1) {
      if (!holds(this.machine, guards.numbers[n], state)) return false;
    }
    return true;
  }

  reaction(input, state) { return input.reactions.find((event) => this.isAble(event, state)) ?? null; }

  // What comes of an input: "done", "refused", "alarm" or "nothing new"; the state after it,
  // and the reaction with the steps that were done.
  react(input, state) {
    if (!this.isNew(input, state)) return { outcome: "nothing new", state, done: [] };
    const reaction = this.reaction(input, state);
    if (reaction === null) {
      return { outcome: this.byPeople.has(input.kind) ? "refused" : "alarm", state, done: [] };
    }
    const done = [reaction];
    let following = stateAfter(reaction, state);
    // In their order, again and again: the next one after the last, or else the first.
    const placeOf = ({ number }) => this.place.get(number);
    for (let last = -1; ;) {
      const able = allPossible(this.machine, following, (event) => this.place.has(event.number))
        .sort((a, b) => placeOf(a) - placeOf(b));
      const step = able.find((event) => placeOf(event) > last) ?? able[0];
      if (!step) break;
      following = stateAfter(step, following);
      done.push(step);
      last = placeOf(step);
    }
    return { outcome: "done", state: following, done };
  }

  // The reaction that lacks least, and what is the case instead; by the reasons of reasons.js.
  whyNot(input, state, reasons) {
    if (!input.reactions.length) return [];
    const lacks = (event) => unmet(event, state, this.own[event.number]);
    const nearest = input.reactions.reduce((a, b) => (lacks(b) < lacks(a) ? b : a));
    return reasons.whyNot(nearest, state, nearest.asked(0, this.own[nearest.number]));
  }
}
