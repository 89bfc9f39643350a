"""The fewest acts that bring the railway to what is wished, or that there are none."""

from __future__ import annotations

import random
import time
from collections import deque
from collections.abc import Iterator

import pytest
from in_campaigns import in_campaigns
from random_layouts import valid_layouts
from rehearsed import JUNCTION, OVERLAP, railway

from bellcrank.commands.exit_statuses import PROVED, REFUTED
from bellcrank.commands.finding_moves import find_moves, in_words
from bellcrank.machine.frame import PUT_BACK
from bellcrank.machine.machine_model import Event, EventKind, State, holds
from bellcrank.rehearsal.acts import Moment, first_moment, run_script
from bellcrank.rehearsal.expectations import expected
from bellcrank.rehearsal.finding import NotThereError, find, unsafe_on
from bellcrank.rehearsal.found_lines import expectations_of, lines_of_run
from bellcrank.rehearsal.goals import TooManyWaysError, read_goal, ways, wished
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import Line, read_script
from bellcrank.running.shortest_run import GivenUp, NoRun, Run
from bellcrank.running.simulator import replay
from bellcrank.running.state_search import Explorer, PackedState

ROUND = """
points P, Q
run edge W - A - >H - P.toe
run P.straight - <S1 - T1 - >E1 - Q.straight
run P.diverging - <S2 - T2 - >E2 - Q.diverging
run Q.toe - <X - N - stop
signal H shows stop, proceed, call
route CALL = H to E1 calling on shows call
"""
"""A loop where an engine gets round its train: it comes in from W, and draws on to N."""

ARRIVED = """
train comes in from W
request H to E1
go on
request E1 to N
wait
trains are long
train passes E1
train in Q moves
vehicles in T1 are uncoupled
tail of train in Q follows
wait
"""
"""Its train stands in T1, and the engine in N."""

SIDING = "run edge W - A - >H - B - stop\n"

PASSING = "run edge W - A - >H - B - edge E\n"

_SOMEBODY: frozenset[EventKind] = frozenset(
    ("request", "cancel", "comes in", "passes signal", "enters", "joins", "turns back", "uncoupled")
)
_NOBODY: frozenset[EventKind] = frozenset(
    ("meets", "derails", "put down", "stands", "taken off", "ready to leave")
)


class Asked:
    """A goal that is looked for after a script."""

    def __init__(self, layout: str, goal: str, script: str = "", *, by_hand: bool = False) -> None:
        self.railway = railway(layout)
        self.script = script
        self.moment = end_of(self.railway, script)
        self.conditions, wrong = read_goal(goal, "goal", self.railway)
        assert not wrong, wrong
        self.finding = find(self.railway, self.moment.state, self.conditions, by_hand=by_hand)

    def answer(self) -> Run | NoRun | GivenUp:
        return self.finding.search.go_on()

    def lines(self) -> list[str]:
        """The lines that are told of the run that was found, which are played and lead there."""
        answer = self.answer()
        assert isinstance(answer, Run)
        assert answer.shortest
        run = self.finding.own_run(answer)
        told = list(lines_of_run(self.railway, self.moment, run, self.conditions))
        expected_then = expectations_of(self.conditions)
        end_of(self.railway, "\n".join((self.script, *told, *expected_then)))
        return told


def end_of(of: Railway, script: str) -> Moment:
    """The moment after a script of which every line comes true."""
    lines, wrong = read_script(script, "script", of)
    assert not wrong, wrong
    outcomes = run_script(of, lines)
    assert all(outcome.good for outcome in outcomes), [o for o in outcomes if not o.good]
    return outcomes[-1].moment if outcomes else first_moment(of)


# --------------------------------------------------------------------- what is found


def test_a_train_is_brought_in_from_an_edge_by_the_fewest_acts() -> None:
    asked = Asked(JUNCTION, "train in C before S2")
    assert sorted(asked.lines()) == sorted(
        [
            "request H to C",
            "train comes in from WEST",
            "wait",
            "train passes H",
            "train in P1 moves",
            "train in C turns back",
        ]
    )


def test_what_is_so_already_takes_no_act() -> None:
    assert Asked(JUNCTION, "all at rest").lines() == []


