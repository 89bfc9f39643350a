"""What people do at random keeps to what is assumed of people."""

from __future__ import annotations

from headless import Headless
from sound_layouts import compiled

from bellcrank.simulated.acts import Comes
from bellcrank.simulated.habits import Asks, Habits
from bellcrank.simulated.railway import SimulatedRailway

LINE = """
layout "Reedham Line" on two rails without detection
points P
run edge WEST - A - >W - P.toe
run P.straight - <S - B - >T - C - edge EAST
run P.diverging - <D - E - stop
"""


OVAL = """
layout "Reedham Oval" on two rails
points P, Q
run P.straight - <W1 - A - >E1 - Q.straight
run P.diverging - <W2 - B - >E2 - Q.diverging
run Q.toe - <E - LINE - >W - P.toe
"""


def test_whoever_asks_has_looked_along_the_track_before_a_train_comes_in() -> None:
    """A train that comes in at once would stand where somebody has just seen that nothing does."""
    c = compiled(LINE)
    both = 0
    for seed in range(400):
        railway = SimulatedRailway(c.layout, c.table, seed)
        looked_at = {"S to WEST": ("A",), "D to WEST": ("A",)}
        habits = Habits(railway, lambda _: True, looked_at, seed)
        for _ in range(40):
            found = habits.next()
            comes = [k for k, wish in enumerate(found) if isinstance(wish, Comes)]
            asks = [k for k, wish in enumerate(found) if isinstance(wish, Asks)]
            both += bool(comes and asks)
            assert not comes or not asks or max(asks) < min(comes)
    assert both > 20


def test_on_an_oval_where_none_can_come_in_trains_are_put_on_the_track() -> None:
    run = Headless(compiled(OVAL))
    run.start()
    run.run(600_000)
    assert run.railway.accidents == [] and run.box.running, run.story
    assert sum(run.railway.passes.values()) > 10
