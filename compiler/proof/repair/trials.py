"""What is proved with some rules added, and which to add so that a proof is found."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import cached_property

from bellcrank.layout.layout_model import Layout
from bellcrank.machine.build_machine import build_machine
from bellcrank.machine.locking import Locking
from bellcrank.machine.machine_model import Machine
from bellcrank.machine.wording import Every
from bellcrank.proof.moving.brief import Brief, InductionAlone, proved_names
from bellcrank.proof.moving.moving_proof import Effort
from bellcrank.proof.repair.candidates import Addition, Candidate, with_rules
from bellcrank.proof.repair.generalising import Generalising
from bellcrank.proof.repair.learnt import Learnt
from bellcrank.proof.repair.repair_model import Progress, Unmended, Why
from bellcrank.proof.repair.scouting import DRIVES_CLEAR
from bellcrank.proof.repair.time_left import OutOfTimeError, TimeLeft
from bellcrank.proof.verdict import MovingVerdict
from bellcrank.routes.route_model import RouteTable

SECTIONS_CLEAR = Every("sections clear")


class Trials:
    """before: the properties and expectations that are known to hold with no rule added."""

    def __init__(
        self,
        layout: Layout,
        table: RouteTable,
        locking: Locking,
        learnt: Learnt,
        effort: Effort,
        time: TimeLeft,
        progress: Progress,
    ) -> None:
        self.layout = layout
        self.table = table
        self.locking = locking
        self.learnt = learnt
        self.effort = effort
        self.time = time
        self.progress = progress
        self.candidates = tuple(learnt.order)
        self.every = Generalising(table, learnt.order)
        self.before: frozenset[str] = frozenset()

    def machine(self, rules: Iterable[Addition]) -> Machine:
        """The machine with some rules added."""
        return build_machine(self.layout, self.table, with_rules(self.table, self.locking, rules))

    def prove(self, machine: Machine, how: type[Brief] = Brief) -> MovingVerdict:
        effort = replace(self.effort, seconds=self.time.left())
        moving = how(machine, effort, self.progress).verdict()
        if moving.interrupted:
            raise KeyboardInterrupt
        if moving.stopped:
            raise OutOfTimeError
        return moving

    @cached_property
    def at_best(self) -> frozenset[str]:
        """What is proved with every rule that might be missing."""
        return proved_names(self.prove(self.machine(self.candidates)))

    def good(self, moving: MovingVerdict) -> bool:
        """Whether all is proved that rules can mend."""
        # What is expected to be possible, and is not, no further rule can mend.
        rest = {r.name: r for r in moving.results if r.outcome != "refuted" or r.story}
        left = rest.keys() - proved_names(moving) - self.learnt.beyond.keys()
        return not any(rest[name].story or name in self.at_best for name in left)

    def open(self, moving: MovingVerdict) -> Iterator[Unmended]:
        """What does not hold of trains as they move."""
        for result in moving.results:
            if result.name in proved_names(moving):
                continue
            why: Why = "undecided, whatever rules are added"
            if result.name in self.learnt.beyond:
                why = "no rule would help"
            elif result.outcome == "refuted":
                why = "not together with the rest"
            elif result.name in self.before or result.name in self.at_best:
                why = "undecided with these rules"
            yield Unmended(result.name, result.sentence, why)

    def general(self, rules: tuple[Candidate, ...]) -> tuple[Candidate, ...]:
        """The rules, with one for every route in the place of many for single ones."""
        return self.beside(self.every.worth_it(rules)) or rules

    def beside(self, general: Sequence[Every]) -> tuple[Candidate, ...]:
        """Some general rules, with as few others as meet what these do not."""
        return self.every.beside(general, self.learnt.lessons)

    def provable(self, rules: tuple[Candidate, ...]) -> tuple[Candidate, ...]:
        """The rules, and more, with which induction shows what it shows with all
        candidates; the rules alone if there is nothing to gain."""
        wanted = self.at_best

        def enough(trial: Iterable[Candidate]) -> bool:
            return wanted <= proved_names(self.prove(self.machine(trial), InductionAlone))

        if not enough(self.candidates):
            return rules
        common = self.every.worth_it(rules)
        for further in ((SECTIONS_CLEAR,), (DRIVES_CLEAR,), (SECTIONS_CLEAR, DRIVES_CLEAR)):
            trial = self.beside(list(dict.fromkeys((*common, *further))))
            if trial and enough(trial):
                return trial
        more = _reduced(self.candidates, rules, enough)
        general = self.every.worth_it(more)
        trial = (*general, *(rule for rule in more if rule not in self.every.single(general)))
        return trial if enough(trial) else tuple(more)


def _reduced(
    rules: Sequence[Candidate],
    kept: Collection[Candidate],
    enough: Callable[[Sequence[Candidate]], bool],
) -> list[Candidate]:
    """Of rules that are enough some that are as well: stretches of them are left out,
    ever shorter ones, except for those to be kept.

    Delta debugging by complements: A. Zeller and R. Hildebrandt, "Simplifying and
    Isolating Failure-Inducing Input" (2002).
    """
    more = list(rules)
    size = len(more)
    while size := size // 2:
        for start in range(len(more) - size, -1, -size):
            fewer = [r for i, r in enumerate(more) if r in kept or not 0 <= i - start < size]
            if len(fewer) < len(more) and enough(fewer):
                more = fewer
    return more
