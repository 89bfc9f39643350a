"""The command list of a route: what is sent, in which order, over which output."""

from __future__ import annotations

import random
import re
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sound_layouts import compiled, compiled_file

import bellcrank
from bellcrank import Sound
from bellcrank.layout.layout_model import Leg
from bellcrank.machine.commands import Command
from bellcrank.routes.route_model import Route

JUNCTION = """
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
run edge EAST - Y - >E - Z - stop
decoder kind quad { outputs 4 }
decoder K quad at 21
"""


def commands(text: str, route: str) -> list[Command]:
    return [c for c in compiled(text).commands if c.route == route]


def drives(text: str, route: str) -> list[tuple[str, str]]:
    return [(c.name, c.state) for c in commands(text, route) if c.device == "drive"]


def wire(text: str, route: str, name: str) -> tuple[int | None, str | None]:
    """The output number and side by which a route throws a drive."""
    (command,) = [c for c in commands(text, route) if c.device == "drive" and c.name == name]
    return command.number, command.side


# -------------------------------------------------------------------------- order


def test_a_route_is_set_by_signals_to_stop_then_drives_then_its_own_signal() -> None:
    listed = [(c.phase, c.device, c.name, c.state) for c in commands(JUNCTION, "W to B")]
    assert listed == [
        ("signals to stop", "signal", "W", "stop"),
        ("signals to stop", "signal", "S", "stop"),
        ("signals to stop", "signal", "D", "stop"),
        ("drives", "drive", "P", "straight"),
        ("signals off", "signal", "W", "proceed"),
    ]


def test_signals_of_routes_that_do_not_conflict_are_left_alone() -> None:
    assert "E" not in {c.name for c in commands(JUNCTION, "W to B")}
    assert {c.name for c in commands(JUNCTION, "E to Z")} == {"E"}


def test_steps_count_from_one_in_each_route() -> None:
    compilation = compiled(JUNCTION)
    for route in compilation.table.routes:
        steps = [c.step for c in compilation.commands if c.route == route]
        assert steps == list(range(1, len(steps) + 1))


def test_routes_come_in_the_order_of_the_control_table() -> None:
    compilation = compiled(JUNCTION)
    named = dict.fromkeys(c.route for c in compilation.commands)
    assert list(named) == list(compilation.table.routes)


def test_signals_of_routes_that_a_rule_locks_go_to_stop_too() -> None:
    text = JUNCTION + "locking derive { W to B locks E to Z }\n"
    for route, other in (("W to B", "E"), ("E to Z", "W")):
        stopped = {c.name for c in commands(text, route) if c.phase == "signals to stop"}
        assert other in stopped


def test_a_signal_with_several_conflicting_routes_goes_to_stop_once() -> None:
    for route in ("W to B", "W to C", "S to WEST"):
        stopped = [c.name for c in commands(JUNCTION, route) if c.phase == "signals to stop"]
        assert len(stopped) == len(set(stopped))


# ------------------------------------------------------------------- which drives


def test_a_route_over_plain_track_throws_nothing() -> None:
    assert drives(JUNCTION, "E to Z") == []


OVERLAP = """
points P
run edge WEST - A - >W - B - >X - P.toe
run P.straight - C - stop
run P.diverging - D - stop
overlap X = P, C
"""


def test_drives_in_the_overlap_are_thrown_too() -> None:
    assert drives(OVERLAP, "W to X") == [("P", "straight")]


def test_drives_on_the_flank_are_thrown_too() -> None:
    text = """
    points P, Q
    run edge WEST - A - >W - P.toe
    run P.straight - B - stop
    run P.diverging - Q.diverging
    run Q.straight - C - stop
    run Q.toe - <E - D - stop
    flank W to B = Q straight
    """
    assert sorted(drives(text, "W to B")) == [("P", "straight"), ("Q", "straight")]


