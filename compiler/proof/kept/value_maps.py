"""How the states of one machine are seen as states of an earlier one, variable by variable.

A line that is put in or taken out gives variables of a machine a value more or fewer, and adds or
takes away some. Let each value that a variable has now stand for one that it had then: for itself,
if it had it. A variable that is gone stands at a value that it had at the start, one that is new is
left out. So each state now is seen as a state then. (Of maps between machines that keep what is
said of them: R. Milner, "An algebraic definition of simulation between programs", 1971.)

A literal of then is true of the state that is seen if and only if a literal is true of the state
now: that the variable has one of the values that stand for those of the literal. That is how it
reads now. A clause of then reads as all its literals do; where one is true of any state now, the
clause is.

So if some clauses of then cannot be true together, neither can they as they read now, for else the
state that is seen would make them true. It does not matter for which value a new one stands: where
it is the wrong one, a clause reads as none that is there, and less is taken over.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from bellcrank.machine.machine_model import Variable
from bellcrank.running.packed import Changes, Literal, PackedClause, each_value


class ValueMaps:
    """The values that stand for each value of another machine's variables.

    then, now: the variables of both, and digests of all that each is.
    all_the_same: whether every variable is as it was, and has the number it had.
    full: of each variable now all its values; after them a variable of one value, that of those
        that are gone, and one of those of which nothing is known.
    """

    def __init__(
        self,
        then: Sequence[Variable],
        said_then: Sequence[str],
        now: Sequence[Variable],
        said_now: Sequence[str],
    ) -> None:
        same = {said: number for number, said in enumerate(said_now)}
        named = {variable.name: number for number, variable in enumerate(now)}
        self.full = [*((1 << len(variable.values)) - 1 for variable in now), 1, 1]
        self._gone, self._unknown = len(now), len(now) + 1
        self._now: list[int] = []
        self._then = [-1] * len(self.full)
        self._standing: dict[int, tuple[int, ...]] = {}
        """For each variable that is not as it was, by its number then: the values now, as bits,
        that stand for each value then."""
        self._values_then: dict[int, tuple[int, ...]] = {}
        """The place then of what each value now stands for, of each of those."""
        self._read: dict[Literal, Literal] = {}
        for number, (variable, said) in enumerate(zip(then, said_then, strict=True)):
            here = same.get(said, -1)
            if here < 0:
                here = self._renewed(number, variable, named.get(variable.name, -1), now)
            self._now.append(here)
            self._then[here] = number

        self.all_the_same = not self._standing and self._now == list(range(len(now)))

    def _renewed(self, number: int, then: Variable, here: int, now: Sequence[Variable]) -> int:
        """Map the values of a variable that is not as it was; its number now."""
        places = {value: place for place, value in enumerate(then.values)}
        if here < 0:
            here, values, initial = self._gone, then.initial[:1], then.initial[:1]
        else:
            values, initial = now[here].values, now[here].initial
        last = next((places[value] for value in values if value in places), -1)
        stands_for: list[int] = []
        for value in values:
            last = places.get(value, last)
            stands_for.append(last)
        begun = {stands_for[values.index(value)] for value in initial}
        if last < 0 or not begun <= {places[value] for value in then.initial}:
            return self._unknown
        standing = [0] * len(then.values)
        for bit, place in enumerate(stands_for):
            standing[place] |= 1 << bit
        self._standing[number], self._values_then[number] = tuple(standing), tuple(stands_for)
        return here

    def now(self, then: int) -> int:
        """The number of a variable of then now, or one that no variable has."""
        return self._now[then]

    def then(self, now: Iterable[int]) -> set[int]:
        """The numbers then of variables now, of those that there were."""
        return {number for v in now if (number := self._then[v]) >= 0}

    def literal(self, literal: Literal) -> Literal:
        """How a literal reads now."""
        variable, mask = literal
        standing = self._standing.get(variable)
        if standing is None:
            here = self._now[variable]
            return here, 0 if here == self._unknown else mask
        read = self._read.get(literal)
        if read is None:
            values = 0
            for value in each_value(mask):
                values |= standing[value.bit_length() - 1]
            read = self._read[literal] = self._now[variable], values
        return read

    def clause(self, clause: PackedClause) -> PackedClause | None:
        """How a clause reads now; None if it is true of any state. One that names a variable of
        which nothing is known reads as none that a machine has."""
        now = []
        for literal in clause:
            read = self.literal(literal)
            if read[1] == self.full[read[0]]:
                return None
            if read[1] or read[0] == self._unknown:
                now.append(read)
        return tuple(now)

    def does_the_same(self, variable: int, then: Changes, now: Mapping[int, Changes]) -> bool:
        """Whether what an event does now to a variable of then leads each value to one that
        stands for what the value it stands for became.

        now: the changes of the event by the numbers of variables now.
        """
        here = self._now[variable]
        does = now.get(here, ())
        stands_for = self._values_then.get(variable)
        if stands_for is None:
            return frozenset(then) == frozenset(does)
        return all(
            stands_for[_becomes(does, bit)] == _becomes(then, place)
            for bit, place in enumerate(stands_for)
        )


def _becomes(changes: Changes, place: int) -> int:
    """The place of the value that the value at a place becomes."""
    for old, new in changes:
        if old >> place & 1:
            return new.bit_length() - 1
    return place
