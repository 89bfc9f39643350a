"""A clause of another machine reads now as what it says of the state that is seen."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from bellcrank.machine.machine_model import Variable
from bellcrank.proof.kept.value_maps import ValueMaps
from bellcrank.running.packed import Changes, PackedClause

VALUES = "abcdef"


@st.composite
def variables(draw: st.DrawFn) -> list[Variable]:
    """Some variables with names and values of few."""
    found = []
    for name in draw(st.lists(st.sampled_from("uvwxyz"), min_size=1, unique=True)):
        values = tuple(draw(st.lists(st.sampled_from(VALUES), min_size=1, unique=True)))
        count = draw(st.integers(1, len(values)))
        found.append(Variable(name, "track", name, values, values[:count]))
    return found


def mapped(then: list[Variable], now: list[Variable]) -> ValueMaps:
    def said(some: list[Variable]) -> list[str]:
        return [repr((v.name, v.values, v.initial)) for v in some]

    return ValueMaps(then, said(then), now, said(now))


def clauses(then: list[Variable]) -> st.SearchStrategy[PackedClause]:
    literals = [
        st.tuples(st.just(number), st.integers(0, (1 << len(v.values)) - 1))
        for number, v in enumerate(then)
    ]
    return st.lists(st.one_of(literals), max_size=4, unique_by=lambda one: one[0]).map(tuple)


def states(some: list[Variable]) -> st.SearchStrategy[tuple[int, ...]]:
    """For each variable the place of its value."""
    return st.tuples(*[st.integers(0, len(v.values) - 1) for v in some])


def is_true(clause: PackedClause, state: tuple[int, ...]) -> bool:
    return any(mask >> state[v] & 1 for v, mask in clause)


def seen(then: list[Variable], now: list[Variable], state: tuple[int, ...]) -> tuple[int, ...]:
    """The state of then that a state now is seen as: the value itself, else the last before it
    that there was, else the first after it; if none stays any; of a variable that is gone its first
    at the start."""
    here = {v.name: (v, place) for v, place in zip(now, state, strict=True)}
    found = []
    for variable in then:
        if variable.name not in here:
            found.append(variable.values.index(variable.initial[0]))
            continue
        its, place = here[variable.name]
        before = [v for v in reversed(its.values[: place + 1]) if v in variable.values]
        after = [v for v in its.values if v in variable.values]
        found.append(variable.values.index([*before, *after, variable.values[0]][0]))
    return tuple(found)


def unknown(then: list[Variable], now: list[Variable]) -> set[int]:
    """The variables of which nothing is known: no value stays, or one begins that did not."""
    here = {v.name: v for v in now}
    found = set()
    for number, variable in enumerate(then):
        its = here.get(variable.name)
        if its is None:
            continue
        if not set(its.values) & set(variable.values):
            found.add(number)
            continue
        for value in its.initial:
            [place] = seen([variable], [its], (its.values.index(value),))
            if variable.values[place] not in variable.initial:
                found.add(number)
    return found


@given(st.data())
def test_a_clause_is_true_of_the_state_that_is_seen_if_what_it_reads_as_is_true_now(
    data: st.DataObject,
) -> None:
    then, now = data.draw(variables()), data.draw(variables())
    clause, state = data.draw(clauses(then)), data.draw(states(now))
    maps = mapped(then, now)
    reads = maps.clause(clause)
    if any(v in unknown(then, now) for v, _ in clause):
        assert reads is None or any(v >= len(now) for v, _ in reads)
        return
    assert (reads is None or is_true(reads, state)) == is_true(clause, seen(then, now, state))


@given(st.data())
def test_what_does_the_same_leads_to_the_state_that_is_seen_after_it(data: st.DataObject) -> None:
    then, now = data.draw(variables()), data.draw(variables())
    number = data.draw(st.sampled_from(range(len(then))))
    did = data.draw(changes(then[number]))
    place = next((n for n, v in enumerate(now) if v.name == then[number].name), -1)
    does = data.draw(changes(now[place])) if place >= 0 else ()
    if number in unknown(then, now):
        return
    same = mapped(then, now).does_the_same(number, did, {place: does})
    before = range(len(now[place].values)) if place >= 0 else [0]

    def seen_alone(value: int) -> int:
        [found] = seen([then[number]], [now[place]] if place >= 0 else [], (value,) * (place >= 0))
        return found

    assert same == all(
        seen_alone(after(does, value)) == after(did, seen_alone(value)) for value in before
    )


def changes(variable: Variable) -> st.SearchStrategy[Changes]:
    places = range(len(variable.values))
    if len(places) == 1:
        return st.just(())
    pair = st.tuples(st.sampled_from(places), st.sampled_from(places))
    changing = pair.filter(lambda one: one[0] != one[1])
    pairs = st.lists(changing, max_size=3, unique_by=lambda one: one[0])
    return pairs.map(lambda some: tuple((1 << old, 1 << new) for old, new in some))


def after(does: Changes, place: int) -> int:
    return next((new.bit_length() - 1 for old, new in does if old >> place & 1), place)
