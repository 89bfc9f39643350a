"""Faults of wiring at a simulated bench, each of which a commissioning must find."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path

import networkx as nx
import pytest
from in_campaigns import in_campaigns
from rail_network import OTHER, rails
from sound_layouts import compiled

from bellcrank import Sound
from bellcrank.commission.checks import Checklist, DriveCheck, SectionCheck
from bellcrank.commission.commission_checklist import checklist_of
from bellcrank.commission.detecting import inputs_moved
from bellcrank.commission.findings import changes, is_sound, is_whole
from bellcrank.commission.mending import Mend, files_to_mend, layout_mended, mended
from bellcrank.commission.questions import (
    NO,
    NOTHING,
    YES,
    Answer,
    Empty,
    Parted,
    Push,
    Question,
    Show,
    Throw,
    reported,
)
from bellcrank.commission.record import summary
from bellcrank.commission.run import Run, next_question
from bellcrank.layout.detectors import Input
from bellcrank.layout.feeds import Gap, feeds, gaps
from bellcrank.layout.layout_model import Layout, Leg
from bellcrank.syntax.load import load_file

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))
CORPUS = sorted((Path(__file__).parents[1] / "corpus").glob("*/*.crank"))[::5]
"""Every fifth; all of them take a minute and a half."""

YARD = """\
points P1
double slip S1 with one drive
run edge WEST - A - >H - P1.toe
run P1.straight - S1.a1
run P1.diverging - <N - B - stop
run edge YARD - Y - >YH - S1.b1
run S1.a2 - <D1 - T1 - stop
run S1.b2 - <D2 - T2 - stop
section YARD_END = Y without detection
decoder kind quad { outputs 4 }
decoder K1 quad at 1
drive P1 = K1.1
drive S1 = K1.2
frog P1 with drive
frog S1.end1 = K1.3
frog S1.end2 = K1.4 crossed
signal H = quad
signal D1 shows stop at quad red, caution at quad green, proceed at quad red
output GATE with open, closed = quad  motor 2 s
"""

BALLOON = """\
points P1
run edge HILL - A - >H - P1.toe
run P1.straight - LA - >L1 - <L2 - LB - P1.diverging
reverser LA, LB
decoder kind quad { outputs 4 }
drive P1 = quad
"""


@dataclass(frozen=True)
class Bench:
    """What was really wired, beside what the layout says.

    swapped: drives, frogs, signals and outputs with wires exchanged.
    cuts: the gaps there are; of those beside reversers a single rail may be cut.
    hears: the input that each section really hangs on.
    stuck: inputs that are always on.
    """

    layout: Layout
    cuts: tuple[Gap, ...]
    hears: Mapping[str, Input]
    swapped: frozenset[str] = frozenset()
    stuck: frozenset[Input] = frozenset()
    crossed: Mapping[str, bool] = field(default_factory=dict)

    def answer(self, question: Question) -> Answer:
        match question:
            case Throw(drive, position):
                return self._lies(drive, position)
            case Show(check, state):
                states = check.states
                swap = check.name in self.swapped and states.index(state) < 2
                return Answer("lies", states[states.index(state) ^ 1] if swap else state)
            case Empty():
                return reported(*self.stuck)
            case Push(section):
                return reported(*self.stuck, *self._heard(section))
            case Parted(cut):
                return YES if self._dark(cut.inside, cut.outside) else NO
        raise AssertionError(question)

    def _lies(self, drive: DriveCheck, position: str) -> Answer:
        """The wires were made by what the layout said at first; it may say something else now."""
        wrong = (drive.name in self.swapped) != (drive.crossed != self.crossed[drive.name])
        other = drive.positions.index(position) ^ (1 if wrong else 0)
        return Answer("lies", drive.positions[other]) if other < len(drive.positions) else NOTHING

    def _heard(self, section: SectionCheck) -> Iterator[Input]:
        """Whatever feeds the rail that a vehicle stands on somewhere in the section."""
        net = self._conductors()
        on = {end for end in net if end[0].element in section.elements}
        for feed in feeds(self.layout):
            wire = (feed.at, feed.hand or "left")
            if feed.detected and nx.node_connected_component(net, wire) & on:
                yield self.hears[feed.sections[0]]

    def _conductors(self) -> nx.Graph:
        """The rails; with a centre conductor just what is cut between sections."""
        if self.layout.rails == 2:
            return rails(self.layout, self.cuts)
        uncut = [replace(gap, cut="one rail", hand="left") for gap in self.cuts]
        net = rails(self.layout, uncut)
        one = nx.Graph()
        for (leg, _), (other, _) in net.edges:
            one.add_edge((leg, "left"), (other, "left"))
        for gap in self.cuts:
            one.remove_edge((gap.one, "left"), (gap.other, "left"))
        return one

    def _dark(self, inside: Leg, outside: Leg) -> bool:
        """Whether no rail on one side has the other polarity than one on the other side, while
        no reverser feeds anything."""
        net = rails(self.layout, self.cuts)
        live = {"out": set(), "back": set()}
        inside_feed = next(f for f in feeds(self.layout) if inside.element in f.elements)
        off = (inside_feed.reverser, None if inside_feed.reverser else inside_feed.district)
        for feed in feeds(self.layout):
            fed_by = (feed.reverser, None if feed.reverser else feed.district)
            if fed_by != off and feed.reverser is None and feed.hand is not None:
                live["out"] |= nx.node_connected_component(net, (feed.at, feed.hand))
                live["back"] |= nx.node_connected_component(net, (feed.at, OTHER[feed.hand]))
        here = [(inside, hand) for hand in OTHER]
        there = [(outside, hand) for hand in OTHER]
        return not any(
            (a in live["out"] and b in live["back"]) or (a in live["back"] and b in live["out"])
            for a in here
            for b in there
        )


def with_reports(text: str) -> Sound:
    """A layout in which each detected section is reported on an input, with one more free."""
    c = compiled(text)
    detected = [section.name for section in c.layout.sections.values() if section.detected]
    if c.layout.reports.sections or not detected:
        return c
    lines = [f"detector kind hears {{ inputs {len(detected) + 1} }}", "detector HEARD hears"]
    lines += [f"report {name} = HEARD.{n}" for n, name in enumerate(detected, start=1)]
    return compiled("\n".join([text.rstrip(), *lines]) + "\n")


def of_file(path: Path) -> str:
    program, _ = load_file(path)
    return "\n".join(program.texts[file.name] for file in program.files).replace("use ", "# use ")


def checklist(c: Sound) -> Checklist:
    """All but the routes, which are not wires."""
    return replace(checklist_of(c.layout, c.table, c.commands), routes=())


def sound_bench(c: Sound) -> Bench:
    hears = {name: report.input for name, report in c.layout.reports.sections.items()}
    crossed = {check.name: check.crossed for check in checklist(c).drives}
    return Bench(c.layout, gaps(c.layout), hears, crossed=crossed)


def commissioned(c: Sound, bench: Bench) -> Run:
    run = Run(checklist(c))
    while (question := next_question(run)) is not None:
        run = run.answer(bench.answer(question))
    assert is_whole(run)
    return run


def mend_of(run: Run) -> Mend:
    return Mend(changes(run), inputs_moved(run))


def found_and_mended(c: Sound, bench: Bench, *words: str) -> None:
    """What is wrong is found: the layout is put right, or it is said what to rewire, in these
    words."""
    run = commissioned(c, bench)
    mend = mend_of(run)
    if words:
        said = " ".join(summary(run))
        assert not is_sound(run) and all(word in said for word in words), (words, said)
        assert not mend.crossed and not mend.inputs
        return
    assert is_sound(run), summary(run)
    assert files_to_mend(c.program, mend)
    layout_mended(c.program, c.layout, mend)
    (name,) = files_to_mend(c.program, mend)
    put_right = compiled(mended(c.program, name, c.program.texts[name], mend))
    again = commissioned(put_right, bench)
    assert is_sound(again) and mend_of(again) == Mend()


DISTRICTS = (
    BALLOON.replace("A - >H", "A - >G - B - >H")
    + """\
