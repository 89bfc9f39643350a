"""The readers of the controller in targets/README.md: complete, short, and right.

They are taken from the text as a reader would copy them, and run on the test vectors and on
inputs left to chance, beside an evaluation of the compiled controller by a few lines here.
"""

from __future__ import annotations

import json
import random
import re
import shutil
import subprocess
from collections.abc import Iterator
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from random_layouts import compiled as random_layout
from sound_layouts import compiled, compiled_file

import bellcrank
from bellcrank import Sound
from bellcrank.controller.controller_model import Controller, Input, Reaction
from bellcrank.document.controller_data import controller_data
from bellcrank.document.plain import plain
from bellcrank.document.vector_data import controller_vectors_data
from bellcrank.machine.machine_model import holds
from bellcrank.rehearsal.input_vectors import make_input_vectors

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

SMALL = [path for path in EXAMPLES if path.stem != "four-track-station"]

README = (resources.files("bellcrank.targets") / "README.md").read_text("utf-8")

Put = list[list[str]]
"""What is put out: signals and drives, each with what it is to do."""

HALT = """
layout "Reedham Halt" on two rails
points P, Q
run edge WEST - A - >W - P.toe
run P.straight - <S - B - >E - Q.straight
run P.diverging - <D - C - >F - Q.diverging
run Q.toe - <X - Z - edge EAST
drive P detected
overlap E = Q, Z
section THROAT = A without detection
"""


def block(language: str) -> str:
    """The one program in this language that makes a Controller."""
    blocks = re.findall(rf"```{language}\n(.*?)```", README, flags=re.S)
    [found] = [text for text in blocks if "class Controller" in text]
    return str(found)


@cache
def python_reader() -> Any:
    namespace: dict[str, Any] = {"__name__": "reader"}
    exec(block("python"), namespace)
    return namespace["Controller"]


def document_of(c: Sound) -> dict[str, Any]:
    """As much of the document as a reader needs."""
    controller = plain(controller_data(c.controller, c.layout, c.table))
    return {
        "format": {"name": "bellcrank-layout", "version": 1},
        "controlled": {"outcome": "proved"},
        "controller": controller,
    }


def with_vectors(c: Sound) -> dict[str, Any]:
    k = c.controller
    inputs = make_input_vectors(c.controller, lambda: c.composed)
    told = controller_vectors_data(inputs, controller_data(k, c.layout, c.table))
    return {**document_of(c), "vectors": plain(told)}


def disagreements(document: dict[str, Any]) -> Iterator[str]:
    """Where the reader in Python finds something else than the vectors say."""
    controller = python_reader()(document)
    for number, run in enumerate(document["vectors"]["runs"]):
        lies = {p["drive"]: p["position"] for p in run["lies"]}
        controller.start(run["occupied"], lies)
        for place in range(len(run["inputs"]) + 1):
            for wrong in (a for a in run["alarms"] if a["after"] == place):
                kept = dict(controller.state), dict(controller.ends)
                out, became = controller.input(wrong["kind"], wrong["of"], wrong["value"])
                if (out, became) != (put(wrong["signals"], []), "alarm") or not controller.alarm:
                    yield f"run {number}, alarm after {place}: {became} {out}"
                controller.alarm = None
                controller.state, controller.ends = kept
            if place == len(run["inputs"]):
                break
            given, before = run["inputs"][place], dict(controller.state)
            out, became = controller.input(given["kind"], given["of"], given["value"])
            changes = {v: x for v, x in controller.state.items() if before[v] != x}
            wanted = put(given["signals"], given["throws"]), given["changes"], given["granted"]
            if (out, changes, became == "done") != wanted or became not in ("done", "refused"):
                yield f"run {number}, input {place}: {became} {out} {changes}"


def put(signals: list[dict[str, str]], throws: list[dict[str, str]]) -> list[tuple[str, ...]]:
    return [("signal", s["signal"], s["aspect"]) for s in signals] + [
        ("drive", t["drive"], t["position"]) for t in throws
    ]


# ------------------------------------------------- a few lines for comparison


_MADE: dict[int, tuple[Sound, Controller]] = {}


def controller_of(c: Sound) -> Controller:
    """Made once: it is asked for again and again."""
    if id(c) not in _MADE:
        _MADE[id(c)] = c, c.controller
    return _MADE[id(c)][1]


