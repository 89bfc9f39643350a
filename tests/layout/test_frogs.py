"""Frogs: which a fitting has, what each needs when, and what may feed it."""

from __future__ import annotations

import networkx as nx
import pytest
from laid import laid, laid_with_warnings
from rails import Crossing, crossings, facing, polarity, rails_of

from bellcrank.diagnostics import Diagnostic
from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.fittings import standard_fittings
from bellcrank.layout.frog_model import FrogPart
from bellcrank.layout.frogs import deciding_drive, needs_of
from bellcrank.syntax.load import load_text

KINDS = sorted(standard_fittings())


def said_of(text: str) -> list[Diagnostic]:
    program, unread = load_text(text, "layout.crank")
    assert unread == ()
    return list(build_layout(program)[1])


# ------------------------------------------- against the rails of each standard fitting


def network_of(kind: str) -> nx.Graph:
    graph: nx.Graph = nx.Graph()
    for leg in standard_fittings()[kind].legs:
        graph.add_edge((leg, "left"), (leg, "right"), same=False)
    for way in standard_fittings()[kind].ways:
        graph.add_edges_from(rails_of(way.legs), same=True)
    return graph


def true_frogs(kind: str, *, clockwise: bool) -> dict[frozenset[str], list[Crossing]]:
    """Where rails cross that are of opposite polarity, or may be."""
    polarities = polarity(network_of(kind))
    found: dict[frozenset[str], list[Crossing]] = {}
    fitting = standard_fittings()[kind]
    roads = [way.legs for way in fitting.ways]
    for crossing in crossings(fitting.legs, roads, clockwise=clockwise):
        (one, _), (other, _) = crossing.rails
        if polarities[one] != polarities[other]:
            found.setdefault(crossing.legs, []).append(crossing)
    return found


@pytest.mark.parametrize("clockwise", [True, False], ids=["right-handed", "left-handed"])
@pytest.mark.parametrize("kind", KINDS)
def test_a_standard_fitting_states_the_frogs_that_its_rails_make(kind: str, clockwise: bool):
    stated = [frozenset(frog.between) for frog in standard_fittings()[kind].frogs]
    assert len(stated) == len(set(stated))
    assert set(stated) == set(true_frogs(kind, clockwise=clockwise))


@pytest.mark.parametrize("clockwise", [True, False], ids=["right-handed", "left-handed"])
@pytest.mark.parametrize("kind", KINDS)
def test_a_frog_needs_the_polarity_of_the_rail_that_the_wheel_runs_on(kind: str, clockwise: bool):
    fitting = standard_fittings()[kind]
    polarities = polarity(network_of(kind))
    for legs, found in true_frogs(kind, clockwise=clockwise).items():
        (frog,) = (f for f in fitting.frogs if set(f.between) == legs)
        needs = {need.way.legs: need.leg for need in needs_of(fitting, frog)}
        passing = {road for crossing in found for road in crossing.roads}
        assert set(needs) == passing
        for crossing in found:
            for road, rail in zip(crossing.roads, crossing.rails, strict=True):
                (other,) = legs - {needs[road]}
                shared = frozenset(crossing.roads[0]) & frozenset(crossing.roads[1])
                taken = facing(needs[road], other, fitting.legs, clockwise=clockwise, beyond=shared)
                assert polarities[taken] == polarities[rail[0]]


@pytest.mark.parametrize("kind", KINDS)
def test_a_drive_decides_a_frog_exactly_if_the_ways_open_at_once_never_differ(kind: str):
    """By trying each drive and each of its positions on the ways themselves."""
    fitting = standard_fittings()[kind]
    for frog in fitting.frogs:
        sure = []
        for drive, positions in fitting.drives.items():
            wanted = [
                {
                    next(leg for leg in frog.between if leg in way.legs)
                    for way in fitting.ways
                    if set(way.legs) & set(frog.between)
                    and all(p == position for d, p in way.when if d == drive)
                }
                for position in positions
            ]
            if all(len(legs) < 2 for legs in wanted):
                sure.append(drive)
        decides = deciding_drive(fitting, frog)
        assert (decides is None) == (not sure)
        assert decides is None or decides[0] in sure


def test_what_decides_is_as_common_practice_has_it():
    """Common practice: the contact on the points; in a slip with two drives, that of the other
    end; with one drive, and in a diamond, none."""
    decided = {
        (kind, frog.name): decides[0] if (decides := deciding_drive(fitting, frog)) else None
        for kind, fitting in standard_fittings().items()
        for frog in fitting.frogs
    }
    assert decided[("points", "")] == ""
    assert decided[("three way points", "left")] == "to_left"
    assert decided[("three way points", "right")] == "to_right"
    for slip in ("single slip", "double slip"):
        assert decided[(f"{slip} with two drives", "end1")] == "end2"
        assert decided[(f"{slip} with two drives", "end2")] == "end1"
        assert decided[(f"{slip} with one drive", "end1")] is None
        assert decided[(f"{slip} with one drive", "end2")] is None
    assert decided[("fixed diamond", "end1")] is None


