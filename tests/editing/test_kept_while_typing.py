"""The process that proves beside the editor remembers; its verdicts are those of one that does not.

Changes are made at random, each to the text as it was left by the one before, and now and then all
is put back. Of each text that can be proved the verdict must be that of a proof from nothing.
"""

from __future__ import annotations

import os
import random
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from bench.generate import with_routes

from bellcrank.compilation import Sound, compile_text, prove
from bellcrank.editing.findings import findings
from bellcrank.editing.proof_messages import Asked, Finding, GivenUp, GiveUp, NotProved, Verdict
from bellcrank.editing.proof_worker import Work
from bellcrank.proof.kept.kept_model import InMemory
from bellcrank.proof.kept.revising import LastProof
from bellcrank.proof.memory import Memory

EXAMPLES = Path(__file__).parents[2] / "examples"

EDITS = int(os.environ.get("BELLCRANK_TYPING", "3000"))

NOTEBOOK = """layout "Eel Fen" on three rails
points P1
run edge WEST - A - >W1 - P1.toe
run P1.straight - <D1 - T1 - stop
run P1.diverging - <D2 - T2 - stop
route IN1 = W1 to T1
route IN2 = W1 to T2
route OUT1 = D1 to WEST
route OUT2 = D2 to WEST
locking written {
  every route needs its positions
  every route needs its sections clear
  IN1 locks IN2
  IN1 locks OUT1
  IN1 locks OUT2
  IN2 locks OUT1
  IN2 locks OUT2
  OUT1 locks OUT2
}
expect IN1 never with IN2
"""


def changed(text: str, first: str, chance: random.Random) -> str:
    """A text after one change, most often one that still makes sense."""
    rows = text.split("\n")
    at = chance.randrange(1, len(rows))
    match chance.randrange(7):
        case 0:
            return first
        case 1:
            rows[at:at] = ["# a remark"]
        case 2:
            del rows[at]
        case 3:
            rows[at:at] = [chance.choice(first.split("\n"))]
        case 4 | 5:  # a word of the same line of the text as it was first, or a piece more
            rows[at] = rows[at].replace(" - T", f" - X{chance.randrange(4)} - T")
        case _:
            words = first.split()
            rows[at] = rows[at].replace(chance.choice(words), chance.choice(words), 1)
    return "\n".join(rows)


def typed(first: str, edits: int, seed: int) -> Iterator[str]:
    chance, text = random.Random(seed), first
    for _ in range(edits):
        after = changed(text, first, chance)
        yield after
        # Of a text with errors little comes: most are taken back, as people do.
        if isinstance(compile_text(after), Sound) or chance.random() < 0.1:
            text = after


def summed_up(told: tuple[Finding, ...]) -> list[tuple[str, str, str]]:
    """The verdict with the properties that fail, and what else is told but how it comes about."""
    first = told[0]
    more = {(f.gravity, f.outcome, str(f.at)) for f in told[1:]}
    return [(first.gravity, first.outcome, first.sentence), *sorted(more)]


def every_verdict_is_that_of_a_fresh_proof(
    first: str, edits: int, seed: int, proof: LastProof | None = None
) -> list[str]:
    """The outcomes. proof: how the last proof is remembered."""
    work, outcomes = Work(Memory(InMemory(), proof=proof or LastProof())), []
    for text in typed(first, edits, seed):
        said = next(work.answers(Asked("untitled:x", False, {"untitled:x": text})))
        work.memory.settle()
        compiled = compile_text(text)
        if not isinstance(compiled, Sound):
            assert said == NotProved()
            continue
        assert isinstance(said, Verdict), said
        assert said.source_hash == compiled.source_hash
        fresh = prove(compiled)
        assert summed_up(said.findings) == summed_up(findings(fresh)), text
        outcomes.append(fresh.outcome)
    return outcomes


def test_after_each_of_some_changes_the_verdict_is_that_of_a_fresh_proof() -> None:
    outcomes = every_verdict_is_that_of_a_fresh_proof(NOTEBOOK, 12, seed=3)
    assert {"proved", "refuted"} <= set(outcomes)


REVISED = (LastProof(), LastProof(least=0, most=1.0))
"""A proof as it is remembered where it is worth it, and where it is not."""


@pytest.mark.campaign
@pytest.mark.parametrize("seed", range(8))
def test_after_each_of_many_changes_the_verdict_is_that_of_a_fresh_proof(seed: int) -> None:
    proof = replace(REVISED[seed % 2])
    every_verdict_is_that_of_a_fresh_proof(NOTEBOOK, EDITS // 100, seed, proof)


@pytest.mark.campaign
@pytest.mark.parametrize("seed", range(4))
def test_so_it_is_in_an_example(seed: int) -> None:
    first = (EXAMPLES / "harbour-terminus.crank").read_text("utf-8")
    proof = replace(REVISED[seed % 2])
    every_verdict_is_that_of_a_fresh_proof(first, EDITS // 200, seed, proof)


@pytest.mark.campaign
@pytest.mark.parametrize("seed", range(4))
def test_so_it_is_along_a_line(seed: int) -> None:
    first = with_routes("passing loops", 24)
    proof = LastProof(least=0)
    outcomes = every_verdict_is_that_of_a_fresh_proof(first, EDITS // 100, seed, proof)
    assert "proved" in outcomes


def test_a_line_about_wires_and_a_change_that_is_taken_back_need_no_proof() -> None:
    work = Work(Memory(InMemory()))
    wired = NOTEBOOK + "decoder kind one { outputs 1 }\ndecoder K1 one at 7\ndrive P1 = K1.1\n"
    longer = NOTEBOOK.replace(" - T2", " - X - T2")

    def machines_after(text: str) -> list[int]:
        said = next(work.answers(Asked("untitled:x", False, {"untitled:x": text})))
        assert isinstance(said, Verdict)
        assert said.findings[0].outcome == "proved"
        work.memory.settle()
        return [id(known.machine) for known in work.proved]

    (first,) = machines_after(NOTEBOOK)
    assert machines_after(wired) == [first]
    other, again = machines_after(longer)
    assert (again, other != first) == (first, True)
    assert machines_after(NOTEBOOK + "# as it was\n") == [first, other]


def test_what_is_given_up_is_not_answered_and_the_next_thing_is() -> None:
    work = Work(Memory(InMemory()))
    asked = Asked("untitled:x", False, {"untitled:x": NOTEBOOK})
    work.superseding.give_up()
    assert list(work.answers(asked)) == []
    assert list(work.answers(GiveUp())) == [GivenUp()]
    assert isinstance(next(work.answers(asked)), Verdict)


def test_what_machines_share_is_thrown_away_when_most_of_it_is_gone() -> None:
    work = Work(Memory(InMemory()))

    def shared_after(text: str) -> int:
        said = next(work.answers(Asked("untitled:x", False, {"untitled:x": text})))
        assert isinstance(said, Verdict)
        work.memory.settle()
        return len(work.memory.shared.events)

    events = shared_after(NOTEBOOK)
    assert events == len(work.proved[0].machine.events)
    renamed = [
        shared_after(NOTEBOOK.replace(" T1", f" T1{n}").replace(" A ", f" A{n} ")) for n in range(9)
    ]
    assert max(renamed) > events
    assert min(renamed[1:]) < 2 * events
    assert max(renamed) < 3 * events
