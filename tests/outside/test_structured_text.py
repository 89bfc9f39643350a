"""The controller in Structured Text, executed cycle by cycle beside the controller of the same
document.

Neither Debian nor the Python package index offers a compiler for IEC 61131-3 that could
simply be installed, so it is executed by an interpreter of its own, in
structured_text.py; a campaign has it compiled by a compiler of other authors, where that is
there. Where a published grammar of the language is installed, by other authors, the text is
held against that as well.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import groupby
from pathlib import Path
from typing import Any

import compiled_block
import pytest
import structured_text
from controller_runs import Chance
from in_campaigns import in_campaigns
from msgspec.structs import replace
from plain_controller import PlainController
from random_layouts import compiled, shown
from sound_layouts import NO_TIME, checked_file, undecided
from structured_text import Block, NotValidError

from bellcrank import Broken
from bellcrank.document.build_document import build_document
from bellcrank.document.document_types import Document
from bellcrank.emit.description import TargetError
from bellcrank.emit.render import render_target
from bellcrank.emit.target import load_target

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

Data = dict[str, Any]


def files_of(data: Document, **options: str) -> dict[str, bytes]:
    return render_target(load_target("st"), data, options)


def block_text(data: Document, **options: str) -> str:
    return files_of(data, **options)["interlocking.st"].decode("utf-8")


@cache
def example(path: Path) -> tuple[Document, str]:
    data = build_document(checked_file(path, NO_TIME), {"vectors"})
    return data, block_text(data)


@cache
def of_text(text: str) -> tuple[Document, str]:
    data = build_document(undecided(text), {"vectors"})
    return data, block_text(data)


@dataclass
class Names:
    """What inputs and outputs of the block are called: the number in an identifier is the place
    of an input or a variable in the document (targets/README.md)."""

    inputs: dict[int, str]
    outputs: list[str]
    variables: dict[str, str]
    aspects: dict[str, str]
    throws: dict[tuple[str, int], str]
    lamps: list[str]

    @classmethod
    def of(cls, block: Block, data: Data) -> Names:
        by_number = [v["name"] for v in data["controller"]["variables"]]
        inputs, variables, aspects, throws = {0: "START"}, {}, {}, {}
        outputs = [n for n, section in block.section.items() if section == "outputs"]
        for name in (n for n, section in block.section.items() if section == "inputs"):
            if name != "START":
                inputs[int(name.split("_")[1])] = name
        for name in outputs:
            if found := re.match(r"V(\d+)_", name):
                variables[by_number[int(found[1]) - 1]] = name
            elif found := re.match(r"ASPECT_(\d+)", name):
                aspects[by_number[int(found[1]) - 1]] = name
            elif found := re.match(r"THROW_(\d+)_(\d+)", name):
                throws[by_number[int(found[1]) - 1], int(found[2])] = name
        lamps = [name for name in outputs if name.startswith("LAMP_")]
        return cls(inputs, outputs, variables, aspects, throws, lamps)

    def expected(self, c: PlainController) -> dict[str, int]:
        """What is to be put out, by the controller of the document."""
        found: dict[str, int] = {
            "RUNNING": c.running, "ALARM": c.alarm, "UNEXPLAINED": c.unexplained,
            "REFUSED": c.refused,
        }  # fmt: skip
        for variable, name in self.variables.items():
            found[name] = c.domains[variable].index(c.state[variable])
        for lamp in c.lamps:
            found[self.aspects[lamp["variable"]]] = c.aspect(lamp)
        for throw in c.throws.values():
            for place, on in enumerate(c.thrown(throw), start=1):
                found[self.throws[throw["variable"], place]] = on
        found |= dict(zip(self.lamps, c.lit(), strict=True))
        assert set(found) == set(self.outputs)
        return found


class Railway:
    """An instance of the block, and the controller of the document beside it."""

    def __init__(self, data: Document, text: str, **times: int) -> None:
        self.data, self.times = data.plain, times
        self.block = structured_text.read(text)
        self.names = Names.of(self.block, self.data)
        self.now = 0
        self.power_up()

    def power_up(self) -> None:
        self.memory = self.block.instance()
        self.controller = PlainController(self.data, **self.times)

    def number(self, kind: str, of: str, value: str | None = None) -> int:
        [found] = (
            n
            for n, i in self.controller.inputs.items()
            if (i["kind"], i["of"], i["value"]) == (kind, of, value)
        )
        return found

    def cycle(self, *on: int, after: int = 20) -> None:
        """One cycle, so many milliseconds after the one before."""
        self.now += after
        told = frozenset(on)
        self.controller.scan(self.now, told)
        self.call(self.now, told)
        assert {n: self.memory[n] for n in self.names.outputs} == self.names.expected(
            self.controller
        )

    def call(self, now: int, on: frozenset[int]) -> None:
        self.block.call(self.memory, now, **{m: n in on for n, m in self.names.inputs.items()})

    def started(self, *on: int) -> None:
        """Brought up until it runs, with sections that stay occupied."""
        for _ in range(60):
            self.cycle(*on)
        self.cycle(*on, 0)
        assert self.memory["RUNNING"] is True

    def until(self, true: Callable[[], bool], *on: int, after: int = 20) -> None:
        """Cycles until something is true, in a minute at most."""
        for _ in range(60_000 // after):
            if true():
                return
            self.cycle(*on, after=after)
        raise AssertionError("not within a minute")

    def aspect(self, signal: str) -> int:
        return int(self.memory[self.names.aspects[f"lamp {signal}"]])

    def true(self) -> set[str]:
        return {n for n in self.names.outputs if self.memory[n] is True}


def disagreements(
    data: Document, text: str, seed: int, count: int, met: Counter[str] | None = None
) -> Iterator[str]:
    railway = Railway(data, text)
    chance = Chance(data.plain, seed)
    for number, cycle in enumerate(chance.cycles(count)):
        if cycle.cut:
            railway.power_up()
        railway.call(cycle.now, cycle.on)
        for name, value in railway.names.expected(chance.controller).items():
            if railway.memory[name] != value:
                yield f"cycle {number}: {name} is {railway.memory[name]}, not {value}"
                return
    if met is not None:
        met.update(chance.met)


OF_A_KIND = [path for path in EXAMPLES if path.stem != "harbour-terminus-forgetful"]
"""Without the example that has the track and the routes of another."""


@pytest.mark.parametrize("name", ["hand-worked-branch", "harbour-terminus"])
def test_the_block_agrees_with_the_controller_in_every_cycle(name: str) -> None:
    """Also where much changes at once, cycles take long, and the power is cut."""
    data, text = example(next(path for path in EXAMPLES if path.stem == name))
    met: Counter[str] = Counter()
    assert list(disagreements(data, text, 1, 250, met)) == []
    assert all(met[what] for what in ("running", "refused", "off", "thrown"))


@pytest.mark.parametrize(
    "seeds", [range(100, 102), pytest.param(range(102, 110), marks=pytest.mark.campaign)]
)
def test_the_block_agrees_on_random_layouts(seeds: range) -> None:
    seen = 0
    for seed in seeds:
        layout, compilation = compiled(seed)
        if isinstance(compilation, Broken):
            continue
        data, text = of_text(layout.text)
        with shown(layout):
            assert list(disagreements(data, text, seed, 100)) == []
        seen += 1
    assert seen >= 0.6 * len(seeds)


@pytest.mark.campaign
@pytest.mark.parametrize("path", OF_A_KIND, ids=lambda p: p.stem)
def test_the_block_agrees_over_days(path: Path) -> None:
    data, text = example(path)
    met: Counter[str] = Counter()
    for seed in range(3):
        assert list(disagreements(data, text, seed, 1_000, met)) == []
    assert met["cuts"] >= 1


@pytest.mark.campaign
@pytest.mark.skipif(not compiled_block.there(), reason="MATIEC names no folder with iec2c")
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_the_block_that_others_compile_agrees_in_every_cycle(path: Path, tmp_path: Path) -> None:
    data, text = example(path)
    names = Names.of(structured_text.read(text), data.plain)
    files = files_of(data)
    program = compiled_block.compiled(files, tmp_path, names.outputs)
    chance = Chance(data.plain, 5)
    expected, cycles = [], []
    for cycle in chance.cycles(4_000):
        cycles.append(cycle)
        found = names.expected(chance.controller)
        expected.append([int(found[name]) for name in names.outputs])
    told = list(compiled_block.run(program, files["example.st"].decode(), cycles, names.inputs))
    assert len(told) == len(expected)
    for number, (one, other) in enumerate(zip(told, expected, strict=True)):
        assert one[: len(other)] == other, f"cycle {number}"
        # What the program puts to terminals: running, alarm, a lamp an aspect, throws.
        lamps = [
            one[names.outputs.index(names.aspects[lamp["variable"]])] == aspect
            for lamp in chance.controller.lamps
            for aspect in range(len(chance.controller.aspects[lamp["signal"]]))
        ]
        thrown = [one[names.outputs.index(name)] for name in names.throws.values()]
        panel = [one[names.outputs.index(name)] for name in names.lamps]
        assert one[len(other) :] == [one[0], one[1], *lamps, *thrown, *panel]


HALT = """
layout "Reedham Halt" on two rails
points P, Q
run edge WEST - A - >W - P.toe
run P.straight - <S - B - >E - Q.straight
run P.diverging - <D - C - >F - Q.diverging
run Q.toe - <X - Z - edge EAST
signal W shows stop, slow, clear
route W to E shows slow
decoder kind quad { outputs 8 }
decoder K1 quad at 1
drive P = K1.1  coil 200 ms detected
drive Q = K1.2  coil 200 ms  rests 2 s
supply BENCH { feeds K1  one at a time  rest 300 ms }
"""


def halt() -> Railway:
    return Railway(*of_text(HALT))


def test_before_the_start_everything_is_at_stop_and_no_button_counts() -> None:
    railway = halt()
    asked = railway.number("request", "W to E")
    for _ in range(100):
        railway.cycle(asked)
        railway.cycle()
    assert railway.true() == set()
    assert railway.aspect("W") == 0


def test_a_start_button_that_is_stuck_starts_nothing_when_the_power_comes_back() -> None:
    railway = halt()
    for _ in range(50):
        railway.cycle(0)
    assert railway.memory["RUNNING"] is False
    railway.cycle()
    railway.cycle(0)
    assert railway.memory["RUNNING"] is True


def test_a_section_is_occupied_until_it_was_reported_clear_for_long_enough() -> None:
    """What a detector did not say yet is not read as clear."""
    railway = halt()
    railway.cycle()
    railway.cycle(0)
    reports = railway.data["controller"]["reports"]
    assert all(railway.controller.state[r["variable"]] == r["when_occupied"] for r in reports)
    for _ in range(60):
        railway.cycle()
    assert all(railway.controller.state[r["variable"]] == r["when_clear"] for r in reports)
    assert railway.memory["ALARM"] is False


def test_a_flicker_of_a_detector_is_not_seen() -> None:
    railway = halt()
    railway.started()
    before = dict(railway.controller.state)
    occupied = railway.number("occupied", "B")
    railway.cycle(occupied, after=10)
    railway.cycle(after=10)
    railway.cycle()
    assert railway.controller.state == before


def test_a_train_in_the_next_section_and_out_of_the_last_in_one_cycle_is_no_alarm() -> None:
    railway = halt()
    a, p, b = (railway.number("occupied", s) for s in ("A", "P", "B"))
    lies = railway.number("lies", "P", "straight")
    railway.started(a, lies)
    railway.cycle(a, lies, railway.number("request", "W to E"))
    for _ in range(40):
        railway.cycle(a, lies, after=100)
    assert railway.aspect("W") == 1  # slow
    for _ in range(7):
        railway.cycle(a, p, lies)
    assert railway.aspect("W") == 0
    for _ in range(4):
        railway.cycle(p, lies, after=200)
    railway.cycle(p, b, lies, after=200)
    before = dict(railway.controller.state)
    railway.cycle(p, b, lies, after=200)
    changed = {n for n, value in railway.controller.state.items() if value != before[n]}
    assert changed >= {"report A", "report B"}
    for _ in range(7):
        railway.cycle(b, lies, after=200)
    assert railway.memory["ALARM"] is False


def test_what_is_not_explained_puts_all_to_stop_and_needs_a_start() -> None:
    railway = halt()
    a, b = railway.number("occupied", "A"), railway.number("occupied", "B")
    lies = railway.number("lies", "P", "straight")
    railway.started(a, lies)
    railway.cycle(a, lies, railway.number("request", "W to E"))
    for _ in range(40):
        railway.cycle(a, lies, after=100)
    assert railway.aspect("W") == 1
    for _ in range(7):
        railway.cycle(a, b, lies)
    assert railway.memory["ALARM"] is True and railway.memory["UNEXPLAINED"] == b
    assert railway.aspect("W") == 0
    railway.cycle(a, b, lies, railway.number("request", "W to E"))
    railway.cycle(a, lies)
    assert railway.true() == {"ALARM"}
    railway.cycle(a, lies, 0)
    assert railway.true() == {"RUNNING"} and railway.memory["UNEXPLAINED"] == 0


def test_a_supply_throws_one_drive_at_a_time_and_rests_between() -> None:
    railway = halt()
    railway.started()
    railway.cycle(after=2_000)  # Q has to cool first, as nobody knows what was before
    railway.cycle()
    railway.cycle(railway.number("request", "W to E"), railway.number("request", "X to D"))
    thrown = [throws(railway)]
    for _ in range(60):
        railway.cycle()
        thrown.append(throws(railway))
    pulses = [(on, len(list(same))) for on, same in groupby(thrown)]
    (first, long), (between, rest), (second, also_long), (after, _) = pulses
    assert (first, second) == (["P"], ["Q"]) and between == after == []
    assert 200 <= long * 20 <= 240 and 200 <= also_long * 20 <= 240
    assert 300 <= rest * 20 <= 360


def throws(railway: Railway) -> list[str]:
    """The drives that are thrown now."""
    return sorted({n.split("_")[3] for n in railway.true() if n.startswith("THROW")})


def test_the_time_of_a_drive_does_not_run_while_it_waits_to_be_thrown() -> None:
    """Else a drive that nothing reports would be taken to lie before it was thrown."""
    railway = halt()
    railway.started()
    railway.cycle(railway.number("request", "W to E"), railway.number("request", "X to D"))
    reported = railway.number("lies", "P", "straight")
    railway.until(lambda: throws(railway) == ["Q"])
    railway.until(lambda: throws(railway) == [])
    ended = railway.now
    assert railway.controller.state["lying Q"] == "to diverging"
    railway.until(lambda: railway.controller.state["lying Q"] == "diverging", reported)
    assert 5_000 <= railway.now - ended <= 5_100


def test_an_alarm_ends_the_pulse_of_a_coil() -> None:
    railway = halt()
    railway.started()
    railway.cycle(railway.number("request", "W to E"))
    assert throws(railway) == ["P"]
    wrong = railway.number("occupied", "P")
    for _ in range(6):
        railway.cycle(wrong)
    assert railway.true() == {"ALARM"}


def test_two_contacts_of_a_drive_at_once_say_nothing_at_the_start() -> None:
    railway = halt()
    both = [railway.number("lies", "P", p) for p in ("straight", "diverging")]
    railway.started(*both)
    assert railway.controller.state["lying P"] == "not known"
    railway.cycle(both[1])
    railway.cycle(0, both[1])
    assert railway.controller.state["lying P"] == "diverging"


def test_points_that_are_found_elsewhere_raise_the_alarm() -> None:
    railway = halt()
    straight, diverging = (railway.number("lies", "P", p) for p in ("straight", "diverging"))
    railway.started(straight)
    for _ in range(7):
        railway.cycle(diverging)
    assert railway.memory["UNEXPLAINED"] == diverging


def test_the_time_of_approach_locking_is_kept_whole() -> None:
    railway = halt()
    a, straight = railway.number("occupied", "A"), railway.number("lies", "P", "straight")
    railway.started(a, straight)
    railway.cycle(a, straight, railway.number("request", "W to E"))
    railway.until(lambda: railway.aspect("W") > 0, a, straight)
    railway.cycle(a, straight, railway.number("cancel", "W to E"))
    cancelled = railway.now
    assert railway.aspect("W") == 0
    idle = railway.data["controller"]["progress"][0]["idle"]
    railway.until(
        lambda: railway.controller.state["progress W to E"] == idle, a, straight, after=100
    )
    assert 30_000 <= railway.now - cancelled <= 30_300


PANEL = (
    HALT
    + """