# --------------------------------------------------------------- in the whole layout

DIAMOND = "fixed diamond X\n"
APART = (
    DIAMOND + "run edge W - A - >H - X.a1\nrun X.a2 - B - edge E\n"
    "run edge N - C - >J - X.b1\nrun X.b2 - D - edge S\n"
)
EIGHT = DIAMOND + "run X.a2 - A - >H - B - X.b1\nrun X.b2 - C - X.a1\n"
LOOP = DIAMOND + "run edge W - A - >H - X.a1\nrun X.a2 - L - X.b2\nrun X.b1 - B - edge E\n"


def alike(text: str) -> set[str]:
    return {frog.part.frog for frog in laid(text).frogs.values() if frog.alike}


def test_in_a_diamond_of_two_lines_nothing_need_be_switched_at_the_obtuse_crossings():
    assert alike(APART) == {"obtuse1", "obtuse2"}


def test_where_a_line_crosses_itself_the_rails_tell_which_frogs_need_nothing():
    """It may run through both roads in one direction, or come back against it."""
    for text, expected in ((EIGHT, {"obtuse1", "obtuse2"}), (LOOP, {"end1", "end2"})):
        layout = laid(text)
        graph: nx.Graph = nx.Graph()
        for element in layout.elements.values():
            for leg in element.kind.legs:
                graph.add_edge((element.name, leg, "left"), (element.name, leg, "right"),
                               same=False)  # fmt: skip
            for way in element.kind.ways:
                for (a, side), (b, other) in rails_of(way.legs):
                    graph.add_edge((element.name, a, side), (element.name, b, other), same=True)
        for leg, end in layout.joined.items():
            if hasattr(end, "element"):
                graph.add_edge((*leg, "left"), (*end, "right"), same=True)
        polarities = polarity(graph)
        kind = layout.elements["X"].kind
        same = {
            frog.name
            for frog in kind.frogs
            if len(
                {
                    polarities["X", *facing(leg, other, kind.legs)]
                    for leg, other in (frog.between, frog.between[::-1])
                }
            )
            == 1
        }
        assert alike(text) == same == expected


def test_roads_between_which_both_rails_are_cut_count_as_apart():
    layout, said = laid_with_warnings(LOOP + "reverser L\n")
    assert {d.code for d in said} == {"W809"}  # nothing there turns trains
    assert {frog.part.frog for frog in layout.frogs.values() if frog.alike} == {
        "obtuse1",
        "obtuse2",
    }


def test_what_feeds_each_frog_is_read():
    layout = laid(
        "points P1\ndouble slip S1 with two drives\nfixed diamond X1\n"
        "run edge W - A - >H - P1.toe\nrun P1.straight - S1.a1\nrun P1.diverging - X1.a1\n"
        "run edge Y - B - >J - S1.b1\nrun S1.a2 - <D - T1 - stop\nrun S1.b2 - <E - T2 - stop\n"
        "run X1.a2 - <F - T3 - stop\nrun edge Z - C - >K - X1.b1\nrun X1.b2 - <G - T4 - stop\n"
        "decoder kind quad { outputs 4 }\ndecoder K1 quad at 1\n"
        "frog P1, S1.end1 with drive\nfrog S1.end2 = quad crossed\n"
        "frog X1.end1 by reverser\nfrog X1.end2 dead\n"
    )
    feeds = {str(part): (frog.feed, frog.drive) for part, frog in layout.frogs.items()}
    assert feeds == {
        "P1": ("contact", "P1"),
        "S1.end1": ("contact", "S1.end2"),
        "S1.end2": ("output", "frog S1.end2"),
        "X1.end1": ("reverser", None),
        "X1.end2": ("dead", None),
        "X1.obtuse1": (None, None),
        "X1.obtuse2": (None, None),
    }
    device = layout.drives["frog S1.end2"]
    assert device.frog == FrogPart("S1", "end2")
    assert device.positions == ("a2", "b2")
    wiring = layout.hardware.wirings["frog S1.end2"]
    assert [str(output) for output in wiring.outputs] == ["K1.1"] and wiring.crossed


def test_on_three_rails_there_are_no_frogs_and_none_may_be_fed():
    halt = (
        'layout "Halt" on three rails\npoints P1\nrun edge W - A - >H - P1.toe\n'
        "run P1.straight - <S - B - stop\nrun P1.diverging - <T - C - stop\n"
    )
    assert laid(halt).frogs == {}
    (said,) = said_of(halt + "frog P1 with drive\n")
    assert said.code == "E620"
    assert (said.span.line, said.span.column, said.span.end_column) == (6, 6, 8)


