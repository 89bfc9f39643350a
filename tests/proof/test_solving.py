"""What is asked of a solver: each question gets its own answer, also of those asked together."""

from __future__ import annotations

from itertools import product
from random import Random

import pytest

from bellcrank.proof.moving.shapes import MANY_KINDS, Shape
from bellcrank.proof.moving.solving import TOGETHER, decide


def some_shape(random: Random, variables: int = 4, kinds: int = 3) -> Shape:
    counts = tuple(random.randint(1, kinds) for _ in range(random.randint(1, variables)))
    clauses = tuple(
        tuple(
            (variable, random.randrange(1 << counts[variable]))
            for variable in sorted(
                random.sample(range(len(counts)), random.randint(1, len(counts)))
            )
        )
        for _ in range(random.randint(1, 9))
    )
    return counts, clauses


def has_a_solution(shape: Shape) -> bool:
    """By a look at every choice of a kind of value for every variable."""
    counts, clauses = shape
    return any(
        all(any(mask >> kinds[variable] & 1 for variable, mask in clause) for clause in clauses)
        for kinds in product(*map(range, counts))
    )


@pytest.mark.parametrize("seed", range(6))
def test_each_shape_gets_the_answer_that_a_look_at_every_choice_gives(seed: int) -> None:
    random = Random(seed)
    shapes = [some_shape(random) for _ in range(3 * TOGETHER + 5)]
    expected = ["sat" if has_a_solution(shape) else "unsat" for shape in shapes]
    assert 10 < expected.count("sat") < len(shapes) - 10
    assert decide("z3", shapes, None) == expected
    unsat = [shape for shape, answer in zip(shapes, expected, strict=True) if answer == "unsat"]
    assert decide("z3", unsat, None) == ["unsat"] * len(unsat)


@pytest.mark.parametrize("seed", range(6))
def test_variables_of_many_kinds_of_values_have_one_of_them_as_others_have(seed: int) -> None:
    random = Random(seed)
    shapes = [some_shape(random, 3, 2 * MANY_KINDS) for _ in range(40)]
    assert any(count >= MANY_KINDS for counts, _ in shapes for count in counts)
    # Sets of few kinds for each variable: no solution, mostly since no two kinds are so at once.
    shapes += [
        ((count,), (((0, 1),), ((0, 1 << count - 1),))) for count in range(2, 2 * MANY_KINDS)
    ]
    expected = ["sat" if has_a_solution(shape) else "unsat" for shape in shapes]
    assert [*dict.fromkeys(expected)] in (["sat", "unsat"], ["unsat", "sat"])
    for shape, answer in zip(shapes, expected, strict=True):
        assert decide("z3", [shape], None) == [answer]
    assert decide("z3", shapes, None) == expected


@pytest.mark.parametrize("place", [0, 1, TOGETHER - 1, TOGETHER])
def test_one_that_has_a_solution_is_found_among_many_that_have_none(place: int) -> None:
    none: Shape = ((2,), (((0, 1),), ((0, 2),)))
    shapes = [none] * (2 * TOGETHER)
    shapes[place] = ((2,), (((0, 1),),))
    expected = ["unsat"] * len(shapes)
    expected[place] = "sat"
    assert decide("z3", shapes, None) == expected


def test_of_no_shape_nothing_is_asked_and_without_time_nothing_is_known() -> None:
    assert decide("z3", [], None) == []
    assert decide("z3", [((1,), ())], 0) == ["unknown"]
