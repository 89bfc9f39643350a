"""Motion by the equations of uniformly accelerated motion, tried by adding up small steps."""

from __future__ import annotations

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bellcrank.simulated.motion import (
    BRAKES,
    BRAKES_HARD,
    STARTS,
    Motion,
    braking,
    braking_hard,
    phase,
)

SPEED = st.just(0.0) | st.floats(0.001, 1.0)
BY = st.just(0.0) | st.floats(0.001, 0.5) | st.floats(-0.5, -0.001)
FAR = st.floats(0.01, 20.0)


@given(SPEED, BY, st.floats(0.01, 5.0))
def test_where_it_is_after_a_time(v: float, a: float, seconds: float) -> None:
    motion = Motion(0.0, v, a, 0.0)
    x, steps = 0.0, 2000
    speed = v
    for _ in range(steps):
        faster = max(0.0, speed + a * seconds / steps)
        x += (speed + faster) / 2 * seconds / steps
        speed = faster
    assert motion.after(seconds) == pytest.approx(x, abs=1e-3)


@given(SPEED, BY, FAR)
def test_when_it_has_gone_a_distance(v: float, a: float, distance: float) -> None:
    motion = Motion(3.0, v, a, 0.0)
    seconds = motion.time_to(distance)
    if seconds < inf:
        assert motion.after(seconds) == pytest.approx(3.0 + distance, abs=1e-6)
    elif a < 0:
        assert v * v / (2 * -a) <= distance + 1e-9
    else:
        assert v == 0.0


def test_braking_distance_by_the_formula() -> None:
    assert braking(0.7) == pytest.approx(0.49 / (2 * BRAKES))
    assert braking_hard(0.6) == pytest.approx(0.36 / (2 * BRAKES_HARD))


@given(st.floats(0.1, 1.0), FAR)
def test_a_train_that_starts_comes_to_stand_just_where_it_has_to(most: float, far: float) -> None:
    motion = Motion()
    for _ in range(50):
        motion.a, seconds = phase(motion.v, most, far - motion.x)
        if motion.v == 0.0 and motion.a <= 0.0:
            break
        assert -BRAKES_HARD <= motion.a <= STARTS
        motion.catch_up(motion.since + seconds)
        assert motion.v <= most + 1e-9
        if motion.v < 1e-4 and motion.a < 0:
            motion.v = 0.0
    assert motion.v == 0.0
    assert motion.x == pytest.approx(far, abs=1e-4)


def test_one_that_cannot_stop_any_more_brakes_as_hard_as_it_can() -> None:
    a, seconds = phase(1.0, 1.0, 0.05)
    assert a == -BRAKES_HARD and seconds == pytest.approx(1.0 / BRAKES_HARD)
