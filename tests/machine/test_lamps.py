"""Lamps that are switched off and on, played on a bench of lamps that knows no compiler: a set of
sides that are on, a rule for each decoder, and commands that switch sides."""

from __future__ import annotations

from dataclasses import dataclass

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bellcrank.layout.build_layout import build_layout
from bellcrank.layout.layout_model import Layout
from bellcrank.machine.commands import Command, show_list
from bellcrank.syntax.load import load_text

Side = tuple[str, int, str]
"""Decoder, output, side."""

SIDES = [(k, n, s) for k in "KL" for n in (1, 2, 3) for s in ("green", "red")]

RULES = ("alone", "paired", "grouped")


def apart(one: Side, other: Side, rule: str) -> bool:
    """Whether a decoder under this rule never lights both."""
    return (
        one != other
        and {
            "alone": False,
            "paired": one[:2] == other[:2],
            "grouped": one[0] == other[0],
        }[rule]
    )


@dataclass
class Lamps:
    """The lamps of one signal. on: those that are lit. seen: what was lit after each switch."""

    rules: dict[str, str]
    on: set[Side]
    seen: list[frozenset[Side]]

    def carry_out(self, command: Command) -> None:
        for lamp in command.puts_out:
            self.on.discard((lamp.decoder, lamp.output, lamp.side))
            self.seen.append(frozenset(self.on))
        assert command.decoder is not None and command.output is not None and command.side
        first: Side = (command.decoder, command.output, command.side)
        for side in (first, *((x.decoder, x.output, x.side) for x in command.lights)):
            self.on = {x for x in self.on if not apart(side, x, self.rules[side[0]])} | {side}
            self.seen.append(frozenset(self.on))


def signal(aspects: list[frozenset[Side]], rules: dict[str, str]) -> Layout:
    """A layout with a signal H of these aspects: `stop`, `a1`, `a2`, and so on."""
    lines = ["run edge WEST - A - >H - B - edge EAST"]
    for name, rule in rules.items():
        lines.append(f"decoder kind of_{name} {{ outputs 3  lamps {rule} }}")
        lines.append(f"decoder {name} of_{name}")
    names = ["stop", *(f"a{n}" for n in range(1, len(aspects)))]
    shown = [
        f"{name} at " + " and ".join(f"{k}.{n} {s}" for k, n, s in sorted(lit))
        for name, lit in zip(names, aspects, strict=True)
    ]
    lines.append("signal H shows " + ",\n  ".join(shown))
    layout, said = build_layout(load_text("\n".join(lines), "x")[0])
    assert said == ()
    return layout


@st.composite
def signals(draw: st.DrawFn) -> tuple[list[frozenset[Side]], dict[str, str]]:
    """Aspects that the decoders can show, and the rules of these."""
    rules = {name: draw(st.sampled_from(RULES)) for name in "KL"}
    aspects: list[frozenset[Side]] = []
    for _ in range(draw(st.integers(2, 4))):
        lit: set[Side] = set()
        for side in draw(st.lists(st.sampled_from(SIDES), min_size=1, max_size=3)):
            if not any(apart(side, other, rules[side[0]]) for other in lit):
                lit.add(side)
        if frozenset(lit) not in aspects:
            aspects.append(frozenset(lit))
    if len(aspects) < 2:
        aspects.append(frozenset({next(s for s in SIDES if s not in aspects[0])}))
    return aspects, rules


@settings(max_examples=40, deadline=None)
@given(
    signals(), st.lists(st.integers(0, 3), min_size=1, max_size=6), st.sets(st.sampled_from(SIDES))
)
def test_whatever_was_lit_exactly_the_lamps_of_the_aspect_are_lit_after_each_command(
    drawn: tuple[list[frozenset[Side]], dict[str, str]], order: list[int], at_first: set[Side]
) -> None:
    aspects, rules = drawn
    layout = signal(aspects, rules)
    wired = frozenset().union(*aspects)
    lamps = Lamps(rules, set(), [])
    for side in at_first & wired:
        lamps.on = {x for x in lamps.on if not apart(side, x, rules[side[0]])} | {side}
    names = [aspect.name for aspect in layout.signals["H"].aspects]
    for shown in (index % len(aspects) for index in order):
        lamps.carry_out(show_list(layout, "H", names[shown])[-1])
        assert lamps.on == aspects[shown]


@settings(max_examples=15, deadline=None)
@given(signals())
def test_a_lamp_that_stays_lit_is_not_switched_off(
    drawn: tuple[list[frozenset[Side]], dict[str, str]],
) -> None:
    aspects, rules = drawn
    layout = signal(aspects, rules)
    for aspect, lit in zip(layout.signals["H"].aspects, aspects, strict=True):
        command = show_list(layout, "H", aspect.name)[-1]
        assert not lit & {(x.decoder, x.output, x.side) for x in command.puts_out}


RED, GREEN, YELLOW, WHITE = ("K", 1, "red"), ("K", 1, "green"), ("K", 2, "green"), ("K", 3, "green")

OVER_GREEN = [{RED}, {YELLOW, GREEN}, {GREEN}]
BOTH_ALONE = [{RED}, {YELLOW}, {YELLOW, GREEN}, {GREEN}]
IN_COMPANY = [{RED}, {YELLOW, WHITE}, {YELLOW}, {WHITE, GREEN}]
"""White is in the most permissive aspect, and yet yellow must not be left alone."""


@pytest.mark.parametrize("aspects", [OVER_GREEN, BOTH_ALONE, IN_COMPANY])
@pytest.mark.parametrize("rule", ["alone", "paired"])
def test_on_its_way_no_signal_shows_a_more_permissive_aspect(
    aspects: list[set[Side]], rule: str
) -> None:
    lit = [frozenset(sides) for sides in aspects]
    layout = signal(lit, {"K": rule})
    names = [aspect.name for aspect in layout.signals["H"].aspects]
    for old, before in enumerate(lit):
        for new, name in enumerate(names):
            lamps = Lamps({"K": rule}, set(before), [])
            lamps.carry_out(show_list(layout, "H", name)[-1])
            for seen in lamps.seen:
                assert seen not in lit or lit.index(seen) <= max(old, new), (old, new)


def test_aspects_of_one_lamp_put_each_other_out_in_the_order_of_the_text() -> None:
    layout = signal([frozenset({side}) for side in (RED, YELLOW, GREEN)], {"K": "alone"})
    off = [show_list(layout, "H", a)[-1].puts_out for a in ("stop", "a1", "a2")]
    assert [[(x.output, x.side) for x in lamps] for lamps in off] == [
        [(2, "green"), (1, "green")],
        [(1, "red"), (1, "green")],
        [(1, "red"), (2, "green")],
    ]


def test_the_command_is_one_and_begins_with_the_lamp_that_is_lit_first() -> None:
    layout = signal([frozenset(sides) for sides in OVER_GREEN], {"K": "alone"})
    stop, caution = show_list(layout, "H", "a1")
    assert (stop.state, stop.lights) == ("stop", ())
    assert (caution.decoder, caution.output, caution.side) == YELLOW
    assert [(x.decoder, x.output, x.side) for x in caution.lights] == [GREEN]
    assert [(x.decoder, x.output, x.side) for x in caution.puts_out] == [RED]