def test_a_drive_that_a_rule_needs_is_thrown_too() -> None:
    text = """
    points P, Q
    run edge WEST - A - >W - P.toe
    run P.straight - B - stop
    run P.diverging - C - stop
    run edge EAST - D - >E - Q.toe
    run Q.straight - F - stop
    run Q.diverging - G - stop
    locking derive { W to B needs Q diverging }
    """
    assert sorted(drives(text, "W to B")) == [("P", "straight"), ("Q", "diverging")]


def test_coupled_drives_are_commanded_once() -> None:
    text = """
    points P, Q
    coupled P, Q
    run edge UP - A - >U - P.toe
    run P.straight - B - stop
    run P.diverging - Q.diverging
    run edge DOWN - C - >D - Q.toe
    run Q.straight - E - stop
    decoder kind one { outputs 1 }
    decoder K one at 7
    drive P = K.1 coil 150 ms
    """
    assert drives(text, "U to B") == [("P", "straight")]
    assert wire(text, "U to B", "P") == (7, "green")
    crossover = [c for c in compiled(text).commands if c.state == "diverging"]
    assert [(c.route, c.name, c.number, c.side) for c in crossover] == [
        ("U to DOWN", "P", 7, "red"),
        ("D to UP", "P", 7, "red"),
    ]


def test_both_drives_of_a_slip_are_thrown_by_their_own_names() -> None:
    text = """
    double slip S with two drives
    run edge A - P - >W - S.a1
    run edge B - Q - >X - S.b1
    run S.a2 - R - stop
    run S.b2 - T - stop
    """
    assert drives(text, "W to T") == [("S.end2", "a1"), ("S.end1", "b2")]


# -------------------------------------------------------- decoders, outputs, sides


def test_the_first_position_is_on_the_green_side_and_the_second_on_the_red() -> None:
    text = JUNCTION + "drive P = K.1\n"
    assert wire(text, "W to B", "P") == (21, "green")
    assert wire(text, "W to C", "P") == (21, "red")


def test_crossed_wires_swap_the_sides() -> None:
    text = JUNCTION + "drive P = K.1  coil 200 ms  crossed\n"
    assert wire(text, "W to B", "P") == (21, "red")
    assert wire(text, "W to C", "P") == (21, "green")


@pytest.mark.parametrize("output", [1, 2, 3, 4])
def test_an_output_number_is_the_address_plus_the_output_less_one(output: int) -> None:
    text = JUNCTION + f"drive P = K.{output}\n"
    (command,) = [c for c in commands(text, "W to B") if c.device == "drive"]
    assert (command.decoder, command.output, command.number) == ("K", output, 20 + output)


FIVE_WAYS = """
fitting table {
  legs toe, one, two, three, four, five
  drive one, two, three, four, five
  way toe - one when one
  way toe - two when two
  way toe - three when three
  way toe - four when four
  way toe - five when five
}
table T
run edge WEST - A - >W - T.toe
run T.one - L1 - stop
run T.two - L2 - stop
run T.three - L3 - stop
run T.four - L4 - stop
run T.five - L5 - stop
decoder kind quad { outputs 4 }
decoder K quad at 21
decoder L quad at 45
"""


def test_positions_come_two_to_an_output() -> None:
    text = FIVE_WAYS + "drive T = K.1, K.3, L.2  servo 2 s\n"
    wires = [wire(text, f"W to L{n}", "T") for n in range(1, 6)]
    assert wires == [(21, "green"), (21, "red"), (23, "green"), (23, "red"), (46, "green")]


def test_crossed_wires_swap_the_sides_of_every_output() -> None:
    text = FIVE_WAYS + "drive T = K.1, K.3, L.2  crossed\n"
    wires = [wire(text, f"W to L{n}", "T") for n in range(1, 6)]
    assert wires == [(21, "red"), (21, "green"), (23, "red"), (23, "green"), (46, "red")]


