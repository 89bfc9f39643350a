"""Shapes to answers: z3, a second solver to check it by, and work spread out.

Every shape is a question of its own, so any `concurrent.futures.Executor` will
do to answer them: threads, processes, or a client of machines elsewhere.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Sequence
from concurrent.futures import Executor, Future
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Literal

import z3

from bellcrank.proof.moving.shapes import Shape, dimacs_text, smt_text
from bellcrank.proof.z3_context import context_of_this_thread

Answer = Literal["unsat", "sat", "unknown"]

SolverName = Literal["z3", "cvc5"]

BATCH = 64
"""Shapes that are sent off together."""

TOGETHER = 16
"""Shapes of which z3 is asked at once whether any has a solution: to ask of a small one takes
longer than to answer."""

GRACE = 5.0
"""Seconds after the time limit in which a worker may still answer; each looks at the
clock itself, so one that does not answer by then is stopped, or gone."""


class NoSolverError(Exception):
    """A solver that was asked for is not installed."""


def version(solver: SolverName) -> str:
    """A solver with its version. Raises NoSolverError if it is not installed."""
    if solver == "z3":
        return f"z3 {z3.get_version_string()}"
    from importlib import metadata  # takes longer to load than all of this room

    try:
        return f"cvc5 {metadata.version('cvc5')}"
    except metadata.PackageNotFoundError:
        raise NoSolverError(
            "cvc5 is not installed; `pip install 'bellcrank[recheck]'` brings it"
        ) from None


def decide(solver: SolverName, shapes: Sequence[Shape], seconds: float | None) -> list[Answer]:
    """The answers to some shapes, within so many seconds; "unknown" for those left."""
    ask: Callable[[Sequence[Shape], float | None], Answer] = _by_z3
    together = TOGETHER
    if solver == "cvc5":
        ask, together = _by_cvc5, 1
    end = None if seconds is None else time.monotonic() + seconds

    def answer(some: Sequence[Shape]) -> Answer:
        left = None if end is None else end - time.monotonic()
        return "unknown" if left is not None and left <= 0 else ask(some, left)

    answers: list[Answer] = []
    for begin in range(0, len(shapes), together):
        some = shapes[begin : begin + together]
        of_all = answer(some)
        # Where not all are shown together, each is asked of by itself.
        settled = of_all == "unsat" or len(some) == 1
        answers += [of_all] * len(some) if settled else [answer([shape]) for shape in some]
    return answers


def _by_z3(shapes: Sequence[Shape], seconds: float | None) -> Answer:
    """Whether any of some shapes has a solution."""
    # Of z3's solvers the one for finite domains, which takes Boolean clauses as they are.
    solver = z3.SolverFor("QF_FD", ctx=context_of_this_thread())
    solver.set("ctrl_c", False)  # it would take Ctrl-C for itself, and nobody else heard of it
    if seconds is not None:
        solver.set("timeout", max(1, int(seconds * 1000)))
    solver.from_string(dimacs_text(shapes))
    answers: dict[str, Answer] = {"unsat": "unsat", "sat": "sat"}
    return answers.get(str(solver.check()), "unknown")


def _by_cvc5(shapes: Sequence[Shape], seconds: float | None) -> Answer:
    import cvc5

    (shape,) = shapes

    solver = cvc5.Solver()
    if seconds is not None:
        solver.setOption("tlimit-per", str(max(1, int(seconds * 1000))))
    parser = cvc5.InputParser(solver)
    parser.setStringInput(cvc5.InputLanguage.SMT_LIB_2_6, smt_text(shape), "obligation")
    symbols = parser.getSymbolManager()
    answer = ""
    while not (command := parser.nextCommand()).isNull():
        answer = str(command.invoke(solver, symbols)).strip() or answer
    answers: dict[str, Answer] = {"unsat": "unsat", "sat": "sat"}
    return answers.get(answer, "unknown")


@dataclass(slots=True)
class Solving:
    """Decides shapes, by itself or by the workers of an executor.

    deadline: a time of the monotonic clock after which everything is unknown.
    known: shapes that this solver was asked already, and found to have no solution.
    """

    solver: SolverName = "z3"
    executor: Executor | None = None
    deadline: float | None = None
    known: Collection[Shape] = ()
    asked: int = field(default=0, init=False)

    def left(self) -> float | None:
        """The seconds that are left, or None without a limit."""
        return None if self.deadline is None else self.deadline - time.monotonic()

    def __call__(self, shapes: Sequence[Shape]) -> list[Answer]:
        """An answer for each shape."""
        new = [shape for shape in shapes if shape not in self.known]
        if len(new) == len(shapes):
            return self._asked(shapes)
        found = dict(zip(new, self._asked(new), strict=True))
        return [found.get(shape, "unsat") for shape in shapes]

    def _asked(self, shapes: Sequence[Shape]) -> list[Answer]:
        self.asked += len(shapes)
        if self.executor is None or len(shapes) <= BATCH:
            return decide(self.solver, shapes, self.left())
        batches = [shapes[i : i + BATCH] for i in range(0, len(shapes), BATCH)]
        futures: list[Future[list[Answer]]] = []
        with suppress(RuntimeError):  # it takes no more: its workers are gone
            for batch in batches:
                futures.append(self.executor.submit(decide, self.solver, batch, self.left()))
        answers: list[Answer] = []
        for batch, future in zip(batches, futures, strict=False):
            answers += self._result(future) or decide(self.solver, batch, self.left())
        for batch in batches[len(futures) :]:
            answers += decide(self.solver, batch, self.left())
        return answers

    def _result(self, future: Future[list[Answer]]) -> list[Answer] | None:
        """What a worker answered; None if it is lost."""
        left = self.left()
        try:
            return future.result(None if left is None else max(0.0, left) + GRACE)
        except Exception:
            return None  # each executor has an error of its own for workers that are gone
