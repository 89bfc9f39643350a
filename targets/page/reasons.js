// Why an event may not happen: of each condition that is not met, what is the case instead.
// The words for what a variable says come from the compiler; here they are put together.

function makeReasons(data, machine) {
  const { words, facts } = data;
  const which = new Map(words.which.map(([stage, said]) => [stage, machine.text(said)]));
  const valueOf = (literal, state) =>
    machine.variables[literal.variable].values[state[literal.variable]];

  function fact(variable, value, right) {
    const told = facts[variable.number];
    let sort = 0;
    if (variable.kind === "track" && right) {
      const clear = variable.values.indexOf(words.clear);
      const many = right.reduce((sum, one) => sum + one, 0);
      if (many > (right[clear] ? 1 : 0)) sort = right[clear] ? 1 : 2;
    }
    return machine.text(told[sort][value]);
  }

  // What a controller's variable tells of in the machine, and is spoken of alike.
  const KNOWN_OF = { progress: "route", lamp: "signal", lying: "drive" };

  function listed(names) {
    if (names.length < 2) return names.join("");
    return `${names.slice(0, -1).join(", ")} and ${names[names.length - 1]}`;
  }

  // Facts of which one would have had to be otherwise, as one sentence.
  function joined(literals, told, state) {
    const kinds = literals.map((literal) => {
      const { kind } = machine.variables[literal.variable];
      return KNOWN_OF[kind] ?? kind;
    });
    const named = (kind) => literals
      .filter((_, k) => kinds[k] === kind)
      .map((x) => [machine.variables[x.variable].of, valueOf(x, state)]);
    const routes = named("route");
    const held = named("held");
    if (routes.length === 1 && held.every(([, v]) => machine.text(v) === routes[0][0])) {
      const [route, stage] = routes[0];
      const whose = `${route}, ${which.get(stage) ?? machine.text(words["under way"])}`;
      const rest = kinds.slice(1).sort().join();
      if (kinds[0] === "drive" && (rest === "route" || rest === "held,route")) {
        return `${told[0]} and is kept so for ${whose}`;
      }
      if ([...kinds].sort().join() === "held,route") return `${held[0][0]} is held for ${whose}`;
    }
    return listed([...new Set(told)]);
  }

  // Sentences without their full stops; none if the event may happen. guard: of its conditions
  // those that are asked about.
  function whyNot(event, state, guard = event.guard) {
    const alone = new Set();
    const said = new Map();
    const together = new Map();
    for (const clause of guard) {
      if (clause.some((x) => x.right[state[x.variable]])) continue;
      const told = clause.map((x) =>
        fact(machine.variables[x.variable], state[x.variable], x.right));
      if (clause.length > 1) {
        const key = [...new Set(told)].sort().join("\n");
        if (!together.has(key)) together.set(key, [told, joined(clause, told, state)]);
        continue;
      }
      const [literal] = clause;
      const variable = machine.variables[literal.variable];
      const value = valueOf(literal, state);
      const request = event.kind === "request";
      // It holds its sections for itself, being set.
      if (request && variable.kind === "held" && value === event.route) continue;
      alone.add(told[0]);
      let [sentence] = told;
      let same = sentence;
      const clear = variable.values.indexOf(words.clear);
      if (request && variable.of === machine.text(event.route) && value === words.set) {
        same = sentence = `${variable.of} is set already`;
      } else if (variable.kind === "held" && value !== words.free) {
        same = `held for ${machine.text(value)}`;
      } else if (variable.kind === "track" && literal.right[clear] &&
                 literal.right.reduce((sum, one) => sum + one, 0) === 1) {
        same = "not clear";
      }
      if (!said.has(same)) said.set(same, new Map());
      said.get(same).set(variable.of, sentence);
    }
    const reasons = [...said].map(([same, of]) =>
      of.size > 1 ? `${listed([...of.keys()])} are ${same}` : [...of.values()][0]);
    for (const [told, sentence] of together.values()) {
      if (!told.some((each) => alone.has(each))) reasons.push(sentence);
    }
    return reasons;
  }

  // What is the case, and no condition asks.
  const plainly = (variable, state) => machine.text(facts[variable.number][0][state[variable.number]]);

  return { whyNot, plainly, listed };
}