class Evaluated:
    """The compiled controller, evaluated as its docstring says."""

    def __init__(self, c: Sound) -> None:
        self.c = c
        self.told = controller_of(c)
        self.of = {(v.kind, v.of): v.name for v in self.told.variables.values()}
        self.alarm = True

    def start(self, occupied: list[str], lies: dict[str, str]) -> None:
        self.state = {v.name: v.initial[0] for v in self.told.variables.values()}
        self.state |= {self.of["report", s]: "reported occupied" for s in occupied}
        self.state |= {self.of["lying", d]: p for d, p in lies.items()}
        self.alarm = False

    def able(self, reaction: Reaction) -> bool:
        return all(holds(clause, self.state) for clause in reaction.guard)

    def may_change_something(self, given: Input) -> bool:
        return any(
            self.able(r) and any(self.state[v] in becomes for v, becomes in r.updates.items())
            for r in self.told.inputs[given]
        )

    def do(self, reaction: Reaction) -> None:
        old = dict(self.state)
        for variable, becomes in reaction.updates.items():
            self.state[variable] = becomes.get(old[variable], old[variable])

    def input(self, given: Input) -> str:
        if self.alarm:
            return "alarm"
        says = {"occupied": "reported occupied", "clear": "reported clear"}.get(given.kind)
        if says and self.state[self.of["report", given.of]] == says:
            return "nothing new"
        if given.kind == "time over" and self.state[given.of] != given.value:
            return "nothing new"
        possible = [r for r in self.told.inputs[given] if self.able(r)]
        if not possible:
            self.alarm = given.kind in ("occupied", "clear", "lies", "time over")
            return "alarm" if self.alarm else "refused"
        self.do(possible[0])
        while any(self.able(step) for step in self.told.steps):
            for step in self.told.steps:
                if self.able(step):
                    self.do(step)
        return "done"

    def aspects(self) -> dict[str, str]:
        shown = {}
        for name, signal in self.c.layout.signals.items():
            route = self.c.table.routes.get(self.state[self.of["lamp", name]])
            off = route is not None and not self.alarm
            shown[name] = route.aspect if route and off else signal.aspects[0].name
        return shown

    def thrown(self) -> dict[str, str]:
        """The drives that are under way, and where to."""
        values = {name: self.state[self.of["lying", name]] for name in self.c.layout.drives}
        return {name: v.removeprefix("to ") for name, v in values.items() if v.startswith("to ")}


def script(c: Sound, seed: int, length: int) -> tuple[list[str], dict[str, str], list[Input]]:
    """A start and inputs left to chance, of which many are likely to take effect."""
    rng = random.Random(seed)
    inputs = list(c.controller.inputs)
    sections = [i.of for i in inputs if i.kind == "occupied"]
    occupied = [s for s in sections if rng.random() < 0.2]
    drives = [d for d in c.layout.drives.values() if d.detected and rng.random() < 0.7]
    lies = {d.name: rng.choice(list(d.positions)) for d in drives}
    state = Evaluated(c)
    state.start(occupied, lies)
    given: list[Input] = []
    while len(given) < length and not state.alarm:
        tries = rng.sample(inputs, len(inputs)) if rng.random() < 0.9 else []
        effective = (i for i in tries if state.may_change_something(i))
        given.append(next(effective, rng.choice(inputs)))
        state.input(given[-1])
    return occupied, lies, [*given, rng.choice(inputs)]


def expected(c: Sound, start: tuple[list[str], dict[str, str], list[Input]]) -> list[Any]:
    """What becomes of each input, what is put out, and which times run."""
    occupied, lies, inputs = start
    run = Evaluated(c)
    run.start(occupied, lies)
    found: list[Any] = []
    for given in inputs:
        before, under_way = run.aspects(), run.thrown()
        became = run.input(given)
        now, thrown = run.aspects(), run.thrown() if not run.alarm else under_way
        out = [["signal", s, aspect] for s, aspect in now.items() if before[s] != aspect]
        out += [["drive", d, p] for d, p in thrown.items() if under_way.get(d) != p]
        times = [t for t in run.told.timers if run.state[t.variable] == t.value]
        over = [] if run.alarm else sorted(["time over", t.variable, t.value] for t in times)
        found.append([out, became, over])
    return found


@cache
def vectors_of_layouts() -> list[dict[str, Any]]:
    """The documents of the layouts, each with its vectors."""
    return [with_vectors(c) for c in layouts()]


@cache
def layouts() -> list[Sound]:
    drawn = [random_layout(seed)[1] for seed in range(6)]
    few = [c for c in drawn if isinstance(c, Sound)]
    assert len(few) >= 4
    return [compiled(HALT), *map(compiled_file, SMALL), *few]


class Clock:
    """Stands still until it is set."""

    now = 0.0

    def __call__(self) -> float:
        return self.now


