"""Every layout is drawn whole, legibly, and joined up as it is."""

from __future__ import annotations

from itertools import combinations
from math import hypot
from pathlib import Path

import pytest
from in_campaigns import in_campaigns
from picture.read_back import Drawn, line_meets, meet, read_picture
from random_layouts import shown, valid_layouts
from sound_layouts import compiled, compiled_file

from bellcrank.layout.layout_model import Edge, Layout, Leg, Stop
from bellcrank.picture import draw, draw_and_tell

EXAMPLES = sorted((Path(__file__).parent.parent.parent / "examples").glob("*.crank"))


def layout_of(text: str) -> Layout:
    return compiled(text).layout


def example(path: Path) -> Layout:
    return compiled_file(path).layout


def assert_whole(drawn: Drawn, layout: Layout) -> None:
    """Every element, way, signal, end and joint is there once, and track meets as it
    does in the model."""
    assert set(drawn.elements) == set(layout.elements)
    assert set(drawn.signals) == set(layout.signals)
    assert set(drawn.edges) == set(layout.edges)
    stops = {str(leg) for leg, end in layout.joined.items() if isinstance(end, Stop)}
    assert set(drawn.stops) == stops
    ends: dict[str, set[tuple[float, float]]] = {}
    for name, ways in drawn.elements.items():
        kind = layout.elements[name].kind
        assert [(a, b) for a, b, _, _ in ways] == [way.legs for way in kind.ways]
        for a, b, when, line in ways:
            (way,) = (w for w in layout.ways_from(Leg(name, a)) if w.exit == b)
            assert when == ", ".join(f"{d} {p}" for d, p in way.when)
            ends.setdefault(f"{name}.{a}", set()).add(line[0])
            ends.setdefault(f"{name}.{b}", set()).add(line[-1])
    # All ways that end at a leg end at one point.
    assert all(len(points) == 1 for points in ends.values())
    at = {leg: next(iter(points)) for leg, points in ends.items()}
    joints = set()
    for leg, end in layout.joined.items():
        if isinstance(end, Leg):
            joints.add(frozenset((str(leg), str(end))))
        elif isinstance(end, Edge):
            joints.add(frozenset((str(leg), end.name)))
    assert set(drawn.joints) == joints
    # Which legs meet, read from where paths end and from nothing else.
    for one, other in combinations(sorted(at), 2):
        touch = hypot(at[one][0] - at[other][0], at[one][1] - at[other][1]) < 0.05
        assert touch == (frozenset((one, other)) in joints), (one, other)
    for pair, point in drawn.joints.items():
        for leg in pair & set(at):
            assert hypot(at[leg][0] - point[0], at[leg][1] - point[1]) < 0.05
    for name, rect in drawn.edges.items():
        x, y = drawn.leads[name][0] if drawn.leads.get(name) else (rect[0], rect[1])
        leg = str(layout.edges[name])
        lead = drawn.leads[name]
        assert min(hypot(at[leg][0] - x, at[leg][1] - y) for x, y in (lead[0], lead[-1])) < 0.05
    for leg, rect in drawn.stops.items():
        x, y = at[leg]
        assert rect[0] - 0.1 <= x <= rect[2] + 0.1 and rect[1] - 0.1 <= y <= rect[3] + 0.1


