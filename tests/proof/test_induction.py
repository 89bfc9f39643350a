"""What induction shows is true in every state: tried on machines that are no railways."""

from __future__ import annotations

import time
from collections import Counter
from itertools import pairwise, product
from random import Random

import pytest
from hypothesis import given, note, settings
from hypothesis import strategies as st
from machine_faults import replayed

from bellcrank.machine.machine_model import (
    Clause,
    Event,
    Invariant,
    Is,
    Machine,
    Variable,
    VariableKind,
    after,
    holds,
    possible,
)
from bellcrank.proof.moving.examine import Examiner
from bellcrank.proof.moving.horn import Horn
from bellcrank.proof.moving.induction import Induction, Prover
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.proof.moving.shapes import Shape, shape_of
from bellcrank.proof.moving.solving import Solving, decide
from bellcrank.running.packed import Packed
from bellcrank.running.state_search import Explorer, violated

State = tuple[tuple[str, str], ...]


def machine(
    variables: list[Variable],
    events: list[Event] = [],  # noqa: B006 - never changed
    invariants: list[Invariant] = [],  # noqa: B006
    lemmas: list[Clause] = [],  # noqa: B006
) -> Machine:
    return Machine(
        variables={v.name: v for v in variables},
        events=tuple(events),
        invariants=tuple(invariants),
        wishes=(),
        lemmas=tuple(lemmas),
        assumptions={},
    )


def event(name: str, guard: list[Clause], updates: dict[str, dict[str, str]]) -> Event:
    return Event(name, "request", "operator", name, name, tuple(guard), updates)


def one_of(variable: str, *values: str) -> Is:
    return Is(variable, frozenset(values))


def induce(machine: Machine, *, thorough: bool = False) -> Induction:
    """Every clause of a machine, invariants first, shown or struck out."""
    packed = Packed(machine)
    prover = Prover(Examiner(packed, thorough=thorough), Solving())
    return prover.run(range(len(packed.clauses)))


def clauses(machine: Machine) -> list[Clause]:
    return [*(i.clause for i in machine.invariants), *machine.lemmas]


def distances(machine: Machine) -> dict[State, int]:
    """Every state that can come about, with the fewest events that lead to it."""
    choices = [[(name, value) for value in v.initial] for name, v in machine.variables.items()]
    found: dict[State, int] = dict.fromkeys(product(*choices), 0)
    queue = list(found)
    for state in queue:
        for happening in machine.events:
            if possible(happening, dict(state)):
                following = tuple(after(happening, dict(state)).items())
                if following not in found:
                    found[following] = found[state] + 1
                    queue.append(following)
    return found


# ------------------------------------------------------------------ one at a time

X = Variable("x", "route", "x", ("a", "b", "c"), ("a",))
Y = Variable("y", "route", "y", ("a", "b", "c"), ("a",))
TO_B = event("to b", [(one_of("x", "a"),)], {"x": {"a": "b"}})
NEVER_C = (one_of("x", "a", "b"),)


def test_what_no_event_makes_false_is_shown() -> None:
    assert induce(machine([X], [TO_B], lemmas=[NEVER_C])).held == [True]


def test_what_is_false_at_the_start_is_not_shown() -> None:
    late = Variable("x", "route", "x", ("a", "b"), ("a", "b"))
    shown = induce(machine([late], lemmas=[(one_of("x", "a"),)]))
    assert shown.held == [False]
    assert shown.failed[0].event == -1


def test_what_an_event_makes_false_is_not_shown_and_the_event_is_named() -> None:
    on = event("on", [(one_of("x", "b"),)], {"x": {"b": "c"}})
    shown = induce(machine([X], [TO_B, on], lemmas=[NEVER_C]))
    assert shown.held == [False]
    assert shown.failed[0].event == 1


def test_a_guard_that_is_never_true_lets_nothing_happen() -> None:
    on = event("on", [(one_of("x", "b"),), (one_of("x", "a", "c"),)], {"x": {"b": "c"}})
    assert induce(machine([X], [TO_B, on], lemmas=[NEVER_C])).held == [True]


