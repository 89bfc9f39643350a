"""The moving proof against looking at every state, on random small layouts."""

from __future__ import annotations

import os
from collections import Counter

import pytest
from by_hand import without_hands
from random_layouts import RandomLayout, random_layout, shown
from replayed import assert_replays
from resting import comes_to_rest

from bellcrank.diagnostics import has_errors
from bellcrank.layout.build_layout import build_layout
from bellcrank.machine.build_machine import build_machine
from bellcrank.machine.machine_model import PROPERTIES, Machine
from bellcrank.machine.rules import build_locking
from bellcrank.proof.moving.moving_proof import Effort, prove_moving
from bellcrank.proof.verdict import MovingResult
from bellcrank.routes.derive import build_routes
from bellcrank.running.state_search import Explorer, Found, violated
from bellcrank.syntax.load import load_text

SMALL = """
    1 2 3 4 13 15 22 32 49 54 66 67 70 82 84 86 94 107 117 149 150 164 167 168 174 176 184
    185 190 194 198 201 205 215 217 220 221 226 230 231 238 252 255 258 260 262 267 269 270
    274 275 281 283 284 304 305 313 316 321 323 326 327 335 339 344 355 356 359 366 367 369
    370 371 373 375 377 378 379 385 397 399 404 406 407 411 426 434 440 446 448 449 454 455
    458 466 470 472 473 475 486 499 506 511 512 522 526 532 535 541 545 547 553 555 564 568
    570 573 577 593 607 612 620 629 630 651 658 660 662 678 679 681 690 692 695 696 698 720
    730 731 737 738 742 745 748 750 754 760 762 765 767 769 776 778 781 782 799 801 803 809
    810 812 813 814 815 816 822 828 829 830 831 835 836 840 845 855 856 858 864 866 867 876
    879 884 885 887 888 890 893 895 896 903 906 907 910 913 922 939 947 951 952 953 967 972
    973 977 981 984 988 992 995 1001 1006 1010 1019 1020 1024 1042 1048 1051 1055 1056 1059
    1060 1061 1064 1065 1067 1071 1078 1082 1083 1100 1101 1105 1113 1119 1124 1128 1131
    1134 1136 1139 1145 1147 1148 1150 1153 1159 1163 1164 1169 1170 1195 1199 1206 1207
    1208 1212 1224 1227 1228 1237 1238 1239 1246 1247 1250 1260 1265 1267 1269 1283 1288
    1301 1303 1305 1311 1327 1332 1345 1349 1358 1361 1369 1372 1377 1385 1390 1404 1407
    1409 1411 1416 1421 1425 1429 1434 1449 1457 1463 1474 1475 1476 1481 1484 1487 1496
    1501 1506 1514 1518 1524 1525 1530 1545 1549 1552 1570 1581 1582 1586 1595 1596
""".split()
"""The seeds below 1,600 whose layouts have so few states that all are looked at."""

EACH = 20
"""Layouts to a test."""

TRIED = range(0, len(SMALL), EACH if "BELLCRANK_SMALL" in os.environ else 3 * EACH)
"""Where lots begin that are tried: every third, or all if BELLCRANK_SMALL is set."""

FEW_STATES = 2_600
MANY_STATES = 30_000

MOST_VARIABLES = 32
"""Layouts with more seldom have few enough states, and are not tried."""


def machine_of(layout: RandomLayout) -> Machine | None:
    """The machine of a layout without errors, made without proving anything, and without
    vehicles that stand."""
    program, found = load_text(layout.text, f"random-{layout.seed}.crank")
    track, more = build_layout(program)
    if has_errors(found + more):
        return None
    table, of_routes = build_routes(program, track)
    locking, of_locking = build_locking(program, track, table)
    if has_errors(of_routes + of_locking):
        return None
    machine = without_hands(build_machine(track, table, locking))
    return machine if len(machine.variables) <= MOST_VARIABLES else None


