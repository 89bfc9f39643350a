"""Scripts of rehearsals played on the running, simulated railway."""

from __future__ import annotations

import asyncio

from event_loops import in_a_loop
from sound_layouts import compiled

from bellcrank.live.box import Box
from bellcrank.live.clock import Clock
from bellcrank.live.decisions import Heard
from bellcrank.live.engine import Engine
from bellcrank.live.journal import Journal
from bellcrank.live.live import Live
from bellcrank.live.pacing import Pacer
from bellcrank.live.people import may_come_in
from bellcrank.live.script_player import ScriptPlayer
from bellcrank.live.simulated_link import SimulatedLink
from bellcrank.rehearsal.railway import Railway
from bellcrank.rehearsal.script import read_script
from bellcrank.simulated.railway import SimulatedRailway

YARD = compiled("""
layout "Reedham Yard" on two rails
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - stop
run P.diverging - <D - C - stop
decoder kind quad { outputs 4 }
decoder K1 quad at 1
drive P = K1.1  servo 200 ms  detected
signal W shows stop, slow, clear
route W to C shows slow
time of approach locking 2 s
""")


def played(text: str) -> list[tuple[str, str]]:
    """What was wrong with the lines of a script of which something was, with the line."""
    lines, found = read_script(text, "s", Railway(YARD.machine, YARD.layout, YARD.table))
    assert not found, found

    async def whole() -> list[tuple[str, str]]:
        box = Box(YARD.layout, YARD.table, YARD.control)
        clock = Clock(10.0)
        railway = SimulatedRailway(YARD.layout, YARD.table)
        railway.admits = lambda _, elements: may_come_in(box, elements)
        link = SimulatedLink(railway, clock)
        journal = Journal(None)
        journal.begin("", "", "", "")
        live = Live(clock, journal, [link])
        engine = Engine(box, Pacer(YARD.layout), live, live.put_out)
        task = asyncio.create_task(live.run(engine))
        while box.missing().any:
            await asyncio.sleep(0.005)
        await live.ask(Heard("start"))
        player = ScriptPlayer(live, box, link)
        wrong = [(p.line.text, p.wrong) for line in lines if (p := await player.play(line)).wrong]
        task.cancel()
        await asyncio.gather(task, return_exceptions=True)
        return wrong

    return in_a_loop(whole())


def test_a_script_that_is_right_passes() -> None:
    assert (
        played("""
train comes in from WEST
expect train in A at a stand
expect A occupied
request W to C
expect P moving
expect W to B refused because of P
wait
expect P lies diverging
expect W shows slow
expect W off for W to C
expect P held for W to C
train passes W
expect W at stop
go on
expect W to C idle
expect C occupied
expect P not held
expect all at rest
request W to B
wait
cancel W to B
expect W to B being cancelled
time passes
expect W to B idle
train in C turns back
request D to WEST
go on
expect C clear
train stands before S
expect S to WEST allowed
""")
        == []
    )


def test_what_is_not_so_or_cannot_be_done_is_said() -> None:
    assert played("""
request W to C
request W to B
expect W to C idle
train in B turns back
vehicles stand in B
cancel W to B
""") == [
        ("request W to B", "P is held for W to C; P is on its way to diverging"),
        ("expect W to C idle", "it is not so"),
        ("train in B turns back", "no train is in B"),
        ("vehicles stand in B", "the simulated railway cannot do that: it is for `rehearse`"),
        ("cancel W to B", "W to B is not set"),
    ]