HALT = (
    "points P1\nrun edge W - A - >H - P1.toe\nrun P1.straight - <S - B - stop\n"
    "run P1.diverging - <T - C - stop\n"
    "decoder kind quad { outputs 4 }\ndecoder K1 quad at 1\n"
    "decoder kind heads { outputs 4 packets extended }\ndecoder K2 heads at 9\n"
)


@pytest.mark.parametrize(
    ("line", "code", "place", "says"),
    [
        ("frog P1.end1 with drive", "E201", (9, 9, 13), "P1 has one frog, without a name"),
        ("frog P2 with drive", "E201", (9, 6, 8), "there is no fitting with a frog `P2`"),
        ("frog A dead", "E201", (9, 6, 7), "`A` is a piece of track, not a fitting with a frog"),
        ("frog P1 dead\nfrog P1 with drive", "E202", (10, 6, 8), "said twice"),
        ("frog P1, P1 dead", "E202", (9, 10, 12), "said twice"),
        ("frog P1 = K1.5", "E601", (9, 14, 15), "K1 has no output 5"),
        ("frog P1 = K2.1", "E612", (9, 11, 15), "show aspects and switch no frog"),
        ("frog P1 = K1.1\nsignal H = K1.1", "E602", (10, 12, 16), "by frog P1 and by H"),
    ],
)
def test_a_line_about_a_frog_that_cannot_be_is_reported(
    line: str, code: str, place: tuple[int, int, int], says: str
):
    (said,) = said_of(HALT + line + "\n")
    assert said.code == code
    assert (said.span.line, said.span.column, said.span.end_column) == place
    assert says in said.message


@pytest.mark.parametrize(
    ("frog", "code", "column"),
    [
        ("frog between toe, main", "E306", 16),
        ("frog between main, main", "E306", 22),
        ("frog between main, trop", "E301", 22),
        ("frog between main, trap\n  frog x between trap, main", "E306", 3),
    ],
)
def test_a_frog_that_a_fitting_cannot_have_is_reported(frog: str, code: str, column: int):
    said = said_of(
        "fitting trap points {\n  legs toe, main, trap\n  drive main, trap\n"
        "  way toe - main when main\n  way toe - trap when trap\n"
        f"  {frog}\n}}\ntrap points P1\nrun edge W - A - >H - P1.toe\n"
        "run P1.main - <S - B - stop\nrun P1.trap - <T - C - stop\n"
    )
    first = next(d for d in said if d.code == code)
    assert (first.span.line, first.span.column) == (6, column)


def test_the_obtuse_crossing_of_a_slip_is_no_frog():
    said = said_of(
        "fitting slip {\n  legs a1, b2, a2, b1\n  drive straight, diverging\n"
        "  way a1 - a2 when straight\n  way b1 - b2 when straight\n"
        "  way a1 - b2 when diverging\n  frog between a2, b1\n}\n"
    )
    assert [(d.code, d.span.line, d.span.column) for d in said] == [("E306", 7, 16)]


def test_a_fitting_of_ones_own_without_frogs_has_none_that_are_known():
    layout = laid(
        "fitting wye {\n  legs toe, a, b\n  drive a, b\n  way toe - a when a\n"
        "  way toe - b when b\n}\nwye P1\nrun edge W - A - >H - P1.toe\n"
        "run P1.a - <S - B - stop\nrun P1.b - <T - C - stop\n"
    )
    assert layout.frogs == {}


def test_a_switched_frog_changes_no_way_and_no_demand_of_drives():
    plain, switched = laid(HALT), laid(HALT + "frog P1 = K1.1\n")
    for leg in plain.joined:
        assert [(w.element, w.entry, w.exit, w.when) for w in plain.ways_from(leg)] == [
            (w.element, w.entry, w.exit, w.when) for w in switched.ways_from(leg)
        ]


@pytest.mark.parametrize("word", ["fog", "frogs", "Frog"])
def test_a_misspelt_frog_is_one_mistake_with_its_remedy(word: str):
    text = (
        "points P1, P2\nrun edge W - A - >H - P1.toe\nrun P1.straight - P2.toe\n"
        "run P1.diverging - <D1 - B - stop\nrun P2.straight - <D2 - C - stop\n"
        "run P2.diverging - <D3 - D - stop\ndrive P1 by hand\ndrive P2 by hand\n"
        f"{word} P1, P2 with drive\n"
    )
    program, unread = load_text(text, "x")
    said = (*unread, *build_layout(program)[1])
    assert [(d.code, d.span.line, d.span.column, d.hint) for d in said] == [
        ("E204", 9, 1, "did you mean `frog`?")
    ]