def every_state(machine: Machine, most: int) -> tuple[Explorer, Found] | None:
    """All states, and the shortest run to a violation of each property; None if too many."""
    explorer = Explorer(machine)
    whole = explorer.search({}, most)
    if not whole.complete:
        return None
    found = explorer.search(violated(explorer, machine), most)
    found.seen = whole.seen
    return explorer, found


def check(machine: Machine, explorer: Explorer, found: Found) -> Counter[str]:
    """Every property is proved if no state violates it, and else refuted by a story."""
    seen: Counter[str] = Counter()
    verdict = prove_moving(machine, Effort(search=MANY_STATES))
    stated = {i.of for i in machine.invariants}
    for result in verdict.results:
        run = found.runs.get(result.name)
        if result.name == "rest":
            # That a clause of it is false does not yet say that nothing leads to rest.
            rests = comes_to_rest(explorer.machine, found.seen)
            assert result.outcome in (("proved", "shown") if rests else ("refuted",)), result
            assert not (result.outcome == "proved" and run is not None)
            if result.story is not None:
                assert_replays(machine, result.story)
            seen[result.outcome] += 1
            seen[f"rest {result.outcome}"] += 1
        elif result.name in stated:
            assert result.outcome == ("proved" if run is None else "refuted"), result
            seen[result.outcome] += 1
            seen[f"{result.name.split()[0]} {result.outcome}"] += 1
            if run is not None:
                assert result.story is not None
                assert len(result.story.steps) == len(run), result.name
                assert_replays(machine, result.story)
    for result in verdict.results:
        if result.name not in stated and result.name not in PROPERTIES:
            check_wish(machine, explorer, found, result)
            seen[f"wish {result.outcome}"] += 1
    return seen


def check_wish(machine: Machine, explorer: Explorer, found: Found, result: MovingResult) -> None:
    """What is shown can be, and what is refuted cannot."""
    alone = result.name == "routes"
    wishes = [w for w in machine.wishes if (len(w.routes) == 1 if alone else w.text == result.name)]
    can = []
    for wish in wishes:
        off = []
        for route in wish.routes:
            (clears,) = (e for e in machine.events if e.name == f"signal clears {route}")
            (signal,) = clears.updates
            place = explorer.place[signal]
            off.append((place, explorer.values[place][route]))
        can.append(any(all(s[i] == value for i, value in off) for s in found.seen))
    assert result.outcome == ("shown" if all(can) else "refuted"), result


@pytest.mark.parametrize(
    "first",
    [pytest.param(first, marks=[] if first == 300 else pytest.mark.campaign) for first in TRIED],
)
def test_every_property_of_a_small_layout_is_what_its_states_say(first: int) -> None:
    seen: Counter[str] = Counter()
    for seed in SMALL[first : first + EACH]:
        layout = random_layout(int(seed))
        machine = machine_of(layout)
        assert machine is not None
        states = every_state(machine, FEW_STATES)
        assert states is not None
        with shown(layout):
            seen += check(machine, *states)
    # Neither answer is rare, so a constant one would be found out.
    assert seen["proved"] >= 3 and seen["refuted"] >= 1, seen


def test_over_a_hundred_layouts_are_tried() -> None:
    assert len({seed for first in TRIED for seed in SMALL[first : first + EACH]}) > 100


@pytest.mark.campaign
def test_every_property_of_a_layout_with_more_states_is_what_they_say() -> None:
    seen: Counter[str] = Counter()
    for seed in range(60):
        layout = random_layout(seed)
        machine = machine_of(layout)
        if machine is None or Explorer(machine).search({}, FEW_STATES).complete:
            continue
        states = every_state(machine, MANY_STATES)
        if states is not None:
            with shown(layout):
                seen += check(machine, *states)
            seen["layouts"] += 1
            seen["written"] += layout.written
    assert seen["layouts"] >= 3, seen
    assert seen["proved"] >= 10 and seen["refuted"] >= 1, seen