def test_a_clause_is_shown_with_the_help_of_another() -> None:
    on = event("on", [(one_of("y", "b"),)], {"x": {"b": "c"}})
    only_a = (one_of("y", "a"),)
    assert induce(machine([X, Y], [TO_B, on], lemmas=[NEVER_C, only_a])).held == [True, True]
    assert induce(machine([X, Y], [TO_B, on], lemmas=[NEVER_C])).held == [False]


def test_what_was_shown_with_the_help_of_a_wrong_clause_is_struck_out_with_it() -> None:
    on = event("on", [(one_of("y", "b"),)], {"x": {"b": "c"}})
    other = event("other", [], {"y": {"a": "b"}})
    wrong = (one_of("y", "a"),)
    assert induce(machine([X, Y], [TO_B, on, other], lemmas=[NEVER_C, wrong])).held == [
        False,
        False,
    ]


def test_two_clauses_that_need_each_other_are_shown_together() -> None:
    swap = event("swap", [(one_of("x", "c"), one_of("y", "c"))], {"x": {"a": "c"}, "y": {"a": "c"}})
    both = [NEVER_C, (one_of("y", "a", "b"),)]
    assert induce(machine([X, Y], [swap], lemmas=both)).held == [True, True]


@pytest.mark.parametrize("thorough", [False, True])
def test_two_clauses_that_say_the_same_do_not_prove_each_other(thorough: bool) -> None:
    # The second has a literal that is never true, and is the first in other words.
    on = event("on", [], {"x": {"a": "c"}})
    same = [NEVER_C, (*NEVER_C, Is("y", frozenset())), (*NEVER_C, *NEVER_C), NEVER_C]
    shown = induce(machine([X, Y], [on], lemmas=same), thorough=thorough)
    assert shown.held == [False] * 4


def test_a_clause_that_follows_from_one_that_is_struck_out_is_struck_out() -> None:
    on = event("on", [], {"x": {"a": "c"}})
    weaker = (*NEVER_C, one_of("y", "b"))
    assert induce(machine([X, Y], [on], lemmas=[weaker, NEVER_C])).held == [False, False]


def test_all_variables_change_at_once() -> None:
    x, y = (Variable(name, "route", name, ("a", "b"), ("a",)) for name in "xy")
    swap = event("swap", [], {"x": {"a": "b", "b": "a"}, "y": {"a": "b", "b": "a"}})
    alike = [(one_of("x", "a"), one_of("y", "b")), (one_of("x", "b"), one_of("y", "a"))]
    assert induce(machine([x, y], [swap], lemmas=alike)).held == [True, True]
    apart = [(one_of("x", "a"), one_of("y", "a"))]
    assert induce(machine([x, y], [swap], lemmas=[*alike, *apart])).held == [True, True, False]


def test_nothing_is_shown_without_an_answer_of_the_solver() -> None:
    packed = Packed(machine([X], [TO_B], lemmas=[NEVER_C]))
    prover = Prover(Examiner(packed), lambda shapes: ["unknown"] * len(shapes))
    assert prover.run([0]).held == [False]


# --------------------------------------------------------------- random machines

NAMES = ("u", "v", "w", "x", "y")
KINDS: tuple[VariableKind, ...] = ("track", "held", "route", "signal", "drive")


@st.composite
def literals(draw: st.DrawFn, variables: list[Variable]) -> Is:
    variable = draw(st.sampled_from(variables))
    return Is(variable.name, frozenset(draw(st.sets(st.sampled_from(variable.values)))))


@st.composite
def any_clause(draw: st.DrawFn, variables: list[Variable]) -> Clause:
    return tuple(draw(st.lists(literals(variables), min_size=1, max_size=3)))


@st.composite
def any_event(draw: st.DrawFn, variables: list[Variable], name: str) -> Event:
    changed = draw(st.lists(st.sampled_from(variables), min_size=1, max_size=2, unique=True))
    return event(
        name,
        draw(st.lists(any_clause(variables), max_size=3)),
        {
            v.name: draw(
                st.dictionaries(st.sampled_from(v.values), st.sampled_from(v.values), min_size=1)
            )
            for v in changed
        },
    )