@pytest.mark.parametrize(
    ("action", "milliseconds"),
    [("coil 200 ms", 200), ("motor 3 s", 3000), ("servo 1.5 s", 1500), ("", None)],
)
def test_a_drive_is_given_its_pulse_or_its_time_to_travel(
    action: str, milliseconds: int | None
) -> None:
    listed = commands(JUNCTION + f"drive P = K.1 {action}\nsignal W = K.2\n", "W to B")
    assert [c.milliseconds for c in listed if c.device == "drive"] == [milliseconds]
    assert {c.milliseconds for c in listed if c.device == "signal"} == {None}


def test_what_is_worked_by_hand_has_no_decoder() -> None:
    for text in (JUNCTION, JUNCTION + "drive P by hand\n"):
        for c in compiled(text).commands:
            assert (c.decoder, c.output, c.number, c.side, c.milliseconds) == (None,) * 5


def test_one_output_shows_stop_on_its_red_side_and_proceed_on_its_green() -> None:
    text = JUNCTION + "signal W = K.2\n"
    own = [(c.phase, c.number, c.side) for c in commands(text, "W to B") if c.name == "W"]
    assert own == [("signals to stop", 22, "red"), ("signals off", 22, "green")]


ASPECTS = (
    JUNCTION
    + """
signal W shows stop at K.2 red, caution at K.2 green, clear at K.3 red
route W to C shows caution
routes derive
"""
)


def test_each_aspect_has_its_own_output_and_side() -> None:
    shown = {
        route: [(c.state, c.number, c.side) for c in commands(ASPECTS, route) if c.name == "W"]
        for route in ("W to B", "W to C")
    }
    assert shown["W to B"] == [("stop", 22, "red"), ("clear", 23, "red")]
    assert shown["W to C"] == [("stop", 22, "red"), ("caution", 22, "green")]


def test_an_aspect_without_an_output_is_shown_by_hand() -> None:
    text = JUNCTION + "signal W shows stop at K.2 red, proceed\n"
    own = [(c.state, c.decoder, c.side) for c in commands(text, "W to B") if c.name == "W"]
    assert own == [("stop", "K", "red"), ("proceed", None, None)]


# ----------------------------------------------------------------------- read back

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

MIXED = ASPECTS + "drive P = K.1 coil 100 ms crossed\nsignal S = K.4\n"

LAYOUTS: dict[str, Path | str] = {
    **{path.stem: path for path in EXAMPLES},
    "junction": MIXED,
    "overlap": OVERLAP,
    "five ways": FIVE_WAYS + "drive T = K.1, K.3, L.2  crossed\n",
}


@cache
def layout_of(name: str) -> Sound:
    source = LAYOUTS[name]
    if isinstance(source, str):
        return compiled(source)
    return compiled_file(source)


