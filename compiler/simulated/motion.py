"""How a train moves: evenly accelerated, one phase after the other.

With x the place of the front in metres, v its speed and a its acceleration at the time t0
(seconds):

    x(t) = x + v (t - t0) + a (t - t0)^2 / 2        v(t) = v + a (t - t0)

the equations of uniformly accelerated motion. From a speed v a train comes to stand within v^2 /
2b if it brakes by b.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, sqrt

STARTS = 0.25
"""Metres in a second squared, when it starts."""

BRAKES = 0.35
"""When it brakes as drivers like to."""

BRAKES_HARD = 1.2
"""When it brakes as hard as it can."""

NEAR = 1e-6
"""Metres, or metres in a second, that make no difference."""


@dataclass(slots=True)
class Motion:
    """x: metres; v, a: metres in a second, and in a second squared; since: seconds."""

    x: float = 0.0
    v: float = 0.0
    a: float = 0.0
    since: float = 0.0

    def catch_up(self, now: float) -> None:
        """Be where it is now."""
        t = now - self.since
        if t > 0:
            self.x += self.v * t + self.a * t * t / 2
            self.v = max(0.0, self.v + self.a * t)
            if self.v < NEAR:
                self.v = 0.0
            self.since = now

    def after(self, seconds: float) -> float:
        """Where it is so many seconds after `since`."""
        if self.a < 0:
            seconds = min(seconds, -self.v / self.a)
        return self.x + self.v * seconds + self.a * seconds * seconds / 2

    def time_to(self, distance: float) -> float:
        """Seconds from `since` until it has gone a distance; infinite if it stops before."""
        if distance <= NEAR:
            return 0.0
        root = self.v * self.v + 2 * self.a * distance
        if root < 0 or (self.v == 0.0 and self.a <= 0.0):
            return inf
        # As (sqrt(root) - v) / a, without the difference of two numbers that are nearly the same.
        return 2 * distance / (sqrt(root) + self.v)


def braking(v: float) -> float:
    """Metres in which a train comes to stand as drivers like to."""
    return v * v / (2 * BRAKES)


def braking_hard(v: float) -> float:
    """Metres in which it comes to stand at all."""
    return v * v / (2 * BRAKES_HARD)


def phase(v: float, most: float, distance: float) -> tuple[float, float]:
    """What to do now to stand after a distance: the acceleration, and for how many seconds.

    most: the speed it does not go beyond. distance: infinite if nothing is in the way.
    """
    if distance <= NEAR:
        return (0.0, inf) if v <= 0 else (-BRAKES_HARD, v / BRAKES_HARD)
    if braking(v) >= distance - NEAR:
        by = min(BRAKES_HARD, v * v / (2 * distance))
        return -by, v / by
    if v >= most - NEAR:
        return 0.0, (distance - braking(v)) / v if distance < inf else inf
    full = (most - v) / STARTS
    if distance == inf:
        return STARTS, full
    # Until it has to brake: (v + a t)^2 / 2b + v t + a t^2 / 2 = distance.
    a, b = STARTS, BRAKES
    square, linear, rest = a * a / (2 * b) + a / 2, v * a / b + v, v * v / (2 * b) - distance
    begins = (-linear + sqrt(linear * linear - 4 * square * rest)) / (2 * square)
    return STARTS, min(full, begins)