@st.composite
def any_machine(draw: st.DrawFn) -> Machine:
    variables = []
    for name in NAMES[: draw(st.integers(3, 5))]:
        values = ("a", "b", "c", "d")[: draw(st.integers(2, 4))]
        initial = tuple(sorted(draw(st.sets(st.sampled_from(values), min_size=1, max_size=2))))
        kind = draw(st.sampled_from(KINDS))
        variables.append(Variable(name, kind, name, values, initial))
    events = [draw(any_event(variables, f"event {n}")) for n in range(draw(st.integers(1, 6)))]
    # What the random events leave true is rare among random clauses: state some of both.
    stated = draw(st.lists(any_clause(variables), min_size=1, max_size=4))
    bare = machine(variables, events)
    if draw(st.booleans()):
        v, w = draw(st.permutations(variables))[:2]
        states = [dict(state) for state in distances(bare)]
        for value in v.values:
            together = {state[w.name] for state in states if state[v.name] == value}
            others = frozenset(v.values) - {value}
            stated.append((Is(v.name, others), Is(w.name, frozenset(together))))
    invariants = [
        Invariant(draw(st.sampled_from(("one", "two", "meetings"))), clause, f"clause {n} is false")
        for n, clause in enumerate(stated)
    ]
    lemmas = draw(st.lists(any_clause(variables), max_size=4))
    return machine(variables, events, invariants, lemmas)


few_or_many = pytest.mark.parametrize("share", [0.2, pytest.param(1.0, marks=pytest.mark.campaign)])
"""How many random machines are tried, of what is stated."""


@few_or_many
def test_what_induction_shows_of_a_random_machine_is_true_in_all_its_states(share: float) -> None:
    @settings(max_examples=round(150 * share))
    @given(any_machine(), st.booleans())
    def check(machine: Machine, thorough: bool) -> None:
        shown = induce(machine, thorough=thorough)
        states = [dict(state) for state in distances(machine)]
        for number, clause in enumerate(clauses(machine)):
            if shown.held[number]:
                assert all(holds(clause, state) for state in states), clause

    check()


def test_the_verdict_on_a_random_machine_is_what_its_states_say() -> None:
    seen: Counter[str] = Counter()

    @settings(max_examples=20)
    @given(any_machine())
    def check(machine: Machine) -> None:
        far = distances(machine)
        outcomes = {r.name: r for r in prove_moving(machine, Effort(seconds=20)).results}
        for name in {i.of for i in machine.invariants}:
            own = [i.clause for i in machine.invariants if i.of == name]
            wrong = [n for s, n in far.items() if not all(holds(c, dict(s)) for c in own)]
            result = outcomes[name]
            note(f"{name}: {result.outcome}, wrong after {min(wrong, default=None)}")
            seen[result.outcome] += 1
            if wrong:
                assert result.outcome == "refuted"
                assert result.story is not None and result.story.shortest
                assert len(result.story.steps) == min(wrong)
                assert not replayed(machine, result.story)
            else:
                assert result.outcome != "refuted"

    check()
    assert seen["proved"] >= 5 and seen["refuted"] >= 5, seen
    assert seen["undecided"] <= seen["proved"] // 10, seen


@few_or_many
def test_the_search_finds_the_states_that_trying_all_events_finds(share: float) -> None:
    @settings(max_examples=round(80 * share))
    @given(any_machine())
    def check(machine: Machine) -> None:
        far = distances(machine)
        explorer = Explorer(machine)
        found = explorer.search({})
        assert found.complete
        assert {tuple(explorer.unpack(s).items()) for s in found.seen} == set(far)
        found = explorer.search(violated(explorer, machine))
        for name in {i.of for i in machine.invariants}:
            own = [i.clause for i in machine.invariants if i.of == name]
            wrong = [n for s, n in far.items() if not all(holds(c, dict(s)) for c in own)]
            assert (name in found.runs) == bool(wrong)
            if wrong:
                assert len(found.runs[name]) == min(wrong)

    check()


@few_or_many
def test_the_horn_engine_says_what_the_states_say(share: float) -> None:
    @settings(max_examples=round(60 * share))
    @given(any_machine())
    def check(machine: Machine) -> None:
        packed = Packed(machine)
        states = [dict(state) for state in distances(machine)]
        horn = Horn(packed)
        for name in {i.of for i in machine.invariants}:
            own = [i.clause for i in machine.invariants if i.of == name]
            wrong = any(not holds(c, state) for state in states for c in own)
            answer = horn.ask([packed.clause(c) for c in own], time.monotonic() + 60)
            assert answer == ("sat" if wrong else "unsat")


