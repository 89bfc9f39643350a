"""Every verdict of z3 against cvc5 and against a plain SAT solver.

The obligations are SMT-LIB 2.6 text (logic QF_UF, Booleans alone), so solvers
that share no code with z3 decide the same question.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from itertools import product
from pathlib import Path

import pytest
from drawn_layouts import EXAMPLES
from other_solvers import cvc5_says, expressions, sat_solver_says
from random_layouts import shown, valid_layouts
from sound_layouts import standing

import bellcrank
from bellcrank import Broken, Sound
from bellcrank.proof.standing.propositional import Literal
from bellcrank.proof.standing.smt_script import write_script

ANSWERS = {"proved": "unsat", "refuted": "sat"}
"""What a solver answers when asked whether a property can be violated."""


def assert_others_agree(compilation: Sound) -> Counter[str]:
    """Each property and expectation, decided thrice."""
    verdict = standing(compilation)
    script = write_script(compilation.layout, compilation.table, compilation.locking)
    unset = script.unset(verdict.never_set)

    def terms(routes: Iterable[str]) -> list[Literal]:
        return [script.routes[name] for name in routes]

    asked = [
        (script.obligation([script.violations[p.name], *unset]), ANSWERS[p.outcome])
        for p in verdict.properties
    ]
    asked += [(script.obligation([script.asked, *terms([r])]), "unsat") for r in verdict.never_set]
    assert len(asked) == len(script.violations) + len(verdict.never_set)
    for expectation, result in zip(
        compilation.locking.expectations, verdict.expectations, strict=True
    ):
        can = (result.outcome == "proved") != expectation.never
        beside = unset if expectation.never else [script.asked]
        text = script.obligation([*terms(expectation.routes), *beside])
        asked.append((text, "sat" if can else "unsat"))
    for text, z3_says in asked:
        assert cvc5_says(text) == z3_says
        assert sat_solver_says(text) == z3_says
    return Counter(answer for _, answer in asked)


def example_files() -> list[Path]:
    return sorted(EXAMPLES.glob("*.crank"))


@pytest.mark.parametrize("path", example_files(), ids=lambda p: p.stem)
def test_other_solvers_agree_on_the_example(path: Path) -> None:
    compilation = bellcrank.compile_file(path)
    if isinstance(compilation, Broken):
        others = (other.read_text("utf-8") for other in example_files() if other != path)
        assert any(f'{path.name}"' in text for text in others), "no verdict, and no part of another"
        pytest.skip("a part that other examples use: it has no verdict of its own")
    assert_others_agree(compilation)


def test_most_examples_have_a_verdict() -> None:
    compiled = map(bellcrank.compile_file, example_files())
    with_verdict = [standing(c) for c in compiled if isinstance(c, Sound)]
    assert len(with_verdict) >= 5
    assert {v.outcome for v in with_verdict} == {"proved", "refuted"}


@pytest.mark.parametrize(
    "seeds", [range(20), pytest.param(range(20, 120), marks=pytest.mark.campaign)]
)
def test_other_solvers_agree_on_random_layouts(seeds: range) -> None:
    layouts = valid_layouts(seeds)
    assert len(layouts) >= 0.6 * len(seeds)
    answers: Counter[str] = Counter()
    for layout, compilation in layouts:
        with shown(layout):
            answers += assert_others_agree(compilation)
    # Both answers are common, so that agreeing is not a matter of course.
    assert min(answers["sat"], answers["unsat"]) >= 0.5 * len(seeds), answers


# ---------------------------------------------- the small translation itself


def truth_table_says(declared: list[str], text: str) -> str:
    """The answer by trying all values: what the translation is checked against."""
    commands = list(expressions(text))
    bodies = [c[1] for c in commands if c[0] == "assert"]
    for values in product((False, True), repeat=len(declared)):
        at = dict(zip(declared, values, strict=True)) | {"true": True, "false": False}
        if all(value(body, at) for body in bodies):
            return "sat"
    return "unsat"


def value(term: object, at: dict[str, bool]) -> bool:
    if isinstance(term, str):
        return at[term]
    assert isinstance(term, list)
    parts = [value(t, at) for t in term[1:]]
    match term[0]:
        case "not":
            return not parts[0]
        case "and":
            return all(parts)
        case "or":
            return any(parts)
        case "=>":
            return not parts[0] or parts[1]
        case "=":
            return parts[0] == parts[1]
    raise AssertionError(term)


@pytest.mark.parametrize(
    "asserted",
    [
        "true",
        "false",
        "(and a (not a))",
        "(or a (not a))",
        "(not (=> a b))",
        "(and (=> a b) a (not b))",
        "(= a (not a))",
        "(= (and a b c) (or a b c))",
        "(and (= a b) (= b c) (not (= a c)))",
        "(not (and (or a b) (or (not a) c) (not (or b c))))",
    ],
)
def test_all_three_read_a_term_alike(asserted: str) -> None:
    script = (
        "(set-logic QF_UF)\n(declare-const a Bool) ; a comment (with brackets\n"
        f"(declare-const b Bool)\n(declare-const c Bool)\n(assert {asserted})\n(check-sat)\n"
    )
    expected = truth_table_says(["a", "b", "c"], script)
    assert sat_solver_says(script) == expected
    assert cvc5_says(script) == expected