def test_a_passing_state_is_come_to_as_well() -> None:
    assert Asked(JUNCTION, "P1 moving").lines() == ["request H to C"]
    assert Asked(JUNCTION, "H to C being cancelled").lines() == [
        "request H to C",
        "wait",
        "cancel H to C",
    ]


def test_an_engine_gets_round_its_train() -> None:
    """By the other track, to the end of its train where it came in."""
    asked = Asked(ROUND, "train from N in A before H and vehicles stand in T1", ARRIVED)
    lines = asked.lines()
    assert {"request X to S2", "request S2 to W", "train in A turns back"} <= set(lines)
    assert sum(line.startswith(("request", "train in", "train passes")) for line in lines) == 8


def test_an_engine_leaves_its_train_and_draws_on() -> None:
    lines = Asked(ROUND, "train in N before X and vehicles stand in T1").lines()
    assert "vehicles in T1 are uncoupled" in lines


def test_a_train_is_followed_and_another_will_not_do() -> None:
    script = "train comes in from W\nrequest H to E1\ngo on\n"
    any_train = Asked(ROUND, "train in T2 before E2", script).answer()
    that_train = Asked(ROUND, "train from T1 in T2 before E2", script).answer()
    assert isinstance(any_train, Run)
    assert isinstance(that_train, Run)
    assert (any_train.count, that_train.count) == (4, 8)


def test_a_train_that_has_left_is_followed_no_more() -> None:
    script = "train comes in from W\nrequest H to E\nwait\ntrain passes H\n"
    assert isinstance(Asked(PASSING, "train in A and B clear", script).answer(), Run)
    assert isinstance(Asked(PASSING, "train from B in A", script).answer(), NoRun)


def test_vehicles_come_from_nowhere_only_by_hand() -> None:
    goal = "vehicles stand in B and A clear and all at rest"
    assert Asked(SIDING, goal, by_hand=True).lines() == ["vehicles stand in B"]
    assert len([x for x in Asked(SIDING, goal).lines() if x != "wait"]) > 4


def test_that_nothing_leads_there_is_found_out_without_a_search() -> None:
    answer = Asked(SIDING, "train from B in A", "train comes in from W\nrequest H to B\ngo on\n")
    found = answer.answer()
    assert isinstance(found, NoRun)
    assert (found.because, found.states) == ("nothing leads there", 0)


def test_that_there_is_no_run_is_found_out_by_looking_at_all_states() -> None:
    found = Asked(SIDING, "H off and B occupied").answer()
    assert isinstance(found, NoRun)
    assert found.because == "all states were looked at"


def test_a_search_that_is_given_up_says_how_many_acts_it_takes_at_least() -> None:
    asked = Asked(ROUND, "train in T1 before S1 and train in T2 before E2")
    given_up = asked.finding.search.go_on(until=time.monotonic() - 1)
    assert isinstance(given_up, GivenUp)
    at_last = asked.answer()
    assert isinstance(at_last, Run)
    assert given_up.at_least <= at_last.count


def test_a_search_in_a_hurry_finds_a_run_and_says_what_it_knows_of_the_shortest() -> None:
    asked = Asked(ROUND, "train in T1 before S1 and train in T2 before E2")
    hurried = asked.finding.search.in_a_hurry().go_on()
    shortest = asked.answer()
    assert isinstance(hurried, Run)
    assert isinstance(shortest, Run)
    assert hurried.at_least <= shortest.count <= hurried.count


def test_a_signal_that_has_just_been_put_back_is_not_passed() -> None:
    script = "train comes in from W\nrequest H to B\nwait\ncancel H to B\n"
    answer = Asked(SIDING, "train in B", script).answer()
    assert isinstance(answer, Run)
    assert next(event.kind for event in answer.events if event.kind in _SOMEBODY) == "request"


@pytest.mark.parametrize(
    ("script", "why"),
    [
        ("", "no train is in B at first"),
        ("train comes in from W\nrequest H to B\nwait\ntrains are long\ntrain passes H\n", None),
    ],
)
def test_a_train_that_is_not_there_cannot_be_followed(script: str, why: str | None) -> None:
    place = "A" if why is None else "B"
    why = why or "the front of the train is not in A at first"
    with pytest.raises(NotThereError, match=why):
        Asked(SIDING, f"train from {place} in B", script)