def test_the_horn_engine_is_done_when_its_time_is_over() -> None:
    # A counter of 40 bits; that it is never full takes a trillion steps to find wrong.
    bits = [Variable(f"b{k}", "track", f"b{k}", ("0", "1"), ("0",)) for k in range(40)]
    counts = [
        event(
            f"to {k}",
            [(one_of(bit.name, "0"),), *((one_of(lower.name, "1"),) for lower in bits[:k])],
            {bit.name: {"0": "1"}, **{lower.name: {"1": "0"} for lower in bits[:k]}},
        )
        for k, bit in enumerate(bits)
    ]
    packed = Packed(machine(bits, counts))
    never_full = packed.clause(tuple(one_of(bit.name, "0") for bit in bits))
    began = time.process_time()
    assert Horn(packed).ask([never_full], time.monotonic() + 0.5) == "unknown"
    assert time.process_time() - began < 2


# ----------------------------------------------------------------- up to renaming


@st.composite
def questions(draw: st.DrawFn) -> tuple[list[int], list[tuple[tuple[int, int], ...]]]:
    """Some variables, by all their values, and clauses over them."""
    full = [(1 << draw(st.integers(1, 4))) - 1 for _ in range(draw(st.integers(1, 4)))]
    literal = st.integers(0, len(full) - 1).flatmap(
        lambda v: st.tuples(st.just(v), st.integers(0, full[v]))
    )
    clause = st.lists(literal, max_size=3, unique_by=lambda x: x[0]).map(tuple)
    return full, draw(st.lists(clause, max_size=6))


def possible_together(full: list[int], clauses: list[tuple[tuple[int, int], ...]]) -> bool:
    """Whether some values make all clauses true, by trying all of them."""
    values = [[1 << k for k in range(mask.bit_length())] for mask in full]
    return any(all(any(s[v] & m for v, m in c) for c in clauses) for s in product(*values))


@given(questions())
def test_both_solvers_answer_a_shape_as_trying_all_values_does(
    question: tuple[list[int], list[tuple[tuple[int, int], ...]]],
) -> None:
    full, clauses = question
    shape: Shape = shape_of(clauses, full)
    expected = "sat" if possible_together(full, clauses) else "unsat"
    assert decide("z3", [shape], None) == [expected]
    assert decide("cvc5", [shape], None) == [expected]


@given(questions(), st.randoms(use_true_random=False))
def test_a_shape_does_not_depend_on_which_variables_and_values_are_meant(
    question: tuple[list[int], list[tuple[tuple[int, int], ...]]], random: Random
) -> None:
    full, clauses = question
    places = list(range(len(full)))
    random.shuffle(places)
    swapped = [0] * len(full)
    bits: list[list[int]] = []
    for v, mask in enumerate(full):
        order = list(range(mask.bit_length()))
        random.shuffle(order)
        bits.append(order)
        swapped[places[v]] = mask

    def renamed(v: int, mask: int) -> tuple[int, int]:
        return places[v], sum(1 << bits[v][k] for k in range(full[v].bit_length()) if mask >> k & 1)

    other = [tuple(renamed(v, m) for v, m in clause) for clause in clauses]
    assert shape_of(other, swapped) == shape_of(clauses, full)


def test_a_count_that_is_told_never_begins_again() -> None:
    told: list[tuple[int, int]] = []
    given = checked_in_rounds()
    packed = Packed(given)
    prover = Prover(Examiner(packed), Solving("z3"), tell=lambda done, of: told.append((done, of)))
    shown = prover.run([0])
    assert all(shown.held)
    assert len({of for _, of in told}) > 1, "there was a second round"
    assert told == sorted(told)


def checked_in_rounds() -> Machine:
    """One after the other: each clause needs the next to be inductive."""
    names = "ABCD"
    variables = [Variable(n, "drive", n, ("no", "yes"), ("no",)) for n in names]
    spoiled = [
        event(f"spoil {one}", [(one_of(next_, "yes"),)], {one: {"no": "yes"}})
        for one, next_ in pairwise(names)
    ]
    clauses: list[Clause] = [(one_of(n, "no"),) for n in names]
    return machine(variables, spoiled, [Invariant("P", clauses[0], "")], clauses[1:])