district HILL_END { feeds A }
district TOWN { feeds the rest }
"""
)

LAYOUTS = {"yard": YARD, "balloon": BALLOON, "districts": DISTRICTS}
LAYOUTS |= {path.stem: of_file(path) for path in EXAMPLES}
OTHERS = {f"{path.parent.name}/{path.stem}": path for path in CORPUS}


@pytest.fixture(
    scope="module",
    params=in_campaigns(
        [*LAYOUTS, *OTHERS], lambda name: name in OTHERS or name == "four-track-station"
    ),
)
def c(request: pytest.FixtureRequest) -> Sound:
    name = request.param
    return with_reports(LAYOUTS[name] if name in LAYOUTS else of_file(OTHERS[name]))


def test_of_a_bench_without_faults_none_is_found(c: Sound) -> None:
    run = commissioned(c, sound_bench(c))
    assert is_sound(run) and mend_of(run) == Mend()


def test_swapped_coils_and_swapped_feeds_of_frogs_are_found(c: Sound) -> None:
    for check in checklist(c).drives[:6]:
        bench = replace(sound_bench(c), swapped=frozenset([check.name]))
        by_contact = check.frog is not None and not check.frog.own
        found_and_mended(c, bench, *(["REWIRE", check.name] if by_contact else []))


def test_swapped_lamps_are_found(c: Sound) -> None:
    for check in checklist(c).states:
        bench = replace(sound_bench(c), swapped=frozenset([check.name]))
        if len(check.states) > 1:
            found_and_mended(c, bench, "REWIRE", f"{check.device} {check.name}")


def test_a_missing_gap_is_found_by_the_joint_where_it_is_missing(c: Sound) -> None:
    bench = sound_bench(c)
    for gap in bench.cuts:
        bad = replace(bench, cuts=tuple(g for g in bench.cuts if g != gap))
        found_and_mended(c, bad, str(gap.one), str(gap.other))


def test_a_gap_in_one_rail_of_two_is_found(c: Sound) -> None:
    bench = sound_bench(c)
    for gap in (each for each in bench.cuts if each.cut == "both rails"):
        for hand in OTHER:
            half = replace(gap, cut="one rail", hand=hand)
            bad = replace(bench, cuts=tuple(half if g == gap else g for g in bench.cuts))
            found_and_mended(c, bad, "REWIRE", str(gap.one), str(gap.other))


def test_swapped_detectors_are_found(c: Sound) -> None:
    bench = sound_bench(c)
    for one, other in [*pairwise(bench.hears)][:4]:
        hears = {**bench.hears, one: bench.hears[other], other: bench.hears[one]}
        found_and_mended(c, replace(bench, hears=hears))


def test_an_input_that_is_always_on_or_never_is_found(c: Sound) -> None:
    bench = sound_bench(c)
    for section, its in [*bench.hears.items()][:3]:
        found_and_mended(c, replace(bench, stuck=frozenset([its])), "WRONG", section)
        free = next(iter(checklist(c).free), None)
        if free is not None:  # wired to another input than the layout says
            found_and_mended(c, replace(bench, hears={**bench.hears, section: free}))
