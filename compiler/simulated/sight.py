"""What a driver sees: how far a train may go before it has to stop."""

from __future__ import annotations

from math import inf

from bellcrank.layout.layout_model import Edge, Leg, Stop, Way
from bellcrank.simulated.agenda import Agenda
from bellcrank.simulated.coupling import GAP
from bellcrank.simulated.ground import Ground
from bellcrank.simulated.lamps import Lamps
from bellcrank.simulated.motion import braking, braking_hard
from bellcrank.simulated.placing import Placing
from bellcrank.simulated.train import Train

MARGIN = 0.03
"""Metres before a signal or a stop at which a train comes to stand."""


class Sight:
    """Looks along the track before a train, as drives lie and signals show."""

    def __init__(self, ground: Ground, agenda: Agenda, lamps: Lamps, placing: Placing) -> None:
        self._ground = ground
        self._agenda = agenda
        self._lamps = lamps
        self._placing = placing

    def ahead(self, train: Train, beyond_stop: str = "") -> tuple[float, str]:
        """How many metres a train may go before it has to stop, and for what: a signal, or nothing
        with a name.

        beyond_stop: the one signal that is looked for, whatever it shows.
        """
        if train.leaving:
            return inf, ""
        looks_out = train.on_sight
        way = train.ways[-1]
        ahead = train.total - train.motion.x
        begin = train.total - train.lengths[-1]
        near = self._vehicles(train, way, train.motion.x - begin) if looks_out else None
        if near is not None:
            return max(0.0, near - GAP), ""
        horizon = braking(train.most) + 2.0
        while ahead <= horizon:
            leg = Leg(way.element, way.exit)
            signal = self._ground.signal_at.get(leg)
            if signal is not None and signal == beyond_stop:
                return ahead, signal
            if (
                signal is not None
                and not self._lamps.may_pass(signal)
                and signal not in train.committed
                and not (train.disobeys and not beyond_stop)
            ):
                return max(0.0, ahead - MARGIN), signal
            end = self._ground.where(leg)
            if isinstance(end, Stop):
                return max(0.0, ahead - MARGIN), ""
            if isinstance(end, Edge):
                return inf, ""
            if signal is not None:
                looks_out = self._lamps.calls_on(signal)
            following = self._placing.way_from(end)
            if following is None:
                return inf, ""
            near = self._vehicles(train, following, 0.0) if looks_out else None
            if near is not None:
                return max(0.0, ahead + near - GAP), ""
            way = following
            ahead += self._ground.length[way.element]
        return inf, ""

    def cannot_stop(self, train: Train, signal: str) -> bool:
        """Whether a train is so near to a signal that it cannot stop any more."""
        train.motion.catch_up(self._agenda.now)
        distance, _ = self.ahead(train, beyond_stop=signal)
        return distance < inf and braking_hard(train.motion.v) > distance

    def _vehicles(self, train: Train, way: Way, start: float) -> float | None:
        """How far a driver who runs on sight may go for other vehicles: up to them, or half of
        that if they come towards it, for their driver looks out too."""
        found = self._placing.nearest(train, way, start, self._agenda.now)
        if found is None:
            return None
        distance, other = found
        comes = not other.stands and way not in other.ways
        return distance / 2 if comes else distance

    def signal_beyond(self, leg: Leg, passed: set[str]) -> str | None:
        """The signal to which whoever sets off by a leg comes first, if it stands in the same
        stretch, a route begins there, and nothing is in the way.

        passed: elements from which it sets off.
        """
        ground, own = self._ground, self._ground.stretch[leg.element]
        seen = set(passed)
        while leg not in ground.signal_at:
            beyond = ground.where(leg)
            if not isinstance(beyond, Leg) or ground.stretch[beyond.element] != own:
                return None
            if beyond.element in seen or self._placing.on(beyond.element):
                return None
            way = self._placing.way_from(beyond)
            if way is None:
                return None
            seen.add(beyond.element)
            leg = Leg(beyond.element, way.exit)
        signal = ground.signal_at[leg]
        return signal if signal in ground.onward else None
