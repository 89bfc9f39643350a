"""Frogs on outputs: switched with the route, held by it, and in the proof."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sound_layouts import checked, compiled

from bellcrank import Sound
from bellcrank.compilation import Broken, compile_text
from bellcrank.hardware.packet_bytes import basic_accessory
from bellcrank.machine.build_machine import build_machine
from bellcrank.proof.moving.moving_proof import prove_moving
from bellcrank.proof.standing.standing_check import check_standing

SLIP = """
double slip S1 with one drive
run edge WEST - A - >H - S1.a1
run edge YARD - B - >Y - S1.b1
run S1.a2 - <D1 - T1 - stop
run S1.b2 - <D2 - T2 - stop
numbering from decoder 1
decoder kind quad { outputs 4 }
decoder K1 quad at 1
drive S1 = K1.1  coil 200 ms
signal H = K1.4
"""
FROGS = "frog S1.end1 = K1.2\nfrog S1.end2 = K1.3  crossed\n"


def switched(route: str, sound: Sound) -> set[tuple[str, str, int | None, str | None]]:
    return {
        (c.name, c.state, c.number, c.side)
        for c in sound.commands
        if c.route == route and c.device == "frog"
    }


def test_a_route_switches_its_frogs_to_the_legs_that_it_uses():
    sound = compiled(SLIP + FROGS)
    assert switched("H to T1", sound) == {
        ("frog S1.end1", "a1", 2, "green"),
        ("frog S1.end2", "a2", 3, "red"),  # crossed
    }
    assert switched("Y to T1", sound) == {
        ("frog S1.end1", "b1", 2, "red"),
        ("frog S1.end2", "a2", 3, "red"),
    }


def test_a_frog_is_switched_after_signals_are_at_stop_and_before_the_own_one_clears():
    sound = compiled(SLIP + FROGS)
    commands = [c for c in sound.commands if c.route == "H to T1"]
    place = {c.name: c.step for c in commands if c.device == "frog"}
    stop = max(c.step for c in commands if c.phase == "signals to stop")
    (off,) = (c.step for c in commands if c.phase == "signals off")
    assert len(place) == 2 and stop < min(place.values()) <= max(place.values()) < off
    (timetable,) = (t for t in sound.timetables if t.what == "set" and t.of == "H to T1")
    at = {t.command.name: t.at for t in timetable.commands if t.command.phase != "signals to stop"}
    assert max(at["frog S1.end1"], at["frog S1.end2"]) < at["H"]


def test_the_output_of_a_frog_stays_on_and_needs_no_slot_of_a_supply():
    supply = "supply BENCH { feeds K1  one at a time  rest 2 s }\n"
    sound = compiled(SLIP + FROGS + supply)
    frogs = [c for c in sound.commands if c.device == "frog"]
    assert frogs and all(c.how == "output" and not c.held for c in frogs)
    (timetable,) = (t for t in sound.timetables if t.what == "set" and t.of == "H to T1")
    assert timetable.total < 1000  # a throw would be kept waiting for the rest of the supply


def test_what_switches_a_frog_is_a_basic_packet_of_its_output_and_side():
    from bellcrank.document.command_data import command_data

    sound = compiled(SLIP + FROGS)
    command = next(c for c in sound.commands if c.name == "frog S1.end2")
    packet = command_data(command, sound.layout).packet
    assert packet is not None
    assert bytes.fromhex(packet.on) == basic_accessory(
        3, green=False, activate=True, first_decoder=1
    )


@pytest.mark.parametrize("locking", ["", "locking written {\n  every route needs its positions\n"
    "  every route needs its sections clear\n  only one route over S1\n"
    "  only one route over each of T1, T2, A, B\n  every drive needs its section clear\n}\n"],
    ids=["derived", "written"])  # fmt: skip
def test_a_layout_with_switched_frogs_is_proved(locking: str):
    sound = compiled(SLIP + FROGS + locking)
    held = {n.drive for n in sound.locking.needs if n.route == "H to T1"}
    assert held == {"S1", "frog S1.end1", "frog S1.end2"}
    assert checked(SLIP + FROGS + locking).proved


THREE_WAY = """
three way points W1
run edge EAST - A - >HB - W1.toe
run W1.left - <WL - T1 - stop
run W1.straight - <WS - T2 - stop
run W1.right - <WR - T3 - stop
decoder kind quad { outputs 4 }
drive W1.to_left = quad  coil 200 ms
drive W1.to_right = quad  coil 200 ms
"""


@pytest.mark.parametrize("frogs", [["middle"], ["left"], ["left", "middle", "right"]], ids=str)
def test_a_frog_that_a_road_does_not_lead_over_may_be_switched_under_its_train(frogs: list[str]):
    text = THREE_WAY + "".join(f"frog W1.{frog} = quad\n" for frog in frogs)
    sound = compiled(text)
    needs = {(n.route, n.drive) for n in sound.locking.needs if n.drive.startswith("frog")}
    assert needs and len(needs) < len(frogs) * len(sound.table.routes)
    assert checked(text).proved


@pytest.mark.parametrize(
    ("lamps", "off"),
    [("", {"green": ["red"], "red": ["green"]}), ("  lamps paired", {"green": [], "red": []})],
)
def test_the_side_that_held_a_frog_so_far_is_switched_off(lamps: str, off: dict[str, list[str]]):
    sound = compiled(SLIP.replace("outputs 4", f"outputs 4{lamps}") + FROGS)
    frogs = [c for c in sound.commands if c.device == "frog"]
    assert {c.side for c in frogs} == {"green", "red"}
    for command in frogs:
        assert [lamp.side for lamp in command.puts_out] == off[command.side or ""]
        assert {lamp.number for lamp in command.puts_out} <= {command.number}


def test_locking_that_forgets_a_frog_lets_a_train_onto_one_that_lies_wrongly():
    sound = compiled(SLIP + FROGS)
    needs = tuple(n for n in sound.locking.needs if n.drive != "frog S1.end1")
    forgetful = replace(sound.locking, needs=needs)
    assert check_standing(sound.layout, sound.table, forgetful).outcome == "refuted"
    machine = build_machine(sound.layout, sound.table, forgetful)
    moving = prove_moving(machine)
    refuted = {result.name for result in moving.results if result.outcome == "refuted"}
    assert moving.outcome == "refuted" and "derailments" in refuted


def test_a_fixed_diamond_gets_its_polarity_from_the_route():
    text = (
        "fixed diamond X1\nrun edge W - A - >H - X1.a1\nrun X1.a2 - <P - B - stop\n"
        "run edge N - C - >J - X1.b1\nrun X1.b2 - <Q - D - stop\n"
        "decoder kind quad { outputs 4 }\ndecoder K1 quad at 1\nfrog X1.end1 = K1.1\n"
    )
    sound = compiled(text)
    assert {leg for _, leg, _, _ in switched("H to B", sound)} == {"a1"}
    assert {leg for _, leg, _, _ in switched("J to D", sound)} == {"b1"}
    assert checked(text).proved


# ------------------------------------------------------------------------ errors


def test_a_contact_that_cannot_serve_is_reported_with_the_routes_and_a_remedy():
    broken = compile_text(SLIP + "frog S1.end1 with drive\n")
    assert isinstance(broken, Broken)
    (said,) = broken.diagnostics
    assert said.code == "E621"
    assert said.message == (
        "a contact of the drive cannot serve the frog S1.end1: with S1 straight it needs the "
        "polarity of a1 for one road and that of b1 for another; H to T1 needs that of a1 and "
        "Y to T2 needs that of b1"
    )
    assert said.expected == "an output that routes switch, such as `frog S1.end1 = quad`"
    assert (said.span.line, said.span.column, said.span.end_column) == (12, 6, 13)


def test_a_frog_that_it_takes_two_drives_to_tell_of_is_reported_so():
    broken = compile_text(
        "fitting odd {\n  legs a1, b2, a2, b1\n  drive p with x, y\n  drive q with x, y\n"
        "  way a1 - a2 when p x, q x\n  way b1 - b2 when p x, q y\n  way a1 - b2 when p y, q y\n"
        "  frog end between a1, b1\n  frog far between a2, b2\n}\n"
        "odd F\nrun edge W - A - >H - F.a1\nrun edge N - B - >J - F.b1\n"
        "run F.a2 - <P - C - stop\nrun F.b2 - <Q - D - stop\nfrog F.end with drive\n"
    )
    assert [d.code for d in broken.diagnostics] == ["E621"]
    assert "it takes several drives to tell whether it needs the polarity of a1 or that of b1" in (
        broken.diagnostics[0].message
    )


def test_a_frog_that_trains_come_to_before_any_signal_cannot_wait_for_a_route():
    text = (
        "fixed diamond X1\nrun edge W - A - X1.a1\nrun X1.a2 - B - >H - C - stop\n"
        "run edge N - D - >N1 - X1.b1\nrun X1.b2 - <S - E - stop\n"
        "decoder kind quad { outputs 4 }\ndecoder K1 quad at 1\n"
    )
    assert isinstance(compile_text(text), Sound)
    broken = compile_text(text + "frog X1.end1 = K1.1\n")
    assert [(d.code, d.span.line, d.span.column) for d in broken.diagnostics] == [("E622", 8, 6)]
    assert isinstance(compile_text(text + "frog X1.end1 by reverser\n"), Sound)


def test_an_overlap_and_the_flank_do_not_depend_on_frogs():
    text = (
        "points P1, P2\nrun edge W - A - >H0 - B - >H - P1.toe\nrun P1.straight - P2.toe\n"
        "run P1.diverging - <S3 - T3 - stop\nrun P2.straight - <S1 - T1 - stop\n"
        "run P2.diverging - <S2 - T2 - stop\noverlap H = P1, P2\nflank derive\n"
        "decoder kind quad { outputs 4 }\ndecoder K1 quad at 1\n"
    )
    plain = compiled(text)
    with_frogs = compiled(text + "frog P1 = K1.1\nfrog P2 = K1.2\n")
    for name, route in plain.table.routes.items():
        other = with_frogs.table.routes[name]
        assert (route.overlap_positions, route.flank) == (other.overlap_positions, other.flank)
        assert set(other.positions) >= set(route.positions)
    assert plain.table.conflicts == with_frogs.table.conflicts