@dataclass
class Bench:
    """Simulated outputs with drives and signals on them, wired as the text says.

    The hardware lines are read anew here, with none of the compiler's reading.
    A drive stays where it was thrown last; a signal shows what was sent last.

    throws: what each side of each output number does: a device and its state.
    lies: the position of every drive of every fitting. shows: each signal's aspect.
    """

    throws: dict[tuple[int, str], tuple[str, str]] = field(default_factory=dict)
    lies: dict[str, str] = field(default_factory=dict)
    shows: dict[str, str] = field(default_factory=dict)

    @classmethod
    def wired(cls, c: Sound, chance: random.Random) -> Bench:
        bench = cls()
        text = re.sub(r"#.*", "", "\n".join(c.program.texts.values()))
        at = {
            name: int(address)
            for name, address in re.findall(r"^decoder (\w+) \w+ at (\d+)", text, flags=re.M)
        }

        def number(output: str) -> int:
            decoder, index = output.split(".")
            return at[decoder] + int(index) - 1

        for name, outputs, options in re.findall(
            r"^drive (\S+) = ((?:\w+\.\d+(?:, *)?)+)(.*)", text, flags=re.M
        ):
            positions = c.layout.drives[name].positions
            sides = ("red", "green") if "crossed" in options else ("green", "red")
            wires = [(number(o), side) for o in re.split(", *", outputs.strip()) for side in sides]
            for wire, position in zip(wires, positions, strict=False):
                bench.throws[wire] = (name, position)
        for name, output in re.findall(r"^signal (\w+)(?: shunt)? = (\S+)", text, flags=re.M):
            bench.throws[number(output), "red"] = (name, "stop")
            bench.throws[number(output), "green"] = (name, "proceed")
        for name, aspects in re.findall(r"^signal (\w+).* shows (.*)", text, flags=re.M):
            for aspect, output, side in re.findall(r"(\w+) at (\S+) (\w+)", aspects):
                bench.throws[number(output), side] = (name, aspect)
        for drive in c.layout.drives.values():
            position = chance.choice(drive.positions)
            bench.lies |= dict.fromkeys(map(str, drive.works), position)
        for signal in c.layout.signals.values():
            bench.shows[signal.name] = chance.choice(signal.aspects).name
        return bench

    def carry_out(self, command: Command, c: Sound) -> None:
        """Send a command to its output, or let the operator do it by hand."""
        name, state = command.name, command.state
        if command.number is not None:
            assert command.side is not None
            name, state = self.throws[command.number, command.side]
        if name in c.layout.drives:
            self.lies |= dict.fromkeys(map(str, c.layout.drives[name].works), state)
        else:
            self.shows[name] = state

    def lets_through(self, route: Route, c: Sound) -> bool:
        """Whether the fittings lie for a train along the route, from leg to leg."""
        for way in route.ways:
            kind = c.layout.elements[way.element].kind
            (found,) = [w for w in kind.ways if set(w.legs) == {way.entry, way.exit}]
            for drive, position in found.when:
                name = f"{way.element}.{drive}" if drive else way.element
                if self.lies[name] != position:
                    return False
        return True

    def protects(self, route: Route) -> bool:
        """Whether the drives of the overlap and the flank lie as they must."""
        return all(self.lies[d] == p for d, p in (*route.overlap_positions, *route.flank))


def test_the_bench_is_wired_with_every_output_that_commands_use() -> None:
    """Else the read-back below would be of commands by hand alone."""
    c = layout_of("junction")
    bench = Bench.wired(c, random.Random(0))
    assert bench.throws == {
        (21, "red"): ("P", "straight"),
        (21, "green"): ("P", "diverging"),
        (22, "red"): ("W", "stop"),
        (22, "green"): ("W", "caution"),
        (23, "red"): ("W", "clear"),
        (24, "red"): ("S", "stop"),
        (24, "green"): ("S", "proceed"),
    }
    wired = [layout_of(p.stem) for p in EXAMPLES]
    assert sum(command.number is not None for c in wired for command in c.commands) > 300


def routes_of(name: str) -> list[Route]:
    table = layout_of(name).table
    assert table
    return list(table.routes.values())


@settings(max_examples=60, deadline=None)
@given(st.data(), st.randoms(use_true_random=False))
def test_from_any_positions_the_commands_set_the_route(
    data: st.DataObject, chance: random.Random
) -> None:
    c = layout_of(data.draw(st.sampled_from(list(LAYOUTS))))
    route = data.draw(st.sampled_from(list(c.table.routes.values())))
    bench = Bench.wired(c, chance)
    against = {c.table.routes[name].start for name in c.table.conflicting[route.name]}
    for command in (x for x in c.commands if x.route == route.name):
        if command.device == "drive":
            # Nothing is thrown while a signal could still let a train come.
            assert {bench.shows[s] for s in against | {route.start}} == {"stop"}
        elif command.phase == "signals off":
            assert bench.lets_through(route, c)
            assert bench.protects(route)
        bench.carry_out(command, c)
        if command.device == "drive":
            assert bench.lies[command.name] == command.state
        else:
            assert bench.shows[command.name] == command.state
    assert bench.lets_through(route, c)
    assert bench.protects(route)
    assert bench.shows[route.start] == route.aspect != "stop"
    assert all(bench.shows[s] == "stop" for s in against - {route.start})