detector kind octo { inputs 8 }
detector B1 octo
button W = B1.1
button E = B1.2
button X = B1.3
button D = B1.4
button W = B1.5
button to cancel W = B1.6
button X to D = B1.7
button to cancel X = B1.8
lamp W to E = K1.7 green
lamp X to D = K1.7 red
"""
)


def panel() -> tuple[Railway, dict[str, int]]:
    """A railway with a panel, and the numbers of its buttons: `W again` is a second one there."""
    railway = Railway(*of_text(PANEL))
    found = {}
    for n, i in railway.controller.inputs.items():
        if i["kind"] == "place":
            found[i["of"] if i["of"] not in found else f"{i['of']} again"] = n
        elif i["kind"] == "cancel from":
            found[f"cancel {i['of']}"] = n
    return railway, found


def press(railway: Railway, *numbers: int) -> None:
    railway.cycle(*numbers)
    railway.cycle()


def lamps(railway: Railway) -> list[str]:
    return sorted(n.split("_", 2)[2] for n in railway.true() if n.startswith("LAMP_"))


@pytest.mark.parametrize("first", ["W", "W again"])
def test_two_buttons_pressed_one_after_the_other_set_a_route_and_light_its_lamp(first: str) -> None:
    railway, button = panel()
    railway.started()
    press(railway, button[first])
    assert lamps(railway) == []
    press(railway, button["E"])
    assert lamps(railway) == ["W_TO_E"]
    press(railway, button["cancel W"])
    assert lamps(railway) == [] and not railway.memory["REFUSED"]


def test_two_buttons_in_the_wrong_order_or_at_once_set_nothing() -> None:
    railway, button = panel()
    railway.started()
    press(railway, button["E"])
    press(railway, button["W"])
    assert lamps(railway) == [] and not railway.memory["REFUSED"]
    press(railway, button["W"], button["E"])
    assert lamps(railway) == [] and railway.memory["REFUSED"] is True
    press(railway, button["E"])
    assert lamps(railway) == []


def test_a_place_that_was_pressed_is_let_go_by_another_button_and_by_a_start() -> None:
    railway, button = panel()
    railway.started()
    other = [railway.number("cancel", "X to D"), button["cancel X"], 0]
    for number in other:
        press(railway, button["W"])
        press(railway, number)
        press(railway, button["E"])
        assert lamps(railway) == []
    press(railway, button["W"])
    press(railway, button["E"])
    assert lamps(railway) == ["W_TO_E"]


def test_a_button_that_cancels_from_a_signal_is_refused_where_nothing_is_set() -> None:
    railway, button = panel()
    railway.started()
    press(railway, button["cancel W"])
    assert railway.memory["REFUSED"] is True
    press(railway, railway.number("request", "X to D"))
    assert lamps(railway) == ["X_TO_D"] and railway.memory["REFUSED"] is False


def test_the_block_of_a_layout_with_a_panel_agrees() -> None:
    data, text = of_text(PANEL)
    met: Counter[str] = Counter()
    for seed in range(3):
        assert list(disagreements(data, text, seed, 300, met)) == []
    assert met["lamps"] > 50 and met["places"] > 20


@pytest.mark.parametrize(
    "whole",
    [
        "FIRST := SECOND;",
        "IF SEVERAL THEN REFUSED := TRUE;",
        " FIRST := 0;",
    ],
)
def test_a_block_with_its_panel_changed_disagrees(whole: str) -> None:
    data, text = of_text(PANEL)
    assert whole in text
    spoilt = text.replace(whole, "IF FALSE THEN ;" if whole.startswith("IF") else " ;")
    assert any(list(disagreements(data, spoilt, seed, 600)) for seed in range(3))


BY_HAND = """
layout "Gorse Siding" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
drive P by hand
"""


def test_a_drive_worked_by_hand_lies_when_somebody_says_so_and_not_by_time() -> None:
    railway = Railway(*of_text(BY_HAND))
    railway.started()
    railway.cycle(railway.number("request", "W to B"))
    for _ in range(10):
        railway.cycle(after=10_000)
        assert railway.true() >= {"RUNNING", "THROW_5_1_P_STRAIGHT"}
    railway.cycle(railway.number("time over", "lying P", "to diverging"))
    assert railway.memory["REFUSED"] is True and railway.aspect("W") == 0
    railway.cycle(railway.number("time over", "lying P", "to straight"))
    assert railway.true() == {"RUNNING"} and railway.aspect("W") == 1


def test_times_for_settling_are_as_stated() -> None:
    data, _ = of_text(HALT)
    text = block_text(data, settle="200", clears="2000")
    railway = Railway(data, text, settle=200, clears=2_000)
    for _ in range(150):
        railway.cycle()
    railway.cycle(0)
    b = railway.number("occupied", "B")
    for _ in range(10):
        railway.cycle(b)
        assert railway.controller.state["report B"] == "reported clear"
    railway.cycle(b)
    assert railway.controller.state["report B"] == "reported occupied"


def test_inputs_that_settle_for_longer_than_a_report_may_take_are_refused() -> None:
    data, _ = of_text(HALT + "time of report 200 ms for B\n")
    with pytest.raises(TargetError, match="B must be reported within 200 ms"):
        block_text(data, settle="200")
    assert "T#199ms" in block_text(data, settle="199")


def test_the_example_turns_round_inputs_that_open() -> None:
    lines = 'report A = "a" opens\nreport B = "b"\nreport P straight = "s" opens\n'
    made = files_of(of_text(HALT + lines)[0])["example.st"].decode()
    turned = re.findall(r"(\w+) := NOT I_(\w+)", made)
    assert {name.split("_", 2)[2] for name, _ in turned} == {"A", "P_straight"}
    assert all(name == terminal for name, terminal in turned)
    assert "NOT" not in files_of(of_text(HALT)[0])["example.st"].decode()


def test_there_is_no_block_of_a_controller_that_is_not_proved() -> None:
    with pytest.raises(TargetError, match="is not proved"):
        block_text(replace(of_text(HALT)[0], controller=None))


def test_the_head_says_that_the_controller_was_not_proved() -> None:
    assert "   controller: UNPROVED\n" in of_text(HALT)[1]


def test_a_time_below_nothing_is_refused() -> None:
    with pytest.raises(TargetError, match="0 milliseconds"):
        block_text(of_text(HALT)[0], settle="-1")


HARBOUR = next(path for path in EXAMPLES if path.stem == "harbour-terminus")


@pytest.mark.parametrize(
    ("whole", "changed"),
    [
        (r"AND V\d+_held_NECK = C0_not_held", "AND TRUE"),
        (r"V\d+_held_P1 := C1_W1_to_T1;", ";"),
        (r"THEN SEEN_\d+ := FALSE; END_IF;", "THEN ; END_IF;"),
        (r"RUNNING := FALSE; ALARM := TRUE;", "ALARM := TRUE;"),
        (r"AND NOT BEGUN_\d+, PT", ", PT"),
        (r"AND SENT_\d+, PT", ", PT"),
        pytest.param(r"HELD_\d+ := TRUE;", ";", marks=pytest.mark.campaign),
        (r"IF RUNNING AND \(V", "IF (V"),
        (r" AND USED_1 < 1", ""),
    ],
)
def test_a_block_that_was_changed_disagrees(whole: str, changed: str) -> None:
    data, text = example(HARBOUR)
    spoilt, times = re.subn(whole, changed, text)
    assert times
    assert any(list(disagreements(data, spoilt, seed, 600)) for seed in range(3))


ODD = """
layout "*) END_VAR (* all of it" on two rails
points Pé, Pö, IF
run edge WEST - A - >W - Pé.toe
run Pé.straight - <S - ΣB__ - stop
run Pé.diverging - Pö.toe
run Pö.straight - <D - C - stop
run Pö.diverging - IF.toe
run IF.straight - <T - c - stop
run IF.diverging - <U - C_ - stop
"""


def test_odd_names_and_titles_make_a_block_that_agrees() -> None:
    data, text = of_text(ODD)
    assert list(disagreements(data, text, 1, 200)) == []
    assert "drive Pé" not in text and "lying Pé" in text


def test_the_block_of_a_layout_without_points_agrees() -> None:
    line = 'layout "L" on two rails\nrun edge WEST - A - >V - B - <X - C - edge EAST\n'
    assert list(disagreements(*of_text(line), 1, 200)) == []


def test_the_block_of_a_layout_without_detection_agrees() -> None:
    whole = HALT.replace("on two rails", "on two rails without detection")
    data, text = of_text(whole)
    assert list(disagreements(data, text, 1, 200)) == []
    assert "PASSED_" in text and "OCCUPIED_" not in text


@pytest.mark.parametrize(
    "path",
    in_campaigns(EXAMPLES, lambda path: path.stem == "four-track-station"),
    ids=lambda p: p.stem,
)
def test_a_published_grammar_of_the_language_reads_block_and_example(path: Path) -> None:
    tree_sitter = pytest.importorskip("tree_sitter", reason="tree-sitter is not installed")
    grammar = pytest.importorskip(
        "tree_sitter_iec61131_3_st", reason="the extra `structured-text` is not installed"
    )
    parser = tree_sitter.Parser(tree_sitter.Language(grammar.language()))
    made = files_of(example(path)[0])
    for name, kind in (
        ("interlocking.st", "function_block_declaration"),
        ("example.st", "program_declaration"),
    ):
        root = parser.parse(made[name]).root_node
        assert not root.has_error
        assert [child.type for child in root.children] == ["comment", kind]
        assert parser.parse(made[name].replace(b"END_VAR", b"END", 1)).root_node.has_error


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda p: p.stem)
def test_no_identifier_has_more_than_32_signs(path: Path) -> None:
    text = re.sub(r"\(\*.*?\*\)", "", example(path)[1], flags=re.S)
    assert max(map(len, re.findall(r"\w+", text))) <= 32


# -------------------------------------------------------------- the interpreter


def block(body: str, declared: str = "") -> str:
    return (
        "FUNCTION_BLOCK B VAR_INPUT A : INT; P : BOOL; Q : BOOL; R : BOOL; END_VAR "
        f"VAR_OUTPUT X : INT := 7; Y : BOOL; {declared} END_VAR "
        f"VAR CONSTANT ONE : INT := 1; END_VAR {body} END_FUNCTION_BLOCK"
    )


def y_of(expression: str, **inputs: bool) -> bool:
    read = structured_text.read(block(f"Y := {expression};"))
    memory = read.instance()
    read.call(memory, **inputs)
    return bool(memory["Y"])


@pytest.mark.parametrize("p", [False, True])
@pytest.mark.parametrize("q", [False, True])
@pytest.mark.parametrize("r", [False, True])
def test_operators_bind_in_the_order_of_the_standard(p: bool, q: bool, r: bool) -> None:
    """IEC 61131-3, 3.3.1, table of operators: NOT, then =, then AND, then XOR, then OR."""
    assert y_of("P OR Q AND R", P=p, Q=q, R=r) is (p or (q and r))
    assert y_of("P AND Q OR R", P=p, Q=q, R=r) is ((p and q) or r)
    assert y_of("P OR Q XOR R", P=p, Q=q, R=r) is (p or (q != r))
    assert y_of("P XOR Q AND R", P=p, Q=q, R=r) is (p != (q and r))
    assert y_of("NOT P AND Q", P=p, Q=q, R=r) is (not p and q)
    assert y_of("NOT P = Q", P=p, Q=q, R=r) is ((not p) == q)
    assert y_of("P AND Q = R", P=p, Q=q, R=r) is (p and (q == r))
    assert y_of("(P OR Q) AND R", P=p, Q=q, R=r) is ((p or q) and r)


def test_a_case_takes_one_branch_or_else_the_last() -> None:
    body = "CASE A OF 1, 2: X := 10; 3: X := 30; ELSE IF P THEN X := 0; END_IF; END_CASE;"
    read = structured_text.read(block(body))
    memory = read.instance()
    assert memory["X"] == 7
    for given, after in ((1, 10), (3, 30), (2, 10), (4, 10)):
        read.call(memory, A=given)
        assert memory["X"] == after
    read.call(memory, A=4, P=True)
    assert memory["X"] == 0


@pytest.mark.parametrize(
    "body",
    [
        "X := P;", "Y := 1;", "Y := A = P;", "Y := A;", "Y := Z;", "A := 1;", "ONE := 2;",
        "IF A THEN X := 1; END_IF;", "X := 1", "X = 1;", "X__ := 1;", "CASE P OF 1: ; END_CASE;",
        "CASE A OF 1: ; 1: ; END_CASE;", "Y := P AND A;", "IF P THEN X := 1; END_CASE;",
    ],
)  # fmt: skip
def test_what_is_not_structured_text_is_refused(body: str) -> None:
    structured_text.read(block("X := 1;"))
    with pytest.raises((NotValidError, structured_text.UnexpectedInput)):
        structured_text.read(block(body))


@pytest.mark.parametrize(
    "declared",
    ["x : INT;", "IF : INT;", "B : INT;", "Z__Z : INT;", "Z_ : INT;", "9Z : INT;", "Zé : INT;",
     "Z : INT := 32768;", "Z : BOOL := 1;", "Z : INT := TRUE;"],
)  # fmt: skip
def test_a_name_or_value_that_may_not_be_is_refused(declared: str) -> None:
    structured_text.read(block("X := 1;", "Z : INT := -32768;"))
    with pytest.raises((NotValidError, structured_text.UnexpectedInput)):
        structured_text.read(block("X := 1;", declared))