def assert_legible(drawn: Drawn) -> None:
    """No name touches another, a symbol or a line; no symbol another; all is inside."""
    tracks = [line for ways in drawn.elements.values() for _, _, _, line in ways]
    tracks += list(drawn.leads.values())
    symbols = {f"signal {n}": rects for n, (_, rects) in drawn.signals.items()}
    symbols |= {f"edge {n}": [r] for n, r in drawn.edges.items()}
    symbols |= {f"stop {n}": [r] for n, r in drawn.stops.items()}
    symbols |= {f"drive {n}": [r] for n, r in drawn.drives.items()}
    symbols |= {f"platform {n}": [r] for n, r in enumerate(drawn.platforms)}
    names = drawn.names + [("a note", words, rect) for words, rect in drawn.remarks.items()]
    for (of, _, a), (of2, _, b) in combinations(names, 2):
        assert not meet(a, b), (of, of2)
    for of, _, rect in names:
        for symbol, rects in symbols.items():
            assert not any(meet(rect, r) for r in rects), (of, symbol)
        assert not any(line_meets(rect, line, 1.2) for line in tracks), of
    for (one, a), (other, b) in combinations(symbols.items(), 2):
        assert not any(meet(r, s) for r in a for s in b), (one, other)
    for symbol, rects in symbols.items():
        if symbol.startswith(("signal", "drive", "platform")):
            for rect in rects:
                assert not any(line_meets(rect, line, 1.2) for line in tracks), symbol
    left, top, right, bottom = drawn.whole
    for rect in [r for _, _, r in names] + [r for rs in symbols.values() for r in rs]:
        assert left <= rect[0] and top <= rect[1] and rect[2] <= right and rect[3] <= bottom


def ways_in_order(drawn: Drawn, layout: Layout) -> None:
    """Put the ways of each element in the order of its kind, whatever is drawn over what."""
    for ways, element in zip(drawn.elements.values(), layout.elements.values(), strict=True):
        order = [way.legs for way in element.kind.ways]
        ways.sort(key=lambda way, order=order: order.index(way[:2]))


def assert_named(drawn: Drawn, layout: Layout) -> None:
    wanted = [*layout.elements, *layout.signals, *layout.edges]
    assert sorted(of for of, _, _ in drawn.names) == sorted(wanted)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_an_example_is_drawn_whole_and_legibly(path: Path) -> None:
    layout = example(path)
    drawn = read_picture(draw(layout))
    assert_whole(drawn, layout)
    assert_named(drawn, layout)
    assert_legible(drawn)


def test_signals_of_two_roads_that_lie_near_each_other_do_not_stand_on_each_other() -> None:
    text = """
    points F0
    three way points F1
    points F2
    run F1.straight - <S0 - >S1 - T0 - edge E0
    run F1.left - <S2 - T1 - stop
    run F1.right - T2 - F2.straight
    run edge E2 - >S4 - T3 - <S3 - F0.straight
    run F2.diverging - T4 - F2.toe
    run F0.diverging - T5 - F1.toe
    run F0.toe - <S5 - T6 - edge E3
    """
    assert_legible(read_picture(draw(layout_of(text))))


@pytest.mark.parametrize("block", in_campaigns(range(8), lambda block: block > 1))
def test_random_layouts_are_drawn_whole_and_legibly(block: int) -> None:
    for made, compilation in valid_layouts(range(block * 15, block * 15 + 15)):
        with shown(made):
            drawn = read_picture(draw(compilation.layout))
            assert_whole(drawn, compilation.layout)
            assert_named(drawn, compilation.layout)
            assert_legible(drawn)


@pytest.mark.parametrize("name", ["harbour-terminus", "four-track-station"])
def test_the_picture_beside_an_example_shows_it_as_it_is(name: str) -> None:
    path = next(p for p in EXAMPLES if p.stem == name)
    layout = example(path)
    drawn = read_picture(path.with_suffix(".svg").read_text("utf-8"))
    assert_whole(drawn, layout)
    assert_named(drawn, layout)


def test_for_readers_that_lack_custom_properties_the_same_is_drawn_in_plain_colours() -> None:
    drawn, _ = draw_and_tell(compiled("run edge WEST - A - >H - B - stop\n").layout)
    assert drawn.body in drawn.svg() and drawn.body in drawn.plain_svg()
    assert "stroke: var(--line)" in drawn.svg()
    assert "stroke: #1d242b" in drawn.plain_svg()
    assert "--" not in drawn.plain_svg()