# ------------------------------------------------------------------------ tests


@pytest.mark.parametrize("language", ["python", "javascript"])
def test_a_reader_has_at_most_a_hundred_lines(language: str) -> None:
    lines = block(language).splitlines()
    assert len(lines) <= 100
    assert max(map(len, lines)) <= 100


def test_the_python_reader_uses_the_standard_library_alone() -> None:
    assert re.findall(r"^(?:import|from) (\w+)", block("python"), flags=re.M) == ["json", "time"]


def test_the_python_reader_is_a_whole_program(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    [path] = [path for path in EXAMPLES if path.stem == "harbour-terminus"]
    (tmp_path / "layout.json").write_text(json.dumps(document_of(compiled_file(path))))
    monkeypatch.chdir(tmp_path)
    exec(block("python"), {"__name__": "__main__"})
    started, asked = capsys.readouterr().out.splitlines()
    assert "('signal', 'W1', 'stop')" in started
    assert asked.endswith("'done')") and "('drive', 'P1', 'straight')" in asked


@pytest.mark.parametrize("path", SMALL, ids=lambda p: p.stem)
def test_the_python_reader_agrees_with_every_vector(path: Path) -> None:
    document = with_vectors(compiled_file(path))
    assert list(disagreements(document)) == []
    assert sum(len(run["inputs"]) for run in document["vectors"]["runs"]) > 200


def test_the_python_reader_agrees_with_the_vectors_of_random_layouts() -> None:
    for document in vectors_of_layouts():
        assert list(disagreements(document)) == []


CORPUS = sorted((Path(__file__).parents[1] / "corpus").glob("*/*.crank"))


@pytest.mark.campaign
def test_the_python_reader_agrees_with_the_vectors_of_layouts_as_people_build_them() -> None:
    """And what controllers do is mostly shown there."""
    in_runs = not_shown = 0
    for path in CORPUS[::9]:
        c = bellcrank.compile_file(path)
        if isinstance(c, Sound):
            document = with_vectors(c)
            assert list(disagreements(document)) == [], path
            covered = document["vectors"]["covered"]
            for what in ("reactions", "steps"):
                in_runs += covered[what]["in_runs"]
                not_shown += covered[what]["not_shown"]
    assert in_runs >= 0.8 * (in_runs + not_shown), (in_runs, not_shown)


def test_the_python_reader_does_what_the_controller_does_at_any_input() -> None:
    outcomes = set()
    for seed, c in enumerate(layouts()):
        document = document_of(c)
        for turn in range(3):
            start = script(c, 10 * seed + turn, 30)
            clock = Clock()
            reader = python_reader()(document, clock)
            clock.now = 0.0
            reader.start(start[0], start[1])
            for given, (out, became, over) in zip(start[2], expected(c, start), strict=True):
                found, result = reader.input(given.kind, given.of, given.value or None)
                assert ([list(x) for x in found], result) == (out, became)
                for drive, to in throws_of(found):
                    reader.thrown(drive, to)
                clock.now = 1e6  # all times that run are over, and none was before
                assert sorted(map(list, reader.due())) == over
                clock.now = 0.0
                outcomes.add(result)
    assert outcomes == {"done", "refused", "alarm", "nothing new"}


def throws_of(out: list[tuple[str, str, str]]) -> list[tuple[str, str]]:
    return [(name, to) for kind, name, to in out if kind == "drive"]


def test_the_time_of_a_drive_runs_from_when_it_was_thrown_until_it_is_reported() -> None:
    clock = Clock()
    reader = python_reader()(document_of(compiled(HALT)), clock)
    reader.start([], {"P": "straight"})
    assert ("drive", "P", "diverging") in reader.input("request", "W to F")[0]
    clock.now = 100.0  # it had to wait for so long
    assert reader.due() == []
    reader.thrown("P", "diverging")
    clock.now = 104.9
    assert reader.due() == []
    clock.now = 105.0
    assert ("time over", "lying P", "to diverging") in reader.due()
    reader.input("lies", "P", "diverging")
    clock.now = 1e6
    assert "lying P" not in [variable for _, variable, _ in reader.due()]


def test_the_time_of_a_drive_does_not_run_for_a_throw_that_is_not_the_last() -> None:
    clock = Clock()
    reader = python_reader()(document_of(compiled(HALT)), clock)
    reader.start([], {"P": "straight"})
    reader.input("request", "W to F")
    reader.thrown("P", "straight")
    clock.now = 1e6
    assert reader.due() == []


def test_the_time_of_approach_locking_runs_from_when_the_signal_is_put_back() -> None:
    clock = Clock()
    reader = python_reader()(document_of(compiled(HALT)), clock)
    reader.start(["P"], {"P": "straight"})
    timed = [key for key in reader.times if key not in reader.ways.values()]
    assert ("lamp W", "just put back to stop") in timed
    reader.start([], {"P": "straight"})
    reader.input("request", "W to E")
    for drive in ("P", "Q"):
        reader.thrown(drive, "straight")
    reader.input("lies", "P", "straight")
    reader.input("time over", "lying Q", "to straight")
    clock.now = 50.0
    assert ("signal", "W", "stop") in reader.input("cancel", "W to E")[0]
    clock.now = 79.9
    assert reader.due() == []
    clock.now = 80.0
    assert ("time over", "lamp W", "just put back to stop") in reader.due()


def test_a_drive_that_does_not_report_in_time_raises_the_alarm() -> None:
    reader = python_reader()(document_of(compiled(HALT)))
    reader.start([], {"P": "straight"})
    reader.input("request", "W to F")
    assert reader.input("time over", "lying P", "to diverging") == ([], "alarm")


@pytest.mark.parametrize(
    "wrong",
    [
        {"format": {"name": "bellcrank-layout", "version": 2}},
        {"controlled": None},
        {"controlled": {"outcome": "undecided"}},
    ],
)
def test_a_document_that_is_not_known_or_not_proved_is_refused(wrong: dict[str, Any]) -> None:
    document = document_of(compiled(HALT))
    python_reader()(document)
    with pytest.raises(ValueError, match="not"):
        python_reader()({**document, **wrong})


def test_nothing_is_done_before_the_start_and_after_an_alarm() -> None:
    c = compiled(HALT)
    reader = python_reader()(document_of(c))
    assert reader.input("request", "W to E") == ([], "alarm")
    assert reader.due() == []
    reader.start([], {"P": "straight"})
    assert reader.input("lies", "P", "diverging") == ([], "alarm")
    assert "P" in reader.alarm
    assert reader.input("request", "W to E") == ([], "alarm")
    reader.start([], {"P": "diverging"})
    assert reader.input("request", "W to E")[1] == "done"


NODE = shutil.which("node")

RUN = """
const { readFileSync } = require("node:fs");
const cases = JSON.parse(readFileSync(0, "utf-8"));
const all = [];
for (const { document, occupied, lies, inputs } of cases) {
  let now = 0;
  const reader = new Controller(document, () => now);
  const shown = reader.start(occupied, lies);
  const found = inputs.map(([kind, of, value]) => {
    const [out, became] = reader.input(kind, of, value);
    for (const [device, name, to] of out) if (device === "drive") reader.thrown(name, to);
    now = 1e9;
    const over = reader.due().sort();
    now = 0;
    return [out, became, over];
  });
  all.push({ shown, found, alarm: reader.alarm });
}
console.log(JSON.stringify(all));
"""


@pytest.mark.skipif(NODE is None, reason="there is no Node.js on this machine")
def test_the_javascript_reader_does_what_the_controller_does_at_any_input(tmp_path: Path) -> None:
    """Runs of vectors are among the inputs, so it does what they say as the one in Python does."""
    cases, wanted = [], []
    for seed, c in enumerate(layouts()):
        document = document_of(c)
        starts = [script(c, 10 * seed + turn, 30) for turn in range(2)]
        for run in vectors_of_layouts()[seed]["vectors"]["runs"][:10]:
            lies = {p["drive"]: p["position"] for p in run["lies"]}
            inputs = [Input(i["kind"], i["of"], i["value"] or "") for i in run["inputs"]]
            inputs += [Input(a["kind"], a["of"], a["value"] or "") for a in run["alarms"][-1:]]
            starts.append((run["occupied"], lies, inputs))
        for occupied, lies, inputs in starts:
            given = [(i.kind, i.of, i.value or None) for i in inputs]
            case = {"document": document, "occupied": occupied, "lies": lies, "inputs": given}
            cases.append(case)
            wanted.append(expected(c, (occupied, lies, inputs)))
    program = tmp_path / "reader.cjs"
    program.write_text(block("javascript") + RUN, "utf-8")
    assert NODE is not None
    ran = subprocess.run(
        [NODE, str(program)],
        input=json.dumps(cases),
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    found = json.loads(ran.stdout)
    assert [one["found"] for one in found] == wanted
    assert all(aspect == "stop" for one in found for _, _, aspect in one["shown"])
    assert {type(one["alarm"]) for one in found} == {str, type(None)}
