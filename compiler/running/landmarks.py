"""How much there still is to do, at least: sets of events of each of which one must happen.

What has once been true is taken to stay true (the delete relaxation of planning). In that easier
machine landmarks are found as cuts of a graph in which each event hangs on the condition that is
reachable last: LM-cut, by M. Helmert and C. Domshlak, "Landmarks, critical paths and abstractions:
what's the difference anyway?", ICAPS 2009. No event is in two of the sets, so there are at
least as many events to come as sets: a bound that never says too much. Where nothing is
reachable even so, nothing is in the machine itself, which is a proof.

Sets that were found in a state are still good in the one after an event which is in none of
them, and but for one where it is in one (F. Pommerening and M. Helmert, "Incremental LM-cut", ICAPS
2013), so that in most states next to nothing is left to be found.
"""

from __future__ import annotations

from collections.abc import Container, Sequence

from bellcrank.running.packed import Encoding, PackedClause, PackedEvent

Landmark = frozenset[int]
"""Events of which one at least must still happen, by their numbers."""

_NEVER = 1 << 30


class Relaxation:
    """A machine made ready to be asked how much there still is to do.

    Its nodes are facts, each that a variable has a value; clauses, true with any of their facts;
    events, which happen with all of their clauses; and what is wished.
    """

    def __init__(
        self,
        encoding: Encoding,
        events: Sequence[PackedEvent],
        at_a_cost: Container[int],
        wished: Sequence[Sequence[PackedClause]],
    ) -> None:
        """at_a_cost: the events that count, by their numbers; each counts one.
        wished: ways in which what is wished can hold, each all of some clauses."""
        self._first = [0]
        for values in encoding.values:
            self._first.append(self._first[-1] + len(values))
        facts = self._first[-1]
        self._clause_of: list[list[int]] = [[] for _ in range(facts)]
        self._members: dict[int, list[int]] = {}
        self._known: dict[PackedClause, int] = {}
        self._nodes = facts
        # Operations: all of some nodes make another true, at a cost.
        self._needs: list[list[int]] = []
        self._makes: list[int] = []
        self._cost: list[int] = []
        self._event: list[int] = []
        self.operation_of: dict[int, int] = {}
        for event in events:
            happened = self._new_node()
            conditions = [self._clause((unit,)) for unit in event.conditions]
            needs = [*conditions, *map(self._clause, event.guard)]
            self.operation_of[event.number] = len(self._makes)
            self._operation(needs, happened, int(event.number in at_a_cost), event.number)
            units = dict(event.conditions)
            for variable, pairs in event.changes:
                allowed = units.get(variable, encoding.full[variable])
                for olds, new in pairs:
                    old = olds & allowed
                    if not old:
                        continue
                    to = self._first[variable] + new.bit_length() - 1
                    needs = [happened]
                    if allowed & ~olds:
                        needs.append(self._clause(((variable, old),)))
                    self._operation(needs, to, 0, -1)
        self._goal = self._new_node()
        for clauses in wished:
            self._operation([self._clause(c) for c in clauses], self._goal, 0, -1)
        self._clause_of += [[] for _ in range(self._nodes - facts)]
        self._ready = [n for n, needs in enumerate(self._needs) if not needs]
        self._count = [len(needs) for needs in self._needs]
        self._with: list[list[int]] = [[] for _ in range(self._nodes)]
        self._making: list[list[int]] = [[] for _ in range(self._nodes)]
        for number, needs in enumerate(self._needs):
            for node in needs:
                self._with[node].append(number)
            self._making[self._makes[number]].append(number)

    def _new_node(self) -> int:
        self._nodes += 1
        return self._nodes - 1

    def _operation(self, needs: Sequence[int], makes: int, cost: int, event: int) -> None:
        self._needs.append(list(dict.fromkeys(needs)))
        self._makes.append(makes)
        self._cost.append(cost)
        self._event.append(event)

    def _clause(self, clause: PackedClause) -> int:
        """The node of a clause: its fact if it has but one."""
        members = [self._first[v] + value for v, mask in clause for value in _values(mask)]
        if len(members) == 1:
            return members[0]
        known = self._known.get(clause)
        if known is None:
            known = self._known[clause] = self._new_node()
            self._members[known] = members
            for fact in members:
                self._clause_of[fact].append(known)
        return known

    # ----------------------------------------------------------------- what is asked

    def to_do(self, state: Sequence[int], known: Sequence[Landmark]) -> list[Landmark] | None:
        """Landmarks of a state, those that are known and then more; None if what is wished is
        not reachable.

        known: landmarks of this state of which no two have an event in common.
        """
        cost = self._cost.copy()
        for landmark in known:
            for event in landmark:
                cost[self.operation_of[event]] = 0
        found = list(known)
        facts = [self._first[v] + value for v, value in enumerate(state)]
        while True:
            far, hangs_on = self._reach(facts, cost)
            if far[self._goal] == _NEVER:
                return None
            if far[self._goal] == 0:
                return found
            cut = self._cut(facts, cost, far, hangs_on)
            for operation in cut:
                cost[operation] = 0
            found.append(frozenset(self._event[operation] for operation in cut))

    def _reach(self, facts: Sequence[int], cost: Sequence[int]) -> tuple[list[int], list[int]]:
        """How far away each node is, by its farthest condition; and on which of its conditions
        each operation hangs, the one reached last. Those that are never reached hang on -1."""
        far = [_NEVER] * self._nodes
        left = self._count.copy()
        hangs_on = [-1] * len(left)
        clause_of, with_, makes = self._clause_of, self._with, self._makes
        level = 0
        now = list(facts)
        later: list[int] = []
        for operation in self._ready:  # needs nothing; hangs on what is so from the start
            hangs_on[operation] = facts[0]
            (later if cost[operation] else now).append(makes[operation])
        while now:
            for node in now:
                if far[node] > level:
                    far[node] = level
            # `now` grows while it is gone through.
            now = list(dict.fromkeys(n for n in now if far[n] == level))
            for node in now:
                for clause in clause_of[node]:
                    if far[clause] > level:
                        far[clause] = level
                        now.append(clause)
                for operation in with_[node]:
                    left[operation] -= 1
                    if not left[operation]:
                        hangs_on[operation] = node
                        made = makes[operation]
                        if cost[operation]:
                            later.append(made)
                        elif far[made] > level:
                            far[made] = level
                            now.append(made)
            level += 1
            now = [node for node in later if far[node] == _NEVER]
            later = []
        return far, hangs_on

    def _cut(
        self,
        facts: Sequence[int],
        cost: Sequence[int],
        far: Sequence[int],
        hangs_on: Sequence[int],
    ) -> list[int]:
        """Operations at a cost of which one is on every way to what is wished."""
        near = {self._goal}  # from which it is reached without cost
        todo = [self._goal]
        while todo:
            node = todo.pop()
            before = [n for n in self._members.get(node, ()) if far[n] < _NEVER]
            before += [
                hangs_on[operation]
                for operation in self._making[node]
                if hangs_on[operation] >= 0 and not cost[operation]
            ]
            for one in before:
                if one not in near:
                    near.add(one)
                    todo.append(one)
        reached = set(facts)
        todo = list(facts)
        cut = []
        while todo:
            node = todo.pop()
            after = list(self._clause_of[node])
            operations = self._with[node]
            if node == facts[0]:
                operations = [*operations, *self._ready]
            for operation in operations:
                if hangs_on[operation] != node:
                    continue
                made = self._makes[operation]
                if made in near:
                    cut.append(operation)
                else:
                    after.append(made)
            for one in after:
                if one not in reached and one not in near:
                    reached.add(one)
                    todo.append(one)
        return cut


def _values(mask: int) -> list[int]:
    return [place for place in range(mask.bit_length()) if mask >> place & 1]