@pytest.mark.parametrize("name", list(LAYOUTS))
def test_every_route_of_every_layout_is_set_from_positions_at_random(name: str) -> None:
    c = layout_of(name)
    for seed, route in enumerate(routes_of(name)):
        bench = Bench.wired(c, random.Random(seed))
        for command in c.commands:
            if command.route == route.name:
                bench.carry_out(command, c)
        assert bench.lets_through(route, c)
        assert bench.protects(route)


@pytest.mark.parametrize("name", list(LAYOUTS))
def test_routes_that_may_run_together_lie_right_for_both_whichever_is_set_first(name: str) -> None:
    c = layout_of(name)
    routes = routes_of(name)
    for one in routes:
        for other in routes:
            if other is one or other.name in c.table.conflicting[one.name]:
                continue
            bench = Bench.wired(c, random.Random(1))
            for wanted in (one, other):
                for command in (x for x in c.commands if x.route == wanted.name):
                    bench.carry_out(command, c)
            assert bench.lets_through(one, c) and bench.lets_through(other, c)
            assert bench.protects(one) and bench.protects(other)


def test_the_bench_notices_a_drive_that_was_not_thrown() -> None:
    """The model itself: without the drives' commands some route is not set."""
    c = layout_of("harbour-terminus")
    failed = 0
    for route in routes_of("harbour-terminus"):
        bench = Bench.wired(c, random.Random(3))
        for command in c.commands:
            if command.route == route.name and command.device == "signal":
                bench.carry_out(command, c)
        failed += not bench.lets_through(route, c)
    assert failed > 0


@pytest.mark.parametrize("name", [p.stem for p in EXAMPLES])
def test_a_train_set_out_on_a_route_arrives_where_the_route_ends(name: str) -> None:
    """Walk leg by leg over the fittings as they lie after the commands."""
    c = layout_of(name)
    for seed, route in enumerate(routes_of(name)):
        bench = Bench.wired(c, random.Random(seed))
        for command in (x for x in c.commands if x.route == route.name):
            bench.carry_out(command, c)
        at: object = c.layout.signals[route.start].beyond
        for _ in route.ways:
            assert isinstance(at, Leg)
            kind = c.layout.elements[at.element].kind
            ways = [
                (w.legs[1] if w.legs[0] == at.leg else w.legs[0])
                for w in kind.ways
                if at.leg in w.legs
                and all(
                    bench.lies[f"{at.element}.{d}" if d else at.element] == p for d, p in w.when
                )
            ]
            assert len(ways) == 1
            at = c.layout.joined[Leg(at.element, ways[0])]
        match route.end_kind:
            case "signal":
                assert at == c.layout.signals[route.end].beyond
            case "edge":
                assert str(at) == f"edge {route.end}"
            case "stop":
                assert str(at) == f"stop at {route.end}"


def test_the_blades_of_three_way_points_are_never_both_over() -> None:
    text = """
    three way points T
    run edge W - A - >H - T.toe
    run T.left - B - stop
    run T.straight - C - stop
    run T.right - D - stop
    """
    assert drives(text, "H to B") == [("T.to_right", "straight"), ("T.to_left", "diverging")]
    assert drives(text, "H to D") == [("T.to_left", "straight"), ("T.to_right", "diverging")]


def test_a_signal_that_may_be_off_for_another_route_goes_to_stop_only_if_need_be() -> None:
    text = """
    points PW, PE
    run edge WEST - A - >HW - PW.toe
    run PW.straight - <SW - UP - >SE - PE.straight
    run PW.diverging - <SWL - DOWN - >SEL - PE.diverging
    run PE.toe - <HE - B - edge EAST
    expect HW to SE with HE to SWL
    """
    commands = {
        c.name: c.only_if_set
        for c in bellcrank.compile(text).commands
        if c.route == "HW to SE" and c.phase == "signals to stop"
    }
    assert commands["HW"] == ()  # its own
    assert commands["HE"] == ("HE to SW",)  # HE to SWL may stand
    assert commands["SW"] == ()  # whatever leaves by SW meets it