# ------------------------------------------------------------- how goals are read


@pytest.mark.parametrize(
    ("goal", "message", "column"),
    [
        ("", "nothing is wished for", 1),
        ("B ocupied", "`ocupied` does not belong here", 3),
        ("B occupied and C clear", "there is no section and no piece of track `C`", 16),
        ("B occupied and", "the line ends too early", 15),
        ("train in B before H", "no train in B comes to H next", 19),
        ("request H to B", "`H` does not belong here", 9),
    ],
)
def test_what_is_wrong_with_a_goal_is_told_with_its_place(
    goal: str, message: str, column: int
) -> None:
    _, (found,) = read_goal(goal, "goal", railway(SIDING))
    assert (found.message, found.span.column) == (message, column)


def test_the_word_expect_may_stand_before_each_condition() -> None:
    lines, wrong = read_goal("expect B clear and expect A occupied", "goal", railway(SIDING))
    assert not wrong
    assert [line.text for line in lines] == ["B clear", "A occupied"]


# ---------------------------------------------------- held against other methods


def random_condition(of: Railway, rng: random.Random) -> str:
    layout = of.layout
    route, other = rng.choice(list(of.table.routes)), rng.choice(list(of.table.routes))
    signal, place = rng.choice(list(layout.signals)), rng.choice(list(of.parts_of))
    section = rng.choice(list(layout.sections))
    forms = [
        f"{route} refused", f"{route} allowed", f"{route} idle", f"{route} set",
        f"{route} under way", f"{route} being cancelled", f"{route} kept for its overlap",
        f"{signal} off", f"{signal} at stop", f"{signal} off for {route}",
        f"{place} occupied", f"{place} clear", f"{section} not held", f"{section} held for {other}",
        f"train in {place}", f"vehicles stand in {place}", f"train in {place} at a stand",
        f"cancel {route} refused", "all at rest", f"{route} refused because of {other}",
        f"{route} refused because of {place}",
    ]  # fmt: skip
    forms += [f"{name} shows {aspect.name}" for name, s in layout.signals.items()
              for aspect in s.aspects]  # fmt: skip
    for name, drive in layout.drives_by_name().items():
        forms += [f"{name} moving", *(f"{name} lies {p}" for p in layout.drives[drive].positions)]
    forms += [
        f"train in {p} before {before}"
        for p in of.parts_of
        for before in layout.signals
        if any(of.fronts_before(part, before) for part in of.parts_of[p])
    ]
    return rng.choice(forms)


def some_states(of: Railway, count: int, rng: random.Random) -> Iterator[State]:
    """States on a random walk through all that may happen."""
    state: State = of.machine.start()
    for _ in range(count):
        yield state
        able = of.simulator.possible(state)
        state = of.simulator.do(rng.choice(able), state).state


@pytest.mark.parametrize("layout", [JUNCTION, OVERLAP, ROUND])
def test_a_goal_holds_where_a_script_would_find_its_expectations_met(layout: str) -> None:
    of, rng = railway(layout), random.Random(7)
    met = 0
    for state in some_states(of, 150, rng):
        for _ in range(4):
            condition = random_condition(of, rng)
            (line,), _ = read_goal(condition, "goal", of)
            of_line = ways(wished(of, line))
            held = any(all(holds(clause, state) for clause in way) for way in of_line)
            assert held is expected(of, state, line)[0], condition
            met += held
    assert met > 100


def costs(of: Railway, most: int) -> tuple[Explorer, dict[PackedState, int]]:
    """How many acts each reachable state takes: by breadth, in all orders of all events, without
    anything that the search leans on. Empty if there are more states than that."""
    able = tuple(event for event in of.machine.events if event.kind not in _NOBODY)
    explorer = Explorer(of.machine, able)
    overrun = [tuple(_put_back(explorer, of, event)) for event in able]
    counted = [event.kind in _SOMEBODY for event in able]
    first = explorer.pack(of.machine.start())
    best = {first: 0}
    todo = deque([(first, 0)])
    while todo:
        state, count = todo.popleft()
        if count > best[state]:
            continue
        for number, then in explorer.successors(state):
            if any(state[place] == value for place, value in overrun[number]):
                continue
            cost = count + counted[number]
            if cost < best.get(then, 1 << 30):
                best[then] = cost
                (todo.append if counted[number] else todo.appendleft)((then, cost))
        if len(best) > most:
            return explorer, {}
    return explorer, best


