"""The search behind a schedule: jobs on pools of like slots, the shortest total.

In the terms of scheduling theory: identical parallel machines in several pools, jobs with
delivery times (tails) and precedence, the makespan to be minimal (M. Pinedo, "Scheduling:
Theory, Algorithms, and Systems"). With one slot and no job after another the rule of the
longest tail first is right (Jackson's rule); with two slots it is already as hard as
parting weights into two equal heaps. So: list schedules by priority rules (R. L. Graham,
"Bounds on Multiprocessing Timing Anomalies", 1969), a bound from below, and where they
differ branch and bound (A. H. Land and A. G. Doig, 1960), branching on which job begins
next and never twice from one state. A job may need several slots at once (rigid parallel
jobs: P. Brucker, "Scheduling Algorithms", on multiprocessor tasks); its slots are those that
have been free the longest, and in bounds it counts as so many jobs.

Why the search is exact. Take a best schedule, and of these one whose starts have the
least sum. Go through its jobs by their starts (equals by their number): each begins as
soon as a slot of its pool is free and the jobs it comes after lie, else it could be moved
forward; it is a semi-active schedule. So the search need only try, as the next job, one
that does not begin before the last; every best schedule of least sum is among what it
tries.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import accumulate
from typing import NamedTuple

FREE = -1
"""The pool of jobs that need no slot."""

EFFORT = 200_000
"""A search gives up once its steps, times the jobs it has, are so many."""

SEARCHED = 48
"""Jobs of one group beyond which it is not begun."""


class Job(NamedTuple):
    """A throw as the search sees it.

    pool: whose slots it needs.
    busy: milliseconds for which it takes a slot; more than 0 unless it needs none.
    lies: milliseconds from its start until it is done.
    after: jobs, by number, that must be done before it begins. They have smaller
        numbers.
    need: how many slots it takes at once.
    """

    pool: int
    busy: int
    lies: int
    after: tuple[int, ...] = ()
    need: int = 1


class Found(NamedTuple):
    """Starts by number, the total, and what no schedule can be below."""

    starts: tuple[int, ...]
    total: int
    bound: int


@lru_cache(maxsize=4096)
def solve(jobs: tuple[Job, ...], slots: tuple[int, ...]) -> Found:
    """The shortest schedule of jobs, or the best found within the steps.

    slots: how many each pool has. Jobs that are alike stand beside each other, those
    of one pool and equal `busy` by falling `lies`.
    """
    tails = _tails(jobs)
    bound = _bound_at_root(jobs, slots, tails)
    best: tuple[tuple[int, ...], int] | None = None
    for rank in _ranks(jobs, tails):
        found = _list_schedule(jobs, slots, rank)
        if best is None or found[1] < best[1]:
            best = found
        if best[1] == bound:
            break
    assert best is not None
    if best[1] == bound or len(jobs) > SEARCHED:
        return Found(best[0], best[1], bound)
    search = _BranchAndBound(jobs, slots, tails, bound, *best)
    search.run()
    return Found(search.starts, search.total, bound if search.gave_up else search.total)


def _tails(jobs: Sequence[Job]) -> list[int]:
    """From the start of each job to the end of all that comes after it, at least."""
    tails = [job.lies for job in jobs]
    for number in range(len(jobs) - 1, -1, -1):
        for before in jobs[number].after:
            tails[before] = max(tails[before], jobs[before].lies + tails[number])
    return tails


# ----------------------------------------------------------------------- bounds


def _level(frees: Sequence[int], work: int) -> int:
    """The least time by which slots that become free then can have done some work."""
    total = work
    for count, free in enumerate(frees, start=1):
        total += free
        level = -(-total // count)
        if count == len(frees) or level <= frees[count]:
            return level
    raise AssertionError("a pool has a slot")


def _pool_bound(frees: Sequence[int], jobs: Iterable[tuple[int, int]]) -> int:
    """What no schedule of one pool can be below.

    frees: when its slots become free, in order.
    jobs: busy and tail of each. Of any set of them, some slot is busy until the level
    at least, and the last job in it has its tail still to go.
    """
    bound = work = 0
    for left, busy in sorted(((tail - busy, busy) for busy, tail in jobs), reverse=True):
        work += busy
        bound = max(bound, _level(frees, work) + left)
    return bound


def _counting_bound(slots: int, jobs: Sequence[tuple[int, int]]) -> int:
    """As above, for slots that are all free: of slots × k + 1 jobs, some slot serves
    k + 1, and these take as long as the k + 1 shortest."""
    bound = 0
    lasting: list[int] = []
    for left, busy in sorted(((tail - busy, busy) for busy, tail in jobs), reverse=True):
        insort(lasting, busy, key=lambda b: -b)
        sums = [0, *accumulate(lasting)]
        for k in range((len(lasting) - 1) // slots + 1):
            of_them = slots * k + 1
            bound = max(bound, sums[of_them] - sums[of_them - k - 1] + left)
    return bound


def _bound_at_root(jobs: Sequence[Job], slots: Sequence[int], tails: Sequence[int]) -> int:
    heads = [0] * len(jobs)
    for number, job in enumerate(jobs):
        heads[number] = max((heads[b] + jobs[b].lies for b in job.after), default=0)
    bound = max((h + t for h, t in zip(heads, tails, strict=True)), default=0)
    for pool, count in enumerate(slots):
        mine = [
            (j.busy, t)
            for j, t in zip(jobs, tails, strict=True)
            if j.pool == pool
            for _ in range(j.need)
        ]
        bound = max(bound, _pool_bound([0] * count, mine), _counting_bound(count, mine))
    return bound


# ------------------------------------------------------------------------ rules


def _ranks(jobs: Sequence[Job], tails: Sequence[int]) -> list[list[tuple[int, ...]]]:
    """Orders by rule: for each job what is compared, smallest first."""
    numbered = list(enumerate(zip(jobs, tails, strict=True)))
    return [
        [(job.busy - tail, -job.busy, n) for n, (job, tail) in numbered],
        [(-tail, -job.busy, n) for n, (job, tail) in numbered],
        [(-job.busy, -tail, n) for n, (job, tail) in numbered],
        [(job.busy, -tail, n) for n, (job, tail) in numbered],
    ]


def _list_schedule(
    jobs: Sequence[Job], slots: Sequence[int], rank: Sequence[tuple[int, ...]]
) -> tuple[tuple[int, ...], int]:
    """Of the jobs that can begin first, always the one that the rule puts first."""
    frees = [[0] * count for count in slots]
    starts: dict[int, int] = {}
    waiting = set(range(len(jobs)))
    while waiting:
        could: list[tuple[int, tuple[int, ...], int]] = []
        for number in waiting:
            job = jobs[number]
            if all(before in starts for before in job.after):
                ready = max((starts[b] + jobs[b].lies for b in job.after), default=0)
                start = ready if job.pool == FREE else max(ready, frees[job.pool][job.need - 1])
                could.append((start, rank[number], number))
        start, _, number = min(could)
        waiting.remove(number)
        starts[number] = start
        if jobs[number].pool != FREE:
            pool = frees[jobs[number].pool]
            pool[: jobs[number].need] = [start + jobs[number].busy] * jobs[number].need
            pool.sort()
    total = max((start + jobs[n].lies for n, start in starts.items()), default=0)
    return tuple(starts[n] for n in range(len(jobs))), total


# ----------------------------------------------------------------------- search


@dataclass(slots=True)
class _BranchAndBound:
    """A search in progress.

    starts, total: the best so far.
    begun: the start of each job that has been given one.
    """

    jobs: tuple[Job, ...]
    slots: tuple[int, ...]
    tails: Sequence[int]
    bound: int
    starts: tuple[int, ...]
    total: int
    steps: int = 0
    gave_up: bool = False
    begun: dict[int, int] = field(default_factory=dict)
    seen: set[tuple[object, ...]] = field(default_factory=set)
    earlier: list[int | None] = field(default_factory=list)

    def __post_init__(self) -> None:
        followed = {before for job in self.jobs for before in job.after}
        previous: int | None = None
        # Of like jobs that nothing comes after, and that come after nothing, the one with
        # the longer tail may as well begin first: swapping them makes nothing later.
        for number, job in enumerate(self.jobs):
            lone = not job.after and number not in followed and job.pool != FREE
            like = (
                lone
                and previous is not None
                and self.jobs[previous].pool == job.pool
                and self.jobs[previous].busy == job.busy
                and self.jobs[previous].need == job.need
            )
            self.earlier.append(previous if like else None)
            if lone:
                previous = number

    def run(self) -> None:
        self._go_on([[0] * count for count in self.slots], (0, -1))

    def _go_on(self, frees: list[list[int]], last: tuple[int, int]) -> None:
        """Try every job that could begin next. last: start and number of the last one."""
        if self.total == self.bound or self.gave_up:
            return
        self.steps += 1
        if self.steps * len(self.jobs) > EFFORT:
            self.gave_up = True
            return
        given = self._give_free_jobs()
        if self._worth_while(frees, last):
            self._branch(frees, last)
        for number in given:
            del self.begun[number]

    def _branch(self, frees: list[list[int]], last: tuple[int, int]) -> None:
        could = sorted(self._could_begin(frees))
        if not could:
            if len(self.begun) == len(self.jobs):
                total = max(s + self.jobs[n].lies for n, s in self.begun.items())
                if total < self.total:
                    self.total = total
                    self.starts = tuple(self.begun[n] for n in range(len(self.jobs)))
            return
        over = {
            pool: min(
                (s + self.jobs[n].busy for s, n in could if self.jobs[n].pool == pool), default=0
            )
            for pool in range(len(self.slots))
        }
        # A promising order first: what has the most still to come.
        could.sort(key=lambda c: (c[0], -self.tails[c[1]], c[1]))
        for start, number in could:
            job = self.jobs[number]
            # Another job would be over on that slot before this one begins.
            if (start, number) < last or start >= over[job.pool]:
                continue
            self.begun[number] = start
            after = [list(pool) for pool in frees]
            after[job.pool][: job.need] = [start + job.busy] * job.need
            after[job.pool].sort()
            self._go_on(after, (start, number))
            del self.begun[number]

    def _ready(self, job: Job) -> int | None:
        """When the jobs that it comes after are done; None if one has not begun."""
        ready = 0
        for before in job.after:
            start = self.begun.get(before)
            if start is None:
                return None
            ready = max(ready, start + self.jobs[before].lies)
        return ready

    def _give_free_jobs(self) -> list[int]:
        """Begin all jobs without a slot that can be; returns them."""
        given = []
        for number, job in enumerate(self.jobs):
            if job.pool == FREE and number not in self.begun:
                ready = self._ready(job)
                if ready is not None:
                    self.begun[number] = ready
                    given.append(number)
        return given

    def _could_begin(self, frees: list[list[int]]) -> Iterable[tuple[int, int]]:
        for number, job in enumerate(self.jobs):
            if number in self.begun or job.pool == FREE:
                continue
            earlier = self.earlier[number]
            if earlier is not None and earlier not in self.begun:
                continue
            ready = self._ready(job)
            if ready is not None:
                yield max(ready, frees[job.pool][job.need - 1]), number

    def _worth_while(self, frees: list[list[int]], last: tuple[int, int]) -> bool:
        """Whether something shorter than the best may lie ahead, not seen before."""
        begun = max((s + self.tails[n] for n, s in self.begun.items()), default=0)
        bound = begun
        heads: dict[int, int] = {}
        left: list[list[tuple[int, int]]] = [[] for _ in self.slots]
        waits = []
        for number, job in enumerate(self.jobs):
            if number in self.begun:
                continue
            head = 0 if job.pool == FREE else frees[job.pool][job.need - 1]
            for before in job.after:
                came = self.begun.get(before, heads.get(before, 0)) + self.jobs[before].lies
                head = max(head, came)
                if before in self.begun:
                    waits.append((number, came))
            heads[number] = head
            bound = max(bound, head + self.tails[number])
            if job.pool != FREE:
                left[job.pool] += [(job.busy, self.tails[number])] * job.need
        for pool, jobs in enumerate(left):
            bound = max(bound, _pool_bound(frees[pool], jobs))
        if bound >= self.total:
            return False
        # The same jobs begun, the same slots free: nothing else lies ahead.
        state = (frozenset(self.begun), tuple(map(tuple, frees)), tuple(waits), last, begun)
        if state in self.seen:
            return False
        self.seen.add(state)
        return True
