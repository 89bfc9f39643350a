"""People at the simulated railway who are not there: they handle trains, ask for routes and say
what they see, as real ones would (`simulated/habits.py`)."""

from __future__ import annotations

from collections.abc import Sequence

from bellcrank.live.box import Box
from bellcrank.live.decisions import Heard
from bellcrank.machine.frame import CLOSING, IDLE, SET
from bellcrank.routes.route_model import Route
from bellcrank.simulated.habits import Asks, Cancels
from bellcrank.simulated.railway import SimulatedRailway
from bellcrank.simulated.train import Train

NAME = "somebody at the railway"


def may_come_in(box: Box, elements: Sequence[str]) -> bool:
    """Whether a train may come in over track up to the first signal: none of it is held for a
    route, or in an overlap that is kept."""
    sections = {box.layout.section_of[element] for element in elements}
    if any(box.held_for(section) is not None for section in sections):
        return False
    return all(
        box.stage(route.name) == IDLE or sections.isdisjoint(route.overlap_sections)
        for route in box.table.routes.values()
    )


def asked(wish: Asks | Cancels, who: str = NAME) -> Heard:
    """What the signal box hears of somebody who wants a route, or wants one no more."""
    return Heard("request" if isinstance(wish, Asks) else "cancel", wish.route, who=who)


class Confirming:
    """Says what no report tells, once it is so."""

    def __init__(self, box: Box, railway: SimulatedRailway) -> None:
        self._box = box
        self._railway = railway

    def seen(self) -> list[Heard]:
        """What somebody who looks at the railway can say now."""
        found = []
        box, railway = self._box, self._railway
        for drive in sorted(box.by_hand):
            if (goal := box.goes_to(drive)) is not None and railway.lies(drive) == goal:
                found.append(Heard("thrown by hand", drive, who=NAME))
        for name, route in box.table.routes.items():
            can = box.can_confirm(name) if box.stage(name) != IDLE else []
            passed, train = railway.last_past(route.start)
            if box.stage(name) in (SET, CLOSING):
                if passed and "passed" in can:
                    found.append(Heard("confirm passed", name, who=NAME))
            elif "arrived" in can and self._nothing_tells(route) and self._is_whole(route, train):
                found.append(Heard("confirm arrived", name, who=NAME))
        return found

    def _nothing_tells(self, route: Route) -> bool:
        """Whether reports cannot tell that a train has arrived."""
        sections = self._box.layout.sections
        return len(route.sections) == 1 or not all(sections[s].detected for s in route.sections)

    def _is_whole(self, route: Route, train: Train | None) -> bool:
        """Whether the train that passed the signal of a route last stands whole where it ends, or
        has gone on from there, or is not on the track any more."""
        if train is None:
            return True
        sections = {self._box.layout.section_of[way.element] for way in train.ways}
        if sections == {route.berth}:
            return train.ended and not self._has_lost_vehicles(route)
        behind = {way.element for way in train.ways} & {route.approach}
        gone_on = train.last_signal != route.start and sections.isdisjoint(route.sections)
        return gone_on and not behind

    def _has_lost_vehicles(self, route: Route) -> bool:
        """Whether vehicles without a driver stand on the way of a route, before its end."""
        section_of = self._box.layout.section_of
        return any(
            section_of[way.element] in route.sections[:-1]
            for train in self._railway.trains()
            if not train.driven
            for way in train.ways
        )