def _put_back(explorer: Explorer, of: Railway, event: Event) -> Iterator[tuple[int, int]]:
    """The signals that an event takes a train past, with the value that nobody passes."""
    if event.kind in ("passes signal", "enters", "joins"):
        for name in {literal.variable for clause in event.guard for literal in clause}:
            if of.machine.variables[name].kind == "signal":
                place = explorer.place[name]
                yield place, explorer.values[place][PUT_BACK]


def agrees(of: Railway, goals: int, most: int, rng: random.Random) -> tuple[int, int]:
    """Whether the search finds what brute force does, for goals by lot; how many of them can be
    come to, and how many cannot."""
    explorer, best = costs(of, most)
    named = sorted(((explorer.unpack(s), n) for s, n in best.items()), key=lambda pair: pair[1])
    done = [0, 0]
    for _ in range(goals if named else 0):
        goal = " and ".join(random_condition(of, rng) for _ in range(rng.choice((1, 2, 2, 3))))
        lines, wrong = read_goal(goal, "goal", of)
        assert not wrong, wrong
        least = next((count for state, count in named if _all_hold(of, state, lines)), None)
        try:
            search = find(of, of.machine.start(), lines).search
        except TooManyWaysError:
            continue
        answer = search.go_on(time.monotonic() + 1)
        if isinstance(answer, GivenUp):
            assert least is None or answer.at_least <= least, goal
            answer = search.without_bound().go_on()
        assert isinstance(answer, NoRun if least is None else Run), (goal, least)
        if isinstance(answer, Run):
            assert answer.count == least, goal
            own = {event.name: event for event in of.machine.events}
            run = [own[event.name] for event in answer.events]
            assert _all_hold(of, replay(of.machine, run, of.machine.start())[-1], lines), goal
            assert sum(event.kind in _SOMEBODY for event in run) == least
            moment = first_moment(of)
            if unsafe_on(of, of.machine.start(), run) is not None:
                done[False] += 1
                continue  # a script of it is not played to its end
            told = [*lines_of_run(of, moment, run, lines), *expectations_of(lines)]
            end_of(of, "\n".join(told))
        done[least is None] += 1
    return done[0], done[1]


def _all_hold(of: Railway, state: State, lines: tuple[Line, ...]) -> bool:
    return all(expected(of, state, line)[0] for line in lines)


@pytest.mark.parametrize(
    "layout",
    in_campaigns([SIDING, PASSING, JUNCTION, OVERLAP], lambda x: x in (JUNCTION, OVERLAP)),
)
def test_no_run_is_shorter_than_what_is_found_by_brute_force(layout: str) -> None:
    found, none = agrees(railway(layout), 12, 20_000, random.Random(layout))
    assert found
    assert none


FORGETFUL = """
run edge W - A - >H - B - <K - C - edge E
locking written {
  every route needs its positions
}
"""
"""Two signals face each other, and nothing locks their routes."""


def test_what_is_unsafe_on_the_way_is_said() -> None:
    of = railway(FORGETFUL)
    goal, wrong = read_goal("H off and K off", "goal", of)
    assert not wrong
    moves = find_moves(of, first_moment(of), goal, by_hand=False, seconds=20)
    assert moves.lines and moves.unsafe and moves.status == REFUTED
    assert f"something is unsafe: {moves.unsafe}." in " ".join(in_words(moves))
    safe = find_moves(of, first_moment(of), goal[:1], by_hand=False, seconds=20)
    assert safe.lines and safe.unsafe is None and safe.status == PROVED


@pytest.mark.campaign
@pytest.mark.parametrize("seed", range(400, 430))
def test_no_run_is_shorter_on_random_layouts(seed: int) -> None:
    for _, c in valid_layouts(range(seed, seed + 1), 0.0):
        of = Railway(c.machine, c.layout, c.table)
        found, none = agrees(of, 6, 12_000, random.Random(seed))
        if not found + none:
            pytest.skip("too many states to look at all")
