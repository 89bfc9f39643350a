"""The locking in force: derived from the routes, or as written and nothing else."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from pathlib import Path

import pytest
from by_hand import without_hands
from sound_layouts import checked, compiled, compiled_file, machine_of

import bellcrank
from bellcrank.machine.locking import (
    Expectation,
    Locking,
    Locks,
    Needs,
    NeedsClear,
    NeedsSet,
    OnlyOneOver,
    written_rules_between,
)
from bellcrank.routes.route_model import RouteTable
from bellcrank.running.state_search import Explorer

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

TRACK = """
points P, Q
double slip X with two drives
run edge WEST - A - >W - P.toe
run P.straight - <S - B - >V - Q.straight
run P.diverging - <D - C - >U - Q.diverging
run Q.toe - X.a1
run edge EAST - Y - >E - X.b1
run X.a2 - <F - G - stop
run X.b2 - <H - J - stop
section BODY = B, C
"""


def locking(rules: str, track: str = TRACK) -> Locking:
    found = compiled(track + rules).locking
    assert found
    return found


def written(rules: str, track: str = TRACK) -> Locking:
    return locking("locking written {\n" + rules + "\n}\n", track)


def table(track: str = TRACK) -> RouteTable:
    return compiled(track).table


def codes(rules: str) -> list[str]:
    return [d.code for d in bellcrank.compile(TRACK + rules).diagnostics]


def rules_of(found: Locking) -> tuple[object, ...]:
    return (*found.locks, *found.needs, *found.needs_set, *found.needs_clear)


def assert_derived(found: Locking, routes: RouteTable) -> None:
    assert found.derived
    assert found.locks == tuple(Locks(one, other) for one, other in routes.conflicts)
    assert found.needs == tuple(
        Needs(r.name, drive, position)
        for r in routes.routes.values()
        for drive, position in r.demands.items()
    )
    assert found.needs_clear == tuple(
        NeedsClear(r.name, section) for r in routes.routes.values() for section in r.sections_clear
    )
    assert found.needs_set == ()


# ------------------------------------------------------------------------ derived


@pytest.mark.parametrize("line", ["", "locking derive\n", "locking derive\nlocking derive\n"])
def test_derived_locking_is_the_conflicts_and_the_demands(line: str) -> None:
    assert_derived(locking(line), table())


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_derived_locking_of_examples_is_the_conflicts_and_the_demands(path: Path) -> None:
    c = compiled_file(path)
    if "locking written" not in c.program.texts[path.name]:
        assert_derived(c.locking, c.table)
    else:
        assert not c.locking.derived


def test_every_pair_that_conflicts_is_locked_once() -> None:
    pairs = [frozenset((r.first, r.second)) for r in locking("").locks]
    assert len(pairs) == len(set(pairs)) > 10


def test_derived_locking_holds_overlap_and_flank_too() -> None:
    found = locking("overlap W = P, B\nflank W to S = X.end1 a2\n", _TO_SIGNAL)
    assert Needs("Z to W", "P", "straight") in found.needs
    assert NeedsClear("Z to W", "B") in found.needs_clear
    assert Needs("W to S", "X.end1", "a2") in found.needs


_TO_SIGNAL = """
points P
double slip X with two drives
run edge WEST - Z1 - >Z - A - >W - P.toe
run P.straight - B - >S - K - stop
run P.diverging - X.a1
run edge EAST - Y - >E - X.b1
run X.a2 - G - stop
run X.b2 - J - stop
"""


def test_calling_on_does_not_need_its_berth_clear() -> None:
    found = locking("route CALL = V to G calling on\nroutes derive\n")
    needed = [r.section for r in found.needs_clear if r.route == "CALL"]
    assert needed == ["Q", "X"]
    assert NeedsClear("V to G", "G") in found.needs_clear


def test_a_train_on_its_way_in_through_the_berth_keeps_a_calling_on_route_away() -> None:
    c = checked("""
        points P
        run stop - A - >S - P.toe
        run P.straight - <X - N - M - edge E
        run P.diverging - <H - B - stop
        route S to E calling on
    """)
    # Nothing stops a train from E before it reads X, and S must be at stop by then.
    assert [r.name for r in c.moving.results if r.outcome not in ("proved", "shown")] == []
    (needs,) = [n for n in c.locking.needs_clear if "calling on" in n.route and n.section == "M"]
    assert needs.span is None


def test_rules_of_ones_own_come_after_the_derived_ones() -> None:
    own = "locking derive {\n  W to V locks E to G\n  W to V needs X.end1 a2\n}\n"
    derived, found = locking(""), locking(own)
    assert found.derived
    assert found.locks == (*derived.locks, Locks("W to V", "E to G"))
    assert found.needs == (*derived.needs, Needs("W to V", "X.end1", "a2"))
    assert found.needs_clear == derived.needs_clear


def test_only_rules_of_ones_own_know_their_line() -> None:
    found = locking("locking derive {\n  W to V locks E to G\n}\n")
    lines = [r.span.line for r in found.locks if r.span is not None]
    assert lines == [TRACK.count("\n") + 2]


# ------------------------------------------------------------------------ written


def test_written_locking_without_rules_has_no_rules() -> None:
    found = written("")
    assert not found.derived
    assert rules_of(found) == ()


RULES = [
    ("W to V locks E to G", [Locks("W to V", "E to G")]),
    (
        "W to V locks E to G, E to J, W to U",
        [Locks("W to V", "E to G"), Locks("W to V", "E to J"), Locks("W to V", "W to U")],
    ),
    (
        "W to V locks E to G when P straight",
        [Locks("W to V", "E to G", (("P", "straight"),))],
    ),
    (
        "W to V locks E to G, E to J when X.end1 a2, P diverging",
        [
            Locks("W to V", "E to G", (("X.end1", "a2"), ("P", "diverging"))),
            Locks("W to V", "E to J", (("X.end1", "a2"), ("P", "diverging"))),
        ],
    ),
    ("W to V needs P straight", [Needs("W to V", "P", "straight")]),
    ("W to V needs X.end2 b1", [Needs("W to V", "X.end2", "b1")]),
    (
        "W to V needs P straight, X.end1 b2",
        [Needs("W to V", "P", "straight"), Needs("W to V", "X.end1", "b2")],
    ),
    ("W to V needs E to G set", [NeedsSet("W to V", "E to G")]),
    ("W to V needs BODY clear", [NeedsClear("W to V", "BODY")]),
    ("W to V needs B clear", [NeedsClear("W to V", "BODY")]),
    ("W to V needs G clear", [NeedsClear("W to V", "G")]),
    (
        "only one of W to V, E to G, F to EAST",
        [
            Locks("W to V", "E to G"),
            Locks("W to V", "F to EAST"),
            Locks("E to G", "F to EAST"),
        ],
    ),
    ("only one route over A", [Locks("S to WEST", "D to WEST", over="A")]),
    (
        "only one route over each of A, Y",
        [
            Locks("S to WEST", "D to WEST", over="A"),
            Locks("F to EAST", "H to EAST", over="Y"),
        ],
    ),
]


@pytest.mark.parametrize(("rule", "values"), RULES, ids=[rule for rule, _ in RULES])
def test_each_written_rule_makes_its_own_rules_and_no_other(
    rule: str, values: list[object]
) -> None:
    assert list(rules_of(written(rule))) == values


@pytest.mark.parametrize(("rule", "values"), RULES, ids=[rule for rule, _ in RULES])
def test_each_rule_can_be_added_to_derived_locking(rule: str, values: list[object]) -> None:
    before = rules_of(locking(""))
    after = rules_of(locking("locking derive {\n" + rule + "\n}\n"))
    assert sorted(map(repr, map(_bare, after))) == sorted(map(repr, map(_bare, [*before, *values])))


def _bare(rule: object) -> object:
    """A rule without the place where it is written."""
    return replace(rule, span=None)  # type: ignore[type-var]


def test_only_one_route_over_a_section_locks_each_that_leads_over_it_with_each_other() -> None:
    found = written("only one route over BODY")
    over = [name for name, route in table().routes.items() if "BODY" in route.sections]
    assert len(over) > 2
    assert {(lock.first, lock.second) for lock in found.locks} == set(combinations(over, 2))
    assert found.places == (OnlyOneOver("BODY", tuple(over)),)


@pytest.mark.parametrize("piece", ["B", "C"])
def test_a_piece_stands_for_its_section_over_which_there_is_one_route(piece: str) -> None:
    assert written(f"only one route over {piece}") == written("only one route over BODY")


def test_a_place_is_what_keeps_two_routes_apart_that_both_lead_over_it() -> None:
    line = TRACK.count("\n") + 2
    for pair in (("S to WEST", "D to WEST"), ("D to WEST", "S to WEST")):
        rules = written_rules_between(written("only one route over A"), *pair)
        assert rules == (f"only one route over A (layout.crank:{line}:21)",)


STATION = """
points P
run edge WEST - A - >H - P.toe
run P.straight - <D - B - >J - C - edge EAST
run P.diverging - <F - E - stop
signal H shows stop, call, clear
overlap J = C
route H to B calling on shows call
"""
"""Beyond J lies an overlap."""


def test_over_its_berth_a_calling_on_route_is_one_like_any_other() -> None:
    found = written("only one route over B", STATION)
    assert found.locks == (Locks("H to J", "H to B calling on"),)


def test_a_route_does_not_lead_over_its_overlap() -> None:
    found = written("only one route over C", STATION)
    assert found.places == (OnlyOneOver("C", ("J to EAST",)),)
    assert found.locks == ()


def test_several_rules_are_all_in_force() -> None:
    found = written("\n".join(rule for rule, _ in RULES))
    assert sorted(repr(_bare(r)) for r in rules_of(found)) == sorted(
        repr(r) for _, values in RULES for r in values
    )


def test_every_route_needs_its_positions_gives_the_demands_and_nothing_more() -> None:
    found = written("every route needs its positions")
    derived = locking("")
    assert found.needs == derived.needs != ()
    assert (found.locks, found.needs_set, found.needs_clear) == ((), (), ())


def test_every_route_needs_its_sections_clear_gives_the_sections_and_nothing_more() -> None:
    found = written("every route needs its sections clear")
    derived = locking("")
    assert found.needs_clear == derived.needs_clear != ()
    assert (found.locks, found.needs_set, found.needs) == ((), (), ())


def test_every_drive_needs_its_section_clear_says_so_and_makes_no_other_rule() -> None:
    assert not written("every route needs its positions").drives_need_clear
    found = written("every drive needs its section clear")
    assert found.drives_need_clear
    assert rules_of(found) == ()


def test_derived_locking_throws_drives_only_while_their_section_is_clear_said_or_not() -> None:
    plain = locking("")
    said = locking("locking derive { every drive needs its section clear }\n")
    assert plain.drives_need_clear
    assert said == plain


FORGETFUL = """
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
locking written {
  W to B needs P straight
  W to C needs P diverging
%s
}
"""
"""D and S need nothing, so their trains hold no drive."""


def thrown_under_a_train(text: str) -> bool:
    """Whether some run of events comes to a drive that is thrown under a train."""
    machine = without_hands(machine_of(text))
    under = [i.clause for i in machine.invariants if "thrown under a train" in i.sentence]
    assert under
    explorer = Explorer(machine)
    never = explorer.test(under)
    found = explorer.search({"under a train": lambda state: not never(state)})
    assert found.complete or found.runs
    return bool(found.runs)


def test_with_that_rule_alone_no_drive_is_thrown_under_a_train() -> None:
    assert thrown_under_a_train(FORGETFUL % "")
    assert not thrown_under_a_train(FORGETFUL % "every drive needs its section clear")


def test_with_that_rule_a_coupled_drive_waits_for_the_sections_of_all_its_points() -> None:
    coupled = """
    points P, Q
    coupled P, Q
    run edge WEST - A - >W - P.toe
    run P.straight - <S - B - stop
    run P.diverging - <D - C - stop
    run edge EAST - E - >R - Q.toe
    run Q.straight - <T - F - stop
    run Q.diverging - <U - G - stop
    section QS = Q
    locking written { every route needs its positions %s }
    """

    def asked_clear(rule: str) -> set[str]:
        machine = machine_of(coupled.replace(" %s", rule))
        (request,) = (e for e in machine.events if e.name == "request W to B")
        return {x.variable for clause in request.guard for x in clause if "track" in x.variable}

    assert asked_clear("") == set()
    assert asked_clear("\n every drive needs its section clear\n") == {"track P", "track QS"}


def test_two_written_blocks_are_both_in_force() -> None:
    rules = "locking written { W to V locks E to G }\nlocking written { W to U locks E to G }\n"
    assert locking(rules).locks == (Locks("W to V", "E to G"), Locks("W to U", "E to G"))


def test_a_route_may_be_meant_by_its_own_name() -> None:
    named = "route MAIL = W to V\nroutes derive\n"
    found = locking(
        named + "locking written {\n  MAIL locks E to G\n  W to U needs MAIL set\n"
        "  W to V needs P straight\n}\n"
    )
    assert found.locks == (Locks("MAIL", "E to G"),)
    assert found.needs_set == (NeedsSet("W to U", "MAIL"),)
    assert found.needs == (Needs("MAIL", "P", "straight"),)


def test_a_coupled_drive_is_meant_by_any_of_its_names() -> None:
    found = locking("coupled P, Q\nlocking written { E to G needs Q diverging }\n")
    assert found.needs == (Needs("E to G", "P", "diverging"),)


def test_a_written_rule_knows_where_it_stands() -> None:
    found = written("W to V locks E to G\nW to V needs P straight")
    first = TRACK.count("\n") + 2
    assert [r.span.line for r in (*found.locks, *found.needs) if r.span] == [first, first + 1]


# ------------------------------------------------------------------------ release


@pytest.mark.parametrize(
    ("rules", "sectional"),
    [
        ("", True),
        ("locking derive\n", True),
        ("locking written { }\n", False),
        ("release section by section\n", True),
        ("release whole routes\n", False),
        ("locking written { }\nrelease section by section\n", True),
        ("locking written { }\nrelease whole routes\n", False),
    ],
)
def test_release_is_as_said_or_as_is_usual_for_the_locking(rules: str, sectional: bool) -> None:
    assert locking(rules).sectional is sectional


def test_the_release_line_changes_nothing_else_of_the_locking() -> None:
    assert replace(locking("release whole routes\n"), sectional=True) == locking("")


def test_how_routes_are_released_is_said_once() -> None:
    first = TRACK.count("\n") + 1
    for second in ("section by section", "whole routes"):
        text = TRACK + f"release whole routes\nrelease {second}\n"
        (found,) = bellcrank.compile(text).diagnostics
        assert (found.code, found.span.line) == ("E107", first + 1)
        assert [span.line for span, _ in found.related] == [first]


BY_SECTION = "release section by section\n"


def released(rules: str, track: str = TRACK) -> set[str]:
    """The sections that are released behind a train, before its route is."""
    return {e.of for e in machine_of(track + rules).events if e.kind == "section released"}


def test_sections_are_released_behind_a_train_or_with_their_route() -> None:
    # The last section of each route is released with the route.
    assert released(BY_SECTION) == {"P", "Q", "X"}
    assert released("release whole routes\n") == set()


def test_a_route_with_a_section_without_detection_is_released_whole() -> None:
    blind = "section BLIND = X without detection\n"
    assert codes(blind + BY_SECTION) == []
    # Q has a detector, but every route that leaves it behind leads over X too.
    assert released(blind + BY_SECTION) == {"P"}


@pytest.mark.parametrize(
    "blind", ['layout "Halt" without detection\n', "section NECK = P without detection\n"]
)
def test_a_release_by_section_that_no_route_can_have_is_warned_of(blind: str) -> None:
    track = """
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
"""
    c = bellcrank.compile(blind + track + BY_SECTION)
    assert [d.code for d in c.diagnostics] == ["W812"]
    assert "section by section" in c.diagnostics[0].message
    assert released(BY_SECTION, blind + track) == set()
    assert bellcrank.compile(blind + track + "release whole routes\n").diagnostics == ()
    assert bellcrank.compile(blind + track).diagnostics == ()


# ------------------------------------------------------------------- expectations


def test_expectations_name_their_routes_in_full() -> None:
    found = locking(
        "expect W to V with E to J\nexpect W to V with E to G with U to G\n"
        "expect E to G never with F to EAST\n"
    )
    assert [(e.routes, e.never) for e in found.expectations] == [
        (("W to V", "E to J"), False),
        (("W to V", "E to G", "U to G"), False),
        (("E to G", "F to EAST"), True),
    ]
    assert [e.text for e in found.expectations] == [
        "W to V with E to J",
        "W to V with E to G with U to G",
        "E to G never with F to EAST",
    ]


def test_expectations_are_no_rules() -> None:
    found = locking("locking written { }\nexpect W to V with E to J\n")
    assert rules_of(found) == ()
    assert isinstance(found.expectations[0], Expectation)


# -------------------------------------------------------------------------- faults


@pytest.mark.parametrize(
    ("rule", "code"),
    [
        ("W to Z locks E to G", "E501"),
        ("W to V locks NOSUCH", "E501"),
        ("W to V needs NOSUCH clear", "E501"),
        ("W to V needs NOSUCH set", "E501"),
        ("W to V needs NOSUCH straight", "E501"),
        ("W to V locks E to G when NOSUCH straight", "E501"),
        ("W to V needs P sideways", "E502"),
        ("W to V needs X.end1 straight", "E502"),
        ("W to V locks E to G when P sideways", "E502"),
        ("W to V needs P straight, P diverging", "E503"),
        ("W to V locks W to V", "E504"),
        ("W to V needs W to V set", "E504"),
        ("only one of W to V, W to V", "E504"),
        ("only one route over NOSUCH", "E501"),
        ("only one route over each of A, NOSUCH", "E501"),
    ],
)
def test_a_rule_that_cannot_be_meant_is_reported_and_nothing_is_proved(
    rule: str, code: str
) -> None:
    assert codes("locking written {\n" + rule + "\n}\n") == [code]
    broken = bellcrank.compile(TRACK + "locking written {\n" + rule + "\n}\n")
    assert isinstance(broken, bellcrank.Broken)


def test_a_rule_of_ones_own_against_a_derived_one_is_reported() -> None:
    assert codes("locking derive { W to V needs P diverging }\n") == ["E503"]


def test_derived_and_written_locking_do_not_go_together() -> None:
    assert codes("locking derive\nlocking written { }\n") == ["E505"]


def test_every_faulty_rule_is_reported_in_one_run() -> None:
    rules = "\n".join(
        ["W to V needs P sideways", "W to V locks W to V", "W to V needs NOSUCH clear"]
    )
    assert codes("locking written {\n" + rules + "\n}\n") == ["E502", "E504", "E501"]


def test_a_position_that_is_called_like_a_word_of_the_rules_can_still_be_needed() -> None:
    track = """
    fitting gate {
      legs left, right
      drive clear, set
      way left - right when clear
    }
    gate P
    run edge WEST - A - >W - P.left
    run P.right - <E - B - stop
    """
    c = bellcrank.compile(track + "locking written { W to B needs P clear }\n")
    # Either such a position is refused where it is named, or the rule means the position.
    assert isinstance(c, bellcrank.Broken) or (c.locking.needs == (Needs("W to B", "P", "clear"),))
