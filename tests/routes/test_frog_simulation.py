"""Every route of every example over its frogs, by the wheels and the two rails.

The rails are a network of their own (`rails.py`). Contacts are wired as the table of the document
says, relays of outputs as its positions say; then commands are carried out and each road is walked.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import networkx as nx
import pytest
from rails import Crossing, crossings, facing, polarity, rails_of
from sound_layouts import compiled

from bellcrank import Sound
from bellcrank.compilation import compile_text
from bellcrank.document.frog_types import Frog
from bellcrank.document.layout_data import layout_data
from bellcrank.layout.layout_model import Leg

EXAMPLES = Path(__file__).parents[2] / "examples"

ALL_KINDS = """
layout "All standard fittings"
points P1
three way points P2
double slip S1 with two drives
double slip S2 with one drive
single slip S3 with one drive
single slip S4 with two drives
fixed diamond X1
run edge A - A1 - >HA - P1.toe
run P1.straight - B1 - >HB - P2.toe
run P1.diverging - <L1 - C1 - stop
run P2.left - D1 - S1.a1
run P2.straight - <L2 - D2 - stop
run P2.right - D3 - S2.b1
run edge E - E1 - >HE - S1.b1
run edge F - F1 - >HF - S2.a1
run S1.a2 - G1 - S3.b1
run S1.b2 - <L3 - G2 - stop
run edge H - H1 - >HH - S3.a1
run S3.a2 - <L4 - I1 - stop
run S3.b2 - I2 - >HI - S4.a1
run edge J - J1 - >HJ - S4.b1
run S4.a2 - K1 - X1.a1
run S4.b2 - <L5 - K2 - stop
run edge M - M1 - >HM - X1.b1
run X1.a2 - <L6 - N1 - stop
run X1.b2 - <L7 - N2 - stop
run S2.a2 - <L8 - O1 - stop
run S2.b2 - <L9 - O2 - stop
"""


def two_rail_layouts() -> list[str]:
    texts = [
        re.sub(
            r'^use "(.+)"$',
            lambda used: (EXAMPLES / used[1]).read_text("utf-8"),
            path.read_text("utf-8"),
            flags=re.MULTILINE,
        )
        for path in sorted(EXAMPLES.glob("*.crank"))
    ]
    return [ALL_KINDS, *(text for text in texts if "three rails" not in text)]


def title(text: str) -> str:
    """What a test is called after: the title, and how the locking comes about."""
    titled = re.search('"(.+?)"', text)
    assert titled is not None
    return titled[1] + (", written" if "locking written" in text else "")


def with_frogs(text: str, *, seed: int) -> str:
    """The layout with all its frogs fed: by contacts where they can serve, by outputs else, and
    some of the others by outputs all the same."""
    rng = random.Random(seed)
    plain = compiled(text)
    lines = ["decoder kind frog_relays { outputs 8 }"]
    for frog in layout_data(plain.layout).frogs:
        if frog.alike:
            continue
        if frog.contact is not None and rng.random() < 0.5:
            lines.append(f"frog {frog.name} with drive")
        else:
            lines.append(f"frog {frog.name} = frog_relays" + rng.choice(["", " crossed"]))
    return text + "\n".join(lines) + "\n"


@dataclass
class Rails:
    """A layout's rails, built right-handed or left-handed by lot, and what feeds its frogs.

    swapped: the frogs of which the two feed wires are swapped at the bench.
    """

    sound: Sound
    rng: random.Random
    swapped: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        layout = self.sound.layout
        self.handed = {name: self.rng.random() < 0.5 for name in layout.elements}
        graph: nx.Graph = nx.Graph()
        for name, element in layout.elements.items():
            for leg in element.kind.legs:
                graph.add_edge((name, leg, "left"), (name, leg, "right"), same=False)
            for way in element.kind.ways:
                for (a, side), (b, other) in rails_of(way.legs):
                    graph.add_edge((name, a, side), (name, b, other), same=True)
        for leg, end in layout.joined.items():
            # Both rails are cut at the ends of a stretch behind a reverser.
            if isinstance(end, Leg) and (leg.element in layout.reversers) == (
                end.element in layout.reversers
            ):
                graph.add_edge((*leg, "left"), (*end, "right"), same=True)
                graph.add_edge((*leg, "right"), (*end, "left"), same=True)
        self.polarity = polarity(graph)
        self.frogs = {(f.element, frozenset(f.between)): f for f in layout_data(layout).frogs}
        self.drives = {d.name: d for d in layout_data(layout).drives}
        self.crossings: dict[str, list[Crossing]] = {
            name: list(
                crossings(
                    element.kind.legs,
                    [way.legs for way in element.kind.ways],
                    clockwise=self.handed[name],
                )
            )
            for name, element in layout.elements.items()
        }
        self.lies = {name: self.commanded(name) for name in self.sound.table.routes}

    def commanded(self, route: str) -> dict[str, str]:
        """Where drives lie, and what frogs are switched to, by the commands of a route. Of one with
        an output only its number and side are believed: what is wired there moves."""
        at = {
            (p.number, p.side): (d.name, p.position)
            for d in self.drives.values()
            for p in d.positions
        }
        return dict(
            (c.name, c.state) if c.number is None else at[c.number, c.side]
            for c in self.sound.commands
            if c.route == route and c.phase == "drives"
        )

    def of_leg(self, frog: Frog, leg: str, beyond: frozenset[str]) -> tuple[int, int]:
        """The polarity of the rail of one leg of a frog that faces the other."""
        (other,) = set(frog.between) - {leg}
        legs = self.sound.layout.elements[frog.element].kind.legs
        end = facing(leg, other, legs, clockwise=self.handed[frog.element], beyond=beyond)
        return self.polarity[frog.element, *end]

    def fed_from(self, frog: Frog, lies: dict[str, str]) -> str:
        """The leg whose rail a frog is joined to, as relays and contacts stand."""
        if frog.feed == "output":
            leg = lies[f"frog {frog.name}"]
        else:
            (leg,) = (
                c.from_leg
                for c in frog.cases
                if all(lies.get(w.drive) == w.position for w in c.when)
            )
        if frog.name in self.swapped:
            (leg,) = set(frog.between) - {leg}
        return leg

    def wrong(self) -> Iterator[tuple[str, str]]:
        """Each route and frog where a wheel on it makes a short circuit."""
        layout = self.sound.layout
        for route in self.sound.table.routes.values():
            lies = self.lies[route.name]
            for way in route.ways:
                for crossing in self.crossings[way.element]:
                    for road, rail in zip(crossing.roads, crossing.rails, strict=True):
                        if set(road) != {way.entry, way.exit}:
                            continue
                        one, other = (self.polarity[way.element, *r[0]] for r in crossing.rails)
                        beyond = frozenset(crossing.roads[0]) & frozenset(crossing.roads[1])
                        frog = self.frogs.get((way.element, crossing.legs))
                        if frog is None or frog.alike:
                            # One polarity, or roads that nothing joins and that are fed alike.
                            assert one == other or one[0] != other[0]
                            continue
                        leg = self.fed_from(frog, lies)
                        if self.of_leg(frog, leg, beyond) != self.polarity[way.element, *rail[0]]:
                            yield route.name, frog.name
        assert layout.frogs


@pytest.mark.parametrize("text", two_rail_layouts(), ids=title)
def test_each_frog_that_a_route_passes_has_the_polarity_of_the_rail_the_wheel_runs_on(
    text: str,
):
    sound = compile_text(with_frogs(text, seed=0))
    assert isinstance(sound, Sound), sound.diagnostics
    assert list(Rails(sound, random.Random(0)).wrong()) == []


def test_a_frog_with_its_two_wires_swapped_is_found_on_every_route_over_it():
    sound = compile_text(with_frogs(ALL_KINDS, seed=0))
    assert isinstance(sound, Sound)
    rails = Rails(sound, random.Random(1))
    for frog in rails.frogs.values():
        if frog.alike:
            continue
        rails.swapped = {frog.name}
        over = {
            route.name
            for route in sound.table.routes.values()
            for way in route.ways
            if way.element == frog.element and {way.entry, way.exit} & set(frog.between)
        }
        wrong = list(rails.wrong())
        assert over and {name for name, _ in wrong} == over
        assert {name for _, name in wrong} == {frog.name}
