"""A session out of the journal, as a script that leads through the same."""

from __future__ import annotations

from pathlib import Path

import pytest
from headless import Headless
from in_campaigns import in_campaigns
from sessions_told import scripts_of, wrong_in
from sound_layouts import compiled, compiled_file

from bellcrank.live.decisions import Heard
from bellcrank.live.session_script import SessionScript
from bellcrank.machine.frame import IDLE
from bellcrank.rehearsal.acts import run_script
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import read_script

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*.crank"))

YARD = """
layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
drive P detected
"""

ALL_CLEAR = [Heard("clear", s) for s in ("A", "B", "C", "P")]
STRAIGHT = Heard("lies", "P", "straight")


@pytest.mark.parametrize(
    "example",
    in_campaigns(EXAMPLES, lambda path: path.stem == "four-track-station"),
    ids=lambda path: path.stem,
)
@pytest.mark.parametrize("seed", in_campaigns([1, 2], lambda seed: seed > 1))
def test_a_session_plays_in_a_rehearsal_as_it_went(example, seed: int) -> None:
    c = compiled_file(example)
    run = Headless(c, seed)
    run.start()
    run.run(300_000)
    [script] = scripts_of(c, run.written)
    assert script.cut_short == ""
    assert wrong_in(c, script.text) == []
    railway = Railway(c.machine, c.layout, c.table)
    lines, _ = read_script(script.text, "x", railway)
    granted = sum(d.heard.kind == "request" and d.outcome == "done" for d in run.written)
    assert sum(line.key == "request" for line in lines) == granted > 0
    if run.box.running:
        state = run_script(railway, lines)[-1].moment.state
        idle = {r for r in c.table.routes if railway.value("route", r, state) == IDLE}
        assert idle == {r for r in c.table.routes if run.box.stage(r) == IDLE}


def told(*heard: Heard, before: list[Heard] = ALL_CLEAR) -> SessionScript:
    """What is told of a session with this heard in it."""
    run = Headless(compiled(YARD))
    run.hear([*before, STRAIGHT, Heard("start")])
    for each in heard:
        run.hear([each])
    [script] = scripts_of(run.c, run.written)
    return script


def lines_of(script: SessionScript) -> list[str]:
    """Its lines behind the head."""
    assert script.cut_short == ""
    return script.text.splitlines()[2:]


def test_who_asked_and_when_stands_beside_what_was_asked() -> None:
    script = told(Heard("request", "W to B", who="Bea"), Heard("request", "W to C", who="Cy"))
    *_, asked, request, cleared, refused, expected = lines_of(script)
    assert asked == "# 00:00:00: Bea asks for W to B"
    assert (request, cleared) == ("request W to B", "wait")
    assert refused.startswith("# 00:00:00: Cy asks for W to C; refused: ")
    assert expected == "expect W to C refused"


def test_what_trains_must_have_done_stands_before_what_was_reported() -> None:
    script = told(
        Heard("occupied", "A"),
        Heard("request", "W to B"),
        Heard("occupied", "P"),
        Heard("occupied", "B"),
        Heard("clear", "A"),
    )
    lines = [line for line in lines_of(script) if not line.startswith("#")]
    assert lines == [
        "trains are long",
        "train comes in from WEST",
        "request W to B",
        "wait",
        "train passes W",
        "train in P moves",
        "tail of train from WEST follows",
        "tail of train in A follows",
    ]


def test_vehicles_are_put_where_a_start_found_them() -> None:
    here = [*ALL_CLEAR[:1], Heard("occupied", "B"), *ALL_CLEAR[2:]]
    assert lines_of(told(before=here))[:2] == ["trains are long", "vehicles stand in B"]


def test_why_it_ended_stands_at_the_end() -> None:
    assert lines_of(told(Heard("stop", who="Ada")))[-1] == "# 00:00:00: all was stopped by Ada."


def test_where_nothing_fits_the_script_ends_and_says_so() -> None:
    """A detector at the edge that reports only after the train has gone on: nobody knows which
    train has passed W."""
    script = told(Heard("request", "W to B"), Heard("occupied", "P"), Heard("stop"))
    where = "00:00:00, where nothing was found that trains may have done"
    assert script.cut_short == where
    assert script.text.splitlines()[-1] == f"# {where} before this: P is reported occupied."
